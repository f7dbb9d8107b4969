//! How long a reading takes, in the core alone and in a whole `replay`: a week of the simulated unit, each
//! sensor once a second while water is made, and six days of the demonstration's household, whose boards
//! tell changes. Prints figures and asserts nothing: they mean something only in release and while nothing
//! else runs.
//!
//! `cargo run --release --example speed` (`-- 3` for the best of three rounds, the usual; `-- 3 FOLDER`
//! also writes logs, configurations and what comes out there: the same bytes before and after whatever
//! makes it faster).
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    collections::BTreeMap,
    io,
    path::Path,
    sync::Arc,
    time::{Duration, Instant},
};

use permeated::{
    cli::replay::replay,
    config::{self, Measure, Settings, UnitSettings},
    core::{Arrival, Observation, Unit, UnitState},
    simulation::{
        DemoUnit, Household, Outlets, Published, demo_configuration, household_configuration,
    },
    time::{Mono, Now, Wall},
    wire::{Outgoing, log::Line, payload::Payload},
};

const START: &str = "2026-06-01T06:00:00Z";
const SECONDS: u32 = 7 * 86_400;
const USUAL_ROUNDS: usize = 3;

const HOUSEHOLD_DAYS: u32 = 6;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let rounds = arguments.next().map_or(USUAL_ROUNDS, |rounds| {
        rounds.parse().expect("a number of rounds")
    });
    let folder = arguments.next();
    let nowhere = Path::new("/nowhere");
    let began = "2026-06-01".parse().unwrap();
    let outlets = Outlets::default();
    let weeks = [
        (
            "week",
            demo_configuration("mqtt://localhost", nowhere),
            published(),
        ),
        (
            "household",
            household_configuration("mqtt://localhost", nowhere, outlets, began),
            lived(),
        ),
    ];
    for (name, text, messages) in weeks {
        let settings = config::from_text("demo.toml", &text, &BTreeMap::new(), None).unwrap();
        let log = log(&messages);
        if let Some(folder) = &folder {
            let file = Path::new(folder).join(name);
            std::fs::write(file.with_extension("toml"), &text).unwrap();
            std::fs::write(file.with_extension("jsonl"), &log).unwrap();
            let mut said = Vec::new();
            replay(&settings, "log", log.as_bytes(), &mut said).unwrap();
            std::fs::write(file.with_extension("said.jsonl"), said).unwrap();
        }
        let readings = readings(&settings.units[0], &messages);
        let core = best(rounds, || {
            core_alone(&settings.units[0], readings.clone());
        });
        let whole = best(rounds, || whole(&settings, &log));
        let micros = core.as_secs_f64() * 1e6 / readings.len() as f64;
        let a_second = messages.len() as f64 / whole.as_secs_f64();
        println!(
            "{name}: core {micros:.2} µs a reading ({} readings); replay {a_second:.0} messages a second ({})",
            readings.len(),
            messages.len(),
        );
    }
}

/// The shortest of several rounds: what else the machine does only ever adds.
fn best(rounds: usize, mut round: impl FnMut()) -> Duration {
    (0..rounds.max(1))
        .map(|_| {
            let started = Instant::now();
            round();
            started.elapsed()
        })
        .min()
        .unwrap_or_default()
}

fn at(second: u32) -> Now {
    let start = Wall::from_rfc3339(START).unwrap();
    Now {
        mono: Mono(u64::from(second) * 1000),
        wall: Wall(start.0 + i64::from(second) * 1000),
    }
}

/// What the boards publish in the week, with the second in which they do.
fn published() -> Vec<(u32, Published)> {
    let mut unit = DemoUnit::new(1, "2026-06-01T06:00:00".parse().unwrap());
    (1..=SECONDS)
        .flat_map(|second| {
            let messages = unit.step(1.0).into_iter();
            messages.map(move |message| (second, message))
        })
        .collect()
}

/// What the household's boards and its keeper publish, with the second in which they do.
fn lived() -> Vec<(u32, Published)> {
    let start = "2026-06-01T06:00:00".parse().unwrap();
    let mut household = Household::new(1, start, HOUSEHOLD_DAYS);
    let end = f64::from(HOUSEHOLD_DAYS) * 86_400.0;
    let mut messages = Vec::new();
    while household.unit.plant.seconds() < end {
        let told = household.go_on(end);
        let second = household.unit.plant.seconds() as u32;
        messages.extend(told.into_iter().map(|message| (second, message)));
    }
    messages
}

/// The messages as a recorder would have written them.
fn log(messages: &[(u32, Published)]) -> String {
    let line = |(second, message): &(u32, Published)| {
        let outgoing = Outgoing {
            topic: message.topic.clone(),
            payload: message.payload.clone(),
            retain: false,
        };
        Line::of(at(*second).wall, outgoing).text() + "\n"
    };
    messages.iter().map(line).collect()
}

/// What the messages say to the unit's sensors.
fn readings(
    settings: &UnitSettings,
    messages: &[(u32, Published)],
) -> Vec<(u32, usize, Observation)> {
    let mut readings = Vec::new();
    for (second, message) in messages {
        let payload = Payload::new(message.payload.as_bytes());
        for (index, sensor) in settings.sensors.iter().enumerate() {
            if sensor.topic.as_written() != message.topic {
                continue;
            }
            let pointer = sensor.pointer.as_deref();
            let read = match &sensor.measure {
                Measure::Contact { on, off } => {
                    payload.contact(pointer, on, off).map(Observation::Contact)
                }
                measure => payload
                    .number(pointer, measure.unit())
                    .map(Observation::Number),
            };
            readings.extend(read.ok().map(|read| (*second, index, read)));
        }
    }
    readings
}

/// The readings through one unit, with everything that falls due between them.
fn core_alone(settings: &UnitSettings, readings: Vec<(u32, usize, Observation)>) {
    let mut unit = Unit::new(Arc::new(settings.clone()), UnitState::default(), at(0));
    for (second, sensor, observation) in readings {
        let now = at(second);
        loop {
            let due = unit.deadline();
            if due >= now.mono {
                break;
            }
            let ago = i64::try_from(now.mono.0 - due.0).unwrap();
            unit.tick(Now {
                mono: due,
                wall: Wall(now.wall.0 - ago),
            });
        }
        unit.observe(now, sensor, observation, Arrival::Live, None);
        while unit.drain().is_some() {}
    }
}

fn whole(settings: &Settings, log: &str) {
    replay(settings, "week.jsonl", log.as_bytes(), &mut io::sink()).unwrap();
}
