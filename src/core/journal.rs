//! The maintenance log of a unit: what the keeper did and found, each an entry with a number. Entries
//! are only ever added; one that was wrong is corrected or withdrawn by another.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::{hand_test::HandTest, hold_test::Outcome};
use crate::time::Wall;

/// An entry of the maintenance log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its number in this unit, from 1.
    pub number: u64,
    /// When it was told, if the clock was set.
    pub entered: Option<Wall>,
    /// When it was done, if that is known.
    pub date: Option<Wall>,
    /// What was done.
    #[serde(flatten)]
    pub deed: Deed,
    /// What the keeper added in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// What was done or found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Deed {
    /// The unit was closed and its pressure watched.
    HoldTest {
        /// What it came to.
        outcome: Outcome,
        /// Why, in words.
        why: String,
        /// How long it was to be watched, min.
        minutes: f64,
        /// Pressure at the beginning, bar.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        start_bar: Option<f64>,
        /// Pressure at the end, bar.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        end_bar: Option<f64>,
    },
    /// Only words.
    Note,
    /// A stage was replaced.
    Replaced {
        /// Its id.
        stage: String,
        /// Water the old one had treated, L.
        treated_l: f64,
        /// Lot or batch of the new one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lot: Option<String>,
        /// What the new one cost, in the configured currency.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        price: Option<f64>,
    },
    /// The unit was sanitised.
    Sanitised,
    /// A test by hand.
    Test {
        /// Which.
        test: HandTest,
        /// What was found, in the unit of the test.
        value: f64,
        /// The stage behind which the water was taken.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<String>,
    },
    /// An earlier entry does not hold.
    Withdrawn {
        /// Its number.
        entry: u64,
    },
}

/// Entries that are kept at hand: a message that is delivered again is known by them.
const AT_HAND: usize = 3;

/// What is kept of the log beside the store's own copy of every entry.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Journal {
    /// Number of the last entry.
    last: u64,
    recent: VecDeque<Entry>,
}

impl Journal {
    /// Adds an entry and numbers it.
    pub(super) fn add(
        &mut self,
        entered: Option<Wall>,
        date: Option<Wall>,
        deed: Deed,
        note: Option<String>,
    ) -> &Entry {
        self.last += 1;
        if self.recent.len() == AT_HAND {
            self.recent.pop_front();
        }
        self.recent.push_back(Entry {
            number: self.last,
            entered,
            date,
            deed,
            note,
        });
        &self.recent[self.recent.len() - 1]
    }
}
