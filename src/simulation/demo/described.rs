//! The configuration that matches the demonstration's boards.

use std::path::Path;

use super::{FLOW_BOARD, GAUGE_BITS, GAUGE_PSI, PULSES_PER_LITRE, QUALITY_BOARD, SLOWEST_PULSES};
use crate::{config::Point, simulation::firmware::Dialect};

/// The configuration with which `permeated run` understands the demonstration's boards. `broker_url`
/// as `mqtt://127.0.0.1:1883`; `directory` is where state is kept.
#[must_use]
pub fn demo_configuration(broker_url: &str, directory: &Path) -> String {
    format!("{}{UNIT}{}", head(broker_url, directory), sensors(SENSORS))
}

/// What comes before the unit: the broker, how often it publishes, where state is kept.
pub(in crate::simulation) fn head(broker_url: &str, directory: &Path) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    format!(
        "[broker]\nurl = {}\n\n[publish]\ninterval = \"10 s\"\nheartbeat = \"5 min\"\n\n\
         [store]\ndirectory = {}\ncheckpoint = \"5 s\"\n\n",
        quoted(broker_url),
        quoted(&directory.to_string_lossy()),
    )
}

/// The tables of these sensors.
pub(in crate::simulation) fn sensors(sensors: &[Described]) -> String {
    let mut text = String::new();
    for (name, at, reading) in sensors {
        let dialect = match reading {
            Some(_) => Dialect::Document {
                topic: FLOW_BOARD.to_owned(),
            },
            None => Dialect::Plain {
                root: QUALITY_BOARD.to_owned(),
            },
        };
        let contact = at.sensed() == crate::config::Sensed::Contact;
        let (topic, pointer) = dialect.place(name, contact);
        let (availability, up, down) = dialect.availability();
        text += &format!(
            "\n[[unit.basement.sensor]]\nat = \"{}\"\ntopic = \"{topic}\"\n",
            at.key()
        );
        if let Some(pointer) = pointer {
            text += &format!("pointer = \"{pointer}\"\n");
        }
        text += &match (reading, contact) {
            (Some(reading), _) => reading_keys(*reading),
            (None, true) => String::new(),
            (None, false) => "unit = \"mg/L\"\n".to_owned(),
        };
        text += &format!(
            "availability = {{ topic = \"{availability}\", up = \"{up}\", down = \"{down}\" }}\n"
        );
    }
    text
}

/// A sensor as the configuration has it: its name on the board, its point, and how it is read on the
/// board that sends documents.
pub(in crate::simulation) type Described = (&'static str, Point, Option<InDocument>);

/// How a value in the flow board's document is read.
#[derive(Clone, Copy)]
pub(in crate::simulation) enum InDocument {
    Pulses,
    Gauge,
    Celsius,
}

pub(in crate::simulation) const SENSORS: &[Described] = &[
    ("COUNTER/C1", Point::PermeateFlow, Some(InDocument::Pulses)),
    (
        "COUNTER/C2",
        Point::ConcentrateFlow,
        Some(InDocument::Pulses),
    ),
    ("ANALOG/A0", Point::FeedPressure, Some(InDocument::Gauge)),
    (
        "DS18B20/Temperature",
        Point::FeedTemperature,
        Some(InDocument::Celsius),
    ),
    ("feed_tds", Point::FeedTds, None),
    ("permeate_tds", Point::PermeateTds, None),
    ("product_tds", Point::ProductTds, None),
    ("inlet_valve", Point::InletValve, None),
];

fn reading_keys(reading: InDocument) -> String {
    match reading {
        InDocument::Pulses => format!(
            "kind = \"pulses\"\npulses_per_litre = {PULSES_PER_LITRE:.0}\nminimum = \"{SLOWEST_PULSES} L/min\"\n"
        ),
        InDocument::Gauge => {
            let steps = f64::from(GAUGE_BITS).exp2() - 1.0;
            format!(
                "unit = \"psi\"\ncalibration = [[{:.1}, 0.0], [{:.1}, {GAUGE_PSI:.1}]]\n",
                0.1 * steps,
                0.9 * steps
            )
        }
        InDocument::Celsius => "unit = \"degC\"\n".to_owned(),
    }
}

const UNIT: &str = r#"[unit.basement]
name = "Basement"
tds_scale = 0.5

[unit.basement.membrane]
rated_flow = "100 gal/d"
rated_pressure = "60 psi"
rated_temperature = "25 degC"
rated_tds = "250 mg/L"
rated_recovery = 0.15
rated_rejection = 0.96

[unit.basement.storage]
kind = "open"

[[unit.basement.stage]]
id = "sediment"
kind = "sediment"
life = "15000 L"
life_time = "180 d"

[[unit.basement.stage]]
id = "carbon_1"
kind = "carbon"
life = "12000 L"
life_time = "180 d"

[[unit.basement.stage]]
id = "carbon_2"
kind = "carbon"
life = "12000 L"
life_time = "180 d"

[[unit.basement.stage]]
id = "membrane"
kind = "membrane"
life_time = "730 d"

[[unit.basement.stage]]
id = "mixed_bed"
kind = "mixed_bed"
life = "2000 L"
"#;
