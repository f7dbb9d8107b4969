//! How a unit begins from what was kept of it, and what is kept of it.

use std::{collections::VecDeque, sync::Arc};

use super::{
    Keep, alert,
    breakthrough::Fillings,
    care::Care,
    costs::Costs,
    cycling::Cycling,
    hold_test::HoldTest,
    ledger::Ledger,
    record,
    run::{self, Runs},
    stage::Stage,
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

impl Unit {
    /// A unit as it was kept, or a new one.
    #[must_use]
    pub fn new(settings: Arc<UnitSettings>, kept: UnitState, now: Now) -> Self {
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
            membrane: kept.membrane.clone(),
            watch: Watch::new(&settings, &kept.watch),
            hand_tests: kept.hand_tests.clone(),
            chemistry,
            journal: kept.journal.clone(),
            usage: Usage::new(kept.usage.clone()),
            dues: Vec::new(),
            dues_at: None,
            found_at: None,
            costs: Costs::new(kept.costs.clone(), settings.costs.as_ref()),
            hold_test: HoldTest::new(kept.hold_test.clone()),
            care,
            former_fillings: kept.former_fillings.clone(),
            last_told: None,
            episodes: kept.episodes,
            notices: kept.notices.clone(),
            attend_at: Some(now.mono),
            last_run: kept.last_run.clone(),
            outputs: VecDeque::new(),
            found: Vec::new(),
            keep: Keep::Nothing,
            looked_at: now.mono,
            taught_at: None,
            possible: Vec::new(),
            impossible: Vec::new(),
            settings,
            former: kept,
        };
        unit.take_evidence(now);
        unit.find_possible(now);
        unit.rule_out_wear();
        unit.tell_again();
        if let Some(over) = unit.former.over_run.take() {
            unit.end_run(now, *over);
        }
        unit.train.doubt(&unit.alerts);
        unit.take_up_episodes(now);
        if let Some(open) = unit.former.open_run.take() {
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
        let mut state = self.former.clone();
        state.totals = self.totals;
        state.waiting = self.ledger.waiting();
        for sensor in self.train.sensors() {
            if let Some(meter) = sensor.meter_state() {
                state
                    .meters
                    .insert(sensor.settings().id.clone(), meter.clone());
            }
        }
        for stage in &self.stages {
            state
                .stages
                .insert(stage.settings().id.clone(), stage.state().clone());
        }
        state.fillings = self.fillings.state();
        state.membrane = self.membrane.clone();
        state.watch = self.watch.state(&self.settings);
        state.alerts = self
            .alerts
            .iter()
            .filter(|alert| alert.is_worth_keeping())
            .map(|alert| (alert.key(), alert.keep(&self.settings)))
            .collect();
        state.open_run = self.runs.open_state();
        let over = self.runs.over.as_ref();
        state.over_run = over.map(|(record, _)| Box::new(record.clone()));
        state.cycling = self.cycling.state(self.looked_at, self.runs.usual_level);
        state.episodes = self.episodes;
        state.notices = self.notices.clone();
        state.last_run = self.last_run.clone();
        state.hand_tests = self.hand_tests.clone();
        state.journal = self.journal.clone();
        state.usage = self.usage.state().clone();
        state.costs = self.costs.state.clone();
        state.hold_test = self.hold_test.state.clone();
        self.care.keep(&mut state);
        state.former_fillings = self.former_fillings.clone();
        state
    }
}
