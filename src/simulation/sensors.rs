//! Cheap sensors over the truth: coarse steps, a bias of their own, a little noise, all seeded.

use super::random::Random;
use super::truth::Truth;
use crate::config::Point;
use crate::quantity::{Flow, Pressure, Quantity, TdsScale};

/// What a sensor gives its firmware.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// Pulses since power-on.
    Count(u32),
    /// A number and the decimals it is shown with.
    Number(f64, usize),
    /// A contact.
    Closed(bool),
}

/// A sensor at a point of the unit.
#[derive(Clone, Debug)]
pub struct Sensor {
    at: Point,
    kind: Kind,
    random: Random,
}

#[derive(Clone, Debug)]
enum Kind {
    Pulses {
        per_litre: f64,
        minimum: Flow,
        litres_before: f64,
        part: f64,
        count: u32,
    },
    Ratiometric {
        full_scale: Pressure,
        bias: f64,
        steps: f64,
    },
    Thermometer {
        bias: f64,
        powering_on: bool,
    },
    TdsMeter {
        scale: TdsScale,
        gain: f64,
        noise: f64,
    },
    Contact,
}

impl Sensor {
    /// A turbine that gives `per_litre` pulses, and none below `minimum`. The count is 32 bits
    /// wide, starts at 0 and wraps. For the three flows; elsewhere it stays at 0.
    #[must_use]
    pub fn pulses(at: Point, per_litre: f64, minimum: Flow) -> Self {
        let kind = Kind::Pulses {
            per_litre,
            minimum,
            litres_before: 0.0,
            part: 0.0,
            count: 0,
        };
        Self::new(at, kind, 0)
    }

    /// A ratiometric gauge (10 % to 90 % of its supply over the full scale) read by a converter of
    /// `bits`: gives raw steps. Bias up to ±1 % of full scale, noise 0.1 %. For the pressures.
    #[must_use]
    pub fn ratiometric(at: Point, full_scale: Pressure, bits: u32, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let kind = Kind::Ratiometric {
            full_scale,
            bias: 0.01 * random.even(),
            steps: f64::from(bits).exp2() - 1.0,
        };
        Self { at, kind, random }
    }

    /// A digital thermometer with steps of 0.0625 °C and a bias up to ±0.5 °C; its first value
    /// after a power cut is 85 °C.
    #[must_use]
    pub fn thermometer(seed: u64) -> Self {
        let mut random = Random::new(seed);
        let kind = Kind::Thermometer {
            bias: 0.5 * random.even(),
            powering_on: false,
        };
        Self {
            at: Point::FeedTemperature,
            kind,
            random,
        }
    }

    /// A TDS meter that compensates temperature itself: steps of 1 mg/L on `scale`, a gain error
    /// up to ±2 % and `noise` (0.02 = 2 %) of the value.
    #[must_use]
    pub fn tds_meter(at: Point, scale: TdsScale, noise: f64, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let kind = Kind::TdsMeter {
            scale,
            gain: 1.0 + 0.02 * random.even(),
            noise,
        };
        Self { at, kind, random }
    }

    /// A contact: valve, pump or leak; elsewhere it stays open.
    #[must_use]
    pub fn contact(at: Point) -> Self {
        Self::new(at, Kind::Contact, 0)
    }

    fn new(at: Point, kind: Kind, seed: u64) -> Self {
        Self {
            at,
            kind,
            random: Random::new(seed),
        }
    }

    /// Where it sits.
    #[must_use]
    pub fn at(&self) -> Point {
        self.at
    }

    /// Lets the sensor see the unit; a turbine must see every step.
    pub fn observe(&mut self, truth: &Truth) {
        let Kind::Pulses {
            per_litre,
            minimum,
            litres_before,
            part,
            count,
        } = &mut self.kind
        else {
            return;
        };
        let Some((litres, flow)) = truth.litres_and_flow(self.at) else {
            return;
        };
        let moved = litres - *litres_before;
        *litres_before = litres;
        // At the end of a run the flow is already zero but the water did pass.
        if flow > Flow::ZERO && flow < *minimum {
            return;
        }
        let pulses = moved * *per_litre + *part;
        *part = pulses.fract();
        *count = count.wrapping_add(pulses as u32);
    }

    /// What the sensor shows now.
    pub fn read(&mut self, truth: &Truth) -> Reading {
        let random = &mut self.random;
        match &mut self.kind {
            Kind::Pulses { count, .. } => Reading::Count(*count),
            Kind::Ratiometric {
                full_scale,
                bias,
                steps,
            } => {
                let share =
                    truth.number(self.at) / full_scale.bar() + *bias + 0.001 * random.normal();
                let ratio = (0.1 + 0.8 * share).clamp(0.0, 1.0);
                Reading::Number((ratio * *steps).round(), 0)
            }
            Kind::Thermometer { bias, powering_on } => {
                if std::mem::take(powering_on) {
                    return Reading::Number(85.0, 1);
                }
                let celsius = truth.number(self.at) + *bias + 0.03 * random.normal();
                Reading::Number((celsius * 16.0).round() / 16.0, 1)
            }
            Kind::TdsMeter { scale, gain, noise } => {
                let exact = truth.number(self.at) * scale.factor() * *gain;
                Reading::Number(
                    (exact * (1.0 + *noise * random.normal())).round().max(0.0),
                    0,
                )
            }
            Kind::Contact => Reading::Closed(truth.contact(self.at) == Some(true)),
        }
    }

    /// Power comes back: counts start again, a thermometer shows its power-on value once.
    pub fn power_on(&mut self) {
        match &mut self.kind {
            Kind::Pulses { count, part, .. } => (*count, *part) = (0, 0.0),
            Kind::Thermometer { powering_on, .. } => *powering_on = true,
            Kind::Ratiometric { .. } | Kind::TdsMeter { .. } | Kind::Contact => {}
        }
    }
}

impl Truth {
    /// The true value at a point that gives a number, in the quantity's base unit (flows: L/min;
    /// contacts: 1 or 0).
    #[must_use]
    pub fn number(&self, at: Point) -> f64 {
        match at {
            Point::SupplyPressure => self.supply_pressure.base(),
            Point::FeedPressure => self.feed_pressure.base(),
            Point::ConcentratePressure => self.concentrate_pressure.base(),
            Point::PermeatePressure => self.permeate_pressure.base(),
            Point::FeedTemperature => self.feed_temperature.base(),
            Point::FeedTds => self.feed_conductivity.base(),
            Point::PermeateTds => self.permeate_conductivity.base(),
            Point::ProductTds | Point::StageTds => self.product_conductivity.base(),
            Point::ConcentrateTds => self.concentrate_conductivity.base(),
            Point::FeedFlow | Point::PermeateFlow | Point::ConcentrateFlow => self
                .litres_and_flow(at)
                .map_or(0.0, |(_, flow)| flow.base()),
            Point::StorageLevel => self.storage.base(),
            Point::InletValve | Point::FlushValve | Point::Pump | Point::Leak => {
                f64::from(u8::from(self.contact(at) == Some(true)))
            }
        }
    }

    /// `None` where no contact sits.
    fn contact(&self, at: Point) -> Option<bool> {
        match at {
            Point::InletValve => Some(self.inlet_open),
            Point::FlushValve => Some(self.flush_open),
            Point::Pump => Some(self.pump_runs),
            Point::Leak => Some(false),
            _ => None,
        }
    }

    /// Litres since the start and the flow now; `None` where no flow is sensed.
    fn litres_and_flow(&self, at: Point) -> Option<(f64, Flow)> {
        match at {
            Point::FeedFlow => Some((self.totals.feed_litres, self.feed_flow)),
            Point::PermeateFlow => Some((self.totals.permeate_litres, self.permeate_flow)),
            Point::ConcentrateFlow => Some((self.totals.concentrate_litres, self.concentrate_flow)),
            _ => None,
        }
    }
}
