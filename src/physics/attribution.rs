//! Who took the water: a flow short of its rating, split among its causes so that the parts add up
//! to the whole. Knows no limits and gives no advice.
//!
//! The split is the additive logarithmic-mean Divisia one ("LMDI-I"; Ang, Energy Policy 33 (2005)
//! 867): for V = x₁·x₂·… the part of factor x in V' − V is L(V', V)·ln(x'/x), with L the
//! logarithmic mean. As L(V', V)·ln(V'/V) is V' − V itself, the parts add up without a remainder,
//! and to exchange the two states only turns the signs.

use super::{
    driven::Driven,
    finite,
    membrane::{OperatingPoint, TemperatureLaw},
    positive,
};
use crate::quantity::Flow;

/// The logarithmic mean (a − b) / ln(a / b), which is `a` for a = b; between the geometric and the
/// arithmetic mean.
///
/// `None` unless both are finite and above zero.
#[must_use]
pub fn log_mean(a: f64, b: f64) -> Option<f64> {
    let (a, b) = (positive(a)?, positive(b)?);
    let middle = a / 2.0 + b / 2.0;
    // ln(a / b) = 2·artanh(d), so L = middle · d / artanh(d).
    let d = (a / 2.0 - b / 2.0) / middle;
    if d.abs() < 0.01 {
        // 0/0 for a = b; the next term is below 1e-17.
        let d2 = d * d;
        let series = 1.0 - d2 * (1.0 / 3.0 + d2 * (4.0 / 45.0 + d2 * (44.0 / 945.0)));
        return positive(middle * series);
    }
    positive((a - b) / (a.ln() - b.ln()))
}

/// What each factor of a product adds to `reference − actual`; above zero where the factor is
/// smaller now than in the reference. Each factor is given as (actual, reference). The parts add up
/// to `reference − actual` when both are the products of their factors, up to the same constant.
///
/// `None` unless everything is finite and above zero.
#[must_use]
pub fn split<const N: usize>(
    actual: f64,
    reference: f64,
    factors: [(f64, f64); N],
) -> Option<[f64; N]> {
    let weight = log_mean(actual, reference)?;
    let mut parts = [0.0; N];
    for (part, (now, then)) in parts.iter_mut().zip(factors) {
        *part = finite(weight * (positive(then)? / positive(now)?).ln())?;
    }
    Some(parts)
}

/// Why a membrane gives less than its rating: parts of `total`, above zero where they cost water,
/// below where they give some. They add up to `total`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shortfall {
    /// Rated less actual flow.
    pub total: Flow,
    /// Feed pressure below the rating's.
    pub pressure: Flow,
    /// Pressure on the permeate, and half the pressure drop along the feed channel.
    pub back_pressure: Flow,
    /// Osmotic pressure: salts in the feed, made stronger by recovery. The little that osmosis itself
    /// changes with temperature is in here.
    pub salinity: Flow,
    /// Colder water than the rating's, by the temperature law.
    pub temperature: Flow,
    /// What is left: the membrane passes less than it was rated for at the same conditions.
    pub membrane: Flow,
}

/// Splits what the flow lacks of `rated` (under the conditions `rating`) by Q = A · NDP · TCF, as
/// [`split`] does.
///
/// Inside NDP = Pf − Pp − ΔP/2 − Δπ the causes are added, not multiplied. NDP as a whole takes
/// L(Q, Qr)·ln(NDPr/NDP), and ln(NDPr/NDP) = (NDPr − NDP) / L(NDP, NDPr), so that a term which
/// changed by Δt takes L(Q, Qr)·Δt / L(NDP, NDPr): every bar weighs the same. That adds up as
/// before, and nothing blows up where terms cancel and NDP stays, as it would if NDP's part were
/// shared out in the ratio Δt / ΔNDP.
///
/// `None` without flow or rating, or when either point has no net driving pressure.
#[must_use]
pub fn shortfall(
    actual: Flow,
    at: &OperatingPoint,
    rated: Flow,
    rating: &OperatingPoint,
    law: &TemperatureLaw,
) -> Option<Shortfall> {
    shortfall_of(
        actual,
        &Driven::new(*at, law)?,
        rated,
        &Driven::new(*rating, law)?,
    )
}

/// [`shortfall`] for points that are worked out already.
#[must_use]
pub fn shortfall_of(
    actual: Flow,
    driven: &Driven,
    rated: Flow,
    rated_driven: &Driven,
) -> Option<Shortfall> {
    let (flow, rated_flow) = (actual.l_per_min(), rated.l_per_min());
    let (at, rating) = (&driven.point, &rated_driven.point);
    let (driving, rated_driving) = (driven.driving.bar(), rated_driven.driving.bar());
    let (correction, rated_correction) = (driven.correction, rated_driven.correction);
    let [temperature, membrane] = split(
        flow,
        rated_flow,
        [
            (correction, rated_correction),
            (
                flow / (driving * correction),
                rated_flow / (rated_driving * rated_correction),
            ),
        ],
    )?;
    let per_bar = log_mean(flow, rated_flow)? / log_mean(driving, rated_driving)?;
    let osmotic = driven.osmotic - rated_driven.osmotic;
    let against = at.permeate_pressure - rating.permeate_pressure
        + (at.pressure_drop - rating.pressure_drop) / 2.0;
    let lost = rating.feed_pressure - at.feed_pressure;
    let of = |bar: f64| finite(per_bar * bar).map(Flow::from_l_per_min);
    Some(Shortfall {
        total: rated - actual,
        pressure: of(lost.bar())?,
        back_pressure: of(against.bar())?,
        salinity: of(osmotic.bar())?,
        temperature: Flow::from_l_per_min(temperature),
        membrane: Flow::from_l_per_min(membrane),
    })
}
