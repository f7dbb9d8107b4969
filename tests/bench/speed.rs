//! How long a reading takes, in the core alone and in a whole `replay`: a week of the demonstration's
//! unit with its own configuration. Prints figures and asserts nothing: they mean something only in
//! release and while nothing else runs.
//!
//! `cargo run --release --example speed` (`-- 3` for the best of three rounds, the usual; `-- 3 log.jsonl`
//! also writes the log, to be replayed by hand).
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    collections::BTreeMap,
    io::{self, Write},
    path::Path,
    sync::Arc,
    time::{Duration, Instant},
};

use permeated::{
    cli::replay::replay,
    config::{self, Measure, Settings, UnitSettings},
    core::{Arrival, Observation, Unit, UnitState},
    simulation::{DemoUnit, Published, demo_configuration},
    time::{Mono, Now, Wall},
    wire::{Outgoing, log::Line, payload::Payload},
};

const START: &str = "2026-06-01T06:00:00Z";
const SECONDS: u32 = 7 * 86_400;
const USUAL_ROUNDS: usize = 3;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let rounds = arguments.next().map_or(USUAL_ROUNDS, |rounds| {
        rounds.parse().expect("a number of rounds")
    });
    let text = demo_configuration("mqtt://localhost", Path::new("/nowhere"));
    let settings = config::from_text("demo.toml", &text, &BTreeMap::new(), None).unwrap();
    let week = published();
    let log = log(&week);
    if let Some(file) = arguments.next() {
        std::fs::write(file, &log).unwrap();
    }
    let messages = week.len();
    let readings = readings(&settings.units[0], &week);
    let core = best(rounds, || {
        core_alone(&settings.units[0], readings.clone());
    });
    let whole = best(rounds, || whole(&settings, &log));
    let micros = core.as_secs_f64() * 1e6 / readings.len() as f64;
    let a_second = messages as f64 / whole.as_secs_f64();
    let out = &mut io::stdout();
    writeln!(
        out,
        "core:   {micros:.2} µs a reading ({} readings)",
        readings.len()
    )
    .unwrap();
    writeln!(
        out,
        "replay: {a_second:.0} messages a second ({messages} messages)"
    )
    .unwrap();
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

/// The week as a recorder would have written it.
fn log(week: &[(u32, Published)]) -> String {
    let line = |(second, message): &(u32, Published)| {
        let outgoing = Outgoing {
            topic: message.topic.clone(),
            payload: message.payload.clone(),
            retain: false,
        };
        Line::of(at(*second).wall, outgoing).text() + "\n"
    };
    week.iter().map(line).collect()
}

/// What the messages say to the unit's sensors.
fn readings(settings: &UnitSettings, week: &[(u32, Published)]) -> Vec<(u32, usize, Observation)> {
    let mut readings = Vec::new();
    for (second, message) in week {
        let payload = Payload::new(message.payload.as_bytes());
        for (index, sensor) in settings.sensors.iter().enumerate() {
            if sensor.topic != message.topic {
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
