//! The answer as a small table and plain words.

use std::time::Duration;

use super::Run;
use crate::{
    config::UnitSettings,
    core::{
        MembraneState,
        expect::{Expectation, Outlook},
    },
    physics::{attribution::Shortfall, balance, normal::BAND_95},
    quantity::{Flow, Pressure, Temperature, duration_text},
};

/// A handy volume: a small water change, a day's drinking water.
const TEN_LITRES: f64 = 10.0;
/// Less of the rating is nothing to speak of.
const LEAST_L_PER_DAY: f64 = 0.5;

const CAUTION: &str = "Caution: housings, tubing, fittings and the element burst or fail above their \
    rated pressure, usually 100 to 125 psi cold, and 80 psi is where most plumbing codes ask for a \
    regulator. Find the lowest limit of all that carries the pressure before you raise it, have a \
    regulator or a pressure switch hold it there, and relieve the pressure before you open anything. \
    A booster pump brings mains voltage near water: extra-low voltage, a residual-current device, a \
    drip loop, and the wiring by those licensed for it. Local codes come before anything said here.";

pub(super) fn text(
    unit: &UnitSettings,
    run: &Run,
    membrane: &MembraneState,
    found: &Expectation,
) -> String {
    let title = if unit.name == unit.id {
        format!("Unit {}", unit.id)
    } else {
        format!("Unit {} ({})", unit.id, unit.name)
    };
    let mut lines = vec![title, String::new(), row("", "at present", "as asked")];
    lines.extend(conditions(unit, found));
    lines.push(String::new());
    lines.extend(gives(unit, found));
    lines.extend(causes(found));
    for words in [
        Some(present_words(run, found)),
        Some(margin_words(membrane, found)),
        mended_words(found),
        (found.asked.point.feed_pressure > found.present.point.feed_pressure)
            .then(|| CAUTION.to_owned()),
    ]
    .into_iter()
    .flatten()
    {
        lines.push(String::new());
        lines.extend(wrapped(&words));
    }
    lines.push(String::new());
    lines.join("\n")
}

fn conditions(unit: &UnitSettings, found: &Expectation) -> [String; 5] {
    let two = |name, tell: &dyn Fn(&Outlook) -> String| two(found, name, tell);
    let scale = unit.tds_scale;
    [
        two("feed pressure", &|look| pressure(look.point.feed_pressure)),
        two("back-pressure", &|look| {
            pressure(look.point.permeate_pressure)
        }),
        two("feed temperature", &|look| {
            temperature(look.point.temperature)
        }),
        two("feed TDS", &|look| {
            format!("{} mg/L", short(scale.tds(look.point.feed).mg_per_l(), 3))
        }),
        two("recovery", &|look| {
            let ratio = balance::waste_ratio(look.point.recovery);
            let waste = ratio.map(|ratio| format!(" ({}:1 waste)", short(ratio, 2)));
            let per_cent = short(look.point.recovery * 100.0, 3);
            format!("{per_cent} %{}", waste.unwrap_or_default())
        }),
    ]
}

fn gives(unit: &UnitSettings, found: &Expectation) -> Vec<String> {
    let two = |name, tell: &dyn Fn(&Outlook) -> String| two(found, name, tell);
    let scale = unit.tds_scale;
    let unknown = || "not known".to_owned();
    let margin = format!("{} L/day", short(found.margin.l_per_day(), 2));
    vec![
        two("permeate flow", &|look| per_day(look.flow)),
        row("  give or take", "", &margin),
        two("10 L (2.64 gal) take", &|look| {
            let seconds = TEN_LITRES / look.flow.over_seconds(1.0).litres();
            Duration::try_from_secs_f64(seconds).map_or_else(|_| unknown(), duration_text)
        }),
        two("permeate TDS", &|look| {
            look.permeate.map_or_else(unknown, |salt| {
                format!("{} mg/L", short(scale.tds(salt).mg_per_l(), 2))
            })
        }),
        two("rejection", &|look| {
            look.rejection()
                .map_or_else(unknown, |share| format!("{:.1} %", share * 100.0))
        }),
        two("waste", &|look| look.waste().map_or_else(unknown, per_day)),
    ]
}

/// What each flow lacks of the rating, by cause.
fn causes(found: &Expectation) -> Vec<String> {
    let (Some(now), Some(then)) = (found.present.shortfall, found.asked.shortfall) else {
        return Vec::new();
    };
    let line = |name: &str, part: fn(&Shortfall) -> Flow| {
        let tell = |short_of: &Shortfall| format!("{:.0} L/day", whole(part(short_of)));
        row(name, &tell(&now), &tell(&then))
    };
    vec![
        String::new(),
        line("short of the rating", |lack| lack.total),
        line("  by pressure", |lack| lack.pressure),
        line("  by back-pressure", |lack| lack.back_pressure),
        line("  by temperature", |lack| lack.temperature),
        line("  by salinity", |lack| lack.salinity),
        line("  by the element", |lack| lack.membrane),
    ]
}

fn present_words(run: &Run, found: &Expectation) -> String {
    let when = (run.ended.as_ref()).map_or_else(
        || "whose end the clock did not tell".to_owned(),
        |ended| format!("that ended {ended}"),
    );
    let start = format!("At present: the last settled run with figures, {when}.");
    let unmeasured: Vec<String> = found
        .unmeasured
        .iter()
        .map(|(name, basis)| format!("{name} ({})", basis.key()))
        .collect();
    if unmeasured.is_empty() {
        format!("{start} Everything in it was measured.")
    } else {
        format!("{start} Not measured in it: {}.", unmeasured.join(", "))
    }
}

fn margin_words(membrane: &MembraneState, found: &Expectation) -> String {
    let response = membrane.flow_response();
    let (value, margin) = (response.value, BAND_95 * response.deviation);
    let origin = match membrane.baseline_runs() {
        0 => "as believed before the first run that teaches it".to_owned(),
        1 => "learned, but from one run so far".to_owned(),
        runs => format!("learned; {runs} settled runs since the baseline began"),
    };
    let other_temperature =
        found.asked.point.temperature.celsius() != found.present.point.temperature.celsius();
    let of = if other_temperature {
        "of the response to temperature and of the scatter of one run"
    } else {
        "of the scatter of one run; the temperature stays, so its response does not matter"
    };
    format!(
        "Give or take: the 95 % band {of}. Response of the element to temperature: {value:.0} ± \
         {margin:.0} K ({origin}). Gauges and meters that are wrong are not in it."
    )
}

/// What of the present shortfall goes away.
fn mended_words(found: &Expectation) -> Option<String> {
    let (now, then) = (found.present.shortfall?, found.asked.shortfall?);
    let of = |part: fn(&Shortfall) -> Flow| part(&now).l_per_day() - part(&then).l_per_day();
    let named: Vec<String> = [
        ("pressure", of(|lack| lack.pressure)),
        ("back-pressure", of(|lack| lack.back_pressure)),
        ("temperature", of(|lack| lack.temperature)),
        ("salinity", of(|lack| lack.salinity)),
    ]
    .into_iter()
    .filter(|(_, mended)| *mended >= LEAST_L_PER_DAY)
    .map(|(name, mended)| format!("{name} gives {mended:.0}"))
    .collect();
    let lacks = now.total.l_per_day();
    if lacks < LEAST_L_PER_DAY {
        return Some("At present nothing is short of the rating.".to_owned());
    }
    let gain = found.asked.flow.l_per_day() - found.present.flow.l_per_day();
    if gain < LEAST_L_PER_DAY {
        return Some(format!(
            "Of the {lacks:.0} L/day that the present flow lacks of the rating this mends nothing."
        ));
    }
    let made_up = gain.min(lacks);
    let gives = if named.is_empty() {
        String::new()
    } else {
        format!(" ({})", named.join(", "))
    };
    let mut words = format!(
        "Of the {lacks:.0} L/day that the present flow lacks of the rating this makes up for \
         {made_up:.0}{gives}."
    );
    let element = now.membrane.l_per_day();
    if element >= LEAST_L_PER_DAY {
        words += &format!(
            " What the element itself lacks, {element:.0} L/day at present, is its own: worn, fouled \
             or made so."
        );
    }
    Some(words)
}

fn two(found: &Expectation, name: &str, tell: &dyn Fn(&Outlook) -> String) -> String {
    row(name, &tell(&found.present), &tell(&found.asked))
}

fn row(name: &str, present: &str, asked: &str) -> String {
    format!("  {name:<22}{present:<28}{asked}")
        .trim_end()
        .to_owned()
}

fn per_day(flow: Flow) -> String {
    format!(
        "{} L/day ({} gal/day)",
        short(flow.l_per_day(), 3),
        short(flow.gal_per_day(), 3)
    )
}

fn pressure(pressure: Pressure) -> String {
    format!(
        "{} bar ({} psi)",
        short(pressure.bar(), 3),
        short(pressure.psi(), 3)
    )
}

fn temperature(temperature: Temperature) -> String {
    format!(
        "{:.1} °C ({:.0} °F)",
        temperature.celsius(),
        temperature.fahrenheit()
    )
}

/// To whole litres a day, never −0.
fn whole(flow: Flow) -> f64 {
    let rounded = flow.l_per_day().round();
    if rounded == 0.0 { 0.0 } else { rounded }
}

/// To so many significant digits.
pub(super) fn short(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(value)
}

/// Broken into lines that fit a terminal.
fn wrapped(text: &str) -> Vec<String> {
    const WIDTH: usize = 96;
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        if let Some(line) = lines.last_mut() {
            if line.is_empty() {
                line.push_str(word);
                continue;
            }
            if line.chars().count() + 1 + word.chars().count() <= WIDTH {
                line.push(' ');
                line.push_str(word);
                continue;
            }
        }
        lines.push(word.to_owned());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{physics::membrane::OperatingPoint, quantity::Conductivity};

    fn outlook(parts: [f64; 4], flow: f64) -> Outlook {
        let flow_of = Flow::from_l_per_day;
        let [pressure, back_pressure, temperature, salinity] = parts.map(flow_of);
        Outlook {
            point: OperatingPoint {
                feed_pressure: Pressure::from_bar(4.0),
                pressure_drop: Pressure::ZERO,
                permeate_pressure: Pressure::ZERO,
                temperature: Temperature::from_celsius(15.0),
                feed: Conductivity::from_us_per_cm(500.0),
                permeate: Conductivity::from_us_per_cm(20.0),
                recovery: 0.2,
            },
            flow: flow_of(flow),
            permeate: None,
            shortfall: Some(Shortfall {
                total: flow_of(200.0 - flow),
                pressure,
                back_pressure,
                salinity,
                temperature,
                membrane: Flow::ZERO,
            }),
        }
    }

    #[test]
    fn parts_too_small_to_name_leave_no_empty_brackets() {
        // Two parts of 0.4 L/day each: 0.8 in all, neither worth a name.
        let found = Expectation {
            present: outlook([10.4, 0.4, 0.0, 0.0], 189.2),
            asked: outlook([10.0, 0.0, 0.0, 0.0], 190.0),
            margin: Flow::ZERO,
            unmeasured: Vec::new(),
        };
        assert_eq!(
            mended_words(&found).unwrap(),
            "Of the 11 L/day that the present flow lacks of the rating this makes up for 1."
        );
    }
}
