//! Salt with the permeate: how much passed in all, and how much of it had crept through the
//! membrane while the unit stood.
//!
//! Salt is conductivity × litres, taken as NaCl of 0.5 mg/L for each µS/cm, as the load of resin is
//! (`physics::resin` says why). A probe's value is the median of its last readings, so it is the
//! conductivity of a moment ago: litres wait until the value that belongs to them has come.
//! What a run let through before it settled, less the settled level × the litres of that time, is its
//! creep. All of it is kept in constant memory.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::{known::Basis, settling::Probed};
use crate::{
    physics::resin::NACL_MG_PER_MEQ,
    quantity::{Conductivity, Tds, TdsScale},
    time::Mono,
};

/// Litres of which the probe must have told before a sum of salt stands for all of them.
const COVERED: f64 = 0.9;

/// Creep of a run.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Creep {
    /// The highest that was shown until the run had settled.
    pub peak: Conductivity,
    /// The same in the unit's scale.
    pub peak_tds: Tds,
    /// Salt let through above the settled level, mg of NaCl.
    pub salt_mg: f64,
    /// All salt of the run, mg of NaCl.
    pub run_salt_mg: f64,
    /// How the litres are known.
    pub basis: Basis,
}

impl Creep {
    /// The excess salt in milliequivalents of NaCl: what it takes of a DI resin.
    #[must_use]
    pub fn salt_meq(&self) -> f64 {
        self.salt_mg / NACL_MG_PER_MEQ
    }
}

/// Salt, and the litres it came with.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Passed {
    /// µS/cm × L.
    us_cm_l: f64,
    /// Litres of which the probe told.
    told: f64,
    /// All litres.
    litres: f64,
}

impl Passed {
    /// What passed since `earlier`.
    pub fn since(self, earlier: Self) -> Self {
        Self {
            us_cm_l: self.us_cm_l - earlier.us_cm_l,
            told: self.told - earlier.told,
            litres: self.litres - earlier.litres,
        }
    }

    /// Whether the probe told of (nearly) all litres, and there were any.
    pub fn is_told(self) -> bool {
        self.told > 0.0 && self.told >= COVERED * self.litres
    }

    /// mg of NaCl.
    pub fn milligrams(self) -> f64 {
        milligrams(self.us_cm_l)
    }

    /// mg of NaCl above a level of `us_cm`; never below zero.
    pub fn milligrams_above(self, us_cm: f64) -> f64 {
        milligrams((self.us_cm_l - us_cm * self.told).max(0.0))
    }
}

fn milligrams(us_cm_l: f64) -> f64 {
    us_cm_l * TdsScale::NACL.factor()
}

/// Adds up the salt that passes with the permeate, from the probe's readings and booked litres.
#[derive(Clone, Debug, Default)]
pub(super) struct Salt {
    sum: Passed,
    heard_at: Option<Mono>,
    /// Litres booked so far, and those of them that are accounted for.
    booked: f64,
    done: f64,
    /// Litres booked at the last readings, for which the value is still to come, and whether water
    /// was made then.
    waiting: VecDeque<(f64, bool)>,
    /// The last two values.
    last: Option<(f64, f64)>,
    /// Means between readings since litres were last accounted for: their sum and number.
    means: (f64, u32),
}

impl Salt {
    /// Takes the litres booked since the beginning and what the probe shows, if it shows anything;
    /// `running` says whether water was made until now.
    /// Returns the salt accounted for by it, mg of NaCl.
    pub fn look(&mut self, now: Mono, litres: f64, probed: Option<Probed>, running: bool) -> f64 {
        let Some(probed) = probed else {
            return self.fall_silent(litres);
        };
        self.booked = litres;
        if self.heard_at.is_some_and(|last| probed.heard_at <= last) {
            // A meter that reports at the same moment as the probe may come after it.
            if let (true, Some(latest)) = (now <= probed.heard_at, self.waiting.back_mut()) {
                latest.0 = litres;
            }
            return 0.0;
        }
        self.heard_at = Some(probed.heard_at);
        let mut told = 0.0;
        if let Some((before, last)) = self.last {
            self.means = (self.means.0 + f64::midpoint(before, last), self.means.1 + 1);
            while self.waiting.len() > probed.smoothing / 2 {
                told += self.account();
            }
        } else {
            // Nothing told of the litres before the first reading.
            self.sum.litres += litres - self.done;
            self.done = litres;
        }
        let before = self.last.map_or(probed.us_cm, |(_, last)| last);
        self.last = Some((before, probed.us_cm));
        self.waiting.push_back((litres, running));
        told
    }

    /// Litres whose salt [`Self::look`] has returned so far.
    pub fn told_litres(&self) -> f64 {
        self.sum.told
    }

    /// The last value stands for what still waited; nothing tells of what comes.
    fn fall_silent(&mut self, litres: f64) -> f64 {
        let mut sum = self.so_far();
        let told = milligrams(sum.us_cm_l - self.sum.us_cm_l);
        sum.litres += litres - self.booked;
        *self = Self {
            sum,
            booked: litres,
            done: litres,
            heard_at: self.heard_at,
            ..Self::default()
        };
        told
    }

    /// Accounts for the litres of the oldest reading.
    fn account(&mut self) -> f64 {
        let Some((until, running)) = self.waiting.pop_front() else {
            return 0.0;
        };
        let litres = until - self.done;
        if litres <= 0.0 || self.means.1 == 0 {
            // Litres come at the meter's own times and with the mean until then; but what the probe
            // showed of standing water is none of theirs.
            if !running {
                self.means = (0.0, 0);
            }
            return 0.0;
        }
        let salt = litres * self.means.0 / f64::from(self.means.1);
        self.sum.us_cm_l += salt;
        self.sum.told += litres;
        self.sum.litres += litres;
        self.done = until;
        self.means = (0.0, 0);
        milligrams(salt)
    }

    /// What passed so far; for litres that still wait, the last values stand.
    pub fn so_far(&self) -> Passed {
        let waiting = (self.booked - self.done).max(0.0);
        let (told, us_cm) = self.last.map_or((0.0, 0.0), |(before, last)| {
            let means = self.means.0 + f64::midpoint(before, last);
            (waiting, means / f64::from(self.means.1 + 1))
        });
        Passed {
            us_cm_l: self.sum.us_cm_l + told * us_cm,
            told: self.sum.told + told,
            litres: self.sum.litres + waiting,
        }
    }
}

#[cfg(test)]
mod tests;
