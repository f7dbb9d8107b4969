//! How a unit begins from what was kept of it, and what is kept of it.

use std::{
    collections::{BTreeMap, VecDeque},
    sync::Arc,
};

use super::{
    Keep, alert,
    breakthrough::Fillings,
    care::Care,
    costs::Costs,
    cycling::Cycling,
    hold_test::HoldTest,
    ledger::Ledger,
    meter::MeterState,
    record,
    run::{self, Runs},
    stage::{Stage, StageState},
    state::UnitState,
    taught::Taught,
    train::Train,
    unit::Unit,
    usage::Usage,
    watch::Watch,
};
use crate::{
    config::{Point, StageWater, UnitSettings},
    time::Now,
};

/// What was kept of what left the configuration, by id, among that of what is there.
#[derive(Clone, Debug)]
pub(super) struct Former {
    meters: BTreeMap<String, MeterState>,
    stages: BTreeMap<String, StageState>,
}

impl Unit {
    /// A unit as it was kept, or a new one.
    #[must_use]
    pub fn new(settings: Arc<UnitSettings>, mut kept: UnitState, now: Now) -> Self {
        let train = Train::new(
            &settings,
            |id| kept.meters.get(id).cloned().unwrap_or_default(),
            now.mono,
        );
        let feed = run::feed_basis(&train, &settings);
        let permeate = run::permeate_basis(&train, &settings);
        let chemistry = kept.hand_tests.chemistry(&settings.supply.chemistry);
        let mut stages: Vec<Stage> = settings
            .stages
            .iter()
            .enumerate()
            .map(|(index, stage)| {
                let basis = if stage.water == StageWater::Feed {
                    feed
                } else {
                    permeate
                };
                let mut sensors = settings.sensors.iter();
                let probe = sensors.position(|sensor| sensor.after_stage == Some(index));
                let kept = kept.stages.get(&stage.id).cloned();
                Stage::new(stage.clone(), kept, basis, probe)
                    .with_water(train.has(Point::PermeateTds), &chemistry)
            })
            .collect();
        let (over, open) = (kept.over_run.take(), kept.open_run.take());
        let fillings = Fillings::new(&settings, &kept.fillings, &mut stages);
        let care = Care::new(&train, &settings, &kept);
        let mut unit = Self {
            alerts: alert::alerts_of(&settings, |key| kept.alerts.get(key).cloned()),
            train,
            ledger: Ledger::new(kept.waiting, now.mono),
            totals: kept.totals,
            runs: Runs::new(kept.totals, kept.cycling.usual_level),
            cycling: Cycling::new(kept.cycling, now.mono),
            stages,
            fillings,
            taught: Taught::of(&kept.membrane, &settings),
            membrane: kept.membrane,
            watch: Watch::new(&settings, &kept.watch),
            hand_tests: kept.hand_tests,
            chemistry,
            journal: kept.journal,
            usage: Usage::new(kept.usage),
            dues: Vec::new(),
            dues_at: None,
            found_at: None,
            costs: Costs::new(kept.costs, settings.costs.as_ref()),
            hold_test: HoldTest::new(kept.hold_test),
            care,
            former_fillings: kept.former_fillings,
            last_told: None,
            episodes: kept.episodes,
            notices: kept.notices,
            attend_at: Some(now.mono),
            last_run: kept.last_run,
            outputs: VecDeque::new(),
            found: Vec::new(),
            keep: Keep::Nothing,
            looked_at: now.mono,
            taught_at: None,
            possible: Vec::new(),
            impossible: Vec::new(),
            settings,
            former: Former {
                meters: kept.meters,
                stages: kept.stages,
            },
        };
        unit.take_evidence(now);
        unit.find_possible(now);
        unit.rule_out_wear();
        unit.tell_again();
        if let Some(over) = over {
            unit.end_run(now, *over);
        }
        unit.train.doubt(&unit.alerts);
        unit.take_up_episodes(now, kept.alerts);
        if let Some(open) = open {
            unit.totals.runs += 1;
            unit.end_run(now, record::interrupted(&open, &unit.totals));
        }
        unit.end_lost_hold_test(now);
        unit.begin_costs(now);
        unit
    }

    /// What to keep.
    #[must_use]
    pub fn state(&self) -> UnitState {
        // What left the configuration stays, in case it returns.
        let (mut meters, mut stages) = (self.former.meters.clone(), self.former.stages.clone());
        for sensor in self.train.sensors() {
            if let Some(meter) = sensor.meter_state() {
                meters.insert(sensor.settings().id.clone(), meter.clone());
            }
        }
        for stage in &self.stages {
            stages.insert(stage.settings().id.clone(), stage.state().clone());
        }
        let over = self.runs.over.as_ref();
        let alerts = (self.alerts.iter())
            .filter(|alert| alert.is_worth_keeping())
            .map(|alert| (alert.key(), alert.keep(&self.settings)));
        let mut state = UnitState {
            totals: self.totals,
            waiting: self.ledger.waiting(),
            meters,
            stages,
            fillings: self.fillings.state(),
            membrane: self.membrane.clone(),
            alerts: alerts.collect(),
            episodes: self.episodes,
            open_run: self.runs.open_state(),
            over_run: over.map(|(record, _)| Box::new(record.clone())),
            cycling: self.cycling.state(self.looked_at, self.runs.usual_level),
            last_run: self.last_run.clone(),
            watch: self.watch.state(&self.settings),
            notices: self.notices.clone(),
            hand_tests: self.hand_tests.clone(),
            journal: self.journal.clone(),
            usage: self.usage.state().clone(),
            costs: self.costs.state.clone(),
            hold_test: self.hold_test.state.clone(),
            former_fillings: self.former_fillings.clone(),
            ..UnitState::default()
        };
        self.care.keep(&mut state);
        state
    }
}
