//! How a value tells: gauge, rate, count, increments or contact; its unit and the words of a contact.

use super::{
    super::{
        finding::{Finding, Kind, Lacking, Sureness},
        series::Series,
        units::{self, Stated},
        words::{self, Elsewhere},
    },
    Judged, Value,
    belonging::{Belonging, belongs},
    blank, confirm,
};
use crate::config::{Point, Sensed};

/// Names of what an analogue input shows.
const RAW: &str = "analog analogue adc voltmeter voltage";

/// Whether it is a bare voltage or a count of an analogue input.
pub(super) fn is_raw(value: &Value<'_>, names: &[String]) -> bool {
    value.series.numbers.is_some() && words::any(names, RAW).is_some()
        // "ANALOG/Temperature" is worked out already.
        && names.iter().all(|name| !words::QUANTITIES.iter().any(|(_, list)| words::is_in(name, list)))
}

/// A bare value is of use with a calibration only, and only a person knows what is wired to it.
pub(super) fn raw(
    value: &Value<'_>,
    names: &[String],
    around: &[String],
    in_company: bool,
) -> Judged {
    let belonging = value.belonging(names, around, in_company);
    let is_small = value
        .series
        .numbers
        .as_ref()
        .is_some_and(|numbers| numbers.high <= 4095.0 && numbers.low >= 0.0);
    if !matches!(belonging, Belonging::Named(_) | Belonging::Company) || !is_small {
        return Judged::Passed(Elsewhere::Electricity);
    }
    let mut finding = blank(
        value,
        vec![Point::FeedPressure, Point::PermeateTds],
        Sureness::Doubtful,
    );
    let word = words::any(names, RAW).unwrap_or_default();
    finding
        .reasons
        .push(format!("{word:?}: the bare value of an analogue input"));
    belongs(&mut finding, &belonging, Sensed::Pressure);
    finding.lack(
        Lacking::Calibration,
        "what is wired to it, with unit and calibration = [[raw, true], …]",
    );
    confirm(&mut finding, value);
    Judged::Finding(Box::new(finding))
}

/// Kind and unit, and what is lacking of them.
pub(super) fn measure(
    finding: &mut Finding,
    value: &Value<'_>,
    sensed: Sensed,
    unit: Option<(Stated, String)>,
    names: &[String],
) {
    match sensed {
        Sensed::Contact => contact(finding, value),
        Sensed::Flow => flow(finding, value, unit, names),
        Sensed::Volume => level(finding, value, unit),
        Sensed::Dissolved | Sensed::Pressure | Sensed::Temperature => {
            gauge(finding, value, sensed, unit, names);
        }
    }
    if finding.points == [Point::StageTds] || finding.points.first() == Some(&Point::StageTds) {
        finding.lack(
            Lacking::Stage,
            "stage = \"…\" names the stage it sits behind",
        );
    }
}

fn gauge(
    finding: &mut Finding,
    value: &Value<'_>,
    sensed: Sensed,
    unit: Option<(Stated, String)>,
    names: &[String],
) {
    finding.kind = Kind::Gauge;
    if let Some((Stated::Of(of, symbol), why)) = &unit
        && *of == sensed
    {
        take_unit(finding, value, sensed, symbol, why);
    } else if let Some((Stated::Other, why)) = unit {
        finding.lack(
            Lacking::Unit,
            format!("its unit: {why}, which is none of {}", allowed(sensed)),
        );
    } else {
        let is_tds =
            words::any(names, "tds").is_some() || words::any(&value.around(), "tds").is_some();
        let guess = value
            .series
            .numbers
            .as_ref()
            .and_then(|numbers| Some((units::by_size(sensed, numbers, is_tds)?, numbers)));
        match guess {
            Some((symbol, numbers)) => {
                finding.unit = Some(symbol);
                finding.at_most(Sureness::Likely);
                finding
                    .reasons
                    .push(if sensed == Sensed::Dissolved && is_tds {
                        "TDS meters show ppm".to_owned()
                    } else {
                        format!(
                            "values of {} are {symbol}",
                            range(numbers.low, numbers.high)
                        )
                    });
                finding.decide.push(format!(
                    "no unit is told: compare with the meter that it is {symbol}"
                ));
            }
            None => finding.lack(
                Lacking::Unit,
                format!("its unit, which nothing tells: {}", allowed(sensed)),
            ),
        }
    }
    if sensed == Sensed::Temperature
        && let Some(numbers) = &value.series.numbers
        && [numbers.low, numbers.high]
            .iter()
            .any(|at| *at == -127.0 || *at == 85.0)
    {
        finding.decide.push(
            "85 and -127 are how such a thermometer tells a fault: look at its wiring".to_owned(),
        );
    }
}

fn allowed(sensed: Sensed) -> &'static str {
    match sensed {
        Sensed::Pressure => "bar, psi, kPa …",
        Sensed::Temperature => "degC, degF",
        Sensed::Dissolved => "ppm, or of a conductivity uS/cm, mS/cm",
        Sensed::Flow => "L/min, L/h, gal/d …, or Hz with pulses_per_litre",
        Sensed::Volume => "L, gal",
        Sensed::Contact => "",
    }
}

/// Two numbers for people.
fn range(low: f64, high: f64) -> String {
    let text = |number: f64| format!("{}", (number * 100.0).round() / 100.0);
    if low.to_bits() == high.to_bits() {
        text(low)
    } else {
        format!("{} to {}", text(low), text(high))
    }
}

/// A stated unit; one that stands in the payload must be spelled as the service reads it.
fn take_unit(
    finding: &mut Finding,
    value: &Value<'_>,
    sensed: Sensed,
    symbol: &'static str,
    why: &str,
) {
    finding.unit = Some(symbol);
    finding.reasons.push(format!("{why}: {symbol}"));
    only_if_read(finding, value.series, sensed, symbol);
}

fn only_if_read(finding: &mut Finding, series: &Series, sensed: Sensed, symbol: &str) {
    if let Some(spelling) = &series.unit
        && !units::is_read(sensed, symbol, spelling)
    {
        finding.doubt(format!(
            "the payload says {spelling:?} after the number, which is not read: let the firmware send the number \
             alone, or {symbol:?}"
        ));
    }
}

fn flow(
    finding: &mut Finding,
    value: &Value<'_>,
    unit: Option<(Stated, String)>,
    names: &[String],
) {
    let numbers = value.series.numbers.as_ref();
    let grows = numbers.is_some_and(|numbers| numbers.only_grows() && numbers.low > 0.0);
    let in_volume = matches!(unit, Some((Stated::Of(Sensed::Volume, _), _)));
    let as_rate = matches!(unit, Some((Stated::Of(Sensed::Flow, _) | Stated::Hertz, _)));
    let is_told_total = value.told.is_some_and(|told| told.is_total);
    let counts = words::any(names, words::COUNTS);
    let is_count = !as_rate
        && (in_volume
            || is_told_total
            || counts.is_some()
            || (grows && numbers.is_some_and(|n| n.whole)));
    if is_count {
        return count(finding, value, unit, names, counts, grows);
    }
    finding.kind = Kind::Rate;
    match unit {
        Some((Stated::Of(Sensed::Flow, symbol), why)) => {
            take_unit(finding, value, Sensed::Flow, symbol, &why)
        }
        Some((Stated::Hertz, why)) => {
            finding.unit = Some("Hz");
            finding
                .reasons
                .push(format!("{why}: a frequency of pulses"));
            finding.lack(
                Lacking::PulsesPerLitre,
                "pulses_per_litre, by the bucket at the flow it works at",
            );
            // A text with the unit is read for flows only.
            if value.series.unit.is_some() {
                finding.doubt(
                    "the payload says its unit after the number, which is not read for a frequency",
                );
            }
        }
        Some((Stated::Of(..) | Stated::Percent | Stated::Other, _)) | None => {
            finding.lack(
                Lacking::Unit,
                format!("its unit, which nothing tells: {}", allowed(Sensed::Flow)),
            );
        }
    }
}

fn count(
    finding: &mut Finding,
    value: &Value<'_>,
    unit: Option<(Stated, String)>,
    names: &[String],
    counts: Option<&str>,
    grows: bool,
) {
    let falls = value
        .series
        .numbers
        .as_ref()
        .map_or(0, |numbers| numbers.falls);
    let increment = words::any(names, words::INCREMENTS);
    finding.kind = if increment.is_some() || falls > 1 {
        Kind::Increments
    } else {
        Kind::Pulses
    };
    match (increment, counts) {
        (Some(word), _) => finding.reasons.push(format!(
            "{word:?} names what passed since the message before"
        )),
        (None, _) if falls > 1 => {
            finding
                .reasons
                .push("it falls again and again: counts since the message before".to_owned());
            finding.doubt("whether each message tells what passed since the one before");
        }
        (None, _) if grows => finding
            .reasons
            .push("it only ever grows: a count".to_owned()),
        (None, Some(word)) => finding.reasons.push(format!("{word:?} names a count")),
        (None, None) => finding
            .reasons
            .push("it is told as a total: a count".to_owned()),
    }
    if let Some((Stated::Of(Sensed::Volume, symbol), why)) = unit {
        finding.unit = Some(symbol);
        finding.reasons.push(format!(
            "{why}: the firmware counts volume itself, in {symbol}"
        ));
        if value.series.unit.is_some() {
            finding
                .doubt("the payload says its unit after the number, which is not read for a count");
        }
    } else {
        finding.lack(
            Lacking::PulsesPerLitre,
            "pulses_per_litre, by the bucket at the flow it works at (or unit = \"L\" if it counts litres)",
        );
    }
}

fn level(finding: &mut Finding, value: &Value<'_>, unit: Option<(Stated, String)>) {
    finding.kind = Kind::Gauge;
    match unit {
        Some((Stated::Of(Sensed::Volume, symbol), why)) => {
            take_unit(finding, value, Sensed::Volume, symbol, &why)
        }
        Some((Stated::Percent, why)) => {
            finding.reasons.push(format!("{why}: a share"));
            finding.lack(
                Lacking::LitresPerCent,
                "how many litres one per cent of the storage is (scale)",
            );
            if value.series.unit.is_some() {
                finding.doubt("the payload says % after the number, which is not read: let it send the number alone");
            }
        }
        Some((Stated::Of(..) | Stated::Hertz | Stated::Other, _)) | None => {
            finding.lack(
                Lacking::Unit,
                format!("its unit, which nothing tells: {}", allowed(Sensed::Volume)),
            );
        }
    }
}

/// Pairs of words for yes and no besides the usual ones.
const PAIRS: &[(&str, &str)] = &[
    ("wet", "dry"),
    ("leak", "ok"),
    ("leak", "dry"),
    ("detected", "clear"),
    ("open", "closed"),
    ("open", "close"),
    ("running", "stopped"),
    ("active", "inactive"),
    ("alarm", "normal"),
    ("high", "low"),
    ("an", "aus"),
];
const USUAL_ON: &[&str] = &["on", "true", "1", "yes"];
const USUAL_OFF: &[&str] = &["off", "false", "0", "no"];

fn contact(finding: &mut Finding, value: &Value<'_>) {
    finding.kind = Kind::Contact;
    if let Some((on, off)) = value.told.and_then(|told| told.words.as_ref()) {
        finding
            .reasons
            .push(format!("hubs are told {on:?} and {off:?}"));
        let same = |word: &str, list: &[&str]| list.contains(&word.to_lowercase().as_str());
        let is_usual = same(on, USUAL_ON) && same(off, USUAL_OFF);
        if !is_usual {
            finding.words = Some((on.trim().to_lowercase(), off.trim().to_lowercase()));
        }
        return;
    }
    let words = &value.series.words;
    let usual =
        |word: &String| USUAL_ON.contains(&word.as_str()) || USUAL_OFF.contains(&word.as_str());
    let heard: Vec<&str> = words.iter().map(String::as_str).collect();
    if words.iter().all(usual) {
        if heard.is_empty() && value.series.numbers.is_none() {
            return;
        }
        finding.reasons.push(if value.series.numbers.is_some() {
            "0 and 1".to_owned()
        } else {
            format!("it says {}", heard.join(", "))
        });
        return;
    }
    let fits = |(on, off): &&(&str, &str)| heard.iter().all(|word| word == on || word == off);
    match PAIRS.iter().find(fits) {
        Some((on, off)) => {
            finding.words = Some(((*on).to_owned(), (*off).to_owned()));
            if heard.len() == 2 {
                finding.reasons.push(format!("it says {on:?} and {off:?}"));
            } else {
                finding.at_most(Sureness::Likely);
                finding.decide.push(format!(
                    "only {:?} was heard: is the other word {:?}?",
                    heard[0],
                    if heard[0] == *on { off } else { on }
                ));
            }
        }
        None => finding.lack(
            Lacking::Words,
            format!("its words for on and off: heard were {}", heard.join(", ")),
        ),
    }
}
