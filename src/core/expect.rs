//! The forward question: what the element as it is would give under other conditions. Takes the
//! figures of a settled run and what the membrane's runs have taught; no I/O, no clock, no words.

use std::collections::BTreeMap;

use super::{
    known::{Basis, Known},
    membrane::MembraneState,
    performance::{REJECTION_FOR_OSMOSIS, rating_point},
};
use crate::{
    config::{Point, StageKind, Storage, UnitSettings},
    metrics::Metric,
    physics::{
        attribution::{self, Shortfall},
        balance, diffusion,
        membrane::{OperatingPoint, TemperatureLaw},
        normal::BAND_95,
    },
    quantity::{Conductivity, Flow, Pressure, Temperature},
};

/// The medians of a settled run, by the names of the metrics.
pub type Figures = BTreeMap<String, Known<f64>>;

/// What is to be different; everything else stays as it is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Asked {
    /// At the membrane inlet.
    pub pressure: Option<Pressure>,
    /// On the permeate.
    pub back_pressure: Option<Pressure>,
    /// Of the feed.
    pub temperature: Option<Temperature>,
    /// Of the feed.
    pub feed: Option<Conductivity>,
    /// Share of the feed that becomes permeate, 0–1, both excluded.
    pub recovery: Option<f64>,
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoAnswer {
    /// The run tells nothing of it, and nothing configured stands in.
    #[error("the run does not tell the {0}")]
    Unknown(&'static str),
    /// The run's figures cannot be.
    #[error("the figures of the run give no net driving pressure")]
    PresentNotPhysical,
    /// What is asked for drives no water.
    #[error(
        "under these conditions no water passes: back-pressure and osmosis take all of the pressure"
    )]
    NoDrivingPressure,
}

/// Conditions and what the element gives under them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// The conditions.
    pub point: OperatingPoint,
    /// Permeate flow.
    pub flow: Flow,
    /// Permeate's conductivity; `None` where nothing measures it.
    pub permeate: Option<Conductivity>,
    /// What the flow lacks of the rating, by cause; `None` without a rating.
    pub shortfall: Option<Shortfall>,
}

impl Outlook {
    /// Rejection on the feed, 0–1.
    #[must_use]
    pub fn rejection(&self) -> Option<f64> {
        balance::rejection(self.point.feed, self.permeate?)
    }

    /// Flow to the drain.
    #[must_use]
    pub fn waste(&self) -> Option<Flow> {
        Some(self.flow * balance::waste_ratio(self.point.recovery)?)
    }
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Expectation {
    /// The element in the run.
    pub present: Outlook,
    /// The element as asked.
    pub asked: Outlook,
    /// Half the width of the 95 % band of the flow as asked: of what is not known of the response to
    /// temperature, and of the scatter of one run.
    pub margin: Flow,
    /// What of the present conditions was not measured, and how it was got.
    pub unmeasured: Vec<(&'static str, Basis)>,
}

/// Answers for the run's `figures` and the `membrane` as its runs have taught it.
///
/// # Errors
/// When the run does not tell enough, or no water would pass.
pub fn expect(
    settings: &UnitSettings,
    figures: &Figures,
    membrane: &MembraneState,
    asked: &Asked,
) -> Result<Expectation, NoAnswer> {
    let present = Present::of(settings, figures)?;
    let at = present.point;
    at.net_driving_pressure()
        .ok_or(NoAnswer::PresentNotPhysical)?;
    let then = OperatingPoint {
        feed_pressure: asked.pressure.unwrap_or(at.feed_pressure),
        permeate_pressure: asked.back_pressure.unwrap_or(at.permeate_pressure),
        temperature: asked.temperature.unwrap_or(at.temperature),
        feed: asked.feed.unwrap_or(at.feed),
        recovery: asked.recovery.unwrap_or(at.recovery),
        ..at
    };
    let law = membrane.law();
    let found = diffusion::same_membrane(present.flow, &at, &then, &law, &membrane.salt_law())
        .ok_or(NoAnswer::NoDrivingPressure)?;
    let spread = membrane
        .spread_of_flow(at.temperature, then.temperature)
        .ok_or(NoAnswer::PresentNotPhysical)?;
    let salt_measured = |permeate: Option<Conductivity>| permeate.filter(|_| present.sees_salt);
    let outlook = |point: OperatingPoint, flow, permeate| Outlook {
        point,
        flow,
        permeate: salt_measured(permeate),
        shortfall: shortfall(settings, flow, &point, &law),
    };
    Ok(Expectation {
        present: outlook(at, present.flow, Some(at.permeate)),
        asked: outlook(then, found.flow, found.permeate),
        margin: found.flow * (BAND_95 * spread).exp_m1(),
        unmeasured: present.unmeasured,
    })
}

fn shortfall(
    settings: &UnitSettings,
    flow: Flow,
    at: &OperatingPoint,
    law: &TemperatureLaw,
) -> Option<Shortfall> {
    let rating = settings.membrane.as_ref()?;
    attribution::shortfall(flow, at, rating.flow, &rating_point(rating), law)
}

/// The conditions of the run, with the same stand-ins for what is not measured as while it ran.
struct Present {
    flow: Flow,
    point: OperatingPoint,
    sees_salt: bool,
    unmeasured: Vec<(&'static str, Basis)>,
}

impl Present {
    fn of(settings: &UnitSettings, figures: &Figures) -> Result<Self, NoAnswer> {
        let median = |metric: Metric| figures.get(metric.description().name).copied();
        let need = |name, value: Option<Known<f64>>| {
            value
                .map(|known| (name, known))
                .ok_or(NoAnswer::Unknown(name))
        };
        let flow = need("permeate flow", median(Metric::PermeateFlow))?;
        let pressure = need("feed pressure", feed_pressure(settings, median))?;
        let back = need("back-pressure", back_pressure(settings, median))?;
        let temperature = need("feed temperature", median(Metric::FeedTemperature))?;
        let feed = need("feed TDS", median(Metric::FeedConductivity))?;
        let recovery = median(Metric::Recovery).map(|known| known.map(|per_cent| per_cent / 100.0));
        let usual = settings.usual_recovery().map(Known::assumed);
        let recovery = need("recovery", recovery.or(usual))?;
        let permeate = median(Metric::PermeateConductivity);
        let drop = match (
            median(Metric::FeedPressure),
            median(Metric::ConcentratePressure),
        ) {
            (Some(before), Some(behind)) => (before.value - behind.value).max(0.0),
            (None, _) | (_, None) => 0.0,
        };
        let unmeasured = [flow, pressure, back, temperature, feed, recovery]
            .into_iter()
            .filter(|(_, known)| known.basis != Basis::Measured)
            .map(|(name, known)| (name, known.basis))
            .collect();
        let feed = Conductivity::from_us_per_cm(feed.1.value);
        Ok(Self {
            flow: Flow::from_l_per_min(flow.1.value),
            point: OperatingPoint {
                feed_pressure: Pressure::from_bar(pressure.1.value),
                pressure_drop: Pressure::from_bar(drop),
                permeate_pressure: Pressure::from_bar(back.1.value),
                temperature: Temperature::from_celsius(temperature.1.value),
                feed,
                permeate: permeate.map_or(feed * (1.0 - REJECTION_FOR_OSMOSIS), |known| {
                    Conductivity::from_us_per_cm(known.value)
                }),
                recovery: recovery.1.value,
            },
            sees_salt: permeate.is_some(),
            unmeasured,
        })
    }
}

/// As the train has it: at the membrane; else the line's, with no booster pump between; else as
/// configured.
fn feed_pressure(
    settings: &UnitSettings,
    median: impl Fn(Metric) -> Option<Known<f64>>,
) -> Option<Known<f64>> {
    let has = |point| settings.sensors.iter().any(|sensor| sensor.at == point);
    if let Some(measured) = median(Metric::FeedPressure) {
        return Some(measured);
    }
    if has(Point::FeedPressure) {
        return None;
    }
    let boosted = settings
        .stages
        .iter()
        .any(|stage| stage.kind == StageKind::BoosterPump);
    if has(Point::SupplyPressure) && !boosted {
        let line = median(Metric::SupplyPressure)?;
        return Some(line.at_best(Basis::Inferred));
    }
    let configured = settings.supply.pressure.map(Pressure::bar);
    configured.map(Known::assumed)
}

fn back_pressure(
    settings: &UnitSettings,
    median: impl Fn(Metric) -> Option<Known<f64>>,
) -> Option<Known<f64>> {
    median(Metric::PermeatePressure).or(match settings.storage {
        Storage::Open => Some(Known::measured(0.0)),
        Storage::Unstated => Some(Known::assumed(0.0)),
        Storage::Pressurised(usual) => usual.map(Pressure::bar).map(Known::assumed),
    })
}
