//! Calcium carbonate scale: the saturation index of the concentrate, which is where scale begins, and
//! the recovery at which it reaches a limit. An estimate from a water analysis; no sensor shows it.

use super::{carbonate, positive, proper_fraction};
use crate::quantity::{EquivalentConcentration, Ph, Tds, Temperature};

/// Where ASTM D3739 applies, mg/L.
const DISSOLVED_MG_PER_L: std::ops::RangeInclusive<f64> = 10.0..=10_000.0;
/// Ionic strength, mol/L, for each mg/L dissolved (Langelier; from memory): 1.6e-5 for each µS/cm.
const MOL_PER_L_FOR_MG_PER_L: f64 = 2.5e-5;
/// No home unit goes beyond, and the estimate of the concentrate's pH would not be worth much.
const HIGHEST_RECOVERY: f64 = 0.9;
const HALVINGS: usize = 40;

/// Water as an analysis describes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Analysis {
    /// All that is dissolved, 10 to 10 000 mg/L; about 0.64 for each µS/cm in tap water.
    pub dissolved: Tds,
    /// Calcium hardness (not total hardness); above zero.
    pub calcium: EquivalentConcentration,
    /// Total alkalinity; above zero.
    pub alkalinity: EquivalentConcentration,
    /// At `temperature`.
    pub ph: Ph,
    /// 0 to 100 °C for [`saturation_index`], else −5 to 60 °C.
    pub temperature: Temperature,
}

/// The Langelier saturation index, pH − pHs, of ASTM D3739: above zero calcium carbonate may fall out.
///
/// pHs = 9.3 + A + B − C − D; A = (log TDS − 1)/10, B = −13.12·log(T + 273) + 34.55,
/// C = log(Ca as CaCO3) − 0.4, D = log(alkalinity as CaCO3), mg/L and decimal logarithms.
///
/// In tap water it comes out 0.1 to 0.3 below the calcite index of a full speciation (PHREEQC), the
/// more the colder: a limit should leave room for that. `None` outside the ranges of [`Analysis`].
#[must_use]
pub fn saturation_index(water: &Analysis) -> Option<f64> {
    let dissolved = water.dissolved.mg_per_l();
    let celsius = water.temperature.celsius();
    if !DISSOLVED_MG_PER_L.contains(&dissolved) || !(0.0..=100.0).contains(&celsius) {
        return None;
    }
    let a = (dissolved.log10() - 1.0) / 10.0;
    let b = -13.12 * (celsius + 273.0).log10() + 34.55;
    let c = positive(water.calcium.mg_per_l_caco3())?.log10() - 0.4;
    let d = positive(water.alkalinity.mg_per_l_caco3())?.log10();
    super::finite(water.ph.value() - (9.3 + a + b - c - d))
}

/// The concentrate at a recovery Y, 0 < Y < 1, with `salt_passage` s from 0 (all held back) to 1.
///
/// Dissolved salt, calcium and alkalinity by balance, feed × (1 − Y·s)/(1 − Y), as ASTM D3739 has
/// them (and D4582, sections 7.1 and 7.2). The pH follows from the rule of these standards that carbon
/// dioxide passes a membrane freely, so that the concentrate holds as much of it as the feed beside
/// more alkalinity; where they have a chart of pH over alkalinity/CO2, here the equilibrium is solved
/// at the concentrate's ionic strength.
///
/// `None` outside the ranges of [`Analysis`] (for feed or concentrate), or where feed pH and
/// alkalinity do not go together.
#[must_use]
pub fn concentrate(feed: &Analysis, recovery: f64, salt_passage: f64) -> Option<Analysis> {
    let recovery = proper_fraction(recovery)?;
    if !(0.0..=1.0).contains(&salt_passage) {
        return None;
    }
    let factor = (1.0 - recovery * salt_passage) / (1.0 - recovery);
    let dissolved = feed.dissolved * factor;
    let is_covered = |tds: Tds| DISSOLVED_MG_PER_L.contains(&tds.mg_per_l());
    if !is_covered(feed.dissolved) || !is_covered(dissolved) {
        return None;
    }
    positive(feed.calcium.meq_per_l())?;
    positive(feed.alkalinity.meq_per_l())?;
    let alkalinity = feed.alkalinity * factor;
    let gas = carbonate::CarbonateWater {
        alkalinity: feed.alkalinity,
        ph: feed.ph,
        temperature: feed.temperature,
        ionic_strength: ionic_strength(feed.dissolved),
    }
    .carbon_dioxide()?;
    let strength = ionic_strength(dissolved);
    Some(Analysis {
        dissolved,
        calcium: feed.calcium * factor,
        alkalinity,
        ph: carbonate::ph_with_carbon_dioxide(alkalinity, gas, feed.temperature, strength)?,
        temperature: feed.temperature,
    })
}

/// Ionic strength, mol/L.
fn ionic_strength(dissolved: Tds) -> f64 {
    dissolved.mg_per_l() * MOL_PER_L_FOR_MG_PER_L
}

/// How far the recovery may go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RecoveryLimit {
    /// The feed itself is at the limit or beyond.
    Passed,
    /// The index of the concentrate reaches the limit at this recovery, 0–1.
    At(f64),
    /// The limit is not reached up to this recovery, the highest that can be judged.
    Beyond(f64),
}

/// The recovery at which the saturation index of the concentrate reaches `index`, by bisection; the
/// index rises with the recovery. `None` as for [`concentrate`].
#[must_use]
pub fn recovery_at_index(feed: &Analysis, index: f64, salt_passage: f64) -> Option<RecoveryLimit> {
    let index = super::finite(index)?;
    // A hair less than where the concentrate would be too salty to be judged.
    let within = 0.999 * (1.0 - feed.dissolved.mg_per_l() / DISSOLVED_MG_PER_L.end());
    let highest = HIGHEST_RECOVERY.min(within);
    let at = |recovery: f64| saturation_index(&concentrate(feed, recovery, salt_passage)?);
    if saturation_index(feed)? >= index {
        return Some(RecoveryLimit::Passed);
    }
    if at(highest)? < index {
        return Some(RecoveryLimit::Beyond(highest));
    }
    let (mut low, mut high) = (0.0, highest);
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if at(middle)? < index {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(RecoveryLimit::At((low + high) / 2.0))
}
