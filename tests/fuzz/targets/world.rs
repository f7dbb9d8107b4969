//! A small unit that hears what a target makes of its bytes, and the laws of what it says.

use std::{collections::BTreeMap, sync::OnceLock};

use permeated::{
    config::{self, Settings},
    core::{Arrival, UnitState, alert::Condition},
    installation::{Incoming, Installation},
    keeper::{state_of_parts, state_parts},
    time::{Mono, Now, Wall},
    wire::Outgoing,
};
use serde_json::Value;

/// 2026-06-01T06:00:00Z.
const BEGIN: i64 = 1_780_293_600_000;

/// One sensor of each kind; those on `j` read JSON, the others plain values.
const UNIT: &str = r#"
time_zone = "Europe/Berlin"
[homie]
[unit.u]
[unit.u.supply]
waste_ratio = "4:1"
disinfectant = "chloramine"
disinfectant_level = "2 mg/L"
[unit.u.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
baseline_runs = 1
[unit.u.costs]
currency = "EUR"
water = "4.20 /m3"
[[unit.u.stage]]
id = "carbon"
kind = "carbon"
life = "1000 L"
life_time = "180 d"
price = 20
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.stage]]
id = "bed"
kind = "mixed_bed"
life = "100 L"
resin = "500 mL"
[[unit.u.sensor]]
at = "feed_pressure"
topic = "p"
unit = "psi"
plausible = ["0 psi", "100 psi"]
[[unit.u.sensor]]
at = "supply_pressure"
topic = "j"
pointer = "/a/0"
unit = "bar"
scale = 1.02
offset = 0.1
plausible = ["0 bar", "7 bar"]
[[unit.u.sensor]]
at = "feed_temperature"
topic = "j"
pointer = "/t"
time_pointer = "/Time"
unit = "degF"
plausible = ["1 degC", "45 degC"]
smoothing = 3
[[unit.u.sensor]]
at = "feed_tds"
topic = "p"
unit = "ppm"
compensated = false
plausible = ["10 mg/L", "2000 mg/L"]
availability = { topic = "up", pointer = "/state" }
[[unit.u.sensor]]
at = "permeate_tds"
topic = "j"
pointer = "/tds"
unit = "uS/cm"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "p"
kind = "pulses"
pulses_per_litre = 3900
wrap = 65536
maximum = "2 L/min"
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "j"
pointer = "/n"
kind = "increments"
pulses_per_litre = 450
[[unit.u.sensor]]
at = "feed_flow"
topic = "r"
kind = "rate"
unit = "L/min"
minimum = "0.1 L/min"
[[unit.u.sensor]]
at = "pump"
topic = "p"
[[unit.u.sensor]]
at = "flush_valve"
topic = "j"
pointer = "/on"
on = ["ON", "1"]
off = ["OFF", "0"]
"#;

/// Lowest and highest that a measured metric may say, from the `plausible` above.
const PLAUSIBLE: [(&str, f64, f64); 4] = [
    ("feed_pressure_bar", 0.0, 6.9),
    ("supply_pressure_bar", 0.0, 7.0),
    ("feed_temperature_c", 1.0, 45.0),
    ("feed_tds_mg_l", 10.0, 2000.0),
];

/// The settings of the unit above.
pub fn settings() -> &'static Settings {
    static SETTINGS: OnceLock<Settings> = OnceLock::new();
    SETTINGS.get_or_init(|| {
        config::from_text("u.toml", UNIT, &BTreeMap::new(), None).unwrap_or_else(|e| panic!("{e}"))
    })
}

/// The unit on a clock of its own.
pub struct World {
    installation: Installation,
    now: Now,
}

impl World {
    /// The unit as it was kept.
    pub fn of(kept: &UnitState) -> Self {
        let now = Now {
            mono: Mono(0),
            wall: Wall(BEGIN),
        };
        Self {
            installation: Installation::new(settings(), |_| kept.clone(), now),
            now,
        }
    }

    pub fn now(&self) -> Now {
        self.now
    }

    /// Lets time pass.
    pub fn pass(&mut self, seconds: u32) {
        let milliseconds = u64::from(seconds) * 1000;
        self.now.mono.0 += milliseconds;
        self.now.wall.0 += i64::from(seconds) * 1000;
        self.installation.advance(self.now);
        self.listen();
    }

    /// A message comes.
    pub fn hear(&mut self, topic: &str, payload: &[u8], arrival: Arrival) {
        let message = Incoming {
            topic,
            payload,
            arrival,
            packet: None,
        };
        self.installation.hear(self.now, message);
        self.listen();
    }

    /// What is kept of the unit now.
    pub fn state(&self) -> UnitState {
        let mut units = self.installation.units();
        units.next().map(|unit| unit.state()).unwrap_or_default()
    }

    /// What is kept reads again to the same.
    pub fn check_state(&self) {
        let state = self.state();
        assert_eq!(written_and_read(&state), state);
    }

    /// Everything that is said is sound.
    fn listen(&mut self) {
        while let Some(message) = self.installation.drain() {
            check(&message);
        }
        self.installation.take_events();
        self.installation.take_records();
    }
}

/// A state through the store's form and back.
pub fn written_and_read(state: &UnitState) -> UnitState {
    let parts = state_parts(state).unwrap_or_else(|error| panic!("{error}: {state:?}"));
    state_of_parts(&parts).unwrap_or_else(|error| panic!("{error}: {parts:?}"))
}

/// Documents are JSON, plain values are words we know or finite numbers, and what a sensor with limits
/// measured lies within them.
fn check(message: &Outgoing) {
    let Outgoing { topic, payload, .. } = message;
    if topic.starts_with("homie/") || topic.ends_with("/available") {
        assert!(!payload.contains("NaN") && payload != "inf", "{message:?}");
    } else if let Some(name) = topic.strip_prefix("permeated/u/value/") {
        if let Ok(number) = payload.parse::<f64>() {
            assert!(number.is_finite(), "{message:?}");
            let mut limits = PLAUSIBLE.iter().filter(|(limited, ..)| *limited == name);
            let is_within = limits.all(|(_, low, high)| (*low..=*high).contains(&number));
            assert!(is_within, "{message:?}");
        } else {
            const WORDS: [&str; 7] = [
                "None",
                "standby",
                "settling",
                "producing",
                "flushing",
                "ON",
                "OFF",
            ];
            let is_known = WORDS.contains(&payload.as_str())
                || Condition::ALL.iter().any(|word| word.key() == payload);
            assert!(is_known, "{message:?}");
        }
    } else if !payload.is_empty() {
        let document = serde_json::from_str::<Value>(payload);
        assert!(document.is_ok_and(|read| read.is_object()), "{message:?}");
    }
}
