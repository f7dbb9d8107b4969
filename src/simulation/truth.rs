//! What is really so in the simulated unit: the yardstick for what the daemon makes of the sensors.

use serde::{Deserialize, Serialize};

use super::plant::{Phase, Plant};
use super::resin::Resin;
use super::water::conductivity;
use crate::quantity::{Conductivity, Flow, Pressure, Temperature, Volume};

/// Ever-growing sums since the start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Totals {
    /// Water in, L.
    pub feed_litres: f64,
    /// Permeate, L.
    pub permeate_litres: f64,
    /// Concentrate to the drain (flush and leak included), L.
    pub concentrate_litres: f64,
    /// Drawn from the storage, L.
    pub drawn_litres: f64,
    /// Salt in, mg of NaCl.
    pub feed_mg: f64,
    /// Salt that left with the permeate, before DI, mg.
    pub permeate_mg: f64,
    /// Salt that left with the concentrate, mg.
    pub concentrate_mg: f64,
    /// Salt in the product, after DI, mg.
    pub product_mg: f64,
    /// Salt held in the element beyond what it held at the start, mg.
    pub held_mg: f64,
}

/// Everything that is true at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Since the start, s.
    pub seconds: f64,
    /// What the unit does.
    pub phase: Phase,
    /// Mains pressure.
    pub supply_pressure: Pressure,
    /// At the membrane inlet; zero while shut off.
    pub feed_pressure: Pressure,
    /// Before the restrictor.
    pub concentrate_pressure: Pressure,
    /// On the permeate.
    pub permeate_pressure: Pressure,
    /// Of the water in the unit.
    pub feed_temperature: Temperature,
    /// Into the unit.
    pub feed_flow: Flow,
    /// Through the membrane.
    pub permeate_flow: Flow,
    /// To the drain.
    pub concentrate_flow: Flow,
    /// Of the mains, mg/L of NaCl.
    pub feed_mg_per_l: f64,
    /// Of the mains, at 25 °C.
    pub feed_conductivity: Conductivity,
    /// At the permeate outlet, before DI: creeps while standing.
    pub permeate_conductivity: Conductivity,
    /// What the membrane makes at this moment, before it mixes with what its outlet held; `None`
    /// while standing.
    pub membrane_conductivity: Option<Conductivity>,
    /// At the drain.
    pub concentrate_conductivity: Conductivity,
    /// After DI (or the permeate's, without DI).
    pub product_conductivity: Conductivity,
    /// Rejection of the membrane at this moment on the feed, by mass, 0–1; `None` while standing.
    pub rejection: Option<f64>,
    /// A at this temperature and age, L/(m²·h·bar).
    pub water_permeability: f64,
    /// B at this temperature and age, L/(m²·h).
    pub salt_permeability: f64,
    /// A over A when new, at the same temperature.
    pub water_permeability_of_new: f64,
    /// B over B when new, at the same temperature.
    pub salt_permeability_of_new: f64,
    /// In the storage.
    pub storage: Volume,
    /// Taken up by the DI cartridge, meq.
    pub resin_taken_meq: f64,
    /// The inlet valve is open.
    pub inlet_open: bool,
    /// The flush valve is open.
    pub flush_open: bool,
    /// A booster pump runs.
    pub pump_runs: bool,
    /// Water lies under the unit.
    pub leak: bool,
    /// Sums since the start.
    pub totals: Totals,
}

impl Plant {
    /// What is really so at this moment.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let parameters = &self.parameters;
        let element = &parameters.element;
        let (running, separated) = (self.phase != Phase::Standing, self.now.separated);
        let feed_mg_per_l = parameters.supply.mg_per_l(parameters.seed, self.seconds);
        let at = |mg_per_l| Conductivity::from_us_per_cm(conductivity(mg_per_l));
        let permeability = element.permeability(self.celsius, &self.wear);
        let made = running.then_some(separated.permeate_mg_per_l);
        Truth {
            seconds: self.seconds,
            phase: self.phase,
            supply_pressure: Pressure::from_bar(
                parameters.supply.bar(parameters.seed, self.seconds),
            ),
            feed_pressure: Pressure::from_bar(self.now.feed_bar),
            concentrate_pressure: Pressure::from_bar(separated.concentrate_bar),
            permeate_pressure: parameters.back_pressure,
            feed_temperature: Temperature::from_celsius(self.celsius),
            feed_flow: Flow::from_l_per_h(self.now.feed_l_per_h),
            permeate_flow: Flow::from_l_per_h(separated.permeate_l_per_h),
            concentrate_flow: Flow::from_l_per_h(separated.concentrate_l_per_h),
            feed_mg_per_l,
            feed_conductivity: at(feed_mg_per_l),
            permeate_conductivity: at(self.held.permeate_side),
            membrane_conductivity: made.map(at),
            concentrate_conductivity: at(self.held.feed_side),
            product_conductivity: at(self.held.permeate_side * self.product_passing),
            rejection: made.map(|mg_per_l| 1.0 - mg_per_l / feed_mg_per_l),
            water_permeability: permeability.water,
            salt_permeability: permeability.salt,
            water_permeability_of_new: element.water_left(&self.wear),
            salt_permeability_of_new: element.salt_left(&self.wear),
            storage: parameters.container.contents,
            resin_taken_meq: parameters.resin.as_ref().map_or(0.0, Resin::taken_meq),
            inlet_open: running,
            flush_open: self.phase == Phase::Flushing,
            pump_runs: running && parameters.booster > Pressure::ZERO,
            leak: self.leak,
            totals: Totals {
                held_mg: self.held_mg() - self.first_held_mg,
                ..self.totals
            },
        }
    }
}
