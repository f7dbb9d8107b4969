//! What a unit keeps across restarts.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{
    alert::{AlertState, Notices},
    breakthrough::Filling,
    carbon::CarbonState,
    costs::CostState,
    cycling::CyclingState,
    filling::FormerFilling,
    hand_test::HandTests,
    hold_test::HoldTestState,
    journal::Journal,
    membrane::MembraneState,
    meter::MeterState,
    prefilter::PrefilterState,
    record::RunRecord,
    run::OpenRunState,
    settled_water::SettledWater,
    stage::StageState,
    usage::UsageState,
    watch::WatchState,
    water::Totals,
};
use crate::quantity::Volume;

/// The fields of a state that change with every reading, whether water is made or not: habits of sensors, and how long
/// ago the unit started. They may be some minutes old after a crash, and so need not wear a memory card each minute.
pub const MAY_WAIT: [&str; 2] = ["cycling", "watch"];

/// What a unit keeps across restarts. A checkpoint writes the fields that changed, each as a whole; one
/// added later has a default, so that an older state still reads.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct UnitState {
    /// Litres and hours since the beginning.
    pub totals: Totals,
    /// Litres of feed, permeate and concentrate that were counted and wait to be booked.
    pub waiting: [Volume; 3],
    /// Flow meters by sensor id.
    pub meters: BTreeMap<String, MeterState>,
    /// Stages by id. A stage that leaves the configuration keeps its figures here.
    pub stages: BTreeMap<String, StageState>,
    /// Fillings of DI stages by id: what the probes behind them showed, and what earlier ones taught.
    pub fillings: BTreeMap<String, Filling>,
    /// Baseline and the last figures of the membrane.
    pub membrane: MembraneState,
    /// Alerts by key.
    pub alerts: BTreeMap<String, AlertState>,
    /// Number of the last alert's episode.
    pub episodes: u64,
    /// The run that was going on.
    pub open_run: Option<OpenRunState>,
    /// The run that was over and waited for a flush after it.
    pub over_run: Option<Box<RunRecord>>,
    /// How often the unit starts, and with what salt.
    pub cycling: CyclingState,
    /// The last run that ended.
    pub last_run: Option<RunRecord>,
    /// Sensors that may lie, and the hydraulics.
    pub watch: WatchState,
    /// Notices that were not handed over yet, and their numbering.
    pub notices: Notices,
    /// Tests by hand.
    pub hand_tests: HandTests,
    /// The maintenance log.
    pub journal: Journal,
    /// The use of water by days and months.
    pub usage: UsageState,
    /// What was spent.
    pub costs: CostState,
    /// The pressure hold test.
    pub hold_test: HoldTestState,
    /// What tests by hand told of carbon.
    pub carbon: CarbonState,
    /// The water of the last settled runs.
    pub settled_water: SettledWater,
    /// The pressure that pre-filters take.
    pub prefilter: PrefilterState,
    /// The filling before the present one, by stage: back when its replacement is withdrawn.
    pub former_fillings: BTreeMap<String, FormerFilling>,
}
