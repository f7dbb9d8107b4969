//! Arbitrary things that may happen to the service, and the configurations they happen to.

use std::collections::BTreeMap;

use permeated::{
    config::{self, Settings},
    core::Arrival,
};
use proptest::prelude::*;

const COMMON: &str = r#"
[broker]
url = "mqtt://localhost"
[unit.u]
[unit.u.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
baseline_runs = 1
[unit.u.run]
settle_volume = "0.1 L"
[unit.u.costs]
currency = "EUR"
water = "4.20 /m3"
waste_water = "0.012 /gal"
[[unit.u.stage]]
id = "carbon"
kind = "carbon"
life = "20 L"
life_time = "180 d"
price = 20
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.stage]]
id = "cation"
kind = "cation"
capacity = "5 meq"
[[unit.u.stage]]
id = "bed"
kind = "mixed_bed"
life = "10 L"
resin = "50 mL"
price = 33.3
[[unit.u.sensor]]
at = "feed_pressure"
topic = "s/pressure"
unit = "psi"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "s/temperature"
unit = "degC"
plausible = ["-50 degC", "150 degC"]
[[unit.u.sensor]]
at = "feed_tds"
topic = "s/feed"
unit = "mg/L"
compensated = false
availability = { topic = "s/status" }
[[unit.u.sensor]]
at = "permeate_tds"
topic = "s/permeate"
unit = "mg/L"
[[unit.u.sensor]]
at = "stage_tds"
stage = "bed"
topic = "s/product"
unit = "uS/cm"
compensated = false
[[unit.u.sensor]]
at = "flush_valve"
topic = "s/flush"
kind = "contact"
"#;

/// Meters in the combinations that book water in different ways.
pub const METERS: [&str; 5] = [
    r#"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "s/a"
kind = "pulses"
pulses_per_litre = 1000
maximum = "2 L/min"
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "s/b"
kind = "pulses"
pulses_per_litre = 1000
"#,
    r#"
[unit.u.supply]
waste_ratio = "4:1"
tds = "250 mg/L"
disinfectant = "chloramine"
disinfectant_level = "2 mg/L"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "s/a"
kind = "pulses"
pulses_per_litre = 1000
minimum = "0.05 L/min"
wrap = 65536
maximum = "2 L/min"
[[unit.u.sensor]]
at = "feed_flow"
topic = "s/b"
kind = "rate"
unit = "L/min"
"#,
    r#"
[[unit.u.sensor]]
at = "feed_flow"
topic = "s/a"
kind = "increments"
calibration = [[0.0, 0.1], [100.0, 3.0]]
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "s/b"
kind = "pulses"
pulses_per_litre = 450
"#,
    r#"
[unit.u.supply]
waste_ratio = "3:1"
pressure = "60 psi"
[[unit.u.sensor]]
at = "feed_flow"
topic = "s/a"
kind = "pulses"
pulses_per_litre = 1000
[[unit.u.sensor]]
at = "permeate_flow"
topic = "s/b"
kind = "rate"
unit = "L/min"
maximum = "2 L/min"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "s/a"
kind = "pulses"
pulses_per_litre = 1000
maximum = "2 L/min"
spare = true
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "s/b"
kind = "increments"
pulses_per_litre = 1000
"#,
    r#"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "s/a"
kind = "pulses"
pulses_per_litre = 1000
maximum = "2 L/min"
"#,
];

pub const TOPICS: [&str; 9] = [
    "s/pressure",
    "s/temperature",
    "s/feed",
    "s/permeate",
    "s/product",
    "s/flush",
    "s/status",
    "s/a",
    "s/b",
];

#[derive(Clone, Debug)]
pub enum Action {
    Say(usize, String, Arrival),
    /// A meter's count goes on: meter, step, milliseconds since the message before.
    Count(bool, u32, u64),
    Wait(u64),
    Command(String, String, bool),
    Clock(i64),
    Restart,
}

fn arrival() -> impl Strategy<Value = Arrival> {
    prop_oneof![
        6 => Just(Arrival::Live),
        1 => Just(Arrival::Late),
        1 => Just(Arrival::Retained),
    ]
}

fn payload() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => (0.0..500.0f64).prop_map(|number| format!("{number:.2}")),
        3 => (0..2000u32).prop_map(|number| number.to_string()),
        1 => any::<f64>().prop_map(|number| number.to_string()),
        1 => any::<i64>().prop_map(|number| number.to_string()),
        2 => prop::sample::select(vec![
            "", "nan", "unavailable", "null", "on", "off", "online", "offline", "85", "-127",
            "inf", "1e308", "-1", "{\"a\":1}", "\0", "12,5", "true",
        ]).prop_map(str::to_owned),
        1 => ".{0,12}",
    ]
}

fn wait() -> impl Strategy<Value = u64> {
    prop_oneof![
        4 => Just(0),
        10 => 0..20_000u64,
        3 => 0..1_200_000u64,
        1 => 0..(3 * 86_400_000u64),
    ]
}

/// Commands to stages and to nobody.
fn command() -> impl Strategy<Value = (String, String)> {
    let path = prop::sample::select(vec![
        "stage/carbon/replaced",
        "stage/bed/replaced",
        "stage/cation/replaced",
        "stage/membrane/replaced",
        "stage/x/replaced",
        "test/total_chlorine",
        "membrane/rebaseline",
        "hold_test/start",
        "hold_test/stop",
        "",
        "a/b/c/d",
    ]);
    let word = prop::sample::select(vec![
        "",
        "PRESS",
        "{\"date\": \"2026-01-01\"}",
        "{\"date\": \"2019-01-01\", \"lot\": \"A\", \"price\": 12.5}",
        "{}",
        "x",
    ]);
    (path, word).prop_map(|(path, word)| (path.to_owned(), word.to_owned()))
}

/// Tests by hand, notes, and corrections and withdrawals of entries that may be there.
fn maintenance() -> impl Strategy<Value = (String, String)> {
    let names = vec![
        "alkalinity",
        "calcium",
        "disinfectant_level",
        "hardness",
        "ph",
        "silica",
        "tds",
        "total_chlorine",
        "lead",
    ];
    let value = prop_oneof![
        6 => (0.0..12.0f64).prop_map(|value| format!("{value:.1}")),
        2 => (0.0..400.0f64).prop_map(|value| format!("{{\"value\": {value:.0}, \"date\": \"2025-07-01\"}}")),
        1 => payload(),
    ];
    let change = prop::sample::select(vec![
        "{\"date\": \"2020-02-29\"}",
        "{\"price\": 7, \"lot\": \"B\"}",
        "{\"lot\": null, \"price\": null}",
        "{\"value\": 8}",
        "{\"note\": \"other\"}",
        "{}",
    ]);
    prop_oneof![
        4 => (prop::sample::select(names), value)
            .prop_map(|(name, value)| (format!("test/{name}"), value)),
        1 => ".{0,12}".prop_map(|text| ("note".to_owned(), text)),
        1 => Just(("sanitised".to_owned(), String::new())),
        4 => (0..12u32).prop_map(|entry| (format!("log/{entry}/withdraw"), String::new())),
        3 => (0..12u32, change)
            .prop_map(|(entry, change)| (format!("log/{entry}/correct"), change.to_owned())),
    ]
}

pub fn action() -> impl Strategy<Value = Action> {
    prop_oneof![
        8 => (0..TOPICS.len(), payload(), arrival()).prop_map(|(t, p, a)| Action::Say(t, p, a)),
        16 => (any::<bool>(), 0..60u32, prop_oneof![8 => Just(10_000), 1 => wait()])
            .prop_map(|(meter, step, wait)| Action::Count(meter, step, wait)),
        2 => wait().prop_map(Action::Wait),
        1 => (command(), any::<bool>())
            .prop_map(|((path, payload), retained)| Action::Command(path, payload, retained)),
        2 => maintenance().prop_map(|(path, payload)| Action::Command(path, payload, false)),
        1 => prop_oneof![-100_000_000_000..100_000_000_000i64, Just(-3_600_000)]
            .prop_map(Action::Clock),
        1 => Just(Action::Restart),
    ]
}

/// Little but maintenance: stages replaced, entries corrected and withdrawn, while water is made.
pub fn keeping() -> impl Strategy<Value = Action> {
    prop_oneof![
        6 => (0..60u32).prop_map(|step| Action::Count(false, step, 10_000)),
        2 => Just(Action::Say(3, "20".to_owned(), Arrival::Live)),
        1 => (0..200_000u64).prop_map(|seconds| Action::Wait(seconds * 1000)),
        3 => command().prop_map(|(path, payload)| Action::Command(path, payload, false)),
        6 => maintenance().prop_map(|(path, payload)| Action::Command(path, payload, false)),
        1 => Just(Action::Restart),
    ]
}

pub fn settings(meters: usize) -> Settings {
    // The meters' tables may name [unit.u.supply], which TOML wants after [unit.u].
    let text = format!("{COMMON}{}", METERS[meters]);
    config::from_text("p.toml", &text, &BTreeMap::new(), None).unwrap_or_else(|e| panic!("{e}"))
}

/// Whether the sequence brings counts of unknown age: these are believed for up to a day at once.
pub fn has_unknown_age(actions: &[Action]) -> bool {
    actions.iter().any(|action| {
        matches!(
            action,
            Action::Say(_, _, Arrival::Late) | Action::Restart | Action::Clock(_)
        )
    })
}
