//! The fillings of DI stages: whether the water behind them is still good, how they ended, and what that
//! teaches of their capacity.
//!
//! Only the settled part of a run counts (of a long one, each part of some hours): what creeps through the
//! resting membrane is salty in the first litres and tells nothing of the resin. A breakthrough is told
//! when the figures of more than one run lie surely above the limit and have grown to there, or lie far
//! above it and stay; it is then dated back to between the last good figure and the first beyond.
//! Where the water behind is acid or alkaline, `physics::swapped` says how a leak shows.

mod front;
mod judging;
mod place;
mod samples;
mod words;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use self::{
    front::{Front, Sight},
    place::{Place, Probe},
    samples::Samples,
};
use super::{
    capacity::{Learned, Told},
    load::{Ends, LoadState, Room},
    stage::Stage,
    train::Train,
};
use crate::{
    config::{Point, StageSettings, UnitSettings},
    physics::{statistics::median, swapped::LEAST_FRESH_RATIO},
    time::{Mono, Wall},
};

/// What is kept of a stage's filling, and of those before it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Filling {
    /// What earlier fillings taught.
    #[serde(skip_serializing_if = "Option::is_none")]
    learned: Option<Learned>,
    #[serde(skip_serializing_if = "Front::is_empty")]
    front: Front,
    /// Conductivity behind it in multiples of what enters, in the first runs; where only one kind of ion
    /// is taken.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    fresh: Vec<f64>,
    /// What it had taken when its water was last good …
    #[serde(skip_serializing_if = "Option::is_none")]
    good: Option<LoadState>,
    /// … and when it was first beyond the limit since.
    #[serde(skip_serializing_if = "Option::is_none")]
    beyond: Option<LoadState>,
    #[serde(skip_serializing_if = "Option::is_none")]
    spent: Option<Spent>,
    /// The limit and what enters, µS/cm, at the last figure.
    #[serde(skip_serializing_if = "Option::is_none")]
    limits: Option<(f64, f64)>,
}

/// A breakthrough.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Spent {
    /// When it was told.
    at: Option<Wall>,
    /// Let through then, and the limit, µS/cm.
    level: f64,
    limit: f64,
    /// The id of the stage behind which it was seen.
    behind: String,
    /// Litres treated then.
    litres: f64,
    /// What was known before it, in case it is taken back.
    before: Option<Learned>,
    /// What it had taken by then.
    taken: Option<LoadState>,
}

/// How a stage's filling stands, as far as its reckoning needs to know.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Standing {
    /// What it can take, as learned or as configured; none where nothing says.
    pub room: [Option<Ends>; 2],
    /// Whether the probes would show a breakthrough.
    pub is_watched: bool,
    /// Whether they have.
    pub is_spent: bool,
    /// The capacity found, meq.
    pub told: Option<Told>,
    /// What is let through, and the limit, µS/cm, while a front arrives.
    pub leaking: Option<(f64, f64)>,
}

/// The fillings of a unit.
#[derive(Clone, Debug)]
pub(super) struct Fillings {
    places: Vec<Place>,
    samples: Vec<Samples>,
    /// By the stage's id; those of stages that left the configuration stay.
    kept: BTreeMap<String, Filling>,
    standings: Vec<Standing>,
    /// The least limit, µS/cm.
    limit: f64,
}

impl Fillings {
    pub fn new(
        settings: &UnitSettings,
        kept: &BTreeMap<String, Filling>,
        stages: &mut [Stage],
    ) -> Self {
        let places = place::places(settings);
        let limit = settings.alerts.product_tds_high;
        let mut fillings = Self {
            samples: vec![Samples::default(); places.len()],
            places,
            kept: kept.clone(),
            standings: vec![Standing::default(); stages.len()],
            limit: limit.map_or(0.0, |limit| limit.raise.us_per_cm()),
        };
        for stage in stages.iter() {
            let (Some(kept), Some(room)) =
                (fillings.kept.get_mut(&stage.settings().id), stage.room())
            else {
                continue;
            };
            // Another kind of resin under the same id has nothing to learn from it.
            kept.learned = kept.learned.take().filter(|learned| learned.fits(&room));
            if let Some(learned) = &mut kept.learned {
                learned.rescale(stage.settings());
            }
        }
        fillings.refresh(stages);
        fillings
    }

    /// What to keep.
    pub fn state(&self) -> BTreeMap<String, Filling> {
        self.kept.clone()
    }

    pub fn standing(&self, stage: usize) -> Standing {
        self.standings.get(stage).copied().unwrap_or_default()
    }

    fn filling(&self, stage: &Stage) -> Option<&Filling> {
        self.kept.get(&stage.settings().id)
    }

    fn filling_mut(&mut self, stage: &Stage) -> &mut Filling {
        self.kept.entry(stage.settings().id.clone()).or_default()
    }

    /// Takes a sample of settled water; called while quality counts.
    pub fn sample(&mut self, train: &Train, settings: &UnitSettings, now: Mono) {
        if self.places.is_empty() {
            return;
        }
        let at = |point| train.conductivity(point, settings, now).ok();
        let permeate = at(Point::PermeateTds).map(|known| known.value.us_per_cm());
        for (place, samples) in self.places.iter().zip(&mut self.samples) {
            let behind = match place.probe {
                Probe::Product => at(Point::ProductTds),
                Probe::Sensor(index) => train
                    .sensors()
                    .get(index)
                    .and_then(|sensor| train.conductivity_of(sensor, settings, now).ok()),
            };
            if let Some(behind) = behind {
                samples.take(behind.value.us_per_cm(), permeate);
            }
        }
    }

    /// A run, or a part of a long one, is over: its figures are looked at, from the first stage on.
    /// Whether there were any.
    pub fn end_of_run(&mut self, stages: &mut [Stage], date: Option<Wall>) -> bool {
        let mut is_told = false;
        for index in 0..self.places.len() {
            let samples = std::mem::take(&mut self.samples[index]);
            if let Some((behind, permeate)) = samples.figure() {
                let place = self.places[index].clone();
                self.judge(&place, behind, permeate, stages, date);
                self.refresh(stages);
                is_told = true;
            }
        }
        is_told
    }

    /// A stage has a new filling; `old` is what the one before had taken. The water behind it is another
    /// from now on, and so it is behind those that follow.
    pub fn replaced(&mut self, index: usize, old: Option<LoadState>, stages: &mut [Stage]) {
        let stage = &stages[index];
        if stage.room().is_none() {
            return;
        }
        let room = stage.room();
        let filling = self.filling_mut(stage);
        let mut learned = filling.learned.take();
        let was_good =
            filling.spent.is_none() && filling.good.is_some() && filling.beyond.is_none();
        if let (Some(load), Some(room)) = (old.filter(|_| was_good), &room) {
            let mut lesson = learned.clone().unwrap_or_default();
            lesson.replace_while_good(stage.settings(), room, &load);
            learned = (lesson != Learned::default()).then_some(lesson).or(learned);
        }
        *filling = Filling {
            learned,
            ..Filling::default()
        };
        let places: Vec<Place> = self.places.clone();
        for place in places.iter().filter(|place| place.stage > index) {
            let filling = self.filling_mut(&stages[place.stage]);
            filling.front = Front::default();
            filling.fresh.clear();
            filling.beyond = None;
        }
        self.refresh(stages);
    }

    /// What was seen of a stage's filling.
    pub fn of(&self, settings: &StageSettings) -> Option<&Filling> {
        self.kept.get(&settings.id)
    }

    /// A stage was not replaced after all.
    pub fn bring_back(&mut self, index: usize, former: Filling, stages: &mut [Stage]) {
        *self.filling_mut(&stages[index]) = former;
        self.refresh(stages);
    }

    /// Works out how every filling stands, and tells the stages.
    pub fn refresh(&mut self, stages: &mut [Stage]) {
        for (index, stage) in stages.iter_mut().enumerate() {
            if stage.room().is_none() {
                continue;
            }
            let standing = self.find(index, stage);
            stage.stand(standing);
            if let Some(place) = self.standings.get_mut(index) {
                *place = standing;
            }
        }
    }

    fn find(&self, index: usize, stage: &Stage) -> Standing {
        let tells = |place: &&Place| {
            let mut fresh = self
                .kept
                .get(&place.id)
                .map_or(Vec::new(), |filling| filling.fresh.clone());
            let usual = median(&mut fresh);
            place.swap.is_none() || usual.is_none_or(|usual| usual >= LEAST_FRESH_RATIO)
        };
        let telling = self.places.iter().filter(tells);
        let is_watched = telling.flat_map(shown_by).any(|shown| shown == index);
        let none = Filling::default();
        let filling = self.filling(stage).unwrap_or(&none);
        let learned = filling.learned.clone().unwrap_or_default();
        let leaking = match filling.front.sight {
            Sight::Leaking { to, .. } => filling.limits.map(|(limit, _)| (to, limit)),
            Sight::Quiet | Sight::Stepped { .. } => None,
        };
        Standing {
            room: if filling.learned.is_some() || filling.good.is_some() {
                let good = filling.good.as_ref().filter(|_| filling.spent.is_none());
                learned.room(stage.settings(), good)
            } else {
                [None; 2]
            },
            is_watched,
            is_spent: filling.spent.is_some(),
            told: learned.told(),
            leaking: leaking.filter(|_| filling.spent.is_none()),
        }
    }
}

/// The DI stages that a probe would show to be spent, by their indices.
pub(super) fn watched_stages(settings: &UnitSettings) -> Vec<usize> {
    let places = place::places(settings);
    let mut shown: Vec<usize> = places.iter().flat_map(shown_by).collect();
    shown.sort_unstable();
    shown.dedup();
    shown
}

/// The stages whose breakthrough a figure would show.
fn shown_by(place: &Place) -> impl Iterator<Item = usize> + use<> {
    [Some(place.stage), place.partner].into_iter().flatten()
}

/// What stands in for a capacity that nothing tells: none on a side that the stage lacks.
pub(super) fn or_endless(room: &Room, known: [Option<Ends>; 2]) -> Room {
    Room {
        cation: room.cation.map(|own| known[0].unwrap_or(own)),
        anion: room.anion.map(|own| known[1].unwrap_or(own)),
    }
}

#[cfg(test)]
mod tests;
