//! What one figure behind one stage means: good water, a breakthrough and whose, or one that was none.

use super::{Fillings, Spent, front::Point as Figure, place::Place, shown_by};
use crate::{
    core::{
        load::{Ends, LIKELY, LoadState},
        stage::Stage,
    },
    physics::{statistics::median, swapped::sodium_as_alkali},
    time::Wall,
};

/// Of what enters an earlier stage, this share let through is a breakthrough (common practice, no source).
const BREAKTHROUGH_SHARE: f64 = 0.10;
/// Figures beyond the limit that have grown to there.
const FEWEST_BEYOND: usize = 2;
/// A sudden rise ends a filling only this far beyond the limit, for so many figures.
const FAR: f64 = 2.0;
const FEWEST_FAR: usize = 4;
/// A breakthrough is taken back below this share of its limit.
const BACK_SHARE: f64 = 0.5;
/// Runs that tell what acid or alkaline water behind fresh resin conducts.
const FRESH_RUNS: usize = 5;

impl Fillings {
    /// One figure behind one stage.
    pub(super) fn judge(
        &mut self,
        place: &Place,
        behind: f64,
        permeate: Option<f64>,
        stages: &mut [Stage],
        date: Option<Wall>,
    ) {
        let stage = &stages[place.stage];
        let Some(level) = self.let_through(place, stage, behind, permeate) else {
            return;
        };
        let enters = permeate.unwrap_or(0.0);
        let limit = if place.is_last && self.limit > 0.0 {
            self.limit
        } else {
            self.limit.max(BREAKTHROUGH_SHARE * enters)
        };
        if limit <= 0.0 {
            return;
        }
        let litres = stage.state().treated.litres();
        let filling = self.filling_mut(stage);
        filling.limits = Some((limit, enters));
        filling.front.take(Figure { litres, level }, enters);
        if filling.front.is_back_below(BACK_SHARE * limit) {
            self.take_back(place, stages);
        }
        let stage = &stages[place.stage];
        let beyond = self.filling_mut(stage).front.surely_above(limit, enters);
        match beyond.len() {
            0 => self.note_good(place, stages, level <= limit),
            count => {
                let is_far = beyond.iter().all(|figure| figure.level >= FAR * limit);
                let front = &self.filling_mut(stage).front;
                let is_front = front.is_leaking() && count >= FEWEST_BEYOND;
                self.note_beyond(place, stages);
                if is_front || (is_far && count >= FEWEST_FAR) {
                    self.end(place, stages, (level, limit), date);
                }
            }
        }
    }

    /// µS/cm that a stage lets through.
    fn let_through(
        &mut self,
        place: &Place,
        stage: &Stage,
        behind: f64,
        permeate: Option<f64>,
    ) -> Option<f64> {
        let Some(swap) = place.swap else {
            return Some(behind);
        };
        let enters = permeate.filter(|enters| *enters > 0.0)?;
        // What is kept must be a number: a probe may tell of water without any salt.
        let ratio = Some(behind / enters).filter(|ratio| ratio.is_finite())?;
        let fresh = &mut self.filling_mut(stage).fresh;
        if fresh.len() < FRESH_RUNS {
            fresh.push(ratio);
            return None;
        }
        let usual = median(&mut fresh.clone())?;
        Some(swap.passing(usual, ratio)? * enters)
    }

    fn note_good(&mut self, place: &Place, stages: &[Stage], is_good: bool) {
        for index in shown_by(place) {
            let stage = &stages[index];
            let load = stage.state().load;
            let filling = self.filling_mut(stage);
            if filling.spent.is_none() && is_good {
                filling.good = load;
                filling.beyond = None;
            }
        }
    }

    fn note_beyond(&mut self, place: &Place, stages: &[Stage]) {
        for index in shown_by(place) {
            let stage = &stages[index];
            let load = stage.state().load;
            let filling = self.filling_mut(stage);
            if filling.beyond.is_none() {
                filling.beyond = load;
            }
        }
    }

    /// A filling is at its end: this stage's, or its partner's.
    fn end(&mut self, place: &Place, stages: &[Stage], seen: (f64, f64), date: Option<Wall>) {
        let Some(index) = self.spent_one(place, stages, seen.0) else {
            return;
        };
        let behind = stages[place.stage].settings().id.clone();
        let stage = &stages[index];
        let settings = stage.settings();
        let filling = self.filling_mut(stage);
        if filling.spent.is_some() {
            return;
        }
        let before = filling.learned.clone();
        let taken = match (filling.good, filling.beyond) {
            (Some(good), Some(beyond)) => Some(good.halfway_to(&beyond)),
            // It was never seen good: what it took before is not known.
            (None, _) | (_, None) => None,
        };
        let room = stage.room();
        if let (Some(taken), Some(room)) = (&taken, &room) {
            filling
                .learned
                .get_or_insert_default()
                .break_through(settings, room, taken);
        }
        filling.spent = Some(Spent {
            at: date,
            litres: stage.state().treated.litres(),
            level: seen.0,
            limit: seen.1,
            behind,
            before,
            taken,
        });
    }

    /// Whose doing a rise is. Behind anion resin that follows cation resin it is chloride as acid, or
    /// sodium as alkali: by its own probe before, else the one of whose capacity more is used. While
    /// one of them is known to be spent, it explains the rise.
    fn spent_one(&self, place: &Place, stages: &[Stage], level: f64) -> Option<usize> {
        let Some(partner) = place.partner else {
            return Some(place.stage);
        };
        let is_spent = |index: usize| self.standing(index).is_spent;
        if is_spent(partner) || is_spent(place.stage) {
            return None;
        }
        if self.places.iter().any(|other| other.stage == partner) {
            let filling = self.filling(&stages[partner]);
            let passed = filling.and_then(|filling| Some(filling.front.points().last()?.level));
            if let Some(passed) = passed {
                let explains = passed * sodium_as_alkali() > level / 2.0;
                return Some(if explains { partner } else { place.stage });
            }
        }
        let used = |index: usize| {
            let used = stages[index].used().ok();
            used.map_or(0.0, |known| known.value[LIKELY])
        };
        Some(if used(partner) > used(place.stage) {
            partner
        } else {
            place.stage
        })
    }

    /// The breakthroughs seen by this probe were none.
    fn take_back(&mut self, place: &Place, stages: &mut [Stage]) {
        let behind = stages[place.stage].settings().id.clone();
        for index in shown_by(place) {
            let filling = self.filling_mut(&stages[index]);
            if filling
                .spent
                .as_ref()
                .is_some_and(|own| own.behind == behind)
            {
                filling.beyond = None;
                if let Some(spent) = filling.spent.take() {
                    filling.learned = spent.before;
                    stages[index].make_up_since(spent.litres);
                }
            }
        }
    }
}

impl LoadState {
    /// Between what had been taken here and there.
    fn halfway_to(&self, later: &Self) -> Self {
        let between = |one: &Ends, other: &Ends| {
            std::array::from_fn(|end| f64::midpoint(one[end], other[end]))
        };
        Self {
            cation: between(&self.cation, &later.cation),
            anion: between(&self.anion, &later.anion),
            ..*later
        }
    }
}
