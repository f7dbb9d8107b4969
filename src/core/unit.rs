//! The unit: its four verbs, and the look it takes at everything after each of them.

use std::{collections::VecDeque, sync::Arc, time::Duration};

use super::{
    Keep,
    alert::{self, Alert, Change, Circumstances},
    known::Lack,
    ledger::Ledger,
    membrane::MembraneState,
    meter::{Arrival, Packet},
    output::{Event, EventKind, Output},
    performance::Readings,
    run::{self, RunChange, RunRecord, RunState, Runs},
    sensor::Observation,
    stage::Stage,
    state::UnitState,
    train::Train,
    values::Values,
    water::{Flows, Totals},
};
use crate::{
    config::{StageWater, UnitSettings},
    metrics::{Group, Metric},
    quantity::Flow,
    time::{Mono, Now},
};

/// At rest a unit looks at itself this often: ages grow, holding times end.
const LONGEST_REST: Duration = Duration::from_secs(60);

/// One unit.
#[derive(Clone, Debug)]
pub struct Unit {
    pub(super) settings: Arc<UnitSettings>,
    pub(super) train: Train,
    pub(super) ledger: Ledger,
    pub(super) totals: Totals,
    pub(super) runs: Runs,
    pub(super) stages: Vec<Stage>,
    pub(super) membrane: MembraneState,
    pub(super) alerts: Vec<Alert>,
    pub(super) last_run: Option<RunRecord>,
    /// State of what left the configuration, kept in case it returns.
    pub(super) former: UnitState,
    pub(super) outputs: VecDeque<Output>,
    pub(super) keep: Keep,
    pub(super) looked_at: Mono,
    pub(super) possible: Vec<Metric>,
    /// The other metrics, and why this configuration can never give them.
    pub(super) impossible: Vec<(Metric, Lack)>,
}

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
        let stages = settings
            .stages
            .iter()
            .map(|stage| {
                let basis = if stage.water == StageWater::Feed {
                    feed
                } else {
                    permeate
                };
                Stage::new(stage.clone(), kept.stages.get(&stage.id).copied(), basis)
            })
            .collect();
        let mut unit = Self {
            alerts: alert::alerts_of(&settings, |key| kept.alerts.get(key).cloned()),
            train,
            ledger: Ledger::new(kept.waiting, now.mono),
            totals: kept.totals,
            runs: Runs::new(kept.totals),
            stages,
            membrane: kept.membrane.clone(),
            last_run: kept.last_run.clone(),
            outputs: VecDeque::new(),
            keep: Keep::Nothing,
            looked_at: now.mono,
            possible: Vec::new(),
            impossible: Vec::new(),
            settings,
            former: kept,
        };
        unit.find_possible(now);
        if let Some(open) = unit.former.open_run.take() {
            unit.end_run(now, run::interrupted(&open, &unit.totals));
        }
        unit
    }

    /// Hears something of a sensor. Returns how soon the state must be kept because of it.
    pub fn observe(
        &mut self,
        now: Now,
        sensor: usize,
        observation: Observation,
        arrival: Arrival,
        packet: Option<Packet>,
    ) -> Keep {
        let Some(heard) = self
            .train
            .sensor_mut(sensor)
            .map(|sensor| sensor.observe(now, observation, arrival, packet))
        else {
            return Keep::Nothing;
        };
        let id = self
            .settings
            .sensors
            .get(sensor)
            .map(|sensor| sensor.id.clone());
        if let (Some(odd), Some(id)) = (heard.odd, &id) {
            self.event(now, EventKind::CountOdd, Some(id.clone()), odd.sentence(id));
        }
        if let (Some(why), Some(id)) = (heard.first_nothing, id) {
            let text = format!("{id}: {why}. Not counted as a reading; told once until one comes.");
            self.event(now, EventKind::NoReading, Some(id), text);
        }
        self.look(now);
        let keep = if heard.counted { Keep::Now } else { Keep::Soon };
        self.keep = self.keep.max(keep);
        keep
    }

    /// Lets time pass.
    pub fn tick(&mut self, now: Now) {
        self.look(now);
    }

    /// When [`Unit::tick`] should be called if nothing is heard before. May change with every
    /// other call.
    #[must_use]
    pub fn deadline(&self) -> Mono {
        let mut next = self.looked_at.after(LONGEST_REST);
        // What lies behind has had its look: only what is to come counts.
        let mut consider = |at: Mono| {
            if at > self.looked_at {
                next = next.min(at);
            }
        };
        self.runs
            .deadlines(&self.settings)
            .into_iter()
            .flatten()
            .for_each(&mut consider);
        let grace = self.settings.alerts.sensor_silent;
        for sensor in self.train.sensors() {
            // One millisecond on: at `max_age` itself a value is still fresh.
            let silent = sensor.silent_at().after(Duration::from_millis(1));
            consider(silent);
            if let Some(grace) = grace {
                consider(silent.after(grace));
            }
        }
        self.alerts
            .iter()
            .filter_map(|alert| alert.due)
            .for_each(&mut consider);
        next
    }

    /// The next output, if there is one.
    pub fn drain(&mut self) -> Option<Output> {
        self.outputs.pop_front()
    }

    /// How soon the state must be kept; asked again, nothing.
    pub fn take_keep(&mut self) -> Keep {
        std::mem::take(&mut self.keep)
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
                .insert(stage.settings().id.clone(), stage.state());
        }
        state.membrane = self.membrane.clone();
        state.alerts = self
            .alerts
            .iter()
            .map(|alert| (alert.key(), alert.keep()))
            .collect();
        state.open_run = self.runs.open_state();
        state.last_run = self.last_run.clone();
        state
    }

    /// What is measured now, and what the membrane does while its quality counts.
    pub(super) fn live(&self, now: Mono) -> Values {
        let mut values = Values::default();
        self.readings(now, |readings| {
            readings.set_now(&mut values);
            if self.runs.state == RunState::Producing {
                readings.set_membrane(&mut values);
            }
        });
        values
    }

    /// With nothing heard yet, a value is away for now or it can never be there. The membrane's
    /// count only in runs, so they need something that tells a run.
    fn find_possible(&mut self, now: Now) {
        let mut values = self.values(now);
        self.readings(now.mono, |readings| readings.set_membrane(&mut values));
        let runs = run::can_be_seen(&self.train, &self.settings);
        for metric in Metric::ALL.iter().copied() {
            match values.of(metric) {
                Err(lack) if lack.is_permanent() => self.impossible.push((metric, lack)),
                _ if !runs && metric.group() == Group::Membrane => {
                    self.impossible.push((metric, Lack::NoRunSign));
                }
                Ok(_) | Err(_) => self.possible.push(metric),
            }
        }
    }

    fn readings<T>(&self, now: Mono, ask: impl FnOnce(&Readings) -> T) -> T {
        let flows = Flows::find(&self.train, &self.settings, self.runs.state, now);
        ask(&Readings {
            settings: &self.settings,
            train: &self.train,
            flows: &flows,
            baseline: self.membrane.baseline,
            now,
        })
    }

    /// Looks at everything once: books litres, follows the run, feeds the stages, judges alerts.
    pub(super) fn look(&mut self, now: Now) {
        let before = self.totals;
        let state = self.runs.state;
        self.ledger.settle(
            &mut self.train,
            &self.settings,
            state,
            &mut self.totals,
            now.mono,
        );
        if state.makes_water() {
            self.totals.producing_seconds += now.mono.since(self.looked_at).as_secs_f64();
        }
        let flows = Flows::find(&self.train, &self.settings, state, now.mono);
        let foreseen = self.ledger.foresee(&self.totals);
        let change = self
            .runs
            .update(now, &self.train, &self.settings, &flows, &foreseen);
        let passed = self.totals.since(&before);
        for stage in &mut self.stages {
            stage.treat(now, &passed);
        }
        self.looked_at = now.mono;
        match change {
            Some(RunChange::Started) => {
                self.event(
                    now,
                    EventKind::RunStarted,
                    None,
                    "The unit began to make water.".to_owned(),
                );
            }
            Some(RunChange::Ended(record)) => self.end_run(now, *record),
            None => {}
        }
        let live = self.live(now.mono);
        if self.runs.state == RunState::Producing
            && let Some(open) = &mut self.runs.open
            && open.steady.is_due(now.mono)
        {
            open.steady.sample(now.mono, &live);
        }
        self.judge_alerts(now, &live);
    }

    fn end_run(&mut self, now: Now, record: RunRecord) {
        self.totals.runs += 1;
        let runs = self
            .settings
            .membrane
            .as_ref()
            .map_or(usize::MAX, |rating| rating.baseline_runs);
        if let Some(baseline) = self.membrane.end_run(&record, runs) {
            self.baseline_event(now, baseline);
        }
        let text = format!(
            "The unit made {:.2} L in {}.",
            record.volumes.permeate.litres(),
            crate::quantity::duration_text(Duration::from_secs_f64(record.seconds.max(0.0)))
        );
        self.event(now, EventKind::RunEnded, None, text);
        self.last_run = Some(record.clone());
        self.outputs.push_back(Output::RunEnded(Box::new(record)));
        self.keep = Keep::Now;
    }

    fn baseline_event(&mut self, now: Now, baseline: Flow) {
        let text = format!(
            "The membrane's baseline is set: {:.1} L/day under the conditions of its rating.",
            baseline.l_per_day()
        );
        self.event(now, EventKind::BaselineSet, None, text);
    }

    fn judge_alerts(&mut self, now: Now, live: &Values) {
        let found = self.stage_findings(now);
        let around = Circumstances {
            settings: &self.settings,
            state: self.runs.state,
            live,
            sensors: self.train.sensors(),
            stages: &found,
            now,
        };
        let mut changed = Vec::new();
        for (index, alert) in self.alerts.iter_mut().enumerate() {
            let judgement = alert::judge(alert, &around);
            let change = alert.take(now, judgement.as_ref());
            if let (Some(Change::Raised), Some(judgement)) = (change, &judgement) {
                alert.seen = Some(alert::describe(alert, judgement, &around));
            }
            if let Some(change) = change {
                changed.push((index, change));
            }
        }
        for (index, change) in changed {
            self.tell_alert(now, index, change);
        }
    }

    fn tell_alert(&mut self, now: Now, index: usize, change: Change) {
        self.outputs.push_back(Output::AlertChanged(index));
        let Some(alert) = self.alerts.get(index) else {
            return;
        };
        let key = alert.key();
        let sentence = alert
            .seen
            .as_ref()
            .map(|seen| seen.sentence.clone())
            .unwrap_or_default();
        match change {
            Change::Known => {}
            Change::Raised => {
                let text = format!("{sentence} {}", alert::check_first(alert.code));
                self.event(now, EventKind::AlertRaised, Some(key), text);
                self.keep = Keep::Now;
            }
            Change::Cleared => {
                let text = format!("{}: over.", alert::title(alert.code));
                self.event(now, EventKind::AlertCleared, Some(key), text);
                self.keep = Keep::Now;
            }
        }
    }

    pub(super) fn event(
        &mut self,
        now: Now,
        event: EventKind,
        about: Option<String>,
        text: String,
    ) {
        self.outputs.push_back(Output::Event(Event {
            event,
            time: now.date(),
            about,
            text,
        }));
    }
}
