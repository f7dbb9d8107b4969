//! The unit: its four verbs, and the look it takes at everything after each of them.

use std::{
    collections::{BTreeMap, VecDeque},
    sync::Arc,
    time::Duration,
};

use super::{
    Keep,
    alert::{Alert, Notices},
    breakthrough::Fillings,
    care::Care,
    costs::Costs,
    cycling::Cycling,
    due::Due,
    filling::FormerFilling,
    hand_test::HandTests,
    hold_test::HoldTest,
    journal::Journal,
    kept::Former,
    known::Lack,
    ledger::Ledger,
    left::StageFindings,
    load::Offered,
    membrane::MembraneState,
    meter::{Arrival, Packet},
    output::{EventKind, Output},
    performance::Readings,
    record::RunRecord,
    run::{self, OpenRun, RunState, Runs},
    sensor::{Heard, Observation},
    stage::Stage,
    taught::Taught,
    train::Train,
    usage::Usage,
    values::Values,
    watch::Watch,
    water::{Flows, Totals},
};
use crate::{
    config::{FeedChemistry, UnitSettings},
    metrics::Metric,
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
    pub(super) cycling: Cycling,
    pub(super) stages: Vec<Stage>,
    pub(super) fillings: Fillings,
    pub(super) membrane: MembraneState,
    pub(super) taught: Taught,
    pub(super) watch: Watch,
    /// Tests by hand, and the feed's chemistry as it follows from them and the configuration.
    pub(super) hand_tests: HandTests,
    pub(super) chemistry: FeedChemistry,
    pub(super) journal: Journal,
    pub(super) usage: Usage,
    /// When each stage falls due, worked out once a minute.
    pub(super) dues: Vec<Due>,
    pub(super) dues_at: Option<Mono>,
    pub(super) costs: Costs,
    pub(super) hold_test: HoldTest,
    pub(super) care: Care,
    pub(super) former_fillings: BTreeMap<String, FormerFilling>,
    /// Number of the last entry told since the start, and when.
    pub(super) last_told: Option<(u64, Mono)>,
    pub(super) alerts: Vec<Alert>,
    /// Number of the last alert's episode.
    pub(super) episodes: u64,
    pub(super) notices: Notices,
    /// When the active alerts are to be looked after next.
    pub(super) attend_at: Option<Mono>,
    pub(super) last_run: Option<RunRecord>,
    pub(super) former: Former,
    pub(super) outputs: VecDeque<Output>,
    /// What was found of the stages, and when; forgotten when something else than litres changes it.
    pub(super) found: Vec<StageFindings>,
    pub(super) found_at: Option<Mono>,
    pub(super) keep: Keep,
    pub(super) looked_at: Mono,
    /// When a run last taught the membrane's model.
    pub(super) taught_at: Option<Mono>,
    pub(super) possible: Vec<Metric>,
    /// The other metrics, and why this configuration can never give them.
    pub(super) impossible: Vec<(Metric, Lack)>,
}

impl Unit {
    /// Hears something of a sensor and looks at once. Returns how soon the state must be kept because of it.
    pub fn observe(
        &mut self,
        now: Now,
        sensor: usize,
        observation: Observation,
        arrival: Arrival,
        packet: Option<Packet>,
    ) -> Keep {
        let keep = self.hear(now, sensor, observation, arrival, packet);
        self.look(now);
        keep
    }

    /// The same without the look, for several sensors of one message: it follows with [`Unit::tick`], when all of
    /// them were heard, so that nobody sees half of a message.
    pub fn hear(
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
        self.tell_heard(now, sensor, &heard);
        let keep = if heard.counted { Keep::Now } else { Keep::Soon };
        self.keep = self.keep.max(keep);
        keep
    }

    fn tell_heard(&mut self, now: Now, sensor: usize, heard: &Heard) {
        if heard.odd.is_none() && heard.first_nothing.is_none() {
            return;
        }
        let Some(id) = self.settings.sensors.get(sensor).map(|own| own.id.clone()) else {
            return;
        };
        if let Some(odd) = heard.odd {
            let text = odd.sentence(&id);
            self.event(now, EventKind::CountOdd, Some(id.clone()), text);
        }
        if let Some(why) = &heard.first_nothing {
            let text = format!("{id}: {why}. Not counted as a reading; told once until one comes.");
            self.event(now, EventKind::NoReading, Some(id), text);
        }
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
        let tests = self.hold_test.deadlines();
        tests.into_iter().flatten().for_each(&mut consider);
        let grace = self.settings.alerts.sensor_silent;
        for sensor in self.train.sensors() {
            // One millisecond on: at `max_age` itself a value is still fresh.
            let silent = sensor.silent_at().after(Duration::from_millis(1));
            consider(silent);
            if let Some(grace) = grace {
                consider(silent.after(grace));
            }
        }
        self.attend_at.into_iter().for_each(&mut consider);
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

    /// What time alone has changed is to be kept, too.
    pub fn keep_soon(&mut self) {
        self.keep = self.keep.max(Keep::Soon);
    }

    /// What is measured now, and what the membrane does while its quality counts.
    pub(super) fn live(&self, now: Mono) -> Values {
        let producing = self.runs.state == RunState::Producing;
        self.readings(now, |readings| readings.all(producing))
    }

    /// The membrane's runs, or the keeper, taught something.
    pub(super) fn take_in(&mut self) {
        self.taught = Taught::of(&self.membrane, &self.settings);
        self.rule_out_wear();
        self.dues_at = None;
        self.found_at = None;
    }

    /// A test by hand was told or withdrawn.
    pub(super) fn take_chemistry(&mut self) {
        self.chemistry = self.hand_tests.chemistry(&self.settings.supply.chemistry);
        for stage in &mut self.stages {
            stage.take_chemistry(&self.chemistry);
        }
        self.dues_at = None;
        self.found_at = None;
        self.care.tests_changed = true;
    }

    pub(super) fn readings<T>(&self, now: Mono, ask: impl FnOnce(&Readings) -> T) -> T {
        let flows = Flows::find(&self.train, &self.settings, self.runs.state, now);
        ask(&Readings {
            settings: &self.settings,
            train: &self.train,
            flows: &flows,
            membrane: &self.membrane,
            taught: &self.taught,
            now,
        })
    }

    /// What `litres` of permeate with this much salt (mg of NaCl) bring to the stages.
    fn offered(&self, now: Mono, salt: f64, litres: f64) -> Offered {
        let (train, settings) = (&self.train, &self.settings);
        let temperature = train.temperature(settings, now).ok();
        let conductivity = train.feed_conductivity(settings, now).ok();
        Offered::new(
            settings,
            &self.chemistry,
            salt,
            litres,
            temperature.map(|known| known.value),
            conductivity.map(|known| known.value),
        )
    }

    /// Looks at everything once: books litres, follows the run, feeds the stages, judges alerts.
    pub(super) fn look(&mut self, now: Now) {
        let before = self.totals;
        let before_state = self.runs.state;
        self.ledger.settle(
            &mut self.train,
            &self.settings,
            before_state,
            &mut self.totals,
            now.mono,
        );
        if before_state.makes_water() {
            self.totals.producing_seconds += now.mono.since(self.looked_at).as_secs_f64();
        }
        let flows = Flows::find(&self.train, &self.settings, before_state, now.mono);
        let foreseen = self.ledger.foresee(&self.totals);
        let probed = run::probed(&self.train, &self.settings, now.mono);
        let told = self.cycling.salt.told_litres();
        let salt = self.cycling.salt.look(
            now.mono,
            self.totals.permeate.litres(),
            probed,
            before_state.makes_water(),
        );
        self.totals.permeate_salt_mg += salt;
        let mut offered = self.offered(now.mono, salt, self.cycling.salt.told_litres() - told);
        let was_open = self.runs.open.is_some();
        let mut changes = self.runs.update(
            now,
            &self.train,
            &self.settings,
            &flows,
            &foreseen,
            &self.cycling.salt,
        );
        changes.stopped = was_open && self.runs.open.is_none();
        self.totals.runs += u64::from(changes.stopped);
        self.cycling.flush(self.runs.flushing);
        let passed = self.totals.since(&before);
        for stage in &mut self.stages {
            stage.treat(now, &passed, &mut offered);
        }
        self.follow_days(now);
        self.looked_at = now.mono;
        if changes.started || changes.stopped || changes.ended.is_some() {
            self.found_at = None;
        }
        if changes.stopped {
            self.judge_fillings(now);
        }
        self.care_for(now, &mut changes);
        let (train, settings, state) = (&self.train, &self.settings, self.runs.state);
        self.watch
            .look(now.mono, train, settings, &flows, state, &changes);
        if let Some(record) = changes.ended {
            self.end_run(now, *record);
        }
        if changes.started {
            self.care.begin_run();
            let text = "The unit began to make water.".to_owned();
            self.event(now, EventKind::RunStarted, None, text);
        }
        self.sample(now);
        // Another state may see the same meters differently.
        let flows = if self.runs.state == before_state {
            flows
        } else {
            Flows::find(&self.train, &self.settings, self.runs.state, now.mono)
        };
        self.judge_alerts(now, &flows);
        self.book_costs(now);
        self.watch_hold_test(now, &flows);
    }

    /// Takes a sample of the steady part of a run, when one is due.
    fn sample(&mut self, now: Now) {
        let is_due = |open: &OpenRun| open.last_seen == now && open.steady.is_due(now.mono);
        if self.runs.state != RunState::Producing || !self.runs.open.as_ref().is_some_and(is_due) {
            return;
        }
        let live = self.live(now.mono);
        self.fillings.sample(&self.train, &self.settings, now.mono);
        if let Some(open) = &mut self.runs.open {
            open.steady.sample(now.mono, &live);
            if let Some(part) = open.steady.part(now.mono) {
                self.teach(now, &part.figures, now.date());
                self.judge_fillings(now);
                self.found_at = None;
                self.keep = Keep::Now;
            }
        }
    }
}
