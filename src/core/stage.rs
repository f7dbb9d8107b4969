//! What each stage has treated and what is left of it.

use serde::{Deserialize, Serialize};

use super::{
    breakthrough::Standing,
    care::Evidence,
    known::Basis,
    load::{LoadState, Offered},
    water::Volumes,
};
use crate::{
    config::{Disinfectant, FeedChemistry, StageSettings, StageWater},
    quantity::{Concentration, Mass, Volume},
    time::{Now, Wall},
};

/// What is kept of a stage across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct StageState {
    /// When it was installed, if known.
    pub installed: Option<Wall>,
    /// When we first saw it: use per day is counted from here.
    pub seen: Option<Wall>,
    /// Water it has treated, as far as we saw.
    pub treated: Volume,
    /// What a DI stage has taken up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<LoadState>,
    /// Disinfectant brought to carbon.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disinfectant: Option<Mass>,
    /// Lot or batch of the filling.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// What it cost, in the configured currency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
    /// Since when nothing is left of it, its wear not counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spent: Option<Wall>,
    /// Water that still has to wash out a new filling's fines.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rinse: Option<Volume>,
    /// Number of the entry of the maintenance log that told of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<u64>,
}

/// How a filling ended. What is missing was not known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct StageRecord {
    /// The stage.
    pub stage: String,
    /// When it was replaced.
    pub replaced: Option<Wall>,
    /// When it had been installed.
    pub installed: Option<Wall>,
    /// Water it had treated.
    pub treated: Volume,
    /// Number of the entry of the maintenance log that ended it. Withdrawn, it did not end then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<u64>,
    /// Its lot or batch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// What it had cost, in the configured currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
    /// Positive ions it had taken up, meq.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cation_meq: Option<f64>,
    /// Negative ions, carbon dioxide and silica, meq.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub anion_meq: Option<f64>,
    /// Disinfectant brought to it, g as Cl2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disinfectant_g: Option<f64>,
    /// What was left of it, per cent …
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_pct: Option<f64>,
    /// … by the limit that bound: `age`, `load`, `volume`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub binds: Option<String>,
}

/// A stage of the train.
#[derive(Clone, Debug)]
pub struct Stage {
    pub(super) settings: StageSettings,
    pub(super) state: StageState,
    /// How well the water it sees is known; `None` when nothing tells.
    pub(super) basis: Option<Basis>,
    /// Index of the sensor behind it.
    probe: Option<usize>,
    /// Whether a probe tells of the salt in the permeate.
    pub(super) is_probed: bool,
    /// Disinfectant in the feed.
    pub(super) level: Option<Concentration>,
    /// Whether carbon may set ammonia free from it.
    pub(super) brings_ammonia: bool,
    /// How the filling stands, where it is resin.
    pub(super) standing: Standing,
    /// What tests by hand and gauges tell of it.
    pub(super) evidence: Evidence,
}

impl Stage {
    pub(super) fn new(
        settings: StageSettings,
        kept: Option<StageState>,
        basis: Option<Basis>,
        probe: Option<usize>,
    ) -> Self {
        let configured = settings.installed.and_then(Wall::from_date);
        let mut state = kept.unwrap_or_default();
        // A replacement told by command counts more than an older date in the file.
        state.installed = state.installed.max(configured);
        Self {
            settings,
            state,
            basis,
            probe,
            is_probed: false,
            level: None,
            brings_ammonia: false,
            standing: Standing::default(),
            evidence: Evidence::default(),
        }
    }

    /// The same, where it is known what the water brings: `is_probed` if a probe tells of the salt in
    /// the permeate, and the feed's chemistry.
    pub(super) fn with_water(mut self, is_probed: bool, chemistry: &FeedChemistry) -> Self {
        self.is_probed = is_probed;
        self.take_chemistry(chemistry);
        self
    }

    pub(super) fn take_chemistry(&mut self, chemistry: &FeedChemistry) {
        self.level = chemistry.disinfectant_level;
        self.brings_ammonia = chemistry.disinfectant == Some(Disinfectant::Chloramine);
    }

    /// Its settings.
    #[must_use]
    pub fn settings(&self) -> &StageSettings {
        &self.settings
    }

    /// Index of the sensor behind it, if there is one.
    pub(super) fn probe(&self) -> Option<usize> {
        self.probe
    }

    /// What to keep.
    #[must_use]
    pub fn state(&self) -> &StageState {
        &self.state
    }

    /// Takes the water that passed, and of what it brought as much as it can.
    pub(super) fn treat(&mut self, now: Now, passed: &Volumes, offered: &mut Offered) {
        if self.state.seen.is_none() {
            self.state.seen = now.date();
        }
        let before = self.state.treated;
        self.state.treated += match self.settings.water {
            StageWater::Feed => passed.feed,
            StageWater::Permeate => passed.permeate,
        };
        if self.state.rinse.is_some() {
            self.rinse(self.state.treated - before);
        }
        if let Some(level) = offered.disinfectant.filter(|_| self.is_carbon()) {
            // What came before it was counted is taken to have had the same level.
            let given = self.state.disinfectant.unwrap_or(level.in_volume(before));
            let passed = self.state.treated - before;
            self.state.disinfectant = Some(given + level.in_volume(passed));
        }
        if let Some(room) = self.room_to_take().filter(|_| self.is_probed) {
            let load = self.state.load.get_or_insert_default();
            load.take(offered, &room, self.state.treated);
        }
    }

    pub(super) fn stand(&mut self, standing: Standing) {
        self.standing = standing;
    }
}
