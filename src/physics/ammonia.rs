//! Ammonia: how much of it is gas (NH3, which a membrane lets through) and how much ion (NH4⁺, which
//! it holds back), and what carbon sets free when it breaks chloramine. Tells nothing of what fish bear.

use super::{is_water_temperature, not_negative};
use crate::quantity::{Concentration, EquivalentConcentration, Ph, Temperature};

/// Molar mass of nitrogen, mg/mmol.
const NITROGEN_MG_PER_MMOL: f64 = 14.0067;
/// Molar mass of chlorine, Cl2, mg/mmol, as which chloramine is stated.
const CHLORINE_MG_PER_MMOL: f64 = 70.906;

/// pKa of ammonium, 0.09018 + 2729.92/T with T = 273.15 + °C (Emerson, Russo, Lund and Thurston 1975,
/// 0 to 50 °C). Copies with 2727.92 are about: a slip that gives 1.6 % too much ammonia.
///
/// `None` outside −5 to 60 °C.
#[must_use]
pub fn pka(temperature: Temperature) -> Option<f64> {
    is_water_temperature(temperature).then(|| 0.090_18 + 2729.92 / (temperature.celsius() + 273.15))
}

/// The share of all ammonia that is NH3, from 0 to 1: 1/(1 + 10^(pKa − pH)). `None` as for [`pka`].
#[must_use]
pub fn gas_share(ph: Ph, temperature: Temperature) -> Option<f64> {
    Some(1.0 / (1.0 + 10f64.powf(pka(temperature)? - ph.value())))
}

/// Ammonia, as nitrogen, that is set free when carbon breaks this much chloramine (total chlorine as
/// Cl2): one mole of nitrogen to one of Cl2, 0.1975 mg to the mg.
///
/// The most there can be: part of it goes off as nitrogen gas. `None` below zero.
#[must_use]
pub fn set_free_by_carbon(chloramine: Concentration) -> Option<Concentration> {
    let moles = not_negative(chloramine.mg_per_l())? / CHLORINE_MG_PER_MMOL;
    Some(Concentration::from_mg_per_l(moles * NITROGEN_MG_PER_MMOL))
}

/// What a cation resin must take for this much ammonia, stated as nitrogen: one equivalent to the
/// mole, for in its acid form it takes NH3 too. `None` below zero.
#[must_use]
pub fn equivalents(nitrogen: Concentration) -> Option<EquivalentConcentration> {
    let moles = not_negative(nitrogen.mg_per_l())? / NITROGEN_MG_PER_MMOL;
    Some(EquivalentConcentration::from_meq_per_l(moles))
}

/// Ammonia behind the membrane, as nitrogen: NH3 passes whole, NH4⁺ as other salt does, with
/// `salt_passage` from 0 to 1.
///
/// `None` for a concentration below zero, a passage that is no share, or as for [`pka`].
#[must_use]
pub fn behind_membrane(
    feed_nitrogen: Concentration,
    ph: Ph,
    temperature: Temperature,
    salt_passage: f64,
) -> Option<Concentration> {
    let nitrogen = not_negative(feed_nitrogen.mg_per_l())?;
    if !(0.0..=1.0).contains(&salt_passage) {
        return None;
    }
    let gas = gas_share(ph, temperature)?;
    Some(Concentration::from_mg_per_l(
        nitrogen * (gas + (1.0 - gas) * salt_passage),
    ))
}
