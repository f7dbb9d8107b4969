//! The maintenance log of a unit: what the keeper did and found, each an entry with a number. Entries
//! are only ever added; one that was wrong is corrected or withdrawn by another.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

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
    /// An earlier entry was put right: what it said before, and what it says now. A particular that
    /// is only in `was` was taken away, one that is only in `now` was added.
    Corrected {
        /// Its number.
        entry: u64,
        /// The particulars that changed, as they were.
        was: Particulars,
        /// The same, as they are.
        now: Particulars,
    },
    /// An earlier entry does not hold.
    Withdrawn {
        /// Its number.
        entry: u64,
    },
}

/// What of an entry may be corrected.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Particulars {
    /// When it was done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub date: Option<Wall>,
    /// Lot or batch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// Price, in the configured currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
    /// Words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What was found, in the unit of the test.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
}

impl Particulars {
    /// Leaves only what the two do not have in common.
    pub(super) fn keep_differences(&mut self, other: &mut Self) {
        fn differ<T: PartialEq>(one: &mut Option<T>, other: &mut Option<T>) {
            if one == other {
                (*one, *other) = (None, None);
            }
        }
        differ(&mut self.date, &mut other.date);
        differ(&mut self.lot, &mut other.lot);
        differ(&mut self.price, &mut other.price);
        differ(&mut self.note, &mut other.note);
        differ(&mut self.value, &mut other.value);
    }
}

impl Entry {
    /// What of it may be corrected.
    #[must_use]
    pub fn particulars(&self) -> Particulars {
        let mut particulars = Particulars {
            date: self.date,
            note: self.note.clone(),
            ..Particulars::default()
        };
        match &self.deed {
            Deed::Replaced { lot, price, .. } => {
                particulars.lot.clone_from(lot);
                particulars.price = *price;
            }
            Deed::Test { value, .. } => particulars.value = Some(*value),
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Sanitised
            | Deed::Corrected { .. }
            | Deed::Withdrawn { .. } => {}
        }
        particulars
    }

    /// The same with other particulars; those it has no place for are passed over.
    pub(super) fn set(&mut self, particulars: Particulars) {
        self.date = particulars.date;
        self.note = particulars.note;
        match &mut self.deed {
            Deed::Replaced { lot, price, .. } => {
                *lot = particulars.lot;
                *price = particulars.price;
            }
            Deed::Test { value, .. } => *value = particulars.value.unwrap_or(*value),
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Sanitised
            | Deed::Corrected { .. }
            | Deed::Withdrawn { .. } => {}
        }
    }

    /// Takes over a correction.
    fn correct(&mut self, was: &Particulars, now: &Particulars) {
        fn change<T: Clone>(of: &mut Option<T>, was: &Option<T>, now: &Option<T>) {
            if was.is_some() || now.is_some() {
                of.clone_from(now);
            }
        }
        let mut particulars = self.particulars();
        change(&mut particulars.date, &was.date, &now.date);
        change(&mut particulars.lot, &was.lot, &now.lot);
        change(&mut particulars.price, &was.price, &now.price);
        change(&mut particulars.note, &was.note, &now.note);
        change(&mut particulars.value, &was.value, &now.value);
        self.set(particulars);
    }
}

/// An entry as it holds now.
#[derive(Clone, Debug, PartialEq)]
pub struct Holding {
    /// With every correction in it.
    pub entry: Entry,
    /// Numbers of the entries that corrected it.
    pub corrected_by: Vec<u64>,
    /// Number of the entry that withdrew it.
    pub withdrawn_by: Option<u64>,
}

/// A log as it holds now: each entry with what later ones say about it, in the order of the numbers.
#[must_use]
pub fn as_it_holds(entries: &[Entry]) -> Vec<Holding> {
    let mut holding: BTreeMap<u64, Holding> = BTreeMap::new();
    for entry in entries {
        match &entry.deed {
            Deed::Corrected {
                entry: about,
                was,
                now,
            } => {
                if let Some(corrected) = holding.get_mut(about) {
                    corrected.entry.correct(was, now);
                    corrected.corrected_by.push(entry.number);
                }
            }
            Deed::Withdrawn { entry: about } => {
                if let Some(withdrawn) = holding.get_mut(about) {
                    withdrawn.withdrawn_by = Some(entry.number);
                }
            }
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Replaced { .. }
            | Deed::Sanitised
            | Deed::Test { .. } => {}
        }
        let fresh = Holding {
            entry: entry.clone(),
            corrected_by: Vec::new(),
            withdrawn_by: None,
        };
        holding.insert(entry.number, fresh);
    }
    holding.into_values().collect()
}

/// Entries that are kept at hand, as they hold now: a message that is delivered again is known by them,
/// and they can be corrected and withdrawn.
const AT_HAND: usize = 32;
/// With those that still count, however old they are.
const MOST_AT_HAND: usize = 160;

/// What is kept of the log beside the store's own copy of every entry.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Journal {
    /// Number of the last entry.
    last: u64,
    /// Corrections taken in.
    recent: VecDeque<Entry>,
    /// Numbers of those in `recent` that do not hold.
    #[serde(skip_serializing_if = "BTreeSet::is_empty")]
    withdrawn: BTreeSet<u64>,
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
        match &deed {
            Deed::Withdrawn { entry } => {
                self.withdrawn.insert(*entry);
            }
            Deed::Corrected { entry, was, now } => {
                if let Some(own) = self.recent.iter_mut().find(|own| own.number == *entry) {
                    own.correct(was, now);
                }
            }
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Replaced { .. }
            | Deed::Sanitised
            | Deed::Test { .. } => {}
        }
        if self.recent.len() >= MOST_AT_HAND {
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

    /// Lets old entries go that count no more.
    pub(super) fn trim(&mut self, counts: impl Fn(u64) -> bool) {
        let mut surplus = self.recent.len().saturating_sub(AT_HAND);
        self.recent.retain(|entry| {
            let goes = surplus > 0 && !counts(entry.number);
            surplus -= usize::from(goes);
            !goes
        });
        let recent = &self.recent;
        (self.withdrawn).retain(|number| recent.iter().any(|entry| entry.number == *number));
    }

    /// The entries at hand, the oldest first, as they hold now; those that were withdrawn included.
    pub fn recent(&self) -> impl DoubleEndedIterator<Item = &Entry> {
        self.recent.iter()
    }

    /// The number that the next entry will have.
    pub(super) fn next_number(&self) -> u64 {
        self.last + 1
    }

    /// Whether an entry at hand was withdrawn.
    #[must_use]
    pub fn is_withdrawn(&self, number: u64) -> bool {
        self.withdrawn.contains(&number)
    }

    /// An entry that may be corrected or withdrawn.
    pub(super) fn open(&self, number: u64) -> Result<&Entry, String> {
        let found = self.recent.iter().find(|entry| entry.number == number);
        let entry = found.ok_or_else(|| match (number, self.last) {
            (0, _) => "entries are numbered from 1".to_owned(),
            (_, 0) => "the log has no entries yet".to_owned(),
            (number, last) if number > last => {
                format!("there is no entry {number}; the last one is {last}")
            }
            (number, _) => format!(
                "entry {number} counts no more and lies too far back; what can be changed is what \
                 still counts, and the last {AT_HAND} entries"
            ),
        })?;
        if self.is_withdrawn(number) {
            return Err(format!("entry {number} was withdrawn already"));
        }
        match entry.deed {
            Deed::Corrected { entry: about, .. } => Err(format!(
                "entry {number} is a correction; correct entry {about} again instead"
            )),
            Deed::Withdrawn { entry: about } => Err(format!(
                "entry {number} withdrew entry {about}; tell again what was withdrawn instead"
            )),
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Replaced { .. }
            | Deed::Sanitised
            | Deed::Test { .. } => Ok(entry),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(number: u64, deed: Deed) -> Entry {
        Entry {
            number,
            entered: Some(Wall(1_772_323_200_000)),
            date: Some(Wall(1_772_323_200_000)),
            deed,
            note: None,
        }
    }

    fn test(value: f64) -> Deed {
        Deed::Test {
            test: HandTest::Ph,
            value,
            after: None,
        }
    }

    fn value(value: f64) -> Particulars {
        Particulars {
            value: Some(value),
            ..Particulars::default()
        }
    }

    #[test]
    fn a_correction_and_a_withdrawal_are_folded_in_and_nothing_is_lost() {
        let lot = Particulars {
            lot: Some("A7".to_owned()),
            ..Particulars::default()
        };
        let bed = Deed::Replaced {
            stage: "bed".to_owned(),
            treated_l: 500.0,
            lot: lot.lot.clone(),
            price: None,
        };
        let entries = [
            of(1, test(7.0)),
            of(2, bed),
            of(
                3,
                Deed::Corrected {
                    entry: 1,
                    was: value(7.0),
                    now: value(7.6),
                },
            ),
            // The lot was taken away.
            of(
                4,
                Deed::Corrected {
                    entry: 2,
                    was: lot,
                    now: Particulars::default(),
                },
            ),
            of(5, Deed::Withdrawn { entry: 1 }),
        ];
        let text = serde_json::to_string(&entries).unwrap();
        let entries: Vec<Entry> = serde_json::from_str(&text).unwrap();
        let holding = as_it_holds(&entries);
        assert_eq!(holding.len(), 5);
        assert_eq!(holding[0].entry.particulars().value, Some(7.6));
        assert_eq!(holding[0].corrected_by, [3]);
        assert_eq!(holding[0].withdrawn_by, Some(5));
        assert_eq!(holding[1].entry.particulars().lot, None);
        assert_eq!(holding[1].withdrawn_by, None);
        assert_eq!(holding[2].entry, entries[2]);
    }

    #[test]
    fn old_entries_go_unless_they_still_count() {
        let mut journal = Journal::default();
        for _ in 0..100 {
            journal.add(None, None, Deed::Sanitised, None);
            journal.trim(|number| number == 3);
        }
        assert_eq!(journal.recent().count(), AT_HAND);
        assert_eq!(journal.open(3).unwrap().number, 3);
        for (number, why) in [(0, "from 1"), (4, "too far back"), (101, "last one is 100")] {
            assert!(journal.open(number).unwrap_err().contains(why), "{number}");
        }
        journal.add(None, None, Deed::Withdrawn { entry: 99 }, None);
        assert!(journal.open(99).unwrap_err().contains("withdrawn already"));
        assert!(journal.open(101).unwrap_err().contains("withdrew entry 99"));
    }
}
