//! The service as a user runs it: the built program, started and stopped by signals, against a real,
//! private Mosquitto whose own client programs send the readings and see the answers. What it says
//! is held to arithmetic written out beside each check, never to the program's own equations.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/receiver.rs"]
mod receiver;
#[path = "../support/scrape.rs"]
mod scrape;
#[path = "../support/mod.rs"]
mod support;

mod binary;
mod changes;
mod commands;
mod crashes;
mod demo;
mod figures;
mod flood;
mod handover;
mod homie;
mod hub;
mod maintenance;
mod manager;
mod metrics;
mod notices;
mod notify;
mod queued;
mod sessions;
mod site;
mod state_file;
mod stopping;
mod sums;

/// A unit whose permeate is counted, 1000 pulses to the litre; four parts of waste to one of product,
/// so the sediment stage sees five litres for each litre the mixed bed sees.
const COUNTED: &str = r#"
[unit.u.supply]
waste_ratio = 4.0
[[unit.u.stage]]
id = "sediment"
kind = "sediment"
life = "1000 L"
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.stage]]
id = "mixed-bed"
kind = "mixed_bed"
life = "100 L"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/pulses"
kind = "pulses"
pulses_per_litre = 1000
maximum = "200 L/min"
"#;

/// A unit whose board tells everything in one document; a run ends a second after its flow. The
/// permeate stands last, so that all else is known when a run begins and its first sample is taken.
const BOARD: &str = r#"
[unit.u.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_temperature = "25 degC"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
rated_rejection = "96 %"
baseline_runs = 1
[unit.u.run]
stop_after = "1 s"
settle_volume = "0 L"
[[unit.u.stage]]
id = "sediment"
kind = "sediment"
life_time = "180 d"
installed = 2020-01-01
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.sensor]]
at = "feed_pressure"
topic = "rig/board"
pointer = "/pressure"
unit = "psi"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "rig/board"
pointer = "/temperature"
unit = "degC"
[[unit.u.sensor]]
at = "feed_tds"
topic = "rig/board"
pointer = "/feed"
unit = "uS/cm"
[[unit.u.sensor]]
at = "permeate_tds"
topic = "rig/board"
pointer = "/permeate"
unit = "uS/cm"
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "rig/board"
pointer = "/flow/1"
unit = "L/min"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/board"
pointer = "/flow/0"
unit = "L/min"
"#;

/// What such a board sends while water is made.
const MAKING: &str =
    r#"{"pressure": 50, "temperature": 15, "feed": 400, "permeate": 16, "flow": [0.15, 0.6]}"#;
/// And while none is.
const RESTING: &str =
    r#"{"pressure": 58, "temperature": 15, "feed": 400, "permeate": 16, "flow": [0, 0]}"#;
