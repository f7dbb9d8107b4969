//! A simulated train of DI vessels behind the membrane: cation resin, anion resin or both in each, with
//! true capacities, and what the water conducts behind each of them.
//!
//! Permeate is sodium chloride with dissolved carbon dioxide. Cation resin swaps sodium for hydrogen, anion
//! resin chloride and carbon dioxide for hydroxide; each along its own breakthrough curve ([`Resin`]).
//! Of the anions carbon dioxide is held weakest: what passes first is that. Hydrogen and hydroxide
//! follow from electroneutrality, and the conductivity from all ions.

use super::resin::Resin;
use super::water::milliequivalents;

/// Limiting molar conductivities at 25 °C, S·cm²/mol (CRC Handbook, from memory).
const HYDROGEN: f64 = 349.8;
const SODIUM: f64 = 50.1;
const CHLORIDE: f64 = 76.3;
const HYDROXIDE: f64 = 198.0;
const BICARBONATE: f64 = 44.5;
/// First constant of carbonic acid at 25 °C, mol/L (pK 6.352), and the ion product of water.
const CARBONIC: f64 = 4.45e-7;
const WATER: f64 = 1.008e-14;
/// mg/mmol.
const CARBON_DIOXIDE: f64 = 44.01;

/// Water between two vessels, mmol/L.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dissolved {
    /// Sodium.
    pub sodium: f64,
    /// Chloride.
    pub chloride: f64,
    /// Carbon dioxide, bicarbonate included.
    pub carbon: f64,
}

impl Dissolved {
    /// Permeate with so much salt (mg/L of NaCl) and carbon dioxide (mg/L).
    #[must_use]
    pub fn permeate(salt_mg_per_l: f64, carbon_dioxide_mg_per_l: f64) -> Self {
        let salt = milliequivalents(salt_mg_per_l);
        Self {
            sodium: salt,
            chloride: salt,
            carbon: carbon_dioxide_mg_per_l / CARBON_DIOXIDE,
        }
    }

    /// Hydrogen ions, mol/L: where the charges of all ions add up to nothing, by bisection of its logarithm.
    /// (Carbonate is left out: it counts only above pH 9.)
    fn hydrogen(&self) -> f64 {
        let excess = |hydrogen: f64| {
            let bicarbonate = self.carbon * 1e-3 * CARBONIC / (CARBONIC + hydrogen);
            (self.sodium - self.chloride) * 1e-3 + hydrogen - bicarbonate - WATER / hydrogen
        };
        let (mut low, mut high) = (-14.0, 0.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if excess(10f64.powf(middle)) > 0.0 {
                high = middle;
            } else {
                low = middle;
            }
        }
        10f64.powf(low)
    }

    /// Conductivity at 25 °C, µS/cm, ions at infinite dilution.
    #[must_use]
    pub fn conductivity(&self) -> f64 {
        let hydrogen = self.hydrogen();
        let bicarbonate = self.carbon * CARBONIC / (CARBONIC + hydrogen);
        // mmol/L × S·cm²/mol is µS/cm; hydrogen and hydroxide are in mol/L.
        self.sodium * SODIUM
            + self.chloride * CHLORIDE
            + bicarbonate * BICARBONATE
            + 1e3 * (hydrogen * HYDROGEN + WATER / hydrogen * HYDROXIDE)
    }
}

/// A vessel: resin that takes positive ions, resin that takes negative ones, or both.
#[derive(Clone, Debug, PartialEq)]
pub struct Vessel {
    /// Takes sodium.
    pub cation: Option<Resin>,
    /// Takes chloride and carbon dioxide.
    pub anion: Option<Resin>,
}

impl Vessel {
    /// What leaves it of so many litres.
    fn treat(&mut self, water: Dissolved, litres: f64) -> Dissolved {
        let mut after = water;
        if let Some(resin) = &mut self.cation {
            after.sodium *= resin.treat(water.sodium * litres);
        }
        if let Some(resin) = &mut self.anion {
            let anions = water.chloride + water.carbon;
            let passes = anions * resin.treat(anions * litres);
            after.carbon = passes.min(water.carbon);
            after.chloride = (passes - after.carbon).max(0.0);
        }
        after
    }

    /// Puts a fresh filling in, of these capacities in meq.
    pub fn refill(&mut self, cation_meq: f64, anion_meq: f64) {
        for (resin, meq) in [(&mut self.cation, cation_meq), (&mut self.anion, anion_meq)] {
            if let Some(resin) = resin {
                *resin = Resin::new(meq, resin.steepness, 0.0);
            }
        }
    }
}

/// Vessels in a row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Vessels(pub Vec<Vessel>);

impl Vessels {
    /// Lets litres of permeate through all of them; gives the water behind each.
    pub fn treat(&mut self, permeate: Dissolved, litres: f64) -> Vec<Dissolved> {
        let mut water = permeate;
        let vessels = self.0.iter_mut();
        vessels
            .map(|vessel| {
                water = vessel.treat(water, litres);
                water
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn resin(meq: f64) -> Option<Resin> {
        Some(Resin::new(meq, 30.0, 0.0))
    }

    fn near(found: f64, expected: f64, share: f64) {
        assert!(
            (found / expected - 1.0).abs() < share,
            "{found}, {expected}"
        );
    }

    /// mg/L of carbon dioxide in pure water and its conductivity in µS/cm, as computed with PHREEQC, and
    /// pure water's own 0.055 µS/cm (Light et al. 2005).
    #[test]
    fn carbon_dioxide_in_pure_water_conducts_as_tabulated() {
        for (milligrams, expected) in [
            (0.5, 0.80),
            (1.0, 1.17),
            (2.0, 1.69),
            (4.0, 2.42),
            (6.0, 2.99),
            (10.0, 3.88),
            (20.0, 5.52),
            (40.0, 7.85),
        ] {
            let water = Dissolved::permeate(0.0, milligrams);
            near(water.conductivity(), expected, 0.02);
        }
        near(Dissolved::permeate(0.0, 0.0).conductivity(), 0.055, 0.01);
    }

    /// Closed form: HCl conducts (349.8 + 76.3) / (50.1 + 76.3) = 3.371 times what NaCl does.
    #[test]
    fn behind_cation_resin_the_water_is_acid_and_behind_anion_resin_pure() {
        let mut vessels = Vessels(vec![
            Vessel {
                cation: resin(100.0),
                anion: None,
            },
            Vessel {
                cation: None,
                anion: resin(100.0),
            },
        ]);
        let permeate = Dissolved::permeate(10.0, 0.0);
        let behind = vessels.treat(permeate, 1.0);
        near(
            behind[0].conductivity() / permeate.conductivity(),
            3.371,
            0.005,
        );
        near(behind[1].conductivity(), 0.055, 0.05);
    }

    /// What enters and is not found behind is in the resin: closed form.
    #[test]
    fn nothing_is_lost_between_vessels() {
        let mut vessels = Vessels(vec![Vessel {
            cation: resin(5.0),
            anion: resin(8.0),
        }]);
        let (mut sodium, mut anions) = (0.0, 0.0);
        for _ in 0..200 {
            let permeate = Dissolved::permeate(20.0, 4.0);
            let behind = vessels.treat(permeate, 0.5)[0];
            sodium += 0.5 * (permeate.sodium - behind.sodium);
            anions += 0.5 * (permeate.chloride + permeate.carbon - behind.chloride - behind.carbon);
        }
        let vessel = &vessels.0[0];
        near(sodium, vessel.cation.as_ref().unwrap().taken_meq(), 1e-9);
        near(anions, vessel.anion.as_ref().unwrap().taken_meq(), 1e-9);
    }
}
