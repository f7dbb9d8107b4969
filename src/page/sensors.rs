//! The sensors: which speak, which are silent or in doubt, and since when.

use maud::{Markup, html};

use super::{frame, unit::Look, words};
use crate::core::{Doubt, Lack, Sensor};

pub(super) fn section(look: &Look<'_>) -> Markup {
    let sensors = look.unit.train().sensors();
    let away = sensors
        .iter()
        .filter(|sensor| sensor.lack(look.now.mono).is_some())
        .count();
    let body = html! {
        p { (summary(sensors.len(), away)) }
        (frame::table("Sensors", &html! {
            thead { tr {
                th scope="col" { "Sensor" }
                th scope="col" { "Now" }
                th scope="col" { "Last heard" }
                th scope="col" .number { "Readings" }
                th scope="col" .number { "Refused" }
            } }
            tbody { @for sensor in sensors { (row(look, sensor)) } }
        }))
    };
    frame::section("sensors", "Sensors", &body)
}

fn summary(all: usize, away: usize) -> String {
    match (all, away) {
        (1, 0) => "The only sensor speaks.".to_owned(),
        (all, 0) => format!("All {all} sensors speak."),
        (1, _) => "The only sensor gives nothing now.".to_owned(),
        (all, away) if all == away => format!("None of the {all} sensors gives anything now."),
        (all, 1) => format!("One of {all} sensors gives nothing now."),
        (all, away) => format!("{away} of {all} sensors give nothing now."),
    }
}

fn row(look: &Look<'_>, sensor: &Sensor) -> Markup {
    let lack = sensor.lack(look.now.mono);
    let heard = sensor.heard_at();
    let tally = sensor.tally();
    html! {
        tr .away[lack.is_some()] {
            th scope="row" {
                code { (sensor.settings().id) }
                @if sensor.settings().spare { " (spare)" }
            }
            td { (lack.map_or("speaks", |lack| told(sensor, lack))) }
            td {
                @match heard {
                    Some(at) => { (words::length(look.now.mono.since(at).as_secs_f64())) " ago" }
                    None => { "never since the start" }
                }
            }
            td .number { (tally.readings) }
            td .number { (tally.nothing + tally.implausible) }
        }
    }
}

fn told(sensor: &Sensor, lack: Lack) -> &'static str {
    match lack {
        Lack::Doubted(_) => match sensor.doubt() {
            Some(Doubt::Contradicted) => "doubted: it contradicts the others",
            Some(Doubt::Refused) => "doubted: too many readings cannot be",
            Some(Doubt::Stuck) => "doubted: it is stuck",
            Some(Doubt::UnderReads) => "doubted: it counts too little",
            None => "doubted",
        },
        Lack::Implausible(_) => "the last reading cannot be",
        Lack::Unconfirmed(_) => "only a reading of unknown age",
        Lack::NotHeard(_) => "not heard yet",
        Lack::Offline(_) => "offline, says its board",
        Lack::Silent(_) => "silent",
        Lack::BalanceOpen
        | Lack::Boosted
        | Lack::BelowRange(_)
        | Lack::NoSensor(_)
        | Lack::NoRunSign
        | Lack::NoReference
        | Lack::NotProducing
        | Lack::NotPhysical
        | Lack::NotInSight
        | Lack::TooEarly
        | Lack::Untested
        | Lack::NoAnalysis
        | Lack::NoCarbon
        | Lack::NoLife
        | Lack::NoPrice
        | Lack::NoDate => "gives nothing",
    }
}
