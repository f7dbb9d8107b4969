//! A whole small configuration, fed with plain numbers and documents. The expected values are worked
//! out here by hand from the closed forms of the trade, not by the program's equations:
//! the membrane handbook's TCF = exp(3020 (1/298 − 1/(273 + T))) up to 25 °C and
//! π = C (T + 320) / 491000 bar, C in mg/L; the log-mean factor ln(1/(1 − Y)) / Y; and ASTM D4516's
//! Qs = Qa · NDPs/NDPa · TCFs/TCFa. 1 psi = 0.068947573 bar, 1 US gal = 3.785411784 L.

use std::{
    thread,
    time::{Duration, Instant},
};

use crate::site::{LIMIT, Site};

const UNITS: &str = r#"
[unit.kitchen]
tds_scale = 0.5
[unit.kitchen.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_temperature = "25 degC"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
rated_rejection = "96 %"
[unit.kitchen.run]
settle_volume = "0.002 L"
[[unit.kitchen.stage]]
id = "membrane"
kind = "membrane"
[[unit.kitchen.sensor]]
at = "feed_pressure"
topic = "rig/board"
pointer = "/P/feed"
unit = "psi"
[[unit.kitchen.sensor]]
at = "feed_temperature"
topic = "rig/temperature"
unit = "degC"
[[unit.kitchen.sensor]]
at = "feed_tds"
topic = "rig/feed"
unit = "uS/cm"
[[unit.kitchen.sensor]]
at = "permeate_tds"
topic = "rig/permeate"
unit = "mg/L"
[[unit.kitchen.sensor]]
at = "permeate_flow"
topic = "rig/board"
pointer = "/flow/0"
unit = "L/min"
[[unit.kitchen.sensor]]
at = "concentrate_flow"
topic = "rig/board"
pointer = "/flow/1"
unit = "L/min"

[unit.cellar.supply]
waste_ratio = "4:1"
[[unit.cellar.stage]]
id = "sediment"
kind = "sediment"
life = "100 L"
[[unit.cellar.stage]]
id = "membrane"
kind = "membrane"
[[unit.cellar.stage]]
id = "mixed-bed"
kind = "mixed_bed"
life = "10 L"
[[unit.cellar.sensor]]
at = "permeate_flow"
topic = "cellar/SENSOR"
pointer = "/COUNTER/C1"
kind = "pulses"
pulses_per_litre = 3900
maximum = "100 L/min"
"#;

/// What is published under `permeated/`, and half of its last printed digit.
///
/// Kitchen, actual: P = 50 psi = 3.447379 bar, T = 15 °C, feed 400 µS/cm = 200 mg/L, permeate 8 mg/L on the 0.5 scale,
/// permeate 0.15 and concentrate 0.6 L/min.
///   Y = 0.15 / 0.75 = 0.2, waste ratio 0.6 / 0.15 = 4, rejection 1 − 8/200 = 96 %
///   log-mean factor ln(1/0.8) / 0.2 = 1.115718
///   for osmosis 0.56 mg/L for each µS/cm: 224 and 8.96 mg/L
///   π_fc = 224 · 1.115718 · 335 / 491000 = 0.170516 bar, π_p = 8.96 · 335 / 491000 = 0.006113 bar
///   NDPa = 3.447379 − 0.170516 + 0.006113 = 3.282976 bar
///   TCFa = exp(3020 (1/298 − 1/288)) = 0.703362
/// Rating: P = 60 psi = 4.136854 bar, T = 25 °C (TCFs = 1), 250 mg/L of NaCl (500 µS/cm), Y = 0.15,
/// rejection 96 %.
///   log-mean factor ln(1/0.85) / 0.15 = 1.083460
///   π_fc = 280 · 1.083460 · 345 / 491000 = 0.213161 bar, π_p = 11.2 · 345 / 491000 = 0.007870 bar
///   NDPs = 4.136854 − 0.213161 + 0.007870 = 3.931562 bar
///   75 gal/d = 75 · 3.785411784 / 1440 = 0.197157 L/min
/// Results:
///   normalised flow 0.15 · (3.931562 / 3.282976) / 0.703362 = 0.255393 L/min = 129.54 % of rated
///   expected flow 0.197157 · (3.282976 / 3.931562) · 0.703362 = 0.115796 L/min
///   flow at 25 °C 0.15 / 0.703362 = 0.213261 L/min
///   specific flow 9 L/h / (3.282976 bar · 0.703362) = 3.897588 L/h/bar
///   normalised salt passage (handbook form) 4 % · (NDPa/NDPs) · (factor s / factor a)
///     = 4 % · 0.835031 · 0.971090 = 3.2436 %
///   concentrate by balance (200 − 0.2 · 8) / 0.8 = 248 mg/L
///
/// Cellar: 7800 pulses at 3900 to the litre = 2 L of permeate, 8 L of waste, 10 L of feed.
///   sediment sees the feed: 10 of 100 L, 90 % left; the mixed bed the permeate: 2 of 10 L, 80 % left.
const EXPECTED: &[(&str, f64, f64)] = &[
    ("kitchen/value/rejection_pct", 96.0, 0.005),
    ("kitchen/value/salt_passage_pct", 4.0, 0.005),
    ("kitchen/value/recovery_pct", 20.0, 0.05),
    ("kitchen/value/waste_ratio", 4.0, 0.005),
    ("kitchen/value/net_driving_pressure_bar", 3.282_976, 0.005),
    ("kitchen/value/temperature_correction", 0.703_362, 0.0005),
    (
        "kitchen/value/permeate_flow_at_25c_l_min",
        0.213_261,
        0.000_05,
    ),
    ("kitchen/value/normalized_flow_l_min", 0.255_393, 0.000_05),
    ("kitchen/value/normalized_flow_of_rating_pct", 129.54, 0.05),
    ("kitchen/value/expected_flow_l_min", 0.115_796, 0.000_05),
    ("kitchen/value/specific_flow_l_h_bar", 3.897_588, 0.000_5),
    ("kitchen/value/normalized_salt_passage_pct", 3.2436, 0.005),
    ("kitchen/value/feed_flow_l_min", 0.75, 0.0005),
    ("kitchen/value/feed_pressure_bar", 3.447_379, 0.005),
    ("kitchen/value/feed_tds_mg_l", 200.0, 0.05),
    ("kitchen/value/permeate_conductivity_us_cm", 16.0, 0.005),
    ("kitchen/value/concentrate_tds_mg_l", 248.0, 0.05),
    ("cellar/value/permeate_l", 2.0, 0.0005),
    ("cellar/value/concentrate_l", 8.0, 0.005),
    ("cellar/value/feed_l", 10.0, 0.005),
    ("cellar/value/stage/sediment/treated_l", 10.0, 0.05),
    ("cellar/value/stage/sediment/left_pct", 90.0, 0.05),
    ("cellar/value/stage/sediment/left_l", 90.0, 0.5),
    ("cellar/value/stage/mixed-bed/treated_l", 2.0, 0.05),
    ("cellar/value/stage/mixed-bed/left_pct", 80.0, 0.05),
    ("cellar/value/stage/mixed-bed/left_l", 8.0, 0.5),
];

/// Each expected value that is not there yet, with what is.
fn missing(site: &Site) -> Vec<String> {
    let seen = site.broker.all_retained("permeated/#");
    let differs = |(topic, expected, tolerance): &(&str, f64, f64)| {
        let text = seen.get(&format!("permeated/{topic}"));
        let value: Option<f64> = text.and_then(|text| text.parse().ok());
        let fits = value.is_some_and(|value| (value - expected).abs() <= *tolerance);
        (!fits).then(|| format!("{topic} is {text:?}, expected {expected}"))
    };
    EXPECTED.iter().filter_map(differs).collect()
}

#[test]
fn a_whole_unit_is_computed_from_plain_numbers_and_documents() {
    let site = Site::new("", UNITS);
    let service = site.start();
    let mut board = site.feed("rig/board");
    let mut temperature = site.feed("rig/temperature");
    let mut feed = site.feed("rig/feed");
    let mut permeate = site.feed("rig/permeate");
    let mut cellar = site.feed("cellar/SENSOR");
    cellar.send(r#"{"Time": "2026-11-25T09:00:00", "COUNTER": {"C1": 1000000}}"#);
    cellar.send(r#"{"Time": "2026-11-25T09:00:10", "COUNTER": {"C1": 1007800}}"#);
    let start = Instant::now();
    loop {
        board.send(r#"{"P": {"feed": 50.0}, "flow": [0.15, 0.6]}"#);
        temperature.send("15.0");
        feed.send("400");
        permeate.send(" 8 ");
        thread::sleep(Duration::from_millis(300));
        if start.elapsed() < Duration::from_secs(5) {
            continue;
        }
        let missing = missing(&site);
        if missing.is_empty() {
            break;
        }
        assert!(start.elapsed() < LIMIT, "{}", missing.join("\n"));
    }
    // The documents say the same, and how each value was got.
    let membrane = site.document("permeated/kitchen/membrane");
    assert_eq!(membrane["rejection_pct"], 96.0, "{membrane}");
    assert_eq!(membrane["basis"]["rejection_pct"], "measured", "{membrane}");
    let now = site.document("permeated/kitchen/now");
    assert_eq!(now["state"], "producing", "{now}");
    assert_eq!(now["basis"]["feed_flow_l_min"], "inferred", "{now}");
    let stage = site.document("permeated/cellar/stage/mixed-bed");
    assert_eq!(stage["left_pct"], 80.0, "{stage}");
    service.terminate();
}
