//! What the water brings to the stages: ions to resin, in milliequivalents, and disinfectant to carbon,
//! in grams; and what each has taken. Decides nothing.
//!
//! Salt is what the permeate probe told of, creep and all (`creep.rs`): at the least all of it sodium
//! chloride, at the most sodium bicarbonate. What no probe sees follows from
//! the feed's chemistry: carbon dioxide, which passes the membrane whole; some of the silica; the
//! ammonia that carbon sets free from chloramine. What is not configured is reckoned three times: with
//! the least, the likely and the most that tap water brings. Of litres that the probe did not tell of
//! (it was silent, or the program new), the mean of the others stands.

use std::array;

use serde::{Deserialize, Serialize};

use crate::{
    config::{Disinfectant, FeedChemistry, StageKind, StageWater, UnitSettings},
    physics::{ammonia, carbonate, carbonate::CarbonateWater, resin, resin::Load},
    quantity::{
        Concentration, Conductivity, EquivalentConcentration, Ph, Tds, TdsScale, Temperature,
        Volume,
    },
};

/// The least, the likely and the most of a load, meq.
pub(super) type Ends = [f64; 3];

/// Places in a reckoning by its ends.
pub(super) const LEAST: usize = 0;
pub(super) const LIKELY: usize = 1;
pub(super) const MOST: usize = 2;

/// Of tap water whose alkalinity is not configured, mg/L CaCO3: soft, a water works' average (Bay
/// County, Michigan: 78) and hard. Common practice, no source but for the second.
const ALKALINITY_MG_PER_L_CACO3: Ends = [40.0, 80.0, 200.0];
/// Of tap water whose pH is not configured; the one of that water works is 7.6, the ends are those of
/// the range over which it was reckoned with PHREEQC.
const PH: Ends = [7.2, 7.6, 8.6];
/// Of silica, what home membranes let through (from memory).
const SILICA_PASSAGE: Ends = [0.02, 0.05, 0.10];
/// Where neither a sensor nor the configuration tells: cool tap water of middling salinity.
const CELSIUS: f64 = 15.0;
const US_PER_CM: f64 = 400.0;
/// Litres that may wait for the probe's word before they count as untold.
const WAITING_LITRES: f64 = 5.0;
/// Litres that make a mean for those that nothing told of.
const MEAN_LITRES: f64 = 10.0;

/// What a DI stage has taken up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct LoadState {
    /// Permeate whose ions are in it.
    pub counted: Volume,
    /// Of that, what a mean stands for.
    pub by_mean: Volume,
    /// Positive ions: the least, the likely and the most, meq.
    pub cation: Ends,
    /// Negative ions, carbon dioxide and silica, likewise.
    pub anion: Ends,
}

/// What came since the look before, and is left of it behind each stage.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Offered {
    /// Permeate that the probe told of.
    pub litres: f64,
    pub cation: Ends,
    pub anion: Ends,
    /// Of the feed.
    pub disinfectant: Option<Concentration>,
}

/// What a stage can take in each of the three reckonings, meq.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Room {
    pub cation: Option<Ends>,
    pub anion: Option<Ends>,
}

impl Offered {
    /// `salt` in mg of NaCl, in `litres` of permeate. Temperature and conductivity are the feed's.
    pub fn new(
        settings: &UnitSettings,
        chemistry: &FeedChemistry,
        salt: f64,
        litres: f64,
        temperature: Option<Temperature>,
        conductivity: Option<Conductivity>,
    ) -> Self {
        let mut offered = Self {
            disinfectant: chemistry.disinfectant_level,
            ..Self::default()
        };
        if litres <= 0.0 {
            return offered;
        }
        offered.litres = litres;
        let temperature = temperature.unwrap_or(Temperature::from_celsius(CELSIUS));
        let conductivity = conductivity.unwrap_or(Conductivity::from_us_per_cm(US_PER_CM));
        let Some(salts) = salts(Tds::from_mg_per_l(salt / litres)) else {
            return offered;
        };
        for (end, salt) in salts.into_iter().enumerate() {
            let unseen = Unseen::new(settings, chemistry, end, temperature, conductivity);
            if let Some(load) = unseen.with(salt) {
                let volume = Volume::from_litres(litres);
                offered.cation[end] = load.cation.in_volume(volume).meq();
                offered.anion[end] = load.anion.in_volume(volume).meq();
            }
        }
        offered
    }
}

/// Salt as mg/L of NaCl, which the probe's word was taken for: what it is in truth a probe cannot tell.
fn salts(nacl: Tds) -> Option<[EquivalentConcentration; 3]> {
    let (least, most) = resin::salt_band(TdsScale::NACL.conductivity(nacl))?;
    Some([least, resin::salt_of_tds(nacl)?, most])
}

/// What no probe sees in the permeate, in one of the three reckonings.
struct Unseen {
    ammonia: Concentration,
    carbon_dioxide: Concentration,
    silica: Concentration,
}

impl Unseen {
    fn new(
        settings: &UnitSettings,
        chemistry: &FeedChemistry,
        end: usize,
        temperature: Temperature,
        conductivity: Conductivity,
    ) -> Self {
        let silica = chemistry.silica.unwrap_or(Concentration::ZERO);
        Self {
            ammonia: gas_from_chloramine(settings, chemistry, end, temperature)
                .unwrap_or(Concentration::ZERO),
            // None where the hydroxide alone is more than the alkalinity: there is none of it then.
            carbon_dioxide: carbon_dioxide(chemistry, end, temperature, conductivity)
                .unwrap_or(Concentration::ZERO),
            silica: silica * SILICA_PASSAGE[end],
        }
    }

    fn with(&self, salt: EquivalentConcentration) -> Option<Load> {
        Load::new(salt, self.ammonia, self.carbon_dioxide, self.silica)
    }
}

/// There is the less of it, the higher the pH.
fn carbon_dioxide(
    chemistry: &FeedChemistry,
    end: usize,
    temperature: Temperature,
    conductivity: Conductivity,
) -> Option<Concentration> {
    let usual = EquivalentConcentration::from_mg_per_l_caco3(ALKALINITY_MG_PER_L_CACO3[end]);
    CarbonateWater {
        alkalinity: chemistry.alkalinity.unwrap_or(usual),
        ph: chemistry.ph.or(Ph::new(PH[2 - end]))?,
        temperature,
        ionic_strength: carbonate::ionic_strength(conductivity)?,
    }
    .carbon_dioxide()
}

/// Ammonia that passes the membrane as gas, as nitrogen. What passes as ammonium conducts: the probe
/// has told of it. Without carbon before the membrane chloramine stays what it is.
fn gas_from_chloramine(
    settings: &UnitSettings,
    chemistry: &FeedChemistry,
    end: usize,
    temperature: Temperature,
) -> Option<Concentration> {
    let is_broken = settings.stages.iter().any(|stage| {
        let is_carbon = matches!(stage.kind, StageKind::Carbon | StageKind::CatalyticCarbon);
        is_carbon && stage.water == StageWater::Feed
    });
    if chemistry.disinfectant != Some(Disinfectant::Chloramine) || !is_broken {
        return None;
    }
    let nitrogen = ammonia::set_free_by_carbon(chemistry.disinfectant_level?)?;
    let ph = chemistry.ph.or(Ph::new(PH[end]))?;
    Some(nitrogen * ammonia::gas_share(ph, temperature)?)
}

impl LoadState {
    /// Takes of what is offered as much as there is room for and leaves the rest to the next stage.
    /// `treated` is all permeate of this filling so far.
    pub(super) fn take(&mut self, offered: &mut Offered, room: &Room, treated: Volume) {
        self.counted += Volume::from_litres(offered.litres);
        for (taken, coming, room) in [
            (&mut self.cation, &mut offered.cation, room.cation),
            (&mut self.anion, &mut offered.anion, room.anion),
        ] {
            let Some(room) = room else { continue };
            for end in 0..3 {
                let fits = coming[end].min((room[end] - taken[end]).max(0.0));
                taken[end] += fits;
                coming[end] -= fits;
            }
        }
        self.fill_in(room, treated);
    }

    /// Lets the mean stand for what the probe did not tell of.
    fn fill_in(&mut self, room: &Room, treated: Volume) {
        let untold = treated - self.counted;
        if untold.litres() <= WAITING_LITRES || self.counted.litres() < MEAN_LITRES {
            return;
        }
        let more = treated / self.counted;
        for (taken, room) in [
            (&mut self.cation, room.cation),
            (&mut self.anion, room.anion),
        ] {
            let room = room.unwrap_or([0.0; 3]);
            *taken = array::from_fn(|end| (taken[end] * more).min(room[end].max(taken[end])));
        }
        self.counted = treated;
        self.by_mean += untold;
    }

    /// Whether so little of the water was told of that nothing can be said yet.
    pub fn is_untold(&self, treated: Volume) -> bool {
        let untold = treated - self.counted;
        untold.litres() > WAITING_LITRES && untold > self.counted
    }

    /// The share used in each of the three reckonings; the side that is spent first counts.
    pub(super) fn used(&self, room: &Room) -> Ends {
        let share = |taken: &Ends, room: Option<Ends>, end: usize| {
            room.map_or(0.0, |room| taken[end] / room[end])
        };
        array::from_fn(|end| {
            share(&self.cation, room.cation, end).max(share(&self.anion, room.anion, end))
        })
    }
}

#[cfg(test)]
mod tests;
