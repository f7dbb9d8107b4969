//! What the sensors of a unit send while it makes water as usual: invented but sensible readings,
//! put into the words of each sensor.

use std::time::Duration;

use crate::{
    config::{
        Conversion, CountConversion, Curve, Measure, Point, RateConversion, SensorSettings,
        UnitSettings,
    },
    core::Observation,
    quantity::{Conductivity, Flow, Pressure, Quantity, Tds},
};

/// A membrane in service gives less than its rating: water is colder than in the test.
const SHARE_OF_RATED: f64 = 0.8;
/// 50 gal/d, a small element, where no rating is configured.
const UNRATED_L_PER_MIN: f64 = 0.13;
/// The usual "4:1" of home units, where no ratio is configured.
const WASTE_RATIO: f64 = 4.0;
/// Ordinary line pressure, about 60 psi.
const PRESSURE_BAR: f64 = 4.1;
const CELSIUS: f64 = 18.0;
const FEED_TDS: f64 = 200.0;
const PERMEATE_TDS: f64 = 8.0;
const CONCENTRATE_TDS: f64 = 248.0;
const LEVEL_LITRES: f64 = 10.0;

/// The water of a unit in service.
pub(super) struct Usual<'u> {
    unit: &'u UnitSettings,
    permeate: f64,
    concentrate: f64,
    feed_bar: f64,
}

impl<'u> Usual<'u> {
    pub(super) fn of(unit: &'u UnitSettings) -> Self {
        let rated = unit
            .membrane
            .as_ref()
            .map_or(UNRATED_L_PER_MIN, |rating| rating.flow.l_per_min());
        let running = unit.run.start_flow.l_per_min() * 2.0;
        let permeate = within_meter(
            unit,
            Point::PermeateFlow,
            (rated * SHARE_OF_RATED).max(running),
        );
        let ratio = unit.supply.waste_ratio.unwrap_or(WASTE_RATIO);
        let concentrate = within_meter(unit, Point::ConcentrateFlow, permeate * ratio);
        let bar = unit
            .membrane
            .as_ref()
            .map_or(PRESSURE_BAR, |rating| rating.pressure.bar());
        let start_bar = unit.run.start_pressure.map_or(0.0, Pressure::bar);
        Self {
            unit,
            permeate,
            concentrate,
            feed_bar: bar.max(start_bar + 0.1),
        }
    }

    /// What the sensor sends at `age` since the unit began, `step` after the message before.
    pub(super) fn observation(
        &self,
        sensor: &SensorSettings,
        age: Duration,
        step: Duration,
    ) -> Observation {
        let number = match &sensor.measure {
            Measure::Gauge { convert, probe } => {
                let base = within(self.gauge(sensor.at), sensor.plausible);
                // A TDS meter shows its own scale; what is believable is kept as conductivity.
                let scale = probe.as_ref().and_then(|probe| probe.scale);
                let shown = scale.map_or(base, |scale| {
                    scale.tds(Conductivity::from_us_per_cm(base)).mg_per_l()
                });
                raw(convert, shown)
            }
            Measure::Rate { convert, .. } => raw_rate(convert, self.flow(sensor)),
            Measure::Pulses { litres, .. } => {
                counts_per_second(litres, self.flow(sensor)) * age.as_secs_f64()
            }
            Measure::Increments { litres, .. } => {
                counts_per_second(litres, self.flow(sensor)) * step.as_secs_f64()
            }
            Measure::Contact { .. } => {
                return Observation::Contact(matches!(sensor.at, Point::Pump | Point::InletValve));
            }
        };
        Observation::Number(number)
    }

    /// In the base unit; TDS as conductivity.
    fn gauge(&self, point: Point) -> f64 {
        let dissolved = |tds| {
            let tds = Tds::from_mg_per_l(tds);
            self.unit.tds_scale.conductivity(tds).us_per_cm()
        };
        match point {
            Point::SupplyPressure | Point::FeedPressure => self.feed_bar,
            Point::ConcentratePressure => self.feed_bar - 0.1,
            Point::PermeatePressure => 0.1,
            Point::FeedTemperature => CELSIUS,
            Point::FeedTds => dissolved(FEED_TDS),
            Point::PermeateTds | Point::StageTds => dissolved(PERMEATE_TDS),
            Point::ConcentrateTds => dissolved(CONCENTRATE_TDS),
            Point::StorageLevel => LEVEL_LITRES,
            Point::ProductTds
            | Point::FeedFlow
            | Point::PermeateFlow
            | Point::ConcentrateFlow
            | Point::InletValve
            | Point::FlushValve
            | Point::Pump
            | Point::Leak => 0.0,
        }
    }

    /// L/min.
    fn flow(&self, sensor: &SensorSettings) -> f64 {
        let flow = if sensor.at == Point::PermeateFlow {
            self.permeate
        } else if sensor.at == Point::ConcentrateFlow {
            self.concentrate
        } else {
            self.permeate + self.concentrate
        };
        within_range(sensor, flow)
    }
}

fn within(value: f64, plausible: Option<(f64, f64)>) -> f64 {
    plausible.map_or(value, |(low, high)| value.max(low).min(high))
}

/// A flow the unit's meter at the point can see.
fn within_meter(unit: &UnitSettings, point: Point, flow: f64) -> f64 {
    unit.sensors
        .iter()
        .find(|sensor| sensor.at == point && !sensor.spare)
        .map_or(flow, |sensor| within_range(sensor, flow))
}

fn within_range(sensor: &SensorSettings, flow: f64) -> f64 {
    // A calibration that does not begin at nothing gives no less than its beginning.
    let beginning = |curve: &Curve| curve.apply(0.0).max(0.0) * 1.01;
    let (low, high) = match &sensor.measure {
        Measure::Rate {
            convert,
            minimum,
            maximum,
        } => {
            let least = match convert {
                RateConversion::CalibratedFrequency(curve) => beginning(curve),
                RateConversion::Flow(_) | RateConversion::Frequency { .. } => 0.0,
            };
            (minimum.l_per_min().max(least), *maximum)
        }
        Measure::Pulses {
            litres,
            minimum,
            maximum,
            ..
        }
        | Measure::Increments {
            litres,
            minimum,
            maximum,
        } => {
            let least = match litres {
                CountConversion::Calibrated(curve) => beginning(curve),
                CountConversion::Litres(_) => 0.0,
            };
            (minimum.l_per_min().max(least), *maximum)
        }
        Measure::Gauge { .. } | Measure::Contact { .. } => return flow,
    };
    // Kept off the very ends, where rounding on the way through the sensor's unit decides.
    let (low, high) = (low * 1.001, high.l_per_min() * 0.999);
    within(within(flow, Some((low, high))), sensor.plausible)
}

/// The calibration, asked the other way.
fn before(curve: &Curve, calibrated: f64) -> f64 {
    match curve {
        Curve::Linear { scale, offset } => (calibrated - offset) / scale,
        Curve::Piecewise(points) => {
            let turned = points.iter().map(|(from, to)| (*to, *from)).collect();
            Curve::Piecewise(turned).apply(calibrated)
        }
    }
}

fn raw(convert: &Conversion, base: f64) -> f64 {
    before(&convert.curve, convert.unit.from_base(base))
}

fn raw_rate(convert: &RateConversion, l_per_min: f64) -> f64 {
    match convert {
        RateConversion::Flow(conversion) => raw(conversion, Flow::from_l_per_min(l_per_min).base()),
        RateConversion::Frequency { pulses_per_litre } => l_per_min / 60.0 * pulses_per_litre,
        RateConversion::CalibratedFrequency(curve) => before(curve, l_per_min),
    }
}

fn counts_per_second(litres: &CountConversion, l_per_min: f64) -> f64 {
    match litres {
        CountConversion::Litres(litres) => l_per_min / 60.0 / litres,
        CountConversion::Calibrated(curve) => before(curve, l_per_min),
    }
}
