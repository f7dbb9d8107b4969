//! What ion exchange resin must take from each litre, and how many litres it lasts for. Knows no
//! history: what has been taken so far is the caller's.

use super::{ammonia, carbonate::CARBON_DIOXIDE_MG_PER_MMOL, finite, not_negative, positive};
use crate::quantity::{
    Concentration, Conductivity, EquivalentConcentration, Equivalents, ResinCapacity, Tds,
    TdsScale, Volume,
};

/// Molar mass of NaCl, mg/mmol: one milliequivalent.
pub(crate) const NACL_MG_PER_MEQ: f64 = 58.443;
/// Molar mass of silica, SiO2, mg/mmol.
const SILICA_MG_PER_MMOL: f64 = 60.084;
/// µS/cm for each meq/L of permeate-strength salt: sodium bicarbonate conducts least of what is common
/// (50.1 + 44.5 S·cm²/mol at infinite dilution, from memory), sodium chloride most (126.4, and 125 at
/// 10 mg/L by PHREEQC).
const US_PER_CM_FOR_MEQ: (f64, f64) = (95.0, 125.0);

/// Salt of permeate, on either side: each µS/cm as 0.5 mg/L of NaCl, 117 µS/cm to the meq/L, which is
/// between what NaCl (125) and tap water's bicarbonates (100–115) conduct. `None` below zero.
///
/// Of a permeate that is nothing but NaCl this is 7 % too much (0.468 mg/L to each µS/cm at 10 to 50 µS/cm
/// by PHREEQC, not 0.5); of one with tap water's bicarbonates 2 to 17 % too little. A probe cannot tell
/// the two apart, so the middle stands, with [`salt_band`] as its ends; and what is learned of a filling
/// at its breakthrough is learned in the same reckoning, so that this error cancels from then on.
///
/// The program counts salt that creeps through a resting membrane in the same way.
#[must_use]
pub fn salt(permeate: Conductivity) -> Option<EquivalentConcentration> {
    salt_of_tds(TdsScale::NACL.tds(permeate))
}

/// The same for salt stated as mg/L of NaCl.
#[must_use]
pub fn salt_of_tds(nacl: Tds) -> Option<EquivalentConcentration> {
    let milligrams = not_negative(nacl.mg_per_l())?;
    Some(EquivalentConcentration::from_meq_per_l(
        milligrams / NACL_MG_PER_MEQ,
    ))
}

/// The least and the most that [`salt`] can be, as what is dissolved is not known: all of it sodium
/// chloride, all of it sodium bicarbonate.
#[must_use]
pub fn salt_band(
    permeate: Conductivity,
) -> Option<(EquivalentConcentration, EquivalentConcentration)> {
    let conductivity = not_negative(permeate.us_per_cm())?;
    let (most, least) = US_PER_CM_FOR_MEQ;
    let by = |each: f64| EquivalentConcentration::from_meq_per_l(conductivity / each);
    Some((by(least), by(most)))
}

/// Carbon dioxide as an anion resin takes it: as bicarbonate, one equivalent to the mole. Sizing rules
/// for electrodeionisation count two; they are not meant here. `None` below zero.
#[must_use]
pub fn carbon_dioxide(dissolved: Concentration) -> Option<EquivalentConcentration> {
    single(dissolved, CARBON_DIOXIDE_MG_PER_MMOL)
}

/// Silica, stated as SiO2, as an anion resin takes it: one equivalent to the mole. `None` below zero.
#[must_use]
pub fn silica(dissolved: Concentration) -> Option<EquivalentConcentration> {
    single(dissolved, SILICA_MG_PER_MMOL)
}

fn single(dissolved: Concentration, mg_per_mmol: f64) -> Option<EquivalentConcentration> {
    let milligrams = not_negative(dissolved.mg_per_l())?;
    Some(EquivalentConcentration::from_meq_per_l(
        milligrams / mg_per_mmol,
    ))
}

/// What each litre brings to the two kinds of resin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// For cation resin.
    pub cation: EquivalentConcentration,
    /// For anion resin.
    pub anion: EquivalentConcentration,
}

impl Load {
    /// The load of permeate: salt on both sides; ammonia (as nitrogen) on the cation side; carbon
    /// dioxide and silica (as SiO2) on the anion side.
    ///
    /// `unseen_ammonia` is what `salt` does not hold yet: NH4⁺ conducts, so where `salt` comes from a
    /// probe only the gas NH3 is to be added. Counting all of it gives the high end.
    ///
    /// `None` when any of them is below zero or no number.
    #[must_use]
    pub fn new(
        salt: EquivalentConcentration,
        unseen_ammonia: Concentration,
        dissolved_gas: Concentration,
        dissolved_silica: Concentration,
    ) -> Option<Self> {
        let salt = EquivalentConcentration::from_meq_per_l(not_negative(salt.meq_per_l())?);
        Some(Self {
            cation: salt + ammonia::equivalents(unseen_ammonia)?,
            anion: salt + carbon_dioxide(dissolved_gas)? + silica(dissolved_silica)?,
        })
    }
}

/// The two kinds of resin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Takes what is positive.
    Cation,
    /// Takes what is negative, carbon dioxide and silica.
    Anion,
}

/// Resin of both kinds in one vessel: what each litre of the mixture takes on either side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixedBed {
    /// Of the cation resin in it.
    pub cation: ResinCapacity,
    /// Of the anion resin in it.
    pub anion: ResinCapacity,
}

impl MixedBed {
    /// A mixture of two resins, `anion_parts` by volume of anion resin to one of cation resin (1.5 is
    /// usual). `None` for a capacity or parts that are not above zero.
    #[must_use]
    pub fn of(cation: ResinCapacity, anion: ResinCapacity, anion_parts: f64) -> Option<Self> {
        let parts = positive(anion_parts)?;
        let share = |capacity: ResinCapacity, parts_of_it: f64| {
            positive(capacity.eq_per_l() * parts_of_it / (1.0 + parts))
                .map(ResinCapacity::from_eq_per_l)
        };
        Some(Self {
            cation: share(cation, 1.0)?,
            anion: share(anion, parts)?,
        })
    }

    /// What is used of it before the water is no longer good: `share`, above 0 and up to 1, of the
    /// total capacity. Commonly 0.5 to 0.8 (from memory). `None` for another share.
    #[must_use]
    pub fn operating(&self, share: f64) -> Option<Self> {
        (share > 0.0 && share <= 1.0).then(|| Self {
            cation: self.cation * share,
            anion: self.anion * share,
        })
    }

    /// Litres of product that `resin` litres of the mixture make, and the side that is spent first.
    /// `None` without resin, without load, or for a load or capacity below zero.
    #[must_use]
    pub fn treats(&self, resin: Volume, load: &Load) -> Option<(Volume, Side)> {
        let resin = Volume::from_litres(positive(resin.litres())?);
        let cation = litres(self.cation.of_resin(resin), load.cation)?;
        let anion = litres(self.anion.of_resin(resin), load.anion)?;
        let (least, side) = if cation < anion {
            (cation, Side::Cation)
        } else {
            (anion, Side::Anion)
        };
        finite(least).map(|least| (Volume::from_litres(least), side))
    }
}

/// Litres until `left` is used up, by water that brings `load` in each. `None` without load (nothing
/// ends it) and for a load or capacity below zero.
#[must_use]
pub fn treats(left: Equivalents, load: EquivalentConcentration) -> Option<Volume> {
    finite(litres(left, load)?).map(Volume::from_litres)
}

/// As [`treats`], infinite without load.
fn litres(left: Equivalents, load: EquivalentConcentration) -> Option<f64> {
    let left = not_negative(left.meq())?;
    let load = not_negative(load.meq_per_l())?;
    Some(if load > 0.0 {
        left / load
    } else {
        f64::INFINITY
    })
}
