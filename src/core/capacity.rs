//! What a stage's fillings can take, learned from how they ended. Pure arithmetic: what ended when is
//! found by `breakthrough/`.
//!
//! Each of the three reckonings (`load.rs`: least, likely, most) learns for itself. At a breakthrough,
//! what a reckoning says was taken is what the filling could take *in that reckoning*. Whatever is wrong
//! with it, carbon dioxide that is not known or salt that is not NaCl, is wrong by the same factor for
//! the next filling and cancels: the three then agree on the litres, and the band between them narrows by
//! itself. Beliefs are normal in the logarithm, for errors are factors. The prior is the configuration;
//! the posterior of one filling is the prior of the next.
//!
//! A filling that was replaced while its water was good was able to take at least what it took. That
//! bound moves a belief only where it reaches into it (the mean of a normal distribution cut off below).

use serde::{Deserialize, Serialize};

use super::load::{Ends, LEAST, LIKELY, LoadState, MOST, Room};
use crate::{
    config::{Capacity, IonCapacity, StageSettings},
    physics::normal::{BAND_95, hazard},
    quantity::Equivalents,
};

/// How much fillings of the same resin differ from one to the next, as a standard deviation of the
/// logarithm: packing, the resin's own lot, how the water finds its way (common practice, no source).
const FILLING_NOISE: f64 = 0.05;
/// The least that a configured capacity may be off: a maker's figure for a bed worked to the last is not
/// what a home cartridge gives (common practice, no source).
const LEAST_PRIOR: f64 = 0.10;
/// The most that the load's own uncertainty adds to a prior.
const MOST_PRIOR: f64 = 1.0;
/// A configured capacity further from the one before than this is another cartridge: all is forgotten.
const SAME_MAKE: f64 = 20.0;

/// A normal belief about the logarithm of a capacity in meq.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Belief {
    mean: f64,
    deviation: f64,
}

impl Belief {
    /// `None` unless the capacity is above zero.
    fn of(meq: f64, deviation: f64) -> Option<Self> {
        let mean = meq.ln();
        mean.is_finite().then_some(Self { mean, deviation })
    }

    /// A filling took this much, and no more.
    fn seen(self, meq: f64) -> Self {
        let Some(found) = Self::of(meq, FILLING_NOISE) else {
            return self;
        };
        let (prior, noise) = (self.deviation.powi(2), found.deviation.powi(2));
        let weight = prior / (prior + noise);
        Self {
            mean: self.mean + weight * (found.mean - self.mean),
            deviation: (prior * noise / (prior + noise)).sqrt(),
        }
    }

    /// A filling took this much, and could have taken more.
    fn at_least(self, meq: f64) -> Self {
        let Some(bound) = Self::of(meq, FILLING_NOISE) else {
            return self;
        };
        let prior = self.deviation.powi(2);
        let spread = (prior + FILLING_NOISE.powi(2)).sqrt();
        let place = (bound.mean - self.mean) / spread;
        let pull = hazard(place);
        let shrink = 1.0 - prior / spread.powi(2) * pull * (pull - place);
        Self {
            mean: self.mean + prior / spread * pull,
            deviation: (prior * shrink.clamp(0.0, 1.0)).sqrt(),
        }
    }

    /// What the present filling can be counted on to take, given that it has taken this much already
    /// and its water is still good: the mean of what lies above, less what cannot be known.
    fn of_this_filling(self, taken: f64) -> f64 {
        let Some(bound) = Self::of(taken, 0.0) else {
            return self.mean.exp();
        };
        let spread = self.filling_deviation();
        let pull = hazard((bound.mean - self.mean) / spread);
        (self.mean + spread * pull).exp()
    }

    /// Of the next filling, whose own difference comes on top of what is not known of all.
    fn filling_deviation(self) -> f64 {
        self.deviation.hypot(FILLING_NOISE)
    }
}

/// The two kinds of resin, as places in a pair.
pub(super) const CATION: usize = 0;
pub(super) const ANION: usize = 1;

/// What is known of the capacity of a stage's fillings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Learned {
    /// Of its cation and its anion resin, in each reckoning.
    sides: [Option<[Belief; 3]>; 2],
    /// What was configured when it was learned, meq.
    configured: [Option<f64>; 2],
    /// Breakthroughs it rests on …
    pub breakthroughs: u32,
    /// … and fillings that were replaced before one.
    pub replaced_while_good: u32,
    /// The side that was spent at the last breakthrough.
    side: usize,
}

/// A capacity as it is told, meq: likely, low and high.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Told {
    pub likely: f64,
    pub low: f64,
    pub high: f64,
}

fn ions(settings: &StageSettings) -> Option<IonCapacity> {
    match settings.capacity {
        Some(Capacity::Ions(ions)) => Some(ions),
        Some(Capacity::Disinfectant(_)) | None => None,
    }
}

fn whole(ions: Option<IonCapacity>, side: usize) -> Option<f64> {
    let ions = ions?;
    let side = if side == CATION {
        ions.cation
    } else {
        ions.anion
    };
    side.map(Equivalents::meq)
}

/// What the configuration says of one side. Its ends are what 95 % of fillings lie within.
fn prior(ions: Option<IonCapacity>, side: usize) -> Option<[Belief; 3]> {
    let whole = whole(ions, side)?;
    let usable = ions?.usable;
    let spread = (usable[LEAST] / usable[MOST]).ln() / (2.0 * BAND_95);
    let deviation = spread.max(LEAST_PRIOR);
    let belief = |end: usize| Belief::of(whole * usable[end], deviation);
    Some([belief(0)?, belief(1)?, belief(2)?])
}

/// The least and most that the load can be lie this far apart: a capacity that is reckoned in it is not
/// known better before the first breakthrough.
fn widened(prior: [Belief; 3], taken: &Ends) -> [Belief; 3] {
    let apart = (taken[MOST] / taken[LEAST]).ln() / (2.0 * BAND_95);
    let apart = if apart.is_finite() {
        apart.clamp(0.0, MOST_PRIOR)
    } else {
        0.0
    };
    prior.map(|belief| Belief {
        deviation: belief.deviation.hypot(apart),
        ..belief
    })
}

fn taken_of(load: &LoadState, side: usize) -> &Ends {
    if side == CATION {
        &load.cation
    } else {
        &load.anion
    }
}

fn has(room: &Room, side: usize) -> bool {
    let side = if side == CATION {
        room.cation
    } else {
        room.anion
    };
    side.is_some()
}

impl Learned {
    /// The side of a filling that is spent first: the one with the higher share used, where capacities
    /// are known. Where they are not, the anion side, which has carbon dioxide to take besides and is
    /// the weaker in a mixture, unless clearly more positive ions came (ammonium).
    pub(super) fn spent_side(room: &Room, load: &LoadState) -> usize {
        if !has(room, ANION) {
            return CATION;
        }
        if !has(room, CATION) {
            return ANION;
        }
        let share = |side: usize, room: Option<Ends>| {
            let room = room.map_or(f64::INFINITY, |room| room[LIKELY]);
            taken_of(load, side)[LIKELY] / if room.is_finite() { room } else { 1.0 }
        };
        let (cation, anion) = (share(CATION, room.cation), share(ANION, room.anion));
        if cation > 1.2 * anion { CATION } else { ANION }
    }

    /// A filling broke through when it had taken `load`.
    pub(super) fn break_through(
        &mut self,
        settings: &StageSettings,
        room: &Room,
        load: &LoadState,
    ) {
        let spent = Self::spent_side(room, load);
        let before = self.breakthroughs;
        for side in [CATION, ANION] {
            if !has(room, side) {
                continue;
            }
            let taken = taken_of(load, side);
            let known = self.known(settings, side, before, taken);
            self.sides[side] = match known {
                Some(beliefs) if side == spent => Some(each(beliefs, taken, Belief::seen)),
                Some(beliefs) => Some(each(beliefs, taken, Belief::at_least)),
                None if side == spent => first(taken),
                None => None,
            };
        }
        self.side = spent;
        self.breakthroughs = before.saturating_add(1);
        self.note(settings);
    }

    /// A filling was replaced when it had taken `load`, and its water was good.
    pub(super) fn replace_while_good(
        &mut self,
        settings: &StageSettings,
        room: &Room,
        load: &LoadState,
    ) {
        let mut has_taught = false;
        for side in [CATION, ANION] {
            let taken = taken_of(load, side);
            if !has(room, side) || taken[LEAST] <= 0.0 {
                continue;
            }
            if let Some(beliefs) = self.known(settings, side, self.breakthroughs, taken) {
                self.sides[side] = Some(each(beliefs, taken, Belief::at_least));
                has_taught = true;
            }
        }
        self.replaced_while_good = self
            .replaced_while_good
            .saturating_add(u32::from(has_taught));
        self.note(settings);
    }

    /// What is believed of a side: as learned, else as configured.
    fn known(
        &self,
        settings: &StageSettings,
        side: usize,
        breakthroughs: u32,
        taken: &Ends,
    ) -> Option<[Belief; 3]> {
        let beliefs = self.sides[side].or_else(|| prior(ions(settings), side))?;
        Some(if breakthroughs == 0 {
            widened(beliefs, taken)
        } else {
            beliefs
        })
    }

    fn note(&mut self, settings: &StageSettings) {
        self.configured = [CATION, ANION].map(|side| whole(ions(settings), side));
    }

    /// Another volume of resin, or another capacity of it, is now configured: what was learned is in
    /// proportion. Of what was not configured before, or is no more, what was seen stays.
    pub(super) fn rescale(&mut self, settings: &StageSettings) {
        for side in [CATION, ANION] {
            let now = whole(ions(settings), side);
            let (Some(now), Some(before)) = (now, self.configured[side]) else {
                continue;
            };
            let factor = now / before;
            if !(1.0 / SAME_MAKE..=SAME_MAKE).contains(&factor) {
                *self = Self::default();
                return;
            }
            if let Some(beliefs) = &mut self.sides[side] {
                for belief in beliefs {
                    belief.mean += factor.ln();
                }
            }
        }
        self.note(settings);
    }

    /// What the present filling can take; `taken` is what it had taken when its water was last good.
    /// `None` on a side of which nothing is known.
    pub(super) fn room(
        &self,
        settings: &StageSettings,
        taken: Option<&LoadState>,
    ) -> [Option<Ends>; 2] {
        [CATION, ANION].map(|side| {
            let is_seen = self.breakthroughs > 0 && self.sides[side].is_some();
            let beliefs = self.sides[side].or_else(|| prior(ions(settings), side))?;
            let mut room = [0.0; 3];
            for (end, room) in room.iter_mut().enumerate() {
                let belief = beliefs[end];
                let taken = taken.map_or(0.0, |load| taken_of(load, side)[end]);
                // Before a breakthrough the three stand apart as configured; but fillings differ even where
                // the owner says what they take.
                let reach = if is_seen {
                    BAND_95 * belief.filling_deviation()
                } else if beliefs[LEAST].mean > beliefs[MOST].mean {
                    0.0
                } else {
                    BAND_95 * FILLING_NOISE
                };
                let reach = match end {
                    LEAST => reach,
                    MOST => -reach,
                    _ => 0.0,
                };
                let shifted = Belief {
                    mean: belief.mean + reach,
                    ..belief
                };
                *room = shifted.of_this_filling(taken);
            }
            room.iter().all(|meq| meq.is_finite()).then_some(room)
        })
    }

    /// Whether what was learned is of the kinds of resin that a stage has.
    pub(super) fn fits(&self, room: &Room) -> bool {
        let fits = |side: usize| self.sides[side].is_none() || has(room, side);
        fits(CATION) && fits(ANION)
    }

    /// The capacity that was found, in the likely reckoning; `None` before a breakthrough.
    pub(super) fn told(&self) -> Option<Told> {
        let belief = self.sides.get(self.side).copied().flatten()?[LIKELY];
        let reach = BAND_95 * belief.filling_deviation();
        let at = |off: f64| (belief.mean + off).exp();
        (self.breakthroughs > 0).then(|| Told {
            likely: at(0.0),
            low: at(-reach),
            high: at(reach),
        })
    }

    /// What taught it, in words; `None` while nothing did.
    pub(super) fn words(&self) -> Option<String> {
        let times = |count: u32, one: &str, many: &str| match count {
            0 => None,
            1 => Some(format!("1 {one}")),
            _ => Some(format!("{count} {many}")),
        };
        let seen = times(
            self.breakthroughs,
            "breakthrough seen behind it",
            "breakthroughs seen behind it",
        );
        let good = times(
            self.replaced_while_good,
            "filling replaced while its water was still good (it could take at least that much)",
            "fillings replaced while their water was still good (they could take at least that much)",
        );
        match (seen, good) {
            (Some(seen), Some(good)) => Some(format!("{seen}, {good}")),
            (seen, good) => seen.or(good),
        }
    }
}

fn each(beliefs: [Belief; 3], taken: &Ends, learn: fn(Belief, f64) -> Belief) -> [Belief; 3] {
    let mut after = beliefs;
    for (belief, taken) in after.iter_mut().zip(taken) {
        *belief = learn(*belief, *taken);
    }
    after
}

/// Where nothing was known before.
fn first(taken: &Ends) -> Option<[Belief; 3]> {
    let belief = |end: usize| Belief::of(taken[end], FILLING_NOISE);
    Some([belief(0)?, belief(1)?, belief(2)?])
}

#[cfg(test)]
mod tests;
