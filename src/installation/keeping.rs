//! Which units' states are to be kept.

use super::Installation;
use crate::core::{Keep, UnitState};

impl Installation {
    /// What was told of is to be kept, though no reading changed it.
    pub fn keep_all(&mut self) {
        for seat in &mut self.seats {
            seat.unit.keep_soon();
        }
    }

    /// The same of the units that told of another sum since last asked: of thousands at rest, few.
    pub fn keep_told(&mut self) {
        for seat in &mut self.seats {
            if seat.publisher.take_told_sums() {
                seat.unit.keep_soon();
            }
        }
    }

    /// The units whose state changed since last asked, and how soon it must be kept.
    pub fn take_changed(&mut self) -> (Keep, Vec<(String, UnitState)>) {
        let mut keep = Keep::Nothing;
        let changed = self.changed().map(|(own, id, state)| {
            keep = keep.max(own);
            (id, state)
        });
        let states = changed.collect();
        (keep, states)
    }

    /// The same one by one: all states of thousands of units need not be there at once.
    pub fn changed(&mut self) -> impl Iterator<Item = (Keep, String, UnitState)> {
        self.seats.iter_mut().filter_map(|seat| {
            let keep = seat.unit.take_keep();
            let id = || seat.unit.settings().id.clone();
            (keep > Keep::Nothing).then(|| (keep, id(), seat.unit.state()))
        })
    }
}
