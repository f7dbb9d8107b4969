//! The metrics' text, read by an independent parser and held to arithmetic written out here.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "support/scrape.rs"]
mod scrape;

use std::collections::BTreeMap;

use serde_json::{Value, json};

use permeated::{
    config,
    core::{Arrival, UnitState},
    installation::{Incoming, Installation},
    time::{Mono, Now, Wall},
    wire::openmetrics::{self, Format, Service},
};
use scrape::{parsed, sample};

const UNITS: &str = r#"
[unit.u.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
[unit.u.run]
settle_volume = "0 L"
[[unit.u.stage]]
id = "sediment"
kind = "sediment"
life = "1000 L"
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.sensor]]
at = "feed_pressure"
topic = "rig"
pointer = "/pressure"
unit = "bar"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "rig"
pointer = "/temperature"
unit = "degC"
[[unit.u.sensor]]
at = "feed_tds"
topic = "rig"
pointer = "/feed"
unit = "uS/cm"
[[unit.u.sensor]]
at = "permeate_tds"
topic = "rig"
pointer = "/permeate"
unit = "uS/cm"
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "rig"
pointer = "/flow/1"
unit = "L/min"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig"
pointer = "/flow/0"
unit = "L/min"
[[unit.silent.sensor]]
at = "product_tds"
topic = "nobody"
unit = "ppm"
"#;

/// 2026-11-25T10:00:00Z.
const START: i64 = 1_795_600_800_000;

fn at(second: u64) -> Now {
    Now {
        mono: Mono(second * 1000),
        wall: Wall(START + i64::try_from(second).unwrap() * 1000),
    }
}

/// Ten minutes of making water with a reading each 10 s, the last one at 600 s.
fn installation() -> Installation {
    let settings = config::from_text("x.toml", UNITS, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"));
    let mut installation = Installation::new(&settings, |_| UnitState::default(), at(0));
    for second in (0..=600).step_by(10) {
        let incoming = Incoming {
            topic: "rig",
            payload: br#"{"pressure": 3.5, "temperature": 15, "feed": 400, "permeate": 16, "flow": [0.15, 0.6]}"#,
            arrival: Arrival::Live,
            packet: None,
        };
        installation.hear(at(second), incoming);
    }
    installation
}

fn text(format: Format) -> String {
    let installation = installation();
    let service = Service {
        connected: true,
        connections: 3,
        messages: 61,
        started: Some(Wall(START)),
        ..Service::default()
    };
    let families = openmetrics::families(installation.units(), at(605), &service, &[]);
    openmetrics::text(&families, format)
}

fn assert_near(found: Option<f64>, wanted: f64, what: &str) {
    let found = found.unwrap_or_else(|| panic!("no {what}"));
    assert!(
        (found - wanted).abs() <= 1e-6 * wanted.abs(),
        "{what}: {found}, not {wanted}"
    );
}

/// By hand: 3.5 bar = 350 000 Pa; 0.15 L/min = 0.0025 L/s; 16 of 400 µS/cm pass, so 96 % are held
/// back; permeate 0.15 of 0.75 L/min feed is a recovery of 20 %; ten minutes at 0.15 L/min are 1.5 L,
/// and at 0.75 L/min 7.5 L, of the sediment filter's 1000 L.
fn hold_to_arithmetic(families: &[Value]) {
    let unit = json!({"unit": "u"});
    let sediment = json!({"unit": "u", "stage": "sediment"});
    for (name, labels, wanted) in [
        ("permeated_feed_pressure_pascals", &unit, 350_000.0),
        ("permeated_feed_temperature_celsius", &unit, 15.0),
        ("permeated_permeate_flow_liters_per_second", &unit, 0.0025),
        ("permeated_rejection_ratio", &unit, 0.96),
        ("permeated_recovery_ratio", &unit, 0.20),
        ("permeated_waste_ratio", &unit, 4.0),
        (
            "permeated_feed_conductivity_microsiemens_per_centimeter",
            &unit,
            400.0,
        ),
        ("permeated_permeate_liters_total", &unit, 1.5),
        ("permeated_producing_seconds_total", &unit, 600.0),
        ("permeated_stage_treated_liters_total", &sediment, 7.5),
        ("permeated_mqtt_reconnects_total", &json!({}), 2.0),
        ("permeated_mqtt_messages_total", &json!({}), 61.0),
        ("permeated_mqtt_connected", &json!({}), 1.0),
    ] {
        assert_near(sample(families, name, labels), wanted, name);
    }
    let state = |state: &str| {
        sample(
            families,
            "permeated_state",
            &json!({"unit": "u", "state": state}),
        )
    };
    assert_eq!(
        (state("producing"), state("standby")),
        (Some(1.0), Some(0.0))
    );
    let last = json!({"unit": "u", "sensor": "permeate_flow"});
    let last = sample(
        families,
        "permeated_sensor_last_reading_timestamp_seconds",
        &last,
    );
    // START and the 600 s of the last reading.
    assert_eq!(last, Some(1_795_601_400.0));
    let low = json!({"unit": "u", "code": "feed_pressure_high", "severity": "critical"});
    assert_eq!(sample(families, "permeated_alert_active", &low), Some(0.0));
}

#[test]
fn openmetrics_is_read_by_an_independent_parser() {
    let families = parsed(&text(Format::OpenMetrics), "open");
    hold_to_arithmetic(&families);
    let of = |name: &str| {
        let found = families.iter().find(|family| family["name"] == name);
        found.unwrap_or_else(|| panic!("no {name}"))
    };
    let told = |name: &str| (of(name)["type"].clone(), of(name)["unit"].clone());
    assert_eq!(
        told("permeated_permeate_liters"),
        (json!("counter"), json!("liters"))
    );
    assert_eq!(
        told("permeated_feed_pressure_pascals"),
        (json!("gauge"), json!("pascals"))
    );
    assert_eq!(told("permeated_build"), (json!("info"), json!("")));
    let version = json!({"version": env!("CARGO_PKG_VERSION")});
    assert_eq!(
        sample(&families, "permeated_build_info", &version),
        Some(1.0)
    );
}

#[test]
fn the_older_format_is_read_by_an_independent_parser() {
    let families = parsed(&text(Format::Classic), "classic");
    hold_to_arithmetic(&families);
}

/// A unit of which nothing was heard has no reading, no flow and no alert that was judged: not one
/// sample that would look like a zero. Its ever-growing sums are truly 0.
#[test]
fn what_is_not_known_has_no_sample() {
    let families = parsed(&text(Format::OpenMetrics), "open");
    let mut told = Vec::new();
    for family in &families {
        let samples = family["samples"].as_array().unwrap();
        for sample in samples
            .iter()
            .filter(|sample| sample[1]["unit"] == "silent")
        {
            if sample[1]["code"] == "sensor_silent" {
                // Judged from the first minute on: it may still speak.
                continue;
            }
            told.push(sample[0].as_str().unwrap().to_owned());
        }
    }
    told.sort();
    told.dedup();
    let not_a_count: Vec<_> = told
        .iter()
        .filter(|name| !name.ends_with("_total"))
        .collect();
    assert!(not_a_count.is_empty(), "{not_a_count:?}");
    let readings = "permeated_sensor_readings_total".to_owned();
    assert!(told.contains(&readings), "{told:?}");
}

/// The parser is not one that lets everything pass.
#[test]
fn the_parser_refuses_what_is_wrong() {
    for (wrong, why) in [
        ("# TYPE a gauge\na 1\n", "no EOF"),
        (
            "# TYPE a_pascals gauge\n# UNIT a_pascals bar\na_pascals 1\n# EOF\n",
            "unit is no suffix",
        ),
        ("# TYPE a counter\na 1\n# EOF\n", "counter without _total"),
        (
            "a{b=\"1\"} 1\nc 1\na{b=\"2\"} 1\n# EOF\n",
            "family in two parts",
        ),
    ] {
        let refused = std::panic::catch_unwind(|| parsed(wrong, "open"));
        assert!(refused.is_err(), "{why}");
    }
}
