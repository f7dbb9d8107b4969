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
