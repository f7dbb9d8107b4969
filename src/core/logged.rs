//! How an entry comes into the maintenance log: once, whatever the broker delivers again; and how long it
//! is kept at hand.

use std::time::Duration;

use super::{
    journal::{Deed, Entry},
    output::Output,
    unit::Unit,
};
use crate::time::{Now, Wall};

/// The same told again within this time is the same press of the button, or its redelivery. What was told
/// with its date is the same however late it comes.
const SAME: Duration = Duration::from_secs(60);

impl Unit {
    /// Answers and says `true` when an entry at hand is of the same message.
    pub(super) fn is_told(
        &mut self,
        now: Now,
        command: &str,
        date: Option<Wall>,
        deed: &Deed,
        note: Option<&String>,
    ) -> bool {
        let is_same = |entry: &&Entry| {
            is_same_deed(&entry.deed, deed)
                && entry.note.as_ref() == note
                && match date {
                    Some(date) => entry.date == Some(date),
                    None => entry.date == entry.entered && self.is_recent(now, entry),
                }
        };
        let holds = |entry: &&Entry| !self.journal.is_withdrawn(entry.number);
        let same = self.journal.recent().filter(holds).rfind(is_same);
        let Some(number) = same.map(|entry| entry.number) else {
            return false;
        };
        let text = format!("That was told a moment ago (entry {number}); nothing more was done.");
        self.answer(now, command, &text);
        true
    }

    /// Whether an entry was told within the last minute: by either clock, for the wall clock may have been
    /// set since, and the other one begins anew with the service.
    fn is_recent(&self, now: Now, entry: &Entry) -> bool {
        let by_date = entry.entered.and_then(|entered| now.wall.since(entered));
        let told = self.last_told.filter(|told| told.0 == entry.number);
        let by_mono = told.map(|(_, at)| now.mono.since(at));
        by_mono.or(by_date).is_some_and(|age| age < SAME)
    }

    /// Adds an entry to the log and gives its number.
    pub(super) fn log(
        &mut self,
        now: Now,
        date: Option<Wall>,
        deed: Deed,
        note: Option<String>,
    ) -> u64 {
        let entry = self
            .journal
            .add(now.date(), date.or(now.date()), deed, note)
            .clone();
        let number = entry.number;
        let (tests, stages, former) = (&self.hand_tests, &self.stages, &self.former_fillings);
        self.journal.trim(|number| {
            let own = Some(number);
            tests.holds(number)
                || stages.iter().any(|stage| stage.state().entry == own)
                || former.values().any(|former| former.filling.entry == own)
        });
        self.last_told = Some((number, now.mono));
        self.outputs.push_back(Output::Logged(Box::new(entry)));
        number
    }
}

/// The same, whatever the old filling had treated when it was told.
fn is_same_deed(one: &Deed, other: &Deed) -> bool {
    match (one, other) {
        (
            Deed::Replaced {
                stage, lot, price, ..
            },
            Deed::Replaced {
                stage: other_stage,
                lot: other_lot,
                price: other_price,
                ..
            },
        ) => (stage, lot, price) == (other_stage, other_lot, other_price),
        (one, other) => one == other,
    }
}
