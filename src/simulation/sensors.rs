//! Cheap sensors over the truth: coarse steps, a bias of their own, a little noise, all seeded.

use serde::{Deserialize, Serialize};

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

/// What goes wrong with a sensor besides its usual errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// Shows for ever what it showed last; a turbine no longer turns.
    Stuck,
    /// Shows this many times the truth.
    Gain(f64),
    /// What it shows grows by this share of the truth each day; negative: shrinks.
    Drift {
        /// Share a day.
        per_day: f64,
    },
    /// Now and then it shows a multiple of the truth. Not for turbines and contacts.
    Spikes {
        /// Share of the readings that are spikes, 0–1.
        share: f64,
        /// What a spike shows, in multiples of the truth.
        times: f64,
    },
}

/// What a turbine has counted: to go on where it stopped.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Counted {
    litres: f64,
    part: f64,
    count: u32,
}

/// A sensor at a point of the unit.
#[derive(Clone, Debug)]
pub struct Sensor {
    at: Point,
    kind: Kind,
    random: Random,
    fault: Option<Fault>,
    /// When the fault was first met, s.
    failing_since: Option<f64>,
    shown: Option<Reading>,
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
        Self::new(at, kind, Random::new(0))
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
        Self::new(at, kind, random)
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
        Self::new(Point::FeedTemperature, kind, random)
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
        Self::new(at, kind, random)
    }

    /// A contact: valve, pump or leak; elsewhere it stays open.
    #[must_use]
    pub fn contact(at: Point) -> Self {
        Self::new(at, Kind::Contact, Random::new(0))
    }

    fn new(at: Point, kind: Kind, random: Random) -> Self {
        Self {
            at,
            kind,
            random,
            fault: None,
            failing_since: None,
            shown: None,
        }
    }

    /// The same sensor calibrated without error: what is left are its steps and its noise.
    #[must_use]
    pub fn calibrated(mut self) -> Self {
        match &mut self.kind {
            Kind::Ratiometric { bias, .. } | Kind::Thermometer { bias, .. } => *bias = 0.0,
            Kind::TdsMeter { gain, .. } => *gain = 1.0,
            Kind::Pulses { .. } | Kind::Contact => {}
        }
        self
    }

    /// From now on it has this fault, or none.
    pub fn fail(&mut self, fault: Option<Fault>) {
        self.fault = fault;
        self.failing_since = None;
    }

    /// What it has counted; `None` where it counts nothing.
    pub(super) fn counted(&self) -> Option<Counted> {
        match self.kind {
            Kind::Pulses {
                litres_before,
                part,
                count,
                ..
            } => Some(Counted {
                litres: litres_before,
                part,
                count,
            }),
            Kind::Ratiometric { .. }
            | Kind::Thermometer { .. }
            | Kind::TdsMeter { .. }
            | Kind::Contact => None,
        }
    }

    /// Goes on from there; nothing where it counts nothing.
    pub(super) fn go_on_counting(&mut self, counted: Counted) {
        if let Kind::Pulses {
            litres_before,
            part,
            count,
            ..
        } = &mut self.kind
        {
            (*litres_before, *part, *count) = (counted.litres, counted.part, counted.count);
        }
    }

    /// Where it sits.
    #[must_use]
    pub fn at(&self) -> Point {
        self.at
    }

    /// Lets the sensor see the unit; a turbine must see every step.
    pub fn observe(&mut self, truth: &Truth) {
        let gain = match self.fault {
            Some(Fault::Stuck) => 0.0,
            Some(fault) => self.gain(fault, truth.seconds),
            None => 1.0,
        };
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
        let pulses = moved * *per_litre * gain + *part;
        *part = pulses.fract();
        *count = count.wrapping_add(pulses as u32);
    }

    /// What the sensor shows now.
    pub fn read(&mut self, truth: &Truth) -> Reading {
        if let (Some(Fault::Stuck), Some(shown)) = (self.fault, self.shown) {
            return shown;
        }
        let shown = self.sense(truth);
        self.shown = Some(shown);
        shown
    }

    /// What a fault multiplies the truth by at this moment.
    fn gain(&mut self, fault: Fault, seconds: f64) -> f64 {
        let since = *self.failing_since.get_or_insert(seconds);
        match fault {
            Fault::Stuck => 1.0,
            Fault::Gain(gain) => gain,
            Fault::Drift { per_day } => (1.0 + per_day * (seconds - since) / 86_400.0).max(0.0),
            Fault::Spikes { share, times } => match self.kind {
                Kind::Pulses { .. } | Kind::Contact => 1.0,
                // Even in −1 … 1: twice the share of its width.
                _ if self.random.even() < 2.0 * share - 1.0 => times,
                _ => 1.0,
            },
        }
    }

    fn sense(&mut self, truth: &Truth) -> Reading {
        let times = match (self.fault, &self.kind) {
            // A turbine's fault is in what it counted.
            (Some(_), Kind::Pulses { .. }) | (None, _) => 1.0,
            (Some(fault), _) => self.gain(fault, truth.seconds),
        };
        let exact = truth.number(self.at) * times;
        let random = &mut self.random;
        match &mut self.kind {
            Kind::Pulses { count, .. } => Reading::Count(*count),
            Kind::Ratiometric {
                full_scale,
                bias,
                steps,
            } => {
                let share = exact / full_scale.bar() + *bias + 0.001 * random.normal();
                let ratio = (0.1 + 0.8 * share).clamp(0.0, 1.0);
                Reading::Number((ratio * *steps).round(), 0)
            }
            Kind::Thermometer { bias, powering_on } => {
                if std::mem::take(powering_on) {
                    return Reading::Number(85.0, 1);
                }
                let celsius = exact + *bias + 0.03 * random.normal();
                Reading::Number((celsius * 16.0).round() / 16.0, 1)
            }
            Kind::TdsMeter { scale, gain, noise } => {
                let tds = exact * scale.factor() * *gain;
                Reading::Number((tds * (1.0 + *noise * random.normal())).round().max(0.0), 0)
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
            Point::Leak => Some(self.leak),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::DemoUnit;

    const DAY: f64 = 86_400.0;

    fn truth_of(day: f64) -> Truth {
        let start = jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0);
        let mut truth = DemoUnit::new(1, start).plant.truth();
        truth.feed_pressure = Pressure::from_psi(60.0);
        truth.seconds = day * DAY;
        truth
    }

    fn number(sensor: &mut Sensor, truth: &Truth) -> f64 {
        match sensor.read(truth) {
            Reading::Number(value, _) => value,
            Reading::Count(count) => f64::from(count),
            Reading::Closed(_) => panic!("no contact here"),
        }
    }

    /// psi from the raw steps of a 12-bit converter, 10–90 % over 150 psi.
    fn psi(steps: f64) -> f64 {
        (steps / 4095.0 - 0.1) / 0.8 * 150.0
    }

    fn gauge(seed: u64) -> Sensor {
        Sensor::ratiometric(Point::FeedPressure, Pressure::from_psi(150.0), 12, seed)
    }

    #[test]
    fn a_calibrated_sensor_is_right_on_average() {
        for seed in 0..20 {
            let mut gauge = gauge(seed).calibrated();
            let truth = truth_of(0.0);
            let mean = (0..400)
                .map(|_| psi(number(&mut gauge, &truth)))
                .sum::<f64>()
                / 400.0;
            // Noise 0.15 psi: five standard errors of the mean.
            assert!((mean - 60.0).abs() < 0.04, "{mean} psi");
        }
    }

    #[test]
    fn a_stuck_gauge_shows_its_last_value_until_it_is_well() {
        let mut gauge = gauge(3);
        let before = gauge.read(&truth_of(0.0));
        gauge.fail(Some(Fault::Stuck));
        let mut other = truth_of(1.0);
        other.feed_pressure = Pressure::from_psi(20.0);
        assert_eq!(gauge.read(&other), before);
        gauge.fail(None);
        assert!((psi(number(&mut gauge, &other)) - 20.0).abs() < 2.5);
    }

    #[test]
    fn a_drift_begins_when_the_fault_is_met_and_grows_by_the_day() {
        let mut gauge = gauge(3).calibrated();
        gauge.fail(Some(Fault::Drift { per_day: 0.01 }));
        for (day, expected) in [(100.0, 60.0), (110.0, 66.0), (120.0, 72.0)] {
            let shown = psi(number(&mut gauge, &truth_of(day)));
            assert!((shown - expected).abs() < 1.0, "day {day}: {shown} psi");
        }
    }

    #[test]
    fn spikes_are_as_frequent_and_as_high_as_asked() {
        let mut gauge = gauge(3).calibrated();
        gauge.fail(Some(Fault::Spikes {
            share: 0.1,
            times: 2.0,
        }));
        let shown: Vec<f64> = (0..2000)
            .map(|_| psi(number(&mut gauge, &truth_of(0.0))))
            .collect();
        let spikes = shown
            .iter()
            .filter(|psi| (**psi - 120.0).abs() < 1.0)
            .count();
        let usual = shown
            .iter()
            .filter(|psi| (**psi - 60.0).abs() < 1.0)
            .count();
        assert_eq!(spikes + usual, 2000);
        // Binomial: five standard deviations of √(2000 · 0.1 · 0.9) = 13.
        assert!((133..=267).contains(&spikes), "{spikes} of 2000");
    }

    #[test]
    fn a_failing_turbine_counts_too_little_or_nothing_from_then_on() {
        let mut turbine = Sensor::pulses(Point::PermeateFlow, 1000.0, Flow::ZERO);
        let mut truth = truth_of(0.0);
        let mut after = |fault, litres| {
            turbine.fail(fault);
            truth.totals.permeate_litres += litres;
            turbine.observe(&truth);
            number(&mut turbine, &truth)
        };
        assert_eq!(after(None, 2.0), 2000.0);
        assert_eq!(after(Some(Fault::Gain(0.5)), 2.0), 3000.0);
        assert_eq!(after(Some(Fault::Stuck), 5.0), 3000.0);
        assert_eq!(after(None, 1.0), 4000.0, "what passed meanwhile is lost");
    }
}
