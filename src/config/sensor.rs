//! A sensor's settings: where it sits, how its payload becomes a quantity.

use std::time::Duration;

use super::topic::Topic;
use crate::quantity::{Flow, Quantity, TdsScale, Unit};

/// A place in the train where a sensor may sit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Point {
    /// Line pressure at the inlet.
    SupplyPressure,
    /// Pressure at the membrane inlet.
    FeedPressure,
    /// Pressure of the concentrate before the restrictor.
    ConcentratePressure,
    /// Back-pressure on the permeate.
    PermeatePressure,
    /// Temperature of the feed.
    FeedTemperature,
    /// TDS or conductivity of the feed.
    FeedTds,
    /// TDS or conductivity after the membrane, before DI.
    PermeateTds,
    /// TDS or conductivity after the last DI stage.
    ProductTds,
    /// TDS or conductivity after a named stage.
    StageTds,
    /// TDS or conductivity of the concentrate.
    ConcentrateTds,
    /// Flow into the unit.
    FeedFlow,
    /// Flow of permeate.
    PermeateFlow,
    /// Flow of concentrate to the drain.
    ConcentrateFlow,
    /// Contact: the inlet valve is open.
    InletValve,
    /// Contact: the flush valve is open.
    FlushValve,
    /// Contact: the booster pump runs.
    Pump,
    /// Contact: water where it should not be.
    Leak,
    /// Volume in the storage.
    StorageLevel,
}

/// What is sensed at a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sensed {
    /// A yes or no.
    Contact,
    /// TDS or conductivity.
    Dissolved,
    /// Flow (as a rate, a count or increments).
    Flow,
    /// Gauge pressure.
    Pressure,
    /// Temperature.
    Temperature,
    /// A volume that rises and falls.
    Volume,
}

impl Point {
    /// Every point, in the order of the train.
    pub const ALL: [Self; 18] = [
        Self::SupplyPressure,
        Self::FeedPressure,
        Self::ConcentratePressure,
        Self::PermeatePressure,
        Self::FeedTemperature,
        Self::FeedTds,
        Self::PermeateTds,
        Self::ProductTds,
        Self::StageTds,
        Self::ConcentrateTds,
        Self::FeedFlow,
        Self::PermeateFlow,
        Self::ConcentrateFlow,
        Self::InletValve,
        Self::FlushValve,
        Self::Pump,
        Self::Leak,
        Self::StorageLevel,
    ];

    /// As written in the configuration and in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::SupplyPressure => "supply_pressure",
            Self::FeedPressure => "feed_pressure",
            Self::ConcentratePressure => "concentrate_pressure",
            Self::PermeatePressure => "permeate_pressure",
            Self::FeedTemperature => "feed_temperature",
            Self::FeedTds => "feed_tds",
            Self::PermeateTds => "permeate_tds",
            Self::ProductTds => "product_tds",
            Self::StageTds => "stage_tds",
            Self::ConcentrateTds => "concentrate_tds",
            Self::FeedFlow => "feed_flow",
            Self::PermeateFlow => "permeate_flow",
            Self::ConcentrateFlow => "concentrate_flow",
            Self::InletValve => "inlet_valve",
            Self::FlushValve => "flush_valve",
            Self::Pump => "pump",
            Self::Leak => "leak",
            Self::StorageLevel => "storage_level",
        }
    }

    /// What is sensed there.
    #[must_use]
    pub fn sensed(self) -> Sensed {
        match self {
            Self::SupplyPressure
            | Self::FeedPressure
            | Self::ConcentratePressure
            | Self::PermeatePressure => Sensed::Pressure,
            Self::FeedTemperature => Sensed::Temperature,
            Self::FeedTds
            | Self::PermeateTds
            | Self::ProductTds
            | Self::StageTds
            | Self::ConcentrateTds => Sensed::Dissolved,
            Self::FeedFlow | Self::PermeateFlow | Self::ConcentrateFlow => Sensed::Flow,
            Self::InletValve | Self::FlushValve | Self::Pump | Self::Leak => Sensed::Contact,
            Self::StorageLevel => Sensed::Volume,
        }
    }
}

/// A sensor.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorSettings {
    /// Unique in the unit; the point's key unless written (with the stage, and `_spare` for a spare).
    pub id: String,
    /// Where it sits.
    pub at: Point,
    /// For [`Point::StageTds`]: the index of the stage it sits behind.
    pub after_stage: Option<usize>,
    /// MQTT topic, without wildcards.
    pub topic: Topic,
    /// JSON pointer (RFC 6901) to the value in a JSON payload; `None` for a plain value.
    pub pointer: Option<String>,
    /// JSON pointer to the time the value was taken (RFC 3339 or epoch seconds/milliseconds).
    pub time_pointer: Option<String>,
    /// How the value becomes a quantity.
    pub measure: Measure,
    /// How long a value stays fresh.
    pub max_age: Duration,
    /// Lowest and highest believable value, in the base unit of what is measured (flow in L/min
    /// for counts and increments, too).
    pub plausible: Option<(f64, f64)>,
    /// The median of this many values is used: odd, 1–31; 1 uses each as it comes.
    pub smoothing: usize,
    /// Used only while the other sensor at the point gives nothing.
    pub spare: bool,
    /// Where the sensor's firmware tells that it is up or down.
    pub availability: Option<Availability>,
}

impl SensorSettings {
    /// The topics it is heard on: its values', and its firmware's word.
    pub fn topics(&self) -> impl Iterator<Item = &Topic> {
        let availability = self.availability.iter();
        std::iter::once(&self.topic).chain(availability.map(|other| &other.topic))
    }
}

/// A firmware's own word on whether it is there.
#[derive(Clone, Debug, PartialEq)]
pub struct Availability {
    /// MQTT topic, without wildcards.
    pub topic: Topic,
    /// JSON pointer to the word; `None` for a plain payload.
    pub pointer: Option<String>,
    /// The word for up, compared without case.
    pub up: String,
    /// The word for down, compared without case.
    pub down: String,
}

/// How a payload's value becomes a quantity.
#[derive(Clone, Debug, PartialEq)]
pub enum Measure {
    /// A value that stands for itself: pressure, temperature, conductivity, volume in the storage.
    Gauge {
        /// Raw value → base unit.
        convert: Conversion,
        /// For TDS and conductivity probes.
        probe: Option<Probe>,
    },
    /// A flow.
    Rate {
        /// Raw value → L/min.
        convert: RateConversion,
        /// Below this flow the sensor under-reads or stops: "below range", not zero.
        minimum: Flow,
        /// More than this the pipe cannot carry.
        maximum: Flow,
    },
    /// An ever-growing count (or volume), reset and wrapped by its firmware as it pleases.
    Pulses {
        /// Counts → litres.
        litres: CountConversion,
        /// The count at which it starts again at 0, if it does (65536 for a 16-bit counter).
        wrap: Option<f64>,
        /// Below this flow the sensor under-reads or stops.
        minimum: Flow,
        /// More than this the pipe cannot carry.
        maximum: Flow,
    },
    /// Counts since the message before: each message matters.
    Increments {
        /// Counts → litres.
        litres: CountConversion,
        /// Below this flow the sensor under-reads or stops.
        minimum: Flow,
        /// More than this the pipe cannot carry.
        maximum: Flow,
    },
    /// A yes or no.
    Contact {
        /// Words for yes, compared without case.
        on: Vec<String>,
        /// Words for no, compared without case.
        off: Vec<String>,
    },
}

impl Measure {
    /// The unit a number of this sensor may carry in its text.
    #[must_use]
    pub fn unit(&self) -> Option<&'static Unit> {
        match self {
            Self::Gauge { convert, .. }
            | Self::Rate {
                convert: RateConversion::Flow(convert),
                ..
            } => Some(convert.unit),
            Self::Rate { .. }
            | Self::Pulses { .. }
            | Self::Increments { .. }
            | Self::Contact { .. } => None,
        }
    }
}

/// A TDS or conductivity probe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Probe {
    /// The meter shows TDS in this scale; `None` when it shows conductivity.
    pub scale: Option<TdsScale>,
    /// Whether the meter refers its value to 25 °C itself; if not, the feed temperature is used.
    pub compensated: bool,
}

/// Raw value → calibrated raw value.
#[derive(Clone, Debug, PartialEq)]
pub enum Curve {
    /// `raw × scale + offset`.
    Linear {
        /// Factor.
        scale: f64,
        /// Added after the factor, in the sensor's unit.
        offset: f64,
    },
    /// Piecewise linear through at least two (raw, true) points, both strictly rising; the end
    /// pieces are extended.
    Piecewise(Vec<(f64, f64)>),
}

impl Curve {
    /// Leaves the value as it is.
    pub const IDENTITY: Self = Self::Linear {
        scale: 1.0,
        offset: 0.0,
    };

    /// The calibrated value.
    #[must_use]
    pub fn apply(&self, raw: f64) -> f64 {
        match self {
            Self::Linear { scale, offset } => raw * scale + offset,
            Self::Piecewise(points) => {
                let above = points
                    .partition_point(|(from, _)| *from < raw)
                    .clamp(1, points.len() - 1);
                let ((x0, y0), (x1, y1)) = (points[above - 1], points[above]);
                y0 + (raw - x0) * (y1 - y0) / (x1 - x0)
            }
        }
    }
}

/// Raw value → base unit of a quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Conversion {
    /// Calibration, in the sensor's unit.
    pub curve: Curve,
    /// The sensor's unit.
    pub unit: &'static Unit,
}

impl Conversion {
    /// The value in the base unit.
    #[must_use]
    pub fn base(&self, raw: f64) -> f64 {
        self.unit.to_base(self.curve.apply(raw))
    }
}

/// Raw value → flow.
#[derive(Clone, Debug, PartialEq)]
pub enum RateConversion {
    /// The payload is a flow.
    Flow(Conversion),
    /// The payload is a frequency in Hz: this many pulses to a litre.
    Frequency {
        /// Pulses to a litre.
        pulses_per_litre: f64,
    },
    /// The payload is a frequency in Hz, and a calibration gives L/min for it.
    CalibratedFrequency(Curve),
}

impl RateConversion {
    /// The flow.
    #[must_use]
    pub fn flow(&self, raw: f64) -> Flow {
        match self {
            Self::Flow(conversion) => Flow::from_base(conversion.base(raw)),
            Self::Frequency { pulses_per_litre } => {
                Flow::from_l_per_min(raw * 60.0 / pulses_per_litre)
            }
            Self::CalibratedFrequency(_) if raw <= 0.0 => Flow::ZERO,
            Self::CalibratedFrequency(curve) => Flow::from_l_per_min(curve.apply(raw).max(0.0)),
        }
    }
}

/// Counts → litres.
#[derive(Clone, Debug, PartialEq)]
pub enum CountConversion {
    /// One count is this many litres.
    Litres(f64),
    /// A calibration from pulses per second to L/min; needs the time between counts.
    Calibrated(Curve),
}

impl CountConversion {
    /// Litres for `counts` that came in `seconds`.
    #[must_use]
    pub fn litres(&self, counts: f64, seconds: f64) -> f64 {
        match self {
            Self::Litres(litres_per_count) => counts * litres_per_count,
            Self::Calibrated(_) if counts <= 0.0 => 0.0,
            Self::Calibrated(curve) => {
                let seconds = seconds.max(0.001);
                curve.apply(counts / seconds).max(0.0) * seconds / 60.0
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piecewise_curve_meets_its_points_and_extends_its_ends() {
        let curve = Curve::Piecewise(vec![(0.0, 0.0), (10.0, 1.0), (20.0, 4.0)]);
        for (raw, expected) in [
            (0.0, 0.0),
            (5.0, 0.5),
            (10.0, 1.0),
            (15.0, 2.5),
            (20.0, 4.0),
            (30.0, 7.0),
            (-10.0, -1.0),
        ] {
            assert!((curve.apply(raw) - expected).abs() < 1e-12, "{raw}");
        }
    }

    #[test]
    fn a_common_turbine_gives_one_litre_a_minute_at_its_factor() {
        // f[Hz] = 7.5 × Q[L/min] is 450 pulses to the litre, not 7.5 (a known trap).
        let rate = RateConversion::Frequency {
            pulses_per_litre: 450.0,
        };
        assert!((rate.flow(7.5).l_per_min() - 1.0).abs() < 1e-12);
    }
}
