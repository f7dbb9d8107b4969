//! The train's sensors by their points: what is measured, inferred or assumed at each.

use super::{
    alert::{Alert, Code},
    known::{Finding, Known, Lack},
    meter::MeterState,
    sensor::Sensor,
};
use crate::{
    config::{Measure, Point, Probe, Storage, UnitSettings},
    physics::conductivity,
    quantity::{Conductivity, Flow, Pressure, Quantity, Temperature, Volume},
    time::Mono,
};

/// The sensors of one unit.
#[derive(Clone, Debug)]
pub struct Train {
    sensors: Vec<Sensor>,
    /// For each point: the sensor and its spare.
    places: [(Option<usize>, Option<usize>); Point::ALL.len()],
    /// Whether the three flow meters contradict each other, and nothing tells which is wrong.
    balance_open: bool,
}

impl Train {
    pub(super) fn new(
        settings: &UnitSettings,
        mut meter: impl FnMut(&str) -> MeterState,
        started: Mono,
    ) -> Self {
        let sensors: Vec<Sensor> = settings
            .shared_sensors()
            .map(|sensor| {
                let meter = meter(&sensor.id);
                Sensor::new(sensor, meter, started)
            })
            .collect();
        let mut places = [(None, None); Point::ALL.len()];
        for (index, sensor) in settings.sensors.iter().enumerate() {
            if sensor.at == Point::StageTds {
                continue;
            }
            let place = &mut places[sensor.at as usize];
            if sensor.spare {
                place.1 = Some(index)
            } else {
                place.0 = Some(index)
            }
        }
        Self {
            sensors,
            places,
            balance_open: false,
        }
    }

    /// Takes over what the active alerts cast doubt on.
    pub(super) fn doubt(&mut self, alerts: &[Alert]) {
        for sensor in &mut self.sensors {
            sensor.set_doubt(None);
        }
        self.balance_open = false;
        for alert in alerts.iter().filter(|alert| alert.is_active()) {
            match alert.casts {
                Some((index, doubt)) => {
                    if let Some(sensor) = self.sensors.get_mut(index) {
                        sensor.set_doubt(Some(doubt));
                    }
                }
                None => self.balance_open |= alert.code == Code::BalanceOpen,
            }
        }
    }

    /// Whether the three flow meters contradict each other, and nothing tells which is wrong.
    pub(super) fn is_balance_open(&self) -> bool {
        self.balance_open
    }

    /// Every sensor, in the order of the settings.
    #[must_use]
    pub fn sensors(&self) -> &[Sensor] {
        &self.sensors
    }

    pub(super) fn sensor_mut(&mut self, index: usize) -> Option<&mut Sensor> {
        self.sensors.get_mut(index)
    }

    /// The sensor and the spare at a point.
    pub(super) fn at(&self, point: Point) -> (Option<usize>, Option<usize>) {
        self.places[point as usize]
    }

    /// Whether anything sits at the point.
    pub(super) fn has(&self, point: Point) -> bool {
        self.at(point).0.is_some()
    }

    /// Reads the sensor at a point, its spare when it gives nothing.
    fn read<T>(&self, point: Point, read: impl Fn(&Sensor) -> Result<T, Lack>) -> Finding<T> {
        let (main, spare) = self.at(point);
        let Some(main) = main else {
            return Err(Lack::NoSensor(point));
        };
        read(&self.sensors[main])
            .or_else(|lack| {
                spare
                    .and_then(|spare| read(&self.sensors[spare]).ok())
                    .ok_or(lack)
            })
            .map(Known::measured)
    }

    /// Pressure measured at a point.
    pub(super) fn pressure(&self, point: Point, now: Mono) -> Finding<Pressure> {
        Ok(self
            .read(point, |sensor| sensor.gauge(now))?
            .map(Pressure::from_base))
    }

    /// Feed temperature, measured or configured.
    pub(super) fn temperature(&self, settings: &UnitSettings, now: Mono) -> Finding<Temperature> {
        self.read(Point::FeedTemperature, |sensor| sensor.gauge(now))
            .map(|known| known.map(Temperature::from_base))
            .or_else(|lack| configured(settings.supply.temperature, lack))
    }

    /// Conductivity at 25 °C at a point.
    pub(super) fn conductivity(
        &self,
        point: Point,
        settings: &UnitSettings,
        now: Mono,
    ) -> Finding<Conductivity> {
        let (main, spare) = self.at(point);
        let Some(main) = main else {
            return Err(Lack::NoSensor(point));
        };
        self.conductivity_of(&self.sensors[main], settings, now)
            .or_else(|lack| {
                spare
                    .and_then(|spare| {
                        self.conductivity_of(&self.sensors[spare], settings, now)
                            .ok()
                    })
                    .ok_or(lack)
            })
    }

    /// Conductivity at 25 °C behind a stage, if a sensor sits there.
    pub(super) fn conductivity_of(
        &self,
        sensor: &Sensor,
        settings: &UnitSettings,
        now: Mono,
    ) -> Finding<Conductivity> {
        let Measure::Gauge {
            probe: Some(probe), ..
        } = &sensor.settings().measure
        else {
            return Err(Lack::NoSensor(sensor.settings().at));
        };
        let shown = sensor.gauge(now)?;
        self.at_25(probe, shown, settings, now)
    }

    /// Conductivity at 25 °C that a probe shows, whether it is believed or not.
    pub(super) fn conductivity_shown(
        &self,
        index: usize,
        settings: &UnitSettings,
        now: Mono,
    ) -> Finding<Conductivity> {
        let sensor = &self.sensors[index];
        let Measure::Gauge {
            probe: Some(probe), ..
        } = &sensor.settings().measure
        else {
            return Err(Lack::NoSensor(sensor.settings().at));
        };
        self.at_25(probe, sensor.shown(now)?, settings, now)
    }

    fn at_25(
        &self,
        probe: &Probe,
        shown: f64,
        settings: &UnitSettings,
        now: Mono,
    ) -> Finding<Conductivity> {
        let measured = probe.scale.map_or(shown, |scale| shown / scale.factor());
        if probe.compensated {
            return Ok(Known::measured(Conductivity::from_us_per_cm(measured)));
        }
        let temperature = self.temperature(settings, now)?;
        let at_25 = temperature.map(|temperature| conductivity::at_25(measured, temperature));
        if at_25.value.us_per_cm().is_finite() {
            Ok(at_25)
        } else {
            Err(Lack::NotPhysical)
        }
    }

    /// Feed conductivity, measured or configured.
    pub(super) fn feed_conductivity(
        &self,
        settings: &UnitSettings,
        now: Mono,
    ) -> Finding<Conductivity> {
        self.conductivity(Point::FeedTds, settings, now)
            .or_else(|lack| configured(settings.supply.conductivity, lack))
    }

    /// Pressure at the membrane: measured there; else the line pressure measured before the
    /// filters (inferred: their loss is not known, and a booster pump must not stand between);
    /// else as configured.
    pub(super) fn membrane_pressure(
        &self,
        settings: &UnitSettings,
        now: Mono,
    ) -> Finding<Pressure> {
        let boosted = settings
            .stages
            .iter()
            .any(|stage| stage.kind == crate::config::StageKind::BoosterPump);
        self.pressure(Point::FeedPressure, now)
            .or_else(|lack| {
                if boosted || self.has(Point::FeedPressure) {
                    return Err(lack);
                }
                let line = self
                    .pressure(Point::SupplyPressure, now)
                    .map_err(|other| lack.or(other))?;
                Ok(Known::inferred(line.value))
            })
            .or_else(|lack| configured(settings.supply.pressure, lack))
    }

    /// Back-pressure on the permeate: measured, or what the kind of storage says.
    pub(super) fn back_pressure(&self, settings: &UnitSettings, now: Mono) -> Finding<Pressure> {
        self.pressure(Point::PermeatePressure, now)
            .or_else(|lack| match settings.storage {
                Storage::Open => Ok(Known::measured(Pressure::ZERO)),
                Storage::Unstated => Ok(Known::assumed(Pressure::ZERO)),
                Storage::Pressurised(usual) => usual.map(Known::assumed).ok_or(lack),
            })
    }

    /// Measured flow at a point.
    pub(super) fn flow(&self, point: Point, now: Mono) -> Finding<Flow> {
        self.read(point, |sensor| sensor.flow(now))
    }

    /// Measured flow at a point, as far as it tells whether anything flows.
    pub(super) fn flow_sign(&self, point: Point, now: Mono) -> Finding<Flow> {
        self.read(point, |sensor| sensor.flow_sign(now))
    }

    /// Volume in the storage.
    pub(super) fn volume(&self, point: Point, now: Mono) -> Finding<Volume> {
        Ok(self
            .read(point, |sensor| sensor.gauge(now))?
            .map(Volume::from_base))
    }

    /// A contact's state.
    pub fn contact(&self, point: Point, now: Mono) -> Finding<bool> {
        self.read(point, |sensor| sensor.contact(now))
    }
}

/// A configured constant stands in where no sensor sits, not where one is silent: the owner wants
/// to know the difference.
fn configured<T>(constant: Option<T>, lack: Lack) -> Finding<T> {
    match constant {
        Some(value) if lack.is_permanent() => Ok(Known::assumed(value)),
        Some(_) | None => Err(lack),
    }
}
