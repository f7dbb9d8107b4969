//! A permeate meter against the storage it fills. What is drawn meanwhile only lowers the level, so
//! a level that rose by more than the meter counted is evidence, and nothing else is.

use super::{Evidence, run_litres::RunCount};

/// The meter sees clearly less than this share of the rise …
const CLEARLY_LESS: f64 = 0.7;
/// … or enough of it …
const ENOUGH: f64 = 0.85;
/// … in so many runs …
const RUNS: u8 = 3;
/// … of at least so many litres: less may be the level's own noise.
const LEAST_LITRES: f64 = 3.0;
const PERMEATE: usize = 1;

#[derive(Clone, Debug)]
pub(super) struct StorageCheck {
    risen: u8,
    last: Option<(f64, f64)>,
}

impl StorageCheck {
    pub fn new(risen: u8) -> Self {
        Self { risen, last: None }
    }

    pub fn risen(&self) -> u8 {
        self.risen
    }

    /// Takes a run. One in which water was drawn shows a small rise and makes the meter look good;
    /// a good run therefore takes back one bad run, not all.
    pub fn take(&mut self, run: &RunCount) {
        let (Some(rise), Some(counted)) = (run.rise, run.litres[PERMEATE]) else {
            return;
        };
        let rise = rise.litres();
        if rise < LEAST_LITRES {
            return;
        }
        if counted < rise * CLEARLY_LESS {
            self.risen = self.risen.saturating_add(1).min(RUNS);
            self.last = Some((rise, counted));
        } else if counted > rise * ENOUGH {
            self.risen = self.risen.saturating_sub(1);
        }
    }

    /// The last run in which the meter counted clearly less: litres of rise, litres counted.
    pub fn last(&self) -> Option<(f64, f64)> {
        self.last
    }

    pub fn judge(&self) -> Evidence {
        match self.risen {
            0 => Evidence::For,
            risen if risen < RUNS => Evidence::Mixed,
            _ => Evidence::Against,
        }
    }
}
