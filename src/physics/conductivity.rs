//! Conductivity and temperature: how a probe that does not compensate is brought to 25 °C, in
//! natural water and in water so pure that its own ions count.

use super::is_water_temperature;
use crate::quantity::{Conductivity, Quantity, Temperature};

/// f25 of ISO 7888 (EN 27888) at 0, 1, 2 … 35 °C.
const ISO_7888: [f64; 36] = [
    1.918, 1.857, 1.800, 1.745, 1.693, 1.643, 1.596, 1.551, 1.508, 1.467, 1.428, 1.390, 1.354,
    1.320, 1.287, 1.256, 1.225, 1.196, 1.168, 1.141, 1.116, 1.091, 1.067, 1.044, 1.021, 1.000,
    0.979, 0.959, 0.940, 0.921, 0.903, 0.886, 0.869, 0.853, 0.837, 0.822,
];
const LAST_DEGREE: f64 = 35.0;

/// Limiting molar conductivities of H⁺ and OH⁻ together, (°C, S·cm²/mol), after Robinson and
/// Stokes, Electrolyte Solutions; linear between, and beyond the last (0.3 % at 55 °C).
const MOBILITIES: [(f64, f64); 5] = [
    (0.0, 330.0),
    (15.0, 466.5),
    (25.0, 549.0),
    (35.0, 630.0),
    (45.0, 708.6),
];

/// The factor f25 by which ISO 7888 brings the conductivity of natural water at this temperature
/// to 25 °C: its printed table, linear between whole degrees.
///
/// The standard has no figures outside 0 to 35 °C. There the rule of a constant percentage for each
/// degree takes over, with the percentage of the nearest end of the table (1.91 % and 2.17 %), so
/// that the factor has no step. `None` outside −5 to 60 °C.
#[must_use]
pub fn iso7888_factor(temperature: Temperature) -> Option<f64> {
    if !is_water_temperature(temperature) {
        return None;
    }
    let celsius = temperature.celsius();
    let printed = celsius.clamp(0.0, LAST_DEGREE);
    let below = (printed.floor() as usize).min(ISO_7888.len() - 2);
    let share = printed - below as f64;
    let factor = ISO_7888[below] * (1.0 - share) + ISO_7888[below + 1] * share;
    if printed == celsius {
        return Some(factor);
    }
    let per_degree = (1.0 / factor - 1.0) / (printed - 25.0);
    Some(1.0 / (1.0 + per_degree * (celsius - 25.0)))
}

/// Conductivity of perfectly pure water **at** this temperature, µS/cm (0.055 at 25 °C):
/// κ = d·√Kw·(λ(H⁺) + λ(OH⁻)), the form of Light, Licht, Bevilacqua and Morash (2005), with the ion
/// product of Marshall and Franck (1981) and the density of Kell (1975).
///
/// Within 1 % of a calculation with the IAPWS ion product from 10 to 40 °C, 3 % below. Not-a-number
/// outside −5 to 60 °C.
#[must_use]
pub fn pure_water(temperature: Temperature) -> f64 {
    if !is_water_temperature(temperature) {
        return f64::NAN;
    }
    let celsius = temperature.celsius();
    let density = density(celsius);
    let molality = 10f64.powf(log_ion_product(celsius + 273.15, density) / 2.0);
    // S·cm²/mol × mol/L ÷ 1000 cm³/L is S/cm; a million µS to one S.
    density * molality * mobility(celsius) * 1e3
}

/// Density of water, kg/L, °C (Kell 1975).
pub(super) fn density(celsius: f64) -> f64 {
    let t = celsius;
    let numerator = 999.839_52
        + t * (16.945_176
            + t * (-7.987_040_1e-3
                + t * (-46.170_461e-6 + t * (105.563_02e-9 - t * 280.542_53e-12))));
    numerator / (1.0 + 16.879_850e-3 * t) / 1000.0
}

/// Decimal logarithm of the ion product of water, (mol/kg)² (Marshall and Franck 1981).
pub(super) fn log_ion_product(kelvin: f64, density: f64) -> f64 {
    let per_kelvin = 1.0 / kelvin;
    let at_unit_density =
        -4.098 + per_kelvin * (-3245.2 + per_kelvin * (2.2362e5 - per_kelvin * 3.984e7));
    let of_density = 13.957 + per_kelvin * (-1262.3 + per_kelvin * 8.5641e5);
    at_unit_density + of_density * density.log10()
}

fn mobility(celsius: f64) -> f64 {
    let above = MOBILITIES
        .partition_point(|(at, _)| *at < celsius)
        .clamp(1, MOBILITIES.len() - 1);
    let ((t0, m0), (t1, m1)) = (MOBILITIES[above - 1], MOBILITIES[above]);
    m0 + (celsius - t0) * (m1 - m0) / (t1 - t0)
}

/// What a probe without compensation, reading `measured_us_per_cm` in water of this temperature,
/// would read at 25 °C.
///
/// Water's own conductivity at that temperature is taken off, what is left (the salt) follows ISO
/// 7888, and pure water's conductivity at 25 °C is added back. In tap water this is ISO 7888 to
/// within 0.04 µS/cm (0 to 35 °C); in product water, below some 10 µS/cm, it follows the steep curve of pure
/// water (5–7 % a degree). A reading below pure water's is the probe's error: it is kept in
/// proportion, so that nothing jumps and 0 stays 0.
///
/// Not-a-number for a reading below zero or a temperature outside −5 to 60 °C.
#[must_use]
pub fn at_25(measured_us_per_cm: f64, temperature: Temperature) -> Conductivity {
    let factor = match iso7888_factor(temperature) {
        Some(factor) if measured_us_per_cm >= 0.0 => factor,
        _ => return Conductivity::from_base(f64::NAN),
    };
    let own = pure_water(temperature);
    let own_at_25 = pure_water(Temperature::from_celsius(25.0));
    Conductivity::from_us_per_cm(if measured_us_per_cm < own {
        measured_us_per_cm * own_at_25 / own
    } else {
        (measured_us_per_cm - own) * factor + own_at_25
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Density of air-free water at one atmosphere (Kell's table, from memory).
    #[test]
    fn water_is_as_dense_as_in_the_table() {
        for (celsius, expected) in [(4.0, 0.999_97), (25.0, 0.997_05), (60.0, 0.983_20)] {
            let found = density(celsius);
            assert!((found - expected).abs() < 1e-5, "{celsius}: {found}");
        }
    }
}
