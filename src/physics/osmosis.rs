//! Osmotic pressure of dilute water. A small correction on tap water (about 1 psi for each
//! 100 mg/L), so a fair middle is enough; the exact law for NaCl is here for comparison.

use super::is_water_temperature;
use crate::quantity::{Conductivity, Pressure, Quantity, Tds, Temperature};

/// Gas constant, L·bar/(mol·K) (CODATA 2018).
const GAS_CONSTANT: f64 = 0.083_144_626_181_53;
/// Molar mass of NaCl, mg/mol.
const NACL_MG_PER_MOL: f64 = 58_443.0;
/// Where the membrane handbook changes to its equation for salt water, mg/L.
const SALT_WATER_MG_PER_L: f64 = 20_000.0;

/// For the handbook's equation, each µS/cm at 25 °C counts as this many mg/L, whatever the scale of
/// the meter.
///
/// For each 100 mg/L of ions real waters span 0.76 psi (calcium bicarbonate) to 1.2 psi (NaCl), but an
/// ion that gives little osmotic pressure for its mass also conducts little: for each µS/cm the ends
/// lie close together, and with 0.56 hard tap water comes out 0–6 % high and NaCl 2–6 % low.
pub const MG_PER_L_FOR_US_PER_CM: f64 = 0.56;

/// Osmotic pressure of natural water of this conductivity: [`osmotic_pressure_of_tds`] with the
/// concentration by [`MG_PER_L_FOR_US_PER_CM`]. Good to some 6 %, a tenth of a psi in soft water.
///
/// Not-a-number for a conductivity below zero or a temperature outside −5 to 60 °C.
#[must_use]
pub fn osmotic_pressure(water: Conductivity, temperature: Temperature) -> Pressure {
    let dissolved = Tds::from_mg_per_l(water.us_per_cm() * MG_PER_L_FOR_US_PER_CM);
    osmotic_pressure_of_tds(dissolved, temperature)
}

/// The membrane handbook's equation: π\[bar\] = C·(T + 320) / 491000 below 20 000 mg/L, and
/// (0.0117·C − 34) / 14.23 · (T + 320) / 345 from there, C in mg/L, T in °C. The two meet within
/// 0.02 %.
///
/// Not-a-number for a concentration below zero or a temperature outside −5 to 60 °C.
#[must_use]
pub fn osmotic_pressure_of_tds(dissolved: Tds, temperature: Temperature) -> Pressure {
    let concentration = dissolved.mg_per_l();
    if !is_water_temperature(temperature) || concentration.is_nan() || concentration < 0.0 {
        return Pressure::from_base(f64::NAN);
    }
    let warmth = temperature.celsius() + 320.0;
    Pressure::from_bar(if concentration < SALT_WATER_MG_PER_L {
        concentration * warmth / 491_000.0
    } else {
        (0.0117 * concentration - 34.0) / 14.23 * warmth / 345.0
    })
}

/// Van 't Hoff's law for NaCl, π = φ·R·T·2c with c in mol/L: exact when `osmotic_coefficient` (φ,
/// 1 for an ideal solution, 0.93–0.99 in fresh and brackish water) is known.
#[must_use]
pub fn osmotic_pressure_of_nacl(
    dissolved: Tds,
    temperature: Temperature,
    osmotic_coefficient: f64,
) -> Pressure {
    let moles_of_ions = 2.0 * dissolved.mg_per_l() / NACL_MG_PER_MOL;
    let kelvin = temperature.celsius() + 273.15;
    Pressure::from_bar(osmotic_coefficient * GAS_CONSTANT * kelvin * moles_of_ions)
}
