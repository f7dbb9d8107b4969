//! The checks against the world: equations, tables and worked examples from outside the project,
//! each with its source named beside it.
//!
//! "Calculated" names a figure worked out apart from this program, with the library named or by
//! closed form; "from memory" one whose source could not be opened. Tolerances: 1e-6 or half the
//! last printed digit, wider only where the source itself is rounded, and then said.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "reference/ammonia.rs"]
mod ammonia;
#[path = "reference/attribution.rs"]
mod attribution;
#[path = "reference/balance.rs"]
mod balance;
#[path = "reference/carbon.rs"]
mod carbon;
#[path = "reference/carbonate.rs"]
mod carbonate;
#[path = "reference/chemistry_laws.rs"]
mod chemistry_laws;
#[path = "reference/conductivity.rs"]
mod conductivity;
#[path = "reference/diffusion.rs"]
mod diffusion;
#[path = "reference/invariants.rs"]
mod invariants;
#[path = "reference/normalization.rs"]
mod normalization;
#[path = "reference/osmosis.rs"]
mod osmosis;
#[path = "reference/resin.rs"]
mod resin;
#[path = "reference/run_length.rs"]
mod run_length;
#[path = "reference/scaling.rs"]
mod scaling;
#[path = "reference/sediment.rs"]
mod sediment;
#[path = "reference/sensors.rs"]
mod sensors;
#[path = "reference/slope.rs"]
mod slope;
#[path = "reference/statistics.rs"]
mod statistics;
#[path = "reference/temperature.rs"]
mod temperature;
#[path = "reference/units.rs"]
mod units;

use permeated::physics::membrane::OperatingPoint;
use permeated::physics::osmosis::MG_PER_L_FOR_US_PER_CM;
use permeated::quantity::{Conductivity, Pressure, Temperature};

/// Fails unless `actual` lies within `tolerance` of `expected` (absolute).
#[track_caller]
fn near(what: impl std::fmt::Display, actual: f64, expected: f64, tolerance: f64) {
    assert!(
        (actual - expected).abs() <= tolerance,
        "{what}: {actual}, expected {expected} ± {tolerance}"
    );
}

/// Fails unless `actual` lies within the share `tolerance` of `expected` (relative).
#[track_caller]
fn near_share(what: impl std::fmt::Display, actual: f64, expected: f64, tolerance: f64) {
    near(what, actual, expected, tolerance * expected.abs());
}

fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value)
}

/// The conductivity for which the osmotic pressure is that of `mg_per_l` in the handbook's
/// equation, and with which every ratio is that of the concentrations.
fn dissolved(mg_per_l: f64) -> Conductivity {
    Conductivity::from_us_per_cm(mg_per_l / MG_PER_L_FOR_US_PER_CM)
}

/// An element with no pressure drop and an open outlet: psi, °C, mg/L, share.
fn home_point(psi: f64, at: f64, feed: f64, permeate: f64, recovery: f64) -> OperatingPoint {
    OperatingPoint {
        feed_pressure: Pressure::from_psi(psi),
        pressure_drop: Pressure::ZERO,
        permeate_pressure: Pressure::ZERO,
        temperature: celsius(at),
        feed: dissolved(feed),
        permeate: dissolved(permeate),
        recovery,
    }
}
