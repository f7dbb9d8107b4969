//! What is watched besides the membrane: sensors that lie, and the hydraulics. Joins the two for
//! the unit; judges nothing itself.

use serde::{Deserialize, Serialize};

use super::{
    doubt::{DoubtState, Doubts},
    hydraulics::{HydraulicState, Hydraulics},
    run::{RunChanges, RunState},
    train::Train,
    water::Flows,
};
use crate::{config::UnitSettings, time::Mono};

/// What is kept across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct WatchState {
    /// What speaks against sensors.
    pub doubts: DoubtState,
    /// What was learned of the hydraulics.
    pub hydraulics: HydraulicState,
}

/// Watches one unit.
#[derive(Clone, Debug)]
pub(super) struct Watch {
    pub doubts: Doubts,
    pub hydraulics: Hydraulics,
}

impl Watch {
    pub fn new(settings: &UnitSettings, kept: &WatchState) -> Self {
        Self {
            doubts: Doubts::new(settings, &kept.doubts),
            hydraulics: Hydraulics::new(kept.hydraulics.clone()),
        }
    }

    pub fn state(&self, settings: &UnitSettings) -> WatchState {
        WatchState {
            doubts: self.doubts.state(settings),
            hydraulics: self.hydraulics.state(),
        }
    }

    /// Looks at everything once, after the runs were followed.
    pub fn look(
        &mut self,
        now: Mono,
        train: &Train,
        settings: &UnitSettings,
        flows: &Flows,
        state: RunState,
        changes: &RunChanges,
    ) {
        self.doubts
            .look(now, train, settings, flows, state, changes);
        self.hydraulics.look(now, train, settings, state, changes);
    }
}
