//! Sensors that lie, on the simulated unit: weeks of honest sensors raise no doubt, and each kind of
//! lie is told about the sensor that lies. The simulation's physics is written apart from the
//! core's; the lies are put into its boards' messages on their way.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
};

use permeated::{
    config::{self, Point, Settings},
    core::{Arrival, EventKind, UnitState},
    installation::{Incoming, Installation},
    quantity::{Flow, Pressure, TdsScale},
    simulation::{Board, DemoUnit, Dialect, Published, Sensor, demo_configuration},
    time::{Mono, Now, Wall},
};

const START: &str = "2026-06-01T06:00:00Z";
/// A third board beside the demonstration's two: what a well-equipped unit has besides.
const MORE: &[(&str, &str)] = &[
    ("feed_flow", "kind = \"pulses\"\npulses_per_litre = 450"),
    (
        "supply_pressure",
        "unit = \"psi\"\ncalibration = [[409.5, 0.0], [3685.5, 150.0]]",
    ),
    ("concentrate_tds", "unit = \"mg/L\""),
];

fn settings(more: &str) -> Settings {
    let mut text = demo_configuration("mqtt://localhost", Path::new("/nowhere"));
    for (at, keys) in MORE {
        text += &format!(
            "\n[[unit.basement.sensor]]\nat = \"{at}\"\ntopic = \"more/sensor/{at}/state\"\n{keys}\n"
        );
    }
    text += more;
    config::from_text("demo.toml", &text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"))
}

fn unit(every: f64) -> DemoUnit {
    let start = "2026-06-01T06:00:00".parse().unwrap();
    let mut unit = DemoUnit::new(7, start);
    let gauge = Pressure::from_psi(150.0);
    let sensors = vec![
        (
            "feed_flow",
            Sensor::pulses(Point::FeedFlow, 450.0, Flow::from_l_per_min(0.05)),
        ),
        (
            "supply_pressure",
            Sensor::ratiometric(Point::SupplyPressure, gauge, 12, 11),
        ),
        (
            "concentrate_tds",
            Sensor::tds_meter(Point::ConcentrateTds, TdsScale::NACL, 0.02, 12),
        ),
    ];
    let root = "more".to_owned();
    unit.boards
        .push(Board::new(Dialect::Plain { root }, 10.0, start, sensors));
    unit.publish_every(every);
    unit
}

/// Plays so many hours, with every message through `lie`. The alerts raised, with their sentences.
fn raised(
    every: f64,
    hours: u32,
    more: &str,
    mut lie: impl FnMut(f64, &mut Published),
) -> BTreeMap<String, String> {
    let start = Wall::from_rfc3339(START).unwrap();
    let now = |second: u64| Now {
        mono: Mono(second * 1000),
        wall: Wall(start.0 + i64::try_from(second).unwrap() * 1000),
    };
    let mut core = Installation::new(&settings(more), |_| UnitState::default(), now(0));
    let mut unit = unit(every);
    let mut told = BTreeMap::new();
    for second in 1..=u64::from(hours) * 3600 {
        for mut message in unit.step(1.0) {
            lie(second as f64 / 3600.0, &mut message);
            core.hear(
                now(second),
                Incoming {
                    topic: &message.topic,
                    payload: message.payload.as_bytes(),
                    arrival: Arrival::Live,
                    packet: None,
                },
            );
        }
        core.advance(now(second));
        while core.drain().is_some() {}
        core.take_records();
        for (_, event) in core.take_events() {
            if event.event == EventKind::AlertRaised {
                told.entry(event.about.unwrap()).or_insert(event.text);
            }
        }
    }
    // The state stays small however long it watches (a page of a flash card).
    for kept in core.units().map(|unit| unit.state().watch) {
        let text = serde_json::to_string(&kept).unwrap();
        assert!(text.len() < 1024, "{} bytes: {text}", text.len());
    }
    told
}

/// The alerts of this chapter. Others tell of the water itself, and rightly: resin is spent in weeks.
fn keys(told: &BTreeMap<String, String>) -> BTreeSet<&str> {
    let other = |key: &&str| {
        ["stage_", "product_tds", "feed_pressure_low"]
            .iter()
            .any(|start| key.starts_with(start))
    };
    told.keys()
        .map(String::as_str)
        .filter(|key| !other(key))
        .collect()
}

/// Replaces the number of a plain topic.
fn on(message: &mut Published, topic: &str, change: impl FnOnce(f64) -> f64) {
    if message.topic == topic {
        message.payload = change(message.payload.parse().unwrap()).to_string();
    }
}

const PERMEATE: &str = "demo/quality/sensor/permeate_tds/state";
const FEED: &str = "demo/quality/sensor/feed_tds/state";
const FEED_FLOW: &str = "more/sensor/feed_flow/state";
const SUPPLY: &str = "more/sensor/supply_pressure/state";

#[test]
fn weeks_of_honest_sensors_raise_no_doubt() {
    let told = raised(60.0, 28 * 24, "", |_, _| ());
    assert_eq!(keys(&told), BTreeSet::new(), "{told:#?}");
}

#[test]
fn days_of_brisk_honest_sensors_raise_no_doubt() {
    let told = raised(10.0, 3 * 24, "", |_, _| ());
    assert_eq!(keys(&told), BTreeSet::new(), "{told:#?}");
}

#[test]
fn slow_firmware_is_no_lie() {
    let told = raised(300.0, 14 * 24, "", |_, _| ());
    assert_eq!(keys(&told), BTreeSet::new(), "{told:#?}");
}

#[test]
fn a_frozen_gauge_is_told_and_nothing_else() {
    let mut frozen = None;
    let told = raised(60.0, 14 * 24, "", |hour, message| {
        if hour > 48.0 {
            on(message, SUPPLY, |sent| *frozen.get_or_insert(sent));
        }
    });
    assert_eq!(
        keys(&told),
        BTreeSet::from(["sensor_stuck/supply_pressure"]),
        "{told:#?}"
    );
}

#[test]
fn a_permeate_probe_that_drifted_beyond_its_feed_is_told() {
    let told = raised(60.0, 48, "", |hour, message| {
        if hour > 24.0 {
            on(message, PERMEATE, |sent| sent + 400.0);
        }
    });
    assert!(
        told.contains_key("sensor_implausible/permeate_tds"),
        "{told:#?}"
    );
    assert!(
        !told.contains_key("sensor_implausible/feed_tds"),
        "{told:#?}"
    );
}

#[test]
fn a_feed_probe_in_air_is_told_by_the_concentrate() {
    let told = raised(60.0, 48, "", |hour, message| {
        if hour > 24.0 {
            on(message, FEED, |_| 1.0);
        }
    });
    assert!(
        told.contains_key("sensor_implausible/feed_tds"),
        "{told:#?}"
    );
    assert!(
        !told.contains_key("sensor_implausible/permeate_tds"),
        "{told:#?}"
    );
}

#[test]
fn error_codes_in_a_third_of_the_readings_are_told() {
    let mut number = 0;
    let told = raised(60.0, 24, "", |hour, message| {
        if hour > 6.0 && message.topic == SUPPLY {
            number += 1;
            if number % 3 == 0 {
                message.payload = "99999".to_owned();
            }
        }
    });
    assert_eq!(
        keys(&told),
        BTreeSet::from(["sensor_implausible/supply_pressure"]),
        "{told:#?}"
    );
}

#[test]
fn a_feed_meter_that_counts_half_opens_the_balance() {
    let told = raised(60.0, 5 * 24, "", |_, message| {
        on(message, FEED_FLOW, |sent| (sent / 2.0).floor());
    });
    assert_eq!(keys(&told), BTreeSet::from(["balance_open"]), "{told:#?}");
}
