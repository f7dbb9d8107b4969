//! The physics and arithmetic of the trade, as pure functions of typed quantities. Knows no sensor,
//! no run, no clock; decides nothing. What cannot be computed (a driving pressure below zero, a
//! recovery of one, not-a-number) is `None` or not-a-number, never a plausible figure.
//!
//! Every equation names its source where it stands and is held to figures from outside in
//! `tests/reference.rs`.

pub mod ammonia;
pub mod attribution;
pub mod balance;
pub mod carbon;
pub mod carbonate;
pub mod conductivity;
pub mod diffusion;
pub mod driven;
pub mod membrane;
pub mod normal;
pub mod osmosis;
pub mod resin;
pub mod scaling;
pub mod sediment;
pub mod slope;
pub mod statistics;
pub mod swapped;

use crate::quantity::Temperature;

/// Whether water of this temperature can stand in a unit: −5 °C (a sensor's error below freezing)
/// to 60 °C (well above what any element bears). The equations are not extended beyond.
#[must_use]
pub fn is_water_temperature(temperature: Temperature) -> bool {
    (-5.0..=60.0).contains(&temperature.celsius())
}

/// The number, if it is one.
fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// The number, if it is finite and above zero.
fn positive(value: f64) -> Option<f64> {
    finite(value).filter(|value| *value > 0.0)
}

/// The number, if it is finite and not below zero.
fn not_negative(value: f64) -> Option<f64> {
    finite(value).filter(|value| *value >= 0.0)
}

/// A share between nothing and all of it, both excluded.
fn proper_fraction(value: f64) -> Option<f64> {
    (value > 0.0 && value < 1.0).then_some(value)
}
