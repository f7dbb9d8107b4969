//! Carbon dioxide, bicarbonate and carbonate in water, from what a test kit tells: alkalinity, pH and
//! temperature. A probe does not see dissolved carbon dioxide, a membrane does not hold it back, and
//! it spends anion resin.
//!
//! Alkalinity is taken as bicarbonate, carbonate and hydroxide. Pairs of ions (CaHCO3⁺, CaCO3) are
//! left out: up to pH 8 carbon dioxide comes out 1 to 2 % high in soft tap water and 3 % high in hard;
//! above, where little of it is left, the error grows (4 % at pH 8.6, 12 % at pH 9.2).

use super::{
    conductivity::{density, log_ion_product},
    is_water_temperature, not_negative,
};
use crate::quantity::{Concentration, Conductivity, EquivalentConcentration, Ph, Temperature};

/// Molar mass of carbon dioxide, mg/mmol.
pub(super) const CARBON_DIOXIDE_MG_PER_MMOL: f64 = 44.0095;
/// Ionic strength, mol/L, of natural water for each µS/cm at 25 °C: the common approximation
/// (aqion.de, "Electrical Conductivity", equation 2). A quarter more or less moves carbon dioxide
/// by 0.6 % in soft tap water.
const MOL_PER_L_FOR_US_PER_CM: f64 = 1.6e-5;
/// The Davies equation holds up to about here, mol/L.
const STRONGEST_MOL_PER_L: f64 = 0.5;
/// Halvings of the pH scale: 14/2^50 is far below any meter's step.
const HALVINGS: usize = 50;

/// Water whose carbonate system is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CarbonateWater {
    /// Total alkalinity; zero or more.
    pub alkalinity: EquivalentConcentration,
    /// Measured at `temperature`.
    pub ph: Ph,
    /// −5 to 60 °C.
    pub temperature: Temperature,
    /// mol/L, 0 to 0.5; [`ionic_strength`] estimates it. Zero leaves activities out, 8 % too much
    /// carbon dioxide in soft tap water.
    pub ionic_strength: f64,
}

impl CarbonateWater {
    /// Dissolved carbon dioxide, CO2(aq) with H2CO3: a_H·γ1·\[HCO3⁻\]/K1.
    ///
    /// `None` for input outside the ranges of the fields, an alkalinity too small for the pH (the
    /// hydroxide alone is more), or more gas than water holds under one atmosphere of it: then the pH
    /// or the alkalinity is wrong.
    #[must_use]
    pub fn carbon_dioxide(&self) -> Option<Concentration> {
        let molar = self.equilibrium()?.carbon_dioxide(self.hydrogen())?;
        let solubility = 10f64.powf(-pkh(self.temperature)?);
        (molar <= solubility)
            .then(|| Concentration::from_mg_per_l(molar * CARBON_DIOXIDE_MG_PER_MMOL * 1e3))
    }

    /// Alkalinity that is bicarbonate, HCO3⁻. `None` as for [`Self::carbon_dioxide`], but for the gas.
    #[must_use]
    pub fn bicarbonate(&self) -> Option<EquivalentConcentration> {
        let molar = self.equilibrium()?.bicarbonate(self.hydrogen())?;
        Some(EquivalentConcentration::from_meq_per_l(molar * 1e3))
    }

    /// Alkalinity that is carbonate, CO3²⁻ (two equivalents to the mole): next to nothing below pH 8.
    /// `None` as for [`Self::bicarbonate`].
    #[must_use]
    pub fn carbonate(&self) -> Option<EquivalentConcentration> {
        let (equilibrium, hydrogen) = (self.equilibrium()?, self.hydrogen());
        let share = equilibrium.carbonate_to_bicarbonate(hydrogen);
        let molar = equilibrium.bicarbonate(hydrogen)? * share;
        Some(EquivalentConcentration::from_meq_per_l(2.0 * molar * 1e3))
    }

    fn equilibrium(&self) -> Option<Equilibrium> {
        Equilibrium::new(self.alkalinity, self.temperature, self.ionic_strength)
    }

    /// Activity of H⁺.
    fn hydrogen(&self) -> f64 {
        10f64.powf(-self.ph.value())
    }
}

/// Says so when no water has this pH with this alkalinity: one of the two tests is wrong.
#[must_use]
pub fn contradiction(alkalinity: EquivalentConcentration, ph: Ph) -> Option<String> {
    let water = CarbonateWater {
        alkalinity,
        ph,
        temperature: Temperature::from_celsius(25.0),
        ionic_strength: 0.0,
    };
    water.carbon_dioxide().is_none().then(|| {
        format!(
            "no water has a pH of {} with an alkalinity of {:.0} mg/L CaCO3; test both again",
            ph.value(),
            alkalinity.mg_per_l_caco3()
        )
    })
}

/// The pH at which water of this alkalinity holds this much carbon dioxide:
/// [`CarbonateWater::carbon_dioxide`] asked the other way, by bisection.
///
/// `None` for input outside the ranges of [`CarbonateWater`] or no carbon dioxide.
#[must_use]
pub fn ph_with_carbon_dioxide(
    alkalinity: EquivalentConcentration,
    carbon_dioxide: Concentration,
    temperature: Temperature,
    ionic_strength: f64,
) -> Option<Ph> {
    let equilibrium = Equilibrium::new(alkalinity, temperature, ionic_strength)?;
    let wanted = super::positive(carbon_dioxide.mg_per_l())? / CARBON_DIOXIDE_MG_PER_MMOL * 1e-3;
    // Where hydroxide takes all alkalinity there is no carbon dioxide.
    let holds = |ph: f64| equilibrium.carbon_dioxide(10f64.powf(-ph)).unwrap_or(0.0);
    let (mut low, mut high) = (0.0, 14.0);
    if holds(low) < wanted {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if holds(middle) > wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ph::new((low + high) / 2.0)
}

/// Ionic strength of natural water, mol/L: 1.6e-5 for each µS/cm. `None` below zero.
#[must_use]
pub fn ionic_strength(water: Conductivity) -> Option<f64> {
    not_negative(water.us_per_cm() * MOL_PER_L_FOR_US_PER_CM)
}

/// pK1 of carbonic acid, CO2(aq) + H2O = H⁺ + HCO3⁻, without activities (Plummer and Busenberg 1982,
/// 0 to 90 °C; coefficients from memory, held to those of PHREEQC). `None` outside −5 to 60 °C.
#[must_use]
pub fn pk1(temperature: Temperature) -> Option<f64> {
    plummer_busenberg(
        temperature,
        [
            -356.309_4,
            -0.060_919_64,
            21_834.37,
            126.833_9,
            -1_684_915.0,
        ],
    )
}

/// pK2, HCO3⁻ = H⁺ + CO3²⁻; otherwise as [`pk1`].
#[must_use]
pub fn pk2(temperature: Temperature) -> Option<f64> {
    plummer_busenberg(
        temperature,
        [-107.887_1, -0.032_528_49, 5151.79, 38.925_61, -563_713.9],
    )
}

/// pKH, the negative logarithm of the mol/L of carbon dioxide under one atmosphere of the gas;
/// otherwise as [`pk1`].
#[must_use]
pub fn pkh(temperature: Temperature) -> Option<f64> {
    plummer_busenberg(
        temperature,
        [108.386_5, 0.019_850_76, -6919.53, -40.451_54, 669_365.0],
    )
}

/// −(a + b·T + c/T + d·log T + e/T²), T in kelvin.
fn plummer_busenberg(temperature: Temperature, [a, b, c, d, e]: [f64; 5]) -> Option<f64> {
    let kelvin = temperature.celsius() + 273.15;
    is_water_temperature(temperature)
        .then(|| -(a + b * kelvin + c / kelvin + d * kelvin.log10() + e / (kelvin * kelvin)))
}

/// Activity coefficient of an ion of this charge (1, 2), by the Davies equation with 0.3:
/// log γ = −A·z²·(√I/(1 + √I) − 0.3·I).
///
/// A = 1.82483e6·(ε·T)^−1.5, with the permittivity ε of Malmberg and Maryott (1956); both from memory,
/// and A is 0.5116 at 25 °C where 0.509 is usual. `None` outside
/// −5 to 60 °C and 0 to 0.5 mol/L.
#[must_use]
pub fn activity_coefficient(
    charge: f64,
    ionic_strength: f64,
    temperature: Temperature,
) -> Option<f64> {
    if !is_water_temperature(temperature) || !(0.0..=STRONGEST_MOL_PER_L).contains(&ionic_strength)
    {
        return None;
    }
    let celsius = temperature.celsius();
    let permittivity = 87.740 + celsius * (-0.400_08 + celsius * (9.398e-4 - celsius * 1.410e-6));
    let slope = 1.824_83e6 * (permittivity * (celsius + 273.15)).powf(-1.5);
    let root = ionic_strength.sqrt();
    let shielding = root / (1.0 + root) - 0.3 * ionic_strength;
    super::positive(10f64.powf(-slope * charge * charge * shielding))
}

/// Constants at one temperature and ionic strength, mol/L; the pH is given as the activity of H⁺.
struct Equilibrium {
    alkalinity: f64,
    first: f64,
    second: f64,
    water: f64,
    single: f64,
    double: f64,
}

impl Equilibrium {
    fn new(
        alkalinity: EquivalentConcentration,
        temperature: Temperature,
        ionic_strength: f64,
    ) -> Option<Self> {
        let celsius = temperature.celsius();
        Some(Self {
            alkalinity: not_negative(alkalinity.meq_per_l())? / 1e3,
            first: 10f64.powf(-pk1(temperature)?),
            second: 10f64.powf(-pk2(temperature)?),
            water: 10f64.powf(log_ion_product(celsius + 273.15, density(celsius))),
            single: activity_coefficient(1.0, ionic_strength, temperature)?,
            double: activity_coefficient(2.0, ionic_strength, temperature)?,
        })
    }

    /// \[HCO3⁻\] = (Alk − Kw/(a_H·γ1) + a_H/γ1) / (1 + 2·K2·γ1/(a_H·γ2)).
    fn bicarbonate(&self, hydrogen: f64) -> Option<f64> {
        let hydroxide = self.water / (hydrogen * self.single);
        let left = self.alkalinity - hydroxide + hydrogen / self.single;
        super::positive(left / (1.0 + 2.0 * self.carbonate_to_bicarbonate(hydrogen)))
    }

    fn carbonate_to_bicarbonate(&self, hydrogen: f64) -> f64 {
        self.second * self.single / (hydrogen * self.double)
    }

    fn carbon_dioxide(&self, hydrogen: f64) -> Option<f64> {
        super::positive(hydrogen * self.single * self.bicarbonate(hydrogen)? / self.first)
    }
}
