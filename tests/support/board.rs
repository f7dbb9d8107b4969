//! A board that tells everything in one document, and what it says.

/// A unit whose board tells everything in one document; a run ends a second after its flow. The
/// permeate stands last, so that all else is known when a run begins and its first sample is taken.
pub const BOARD: &str = r#"
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
pub const MAKING: &str =
    r#"{"pressure": 50, "temperature": 15, "feed": 400, "permeate": 16, "flow": [0.15, 0.6]}"#;
/// And while none is.
pub const RESTING: &str =
    r#"{"pressure": 58, "temperature": 15, "feed": 400, "permeate": 16, "flow": [0, 0]}"#;
