//! What one run tells of the element: its medians, put into the model's terms.

use std::collections::BTreeMap;

use super::learned::coldness;
use crate::{
    config::{Point, UnitSettings},
    core::known::{Basis, Known, Lack},
    metrics::Metric,
    physics::balance,
    quantity::{Conductivity, Flow, Temperature},
};

/// A pressure drop below this is the difference of two gauges' errors, bar.
const LEAST_DROP: f64 = 0.05;
/// The drop along a feed channel grows with this power of the flow through it (reference: ASTM
/// normalisation as told by a university's desalination notes).
const CHANNEL_POWER: f64 = 1.5;

/// What the model takes from a run.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lesson {
    /// See [`coldness`].
    pub x: f64,
    /// ln(Q / NDP).
    pub water: f64,
    /// ln of what stands for the salt permeability.
    pub salt: Option<f64>,
    /// ln of the pressure drop along the feed channel for a flow of 1 L/min.
    pub channel: Option<f64>,
    pub basis: Basis,
}

type Medians<'a> = BTreeMap<&'a str, Known<f64>>;

impl Lesson {
    /// The reason when the run tells nothing.
    pub fn of(steady: &Medians, settings: &UnitSettings) -> Result<Self, Lack> {
        let temperature = median(steady, Metric::FeedTemperature)?;
        if temperature.basis == Basis::Assumed {
            // Without a thermometer a cold winter looks like a worn membrane: better learn nothing.
            return Err(Lack::NoSensor(Point::FeedTemperature));
        }
        let x = coldness(Temperature::from_celsius(temperature.value)).ok_or(Lack::NotPhysical)?;
        let (flow, driving) = (
            median(steady, Metric::PermeateFlow)?,
            median(steady, Metric::NetDrivingPressure)?,
        );
        let water = (flow.value / driving.value).ln();
        if !water.is_finite() {
            return Err(Lack::NotPhysical);
        }
        Ok(Self {
            x,
            water,
            salt: salt(steady, settings, Flow::from_l_per_min(flow.value)),
            channel: channel(steady),
            basis: temperature.basis.max(flow.basis).max(driving.basis),
        })
    }
}

fn median(steady: &Medians, metric: Metric) -> Result<Known<f64>, Lack> {
    steady
        .get(metric.description().name)
        .copied()
        .ok_or(Lack::NotProducing)
}

fn salt(steady: &Medians, settings: &UnitSettings, flow: Flow) -> Option<f64> {
    let conductivity = |metric: Metric| {
        let known = median(steady, metric).ok()?;
        Some(Conductivity::from_us_per_cm(known.value))
    };
    let recovery = median(steady, Metric::Recovery)
        .map(|known| known.value / 100.0)
        .ok()
        .or_else(|| settings.usual_recovery())?;
    let feed_side =
        conductivity(Metric::FeedConductivity)? * balance::log_mean_concentration_factor(recovery)?;
    salt_permeability(flow, feed_side, conductivity(Metric::PermeateConductivity)?)
}

/// ln(B·area) by solution-diffusion: B = J·Cp / (Cfc − Cp). `None` unless salt is seen to pass, and
/// less than all of it.
pub(super) fn salt_permeability(
    flow: Flow,
    feed_side: Conductivity,
    permeate: Conductivity,
) -> Option<f64> {
    let passed = permeate / (feed_side - permeate);
    let value = (flow.l_per_min() * passed).ln();
    value.is_finite().then_some(value)
}

fn channel(steady: &Medians) -> Option<f64> {
    let of = |metric: Metric| Some(median(steady, metric).ok()?.value);
    let drop = of(Metric::FeedPressure)? - of(Metric::ConcentratePressure)?;
    let through = f64::midpoint(of(Metric::FeedFlow)?, of(Metric::ConcentrateFlow)?);
    let value = (drop / through.powf(CHANNEL_POWER)).ln();
    (drop >= LEAST_DROP && value.is_finite()).then_some(value)
}
