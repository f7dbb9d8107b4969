//! The checks against the world: equations, tables and worked examples from outside the project,
//! each with its source named beside it.
//!
//! "Calculated" names a figure worked out apart from this program, with the library named or by
//! closed form; "from memory" one whose source could not be opened. Tolerances: 1e-6 or half the
//! last printed digit, wider only where the source itself is rounded, and then said.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "reference/balance.rs"]
mod balance;
#[path = "reference/conductivity.rs"]
mod conductivity;
#[path = "reference/invariants.rs"]
mod invariants;
#[path = "reference/normalization.rs"]
mod normalization;
#[path = "reference/osmosis.rs"]
mod osmosis;
#[path = "reference/sensors.rs"]
mod sensors;
#[path = "reference/statistics.rs"]
mod statistics;
#[path = "reference/temperature.rs"]
mod temperature;
#[path = "reference/units.rs"]
mod units;

use permeated::physics::membrane::OperatingPoint;
use permeated::quantity::{Conductivity, Pressure, Tds, TdsScale, Temperature};

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
    TdsScale::NACL.conductivity(Tds::from_mg_per_l(mg_per_l))
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
