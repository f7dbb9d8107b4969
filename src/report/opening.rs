//! The head of the report: which unit and period, what was measured and how, and it all in a few
//! sentences.

use maud::{Markup, html};

use super::{
    facts::{Facts, bases},
    parts::{count, listed, section},
    quality::{Spread, series},
    units::{hours, number},
    water::{Litres, share},
};
use crate::{
    config::{Measure, Point, SensorSettings, StageSettings, Storage},
    core::Basis,
    metrics::Metric,
};

/// The title of the page.
#[must_use]
pub fn title(facts: &Facts) -> String {
    let period = facts.period();
    format!(
        "{}: {} to {}",
        facts.settings().name,
        period.from,
        period.last_day()
    )
}

/// The head, with the summary.
#[must_use]
pub fn opening(facts: &Facts) -> Markup {
    let period = facts.period();
    let zone = period.zone.iana_name().unwrap_or("the unit's time zone");
    html! {
        header {
            h1 { (facts.settings().name) }
            p.period {
                (period.from) " to " (period.last_day()) ", "
                (count(usize::try_from(period.days()).unwrap_or_default(), "day", "days")) " in " (zone)
            }
            p.small {
                "Unit " code { (facts.settings().id) } ". Written " (facts.owner.moment(facts.material.now.wall))
                " by permeated " (env!("CARGO_PKG_VERSION")) "."
            }
        }
        (section("summary", "Summary", &summary(facts)))
    }
}

fn summary(facts: &Facts) -> Markup {
    html! {
        @if facts.until < facts.period().end() {
            p { strong { "The period is not over: " } "this is what is known up to " (facts.owner.moment(facts.until)) "." }
        }
        p { (sentences(facts).join(" ")) }
    }
}

fn sentences(facts: &Facts) -> Vec<String> {
    let litres = Litres::of_all(facts);
    let volume = |litres: f64| facts.owner.volume(litres).to_string();
    let mut said = Vec::new();
    if let Some(permeate) = litres.permeate {
        let runs = count(facts.runs.len(), "run", "runs");
        let mut made = format!("The unit made {} of permeate in {runs}", volume(permeate));
        if let Some(concentrate) = litres.concentrate {
            made += &format!(" and sent {} to the drain", volume(concentrate));
        }
        if let Some(ratio) = litres.waste_ratio() {
            made += &format!(" ({} parts to one)", number(ratio, 1));
        }
        said.push(made + ".");
    }
    for (metric, what) in [
        (Metric::Rejection, "Rejection"),
        (
            Metric::NormalizedFlowOfBaseline,
            "Normalised flow as a share of the baseline",
        ),
        (Metric::ProductTds, "TDS of the product"),
    ] {
        let values = series(facts, metric);
        let Some(spread) = Spread::of(values.iter().map(|(_, value)| *value)) else {
            continue;
        };
        let shown = |value| facts.owner.shown(metric.description(), value).number();
        let middle = facts.owner.shown(metric.description(), spread.middle);
        said.push(format!(
            "{what} was {middle} (median), {} to {}.",
            shown(spread.low),
            shown(spread.high)
        ));
    }
    let names: Vec<String> = (facts.ended.iter())
        .map(|record| {
            format!(
                "{} ({})",
                facts.stage_name(&record.stage),
                record
                    .replaced
                    .map_or_else(String::new, |at| facts.owner.day(at))
            )
        })
        .collect();
    if !names.is_empty() {
        said.push(format!("Replaced: {}.", listed(&names)));
    }
    let alerts = facts.alerts();
    let lasting = alerts.iter().filter(|alert| alert.end.is_none()).count();
    let mut told = match alerts.len() {
        0 => "No alert was active".to_owned(),
        1 => "One alert was active".to_owned(),
        many => format!("{many} alerts were active"),
    };
    if lasting > 0 {
        told += &format!(
            ", of which {lasting} still {}",
            if lasting == 1 { "is" } else { "are" }
        );
    }
    said.push(told + ".");
    let (all, measured) = facts.hours();
    said.push(format!(
        "Nothing is known of {} ({}).",
        match hours((all - measured).max(0.0)).as_str() {
            "none" => "no time".to_owned(),
            lack => lack.to_owned(),
        },
        share((all - measured).max(0.0), all)
    ));
    said
}

/// What was measured, and how.
#[must_use]
pub fn measured(facts: &Facts) -> Markup {
    let settings = facts.settings();
    let sensors: Vec<String> = settings.sensors.iter().map(sensor).collect();
    let stages: Vec<String> = settings.stages.iter().map(stage).collect();
    let rating = settings.membrane.as_ref().map(|membrane| {
        let flow = facts
            .owner
            .shown(Metric::Shortfall.description(), membrane.flow.l_per_day());
        let pressure = facts
            .owner
            .shown(Metric::FeedPressure.description(), membrane.pressure.bar());
        let temperature = facts.owner.shown(
            Metric::FeedTemperature.description(),
            membrane.temperature.celsius(),
        );
        format!(
            "{flow} at {pressure} and {temperature}, at a recovery of {} %",
            number(membrane.recovery * 100.0, 0)
        )
    });
    let content = html! {
        dl {
            dt { "Sensors" } dd { (listed(&sensors)) "." }
            @if !stages.is_empty() { dt { "Stages" } dd { (listed(&stages)) "." } }
            @if let Some(rating) = rating { dt { "Rating of the element" } dd { (rating) "." } }
            dt { "Storage" } dd { (storage(&settings.storage)) "." }
            dt { "How well it is known" }
            dd { (basis(facts)) }
        }
    };
    section("measured", "What was measured, and how", &content)
}

fn sensor(sensor: &SensorSettings) -> String {
    let how = match sensor.measure {
        Measure::Increments { .. } => " (counted in increments)",
        Measure::Pulses { .. } => " (counted)",
        Measure::Contact { .. } | Measure::Gauge { .. } | Measure::Rate { .. } => "",
    };
    format!("{}{how}", point(sensor.at))
}

/// A point in words.
#[must_use]
pub fn point(point: Point) -> String {
    point.key().replace("tds", "TDS").replace('_', " ")
}

fn stage(stage: &StageSettings) -> String {
    format!("{} ({})", stage.name, stage.kind.key().replace('_', " "))
}

fn storage(storage: &Storage) -> &'static str {
    match storage {
        Storage::Unstated => "not said; taken as open",
        Storage::Open => "open, no back-pressure",
        Storage::Pressurised(_) => "a pressure tank",
    }
}

/// How the main figures were got, in words.
fn basis(facts: &Facts) -> Markup {
    let told: Vec<String> = [
        (Metric::Rejection, "rejection"),
        (Metric::Recovery, "recovery"),
        (Metric::PermeateFlow, "permeate flow"),
        (Metric::NormalizedFlow, "normalised flow"),
    ]
    .into_iter()
    .filter_map(|(metric, name)| {
        let [measured, inferred, assumed] = bases(&facts.runs, metric);
        let (number, basis) = [
            (measured, Basis::Measured),
            (inferred, Basis::Inferred),
            (assumed, Basis::Assumed),
        ]
        .into_iter()
        .max_by_key(|(number, _)| *number)?;
        let all = measured + inferred + assumed;
        (all > 0).then(|| {
            let runs = count(all, "run", "runs");
            if number == all {
                format!("{name} {} in {runs}", basis.key())
            } else {
                format!("{name} {} in {number} of {runs}", basis.key())
            }
        })
    })
    .collect();
    html! {
        @if told.is_empty() { "No run has figures." } @else { (listed(&told)) "." }
        " Measured: from fresh readings. Inferred: an input follows from others. Assumed: an input is a constant of the configuration."
    }
}
