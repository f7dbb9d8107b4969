//! The simulated water: viscosity, osmotic pressure and conductivity of dilute sodium chloride.
//! Pure functions, written from the literature and not from the daemon's own equations.
//! Constants were written from memory; each function is held to an independent table below.
//!
//! All dissolved matter is taken as NaCl ("mg/L" here is mg of NaCl to the litre).

use serde::{Deserialize, Serialize};

/// g/mol of NaCl.
const SALT_MASS: f64 = 58.443;
/// L·bar/(mol·K), CODATA.
const GAS_CONSTANT: f64 = 0.083_144_626;

/// How a permeability follows the temperature; every law is 1 at 25 °C.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum TemperatureLaw {
    /// Inversely with the viscosity of water.
    Viscosity,
    /// exp(u·(1/298.15 − 1/T)), u in kelvin (2700 K fits one printed table of a home unit).
    Arrhenius(f64),
    /// exp(u·(1/298 − 1/(273+t))), u = 2640 K from 25 °C up and 3020 K below: the constants of a
    /// membrane maker's design equations.
    Handbook,
}

impl TemperatureLaw {
    /// Permeability at `celsius` over permeability at 25 °C.
    #[must_use]
    pub fn factor(self, celsius: f64) -> f64 {
        match self {
            Self::Viscosity => viscosity(25.0) / viscosity(celsius),
            Self::Arrhenius(kelvin) => (kelvin * (1.0 / 298.15 - 1.0 / (273.15 + celsius))).exp(),
            Self::Handbook => {
                let kelvin = if celsius >= 25.0 { 2640.0 } else { 3020.0 };
                (kelvin * (1.0 / 298.0 - 1.0 / (273.0 + celsius))).exp()
            }
        }
    }
}

/// Viscosity of water in mPa·s at 0.1 MPa, −20 … 110 °C: the four-term correlation of the IAPWS
/// "Revised supplementary release on properties of liquid water at 0.1 MPa" (SR6-08).
pub(super) fn viscosity(celsius: f64) -> f64 {
    let reduced = (celsius + 273.15) / 300.0;
    (280.68 * reduced.powf(-1.9)
        + 511.45 * reduced.powf(-7.7)
        + 61.131 * reduced.powf(-19.6)
        + 0.459_03 * reduced.powf(-40.0))
        / 1000.0
}

/// Osmotic pressure in bar by van 't Hoff with both ions and Pitzer's osmotic coefficient of NaCl
/// at 25 °C (A = 0.3915, β0 = 0.0765, β1 = 0.2664; molarity taken for molality, good below 1 g/L
/// to 0.1 %).
pub(super) fn osmotic_pressure(mg_per_l: f64, celsius: f64) -> f64 {
    if mg_per_l <= 0.0 {
        return 0.0;
    }
    let molar = mg_per_l / SALT_MASS / 1000.0;
    let root = molar.sqrt();
    let coefficient =
        1.0 - 0.3915 * root / (1.0 + 1.2 * root) + molar * (0.0765 + 0.2664 * (-2.0 * root).exp());
    2.0 * coefficient * GAS_CONSTANT * (celsius + 273.15) * molar
}

/// Conductivity at 25 °C in µS/cm: Kohlrausch's law with Onsager's limiting slope for NaCl
/// (126.45 − 89.2·√c S·cm²/mol), below 1 g/L; pure water's own 0.055 µS/cm is added.
pub(super) fn conductivity(mg_per_l: f64) -> f64 {
    let molar = mg_per_l.max(0.0) / SALT_MASS / 1000.0;
    0.055 + 1000.0 * molar * (126.45 - 89.2 * molar.sqrt())
}

/// Milliequivalents of each ion in a mass of NaCl.
pub(super) fn milliequivalents(milligrams: f64) -> f64 {
    milligrams / SALT_MASS
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64, relative: f64, what: &str) {
        assert!(
            (found / expected - 1.0).abs() <= relative,
            "{what}: {found}, expected {expected}"
        );
    }

    #[test]
    fn viscosity_meets_iapws() {
        // Values computed with iapws 1.5.5 (IAPWS-95 and viscosity 2008, 0.101325 MPa), mPa·s.
        for (celsius, expected) in [
            (4.0, 1.567_29),
            (5.0, 1.518_17),
            (10.0, 1.305_90),
            (15.0, 1.137_57),
            (20.0, 1.001_60),
            (25.0, 0.890_02),
            (30.0, 0.797_22),
            (35.0, 0.719_13),
            (40.0, 0.652_73),
        ] {
            close(viscosity(celsius), expected, 5e-4, "viscosity");
        }
    }

    #[test]
    fn the_handbook_law_meets_its_printed_table() {
        // Printed as 1/factor in a membrane handbook's table (seen at scribd 472189330).
        for (celsius, printed) in [(10.0, 1.711), (15.0, 1.422), (20.0, 1.189), (29.0, 0.889)] {
            assert!((1.0 / TemperatureLaw::Handbook.factor(celsius) - printed).abs() < 0.0006);
        }
    }

    #[test]
    fn the_arrhenius_law_meets_a_home_units_table() {
        // Printed in a home unit's manual (manualshive 1343932 p. 13); u = 2690…2707 K implied.
        for (celsius, printed) in [(5.0, 0.521), (10.0, 0.620), (15.0, 0.730), (18.0, 0.804)] {
            assert!((TemperatureLaw::Arrhenius(2700.0).factor(celsius) - printed).abs() < 0.002);
        }
    }

    #[test]
    fn osmotic_pressure_meets_an_independent_library() {
        // pyEQL 1.7.0, NaCl at 25 °C, bar.
        for (mg_per_l, expected) in [(250.0, 0.207_35), (1000.0, 0.815_12), (5000.0, 3.970_38)] {
            close(osmotic_pressure(mg_per_l, 25.0), expected, 0.004, "osmosis");
        }
    }

    #[test]
    fn conductivity_meets_phreeqc() {
        // Computed with PHREEQC (phreeqc.dat), NaCl at 25 °C, µS/cm; pure water: 0.055 (Light et
        // al. 2005).
        for (mg_per_l, expected) in [
            (0.0, 0.055),
            (1.0, 2.207),
            (10.0, 21.42),
            (50.0, 105.6),
            (100.0, 209.3),
            (250.0, 514.5),
            (500.0, 1011.0),
            (1000.0, 1977.0),
        ] {
            close(conductivity(mg_per_l), expected, 0.01, "conductivity");
        }
    }
}
