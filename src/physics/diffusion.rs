//! Salt through a membrane by solution and diffusion: how salty the permeate of the same membrane
//! becomes when it gives more or less water. Knows no history and no limits.
//!
//! Water is driven by pressure, salt by the difference of concentration: J·Cp = B·(Cfc − Cp), so
//! Cp = B·Cfc / (J + B) (the textbook model of reverse osmosis). The more water, the thinner the salt
//! that came with it: low pressure and back-pressure lower the rejection of a healthy membrane.
//!
//! Here flow stands for flux, so B is in the unit of a flow: that of a square metre times the area.

use super::{
    balance,
    membrane::{OperatingPoint, TemperatureLaw, expected_flow},
    positive,
};
use crate::quantity::{Conductivity, Flow};

/// B·area = Q·Cp / (Cfc − Cp) of a membrane that gives `flow` of `permeate` from `feed_side` (the
/// log-mean of the feed side).
///
/// `None` without flow, or unless salt is seen to pass, and less than all of it.
#[must_use]
pub fn salt_permeability(
    flow: Flow,
    feed_side: Conductivity,
    permeate: Conductivity,
) -> Option<Flow> {
    let passed = positive(permeate.us_per_cm())? / positive((feed_side - permeate).us_per_cm())?;
    positive(flow.l_per_min())?;
    positive((flow * passed).l_per_min()).map(Flow::from_l_per_min)
}

/// Cp = B·Cfc / (Q + B) of a membrane of this `permeability` (B·area) that gives `flow`.
///
/// `None` unless all are finite and above zero.
#[must_use]
pub fn permeate(flow: Flow, feed_side: Conductivity, permeability: Flow) -> Option<Conductivity> {
    let permeability = positive(permeability.l_per_min())?;
    let share = permeability / (positive(flow.l_per_min())? + permeability);
    positive(feed_side.us_per_cm() * share).map(Conductivity::from_us_per_cm)
}

/// What a membrane gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Yield {
    /// Permeate flow.
    pub flow: Flow,
    /// Permeate's conductivity; `None` where the salt cannot be told.
    pub permeate: Option<Conductivity>,
}

/// What a membrane that gives `actual` at `at` gives under the conditions of `asked`, whose permeate
/// is disregarded: the flow by [`expected_flow`] and `water`, the salt by a permeability that changes
/// with temperature alone, by `salt`.
///
/// The permeate's own osmotic pressure is taken at the salt passage of `at`. It is a hundredth of a
/// bar or two: up to 2 % of the flow where back-pressure leaves hardly any driving pressure, nothing
/// elsewhere.
///
/// `None` without flow or when either point has no net driving pressure.
#[must_use]
pub fn same_membrane(
    actual: Flow,
    at: &OperatingPoint,
    asked: &OperatingPoint,
    water: &TemperatureLaw,
    salt: &TemperatureLaw,
) -> Option<Yield> {
    let passage = balance::salt_passage(at.feed, at.permeate)?;
    let asked = OperatingPoint {
        permeate: asked.feed * passage,
        ..*asked
    };
    let flow = expected_flow(actual, at, &asked, water)?;
    let warmer = salt.correction(asked.temperature) / salt.correction(at.temperature);
    let permeate = salt_permeability(actual, at.feed_side_average()?, at.permeate)
        .and_then(|salt| permeate(flow, asked.feed_side_average()?, salt * warmer));
    Some(Yield { flow, permeate })
}
