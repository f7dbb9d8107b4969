//! Configuration: the file as typed → resolved settings that cannot be wrong. All problems are
//! found at once, each pointing at its file, line and key.

mod sensor;
mod settings;

pub use sensor::{
    Availability, Conversion, CountConversion, Curve, Measure, Point, Probe, RateConversion,
    Sensed, SensorSettings,
};
pub use settings::{
    AlertSettings, Broker, Limit, Membrane, Publish, RunSettings, Settings, StageKind,
    StageSettings, StageWater, Storage, Store, Supply, Tls, UnitSettings,
};
