//! Runs: when the unit stands, settles, produces, flushes. What a run amounted to is `record`'s.

use std::time::Duration;

use serde::{Deserialize, Serialize};

pub(super) use super::litres::{concentrate_basis, feed_basis, permeate_basis};
use super::{
    creep::{Passed, Salt},
    known::{Known, Lack},
    record::{Ending, RunRecord, Settled},
    settling::{MOST, Probed, Progress, Settling},
    steady::Steady,
    train::Train,
    water::{Flows, Totals},
};
use crate::{
    config::{Point, UnitSettings},
    quantity::Flow,
    time::{Mono, Now, Wall},
};

/// What the unit does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RunState {
    /// Nothing heard that tells.
    #[default]
    Unknown,
    /// No water is made.
    Standby,
    /// Water is made, but the salt that crept through while standing is still being washed out.
    Settling,
    /// Water is made and its quality counts.
    Producing,
    /// The flush valve is open.
    Flushing,
}

impl RunState {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::Standby => "standby",
            Self::Settling => "settling",
            Self::Producing => "producing",
            Self::Flushing => "flushing",
        }
    }

    /// Whether water is being made.
    #[must_use]
    pub fn makes_water(self) -> bool {
        matches!(self, Self::Settling | Self::Producing)
    }
}

/// The run that is going on.
#[derive(Clone, Debug)]
pub(super) struct OpenRun {
    pub started: Now,
    pub last_seen: Now,
    pub base: Totals,
    salt_base: Passed,
    pub settling: Settling,
    pub settled: Option<Settled>,
    pub flushed: bool,
    pub steady: Steady,
    /// Sum and number of what flowed to the drain while water was made, L/min.
    drain: (f64, u32),
}

/// What is kept of a run that is going on, to close it after a restart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OpenRunState {
    /// When it started.
    pub started: Option<Wall>,
    /// When water was last seen running.
    pub last_seen: Option<Wall>,
    /// Totals at its start.
    pub base: Totals,
}

/// What changed.
#[derive(Default)]
pub(super) struct RunChanges {
    /// A run is over and its record complete.
    pub ended: Option<Box<RunRecord>>,
    /// A run began.
    pub started: bool,
    /// Water ceased to be made: the record follows once it is known whether a flush came.
    pub stopped: bool,
    /// Whether a new filling was being rinsed in the run that is over.
    pub rinsed: bool,
}

/// A flush that begins this long after a run still belongs to it.
const FLUSH_GRACE: Duration = Duration::from_secs(60);
/// Where no contact tells of a flush: the restrictor is by-passed, and this many times as much runs
/// to the drain as in the run.
const FLUSH_FLOW: f64 = 1.5;

/// Follows the runs.
#[derive(Clone, Debug, Default)]
pub(super) struct Runs {
    pub state: RunState,
    pub open: Option<OpenRun>,
    /// The run that is over and may yet be followed by a flush, and when water was last seen.
    pub over: Option<(RunRecord, Mono)>,
    /// Whether a flush is seen now; none when nothing tells.
    pub flushing: Option<bool>,
    /// Level at which the permeate of earlier runs had settled, µS/cm.
    pub usual_level: Option<f64>,
    /// Totals while nothing ran: what the next run starts from.
    base: Totals,
    salt_base: Passed,
    /// Mean flow to the drain of the last run, L/min.
    usual_drain: Option<f64>,
}

impl Runs {
    pub fn new(totals: Totals, usual_level: Option<f64>) -> Self {
        Self {
            base: totals,
            usual_level,
            ..Self::default()
        }
    }

    /// Looks at the evidence and moves on; `totals` are those after this moment's booking.
    pub fn update(
        &mut self,
        now: Now,
        train: &Train,
        settings: &UnitSettings,
        flows: &Flows,
        totals: &Totals,
        salt: &Salt,
    ) -> RunChanges {
        let valve = train.contact(Point::FlushValve, now.mono);
        let by_passed = valve.is_ok_and(|known| known.value);
        let making = evidence(train, settings, now.mono);
        self.flushing = match valve {
            Err(Lack::NoSensor(_)) => self.flush_by_flow(train, settings, making, now.mono),
            valve => valve.ok().map(|known| known.value),
        };
        let flushed = self.flushing == Some(true);
        if let Some(run) = &mut self.open {
            run.flushed |= flushed;
            if making == Some(true) {
                run.last_seen = now;
            }
        }
        if let Some((record, _)) = &mut self.over {
            record.flushed |= flushed;
        }
        let mut changes = RunChanges::default();
        match (&self.open, making) {
            (None, Some(true)) if !by_passed => {
                self.open = Some(self.begin(now));
                changes.started = true;
            }
            (Some(run), Some(false) | None)
                if now.mono.since(run.last_seen.mono) >= settings.run.stop_after =>
            {
                self.end(train, settings, totals, salt, making.is_none());
            }
            _ => {}
        }
        let is_complete = |(record, seen): &(RunRecord, Mono)| {
            changes.started
                || record.flushed
                || self.flushing.is_none()
                || now.mono.since(*seen) >= FLUSH_GRACE
        };
        if self.over.as_ref().is_some_and(is_complete) {
            changes.ended = self.over.take().map(|(record, _)| Box::new(record));
        }
        self.settle(now, train, settings, flows, totals, salt);
        self.state = match (&self.open, making) {
            _ if by_passed => RunState::Flushing,
            (Some(run), _) if run.settled.is_some() => RunState::Producing,
            (Some(_), _) => RunState::Settling,
            (None, Some(_)) => RunState::Standby,
            (None, None) => RunState::Unknown,
        };
        if self.open.is_none() {
            self.base = *totals;
            self.salt_base = salt.so_far();
        }
        changes
    }

    fn begin(&self, now: Now) -> OpenRun {
        OpenRun {
            started: now,
            last_seen: now,
            base: self.base,
            salt_base: self.salt_base,
            settling: Settling::new(now.mono),
            settled: None,
            flushed: false,
            steady: Steady::default(),
            drain: (0.0, 0),
        }
    }

    fn end(
        &mut self,
        train: &Train,
        settings: &UnitSettings,
        totals: &Totals,
        salt: &Salt,
        unheard: bool,
    ) {
        let Some(run) = self.open.take() else { return };
        let there = |point| {
            let lack = Err(Lack::NoSensor(point));
            if train.has(point) { Ok(()) } else { lack }
        };
        let basis = permeate_basis(train, settings);
        let ending = Ending {
            settings,
            totals,
            passed: salt.so_far().since(run.salt_base),
            litres: basis
                .map(|basis| Known { value: (), basis })
                .ok_or(Lack::NoSensor(Point::PermeateFlow)),
            probe: there(Point::PermeateTds),
            usual_level: self.usual_level,
            unheard,
        };
        let seen = run.last_seen.mono;
        if run.drain.1 > 0 {
            self.usual_drain = Some(run.drain.0 / f64::from(run.drain.1));
        }
        let (record, level) = run.close(&ending);
        self.usual_level = level.or(self.usual_level);
        self.over = Some((record, seen));
    }

    /// A flush where no contact tells of one, but one is expected.
    fn flush_by_flow(
        &mut self,
        train: &Train,
        settings: &UnitSettings,
        making: Option<bool>,
        now: Mono,
    ) -> Option<bool> {
        if !settings.run.flush_expected {
            return None;
        }
        let flow = train
            .flow(Point::ConcentrateFlow, now)
            .or_else(|_| train.flow(Point::FeedFlow, now));
        let drained = flow.ok()?.value.l_per_min();
        let run = self.open.as_mut();
        let usual = match &run {
            Some(run) if run.drain.1 > 0 => Some(run.drain.0 / f64::from(run.drain.1)),
            Some(_) | None => self.usual_drain,
        };
        let flushing = usual.is_some_and(|usual| drained >= FLUSH_FLOW * usual);
        if let (Some(run), Some(true), false) = (run, making, flushing) {
            run.drain = (run.drain.0 + drained, run.drain.1 + 1);
        }
        Some(flushing)
    }

    /// Whether the open run has settled by now: see `settling`.
    fn settle(
        &mut self,
        now: Now,
        train: &Train,
        settings: &UnitSettings,
        flows: &Flows,
        totals: &Totals,
        salt: &Salt,
    ) {
        let Some(run) = self.open.as_mut().filter(|run| run.settled.is_none()) else {
            return;
        };
        let by_volume = flows.permeate.is_ok();
        let (passed, whole) = if by_volume {
            let passed = totals.permeate - run.base.permeate;
            (passed.litres(), settings.run.settle_volume.litres())
        } else {
            let passed = now.mono.since(run.started.mono);
            (passed.as_secs_f64(), settings.run.settle_time.as_secs_f64())
        };
        let share = if whole > 0.0 {
            passed / whole
        } else {
            f64::INFINITY
        };
        let progress = Progress { share, by_volume };
        let probed = probed(train, settings, now.mono);
        if let Some(by) = run.settling.look(progress, probed) {
            run.settled = Some(Settled {
                at: now,
                by,
                litres: totals.permeate - run.base.permeate,
                passed: salt.so_far().since(run.salt_base),
            });
        }
    }

    /// When something may change without a further reading: the run ends, has settled by time, or
    /// no flush came after it.
    pub fn deadlines(&self, settings: &UnitSettings) -> [Option<Mono>; 5] {
        let mut due = [None; 5];
        due[0] = self.over.as_ref().map(|(_, seen)| seen.after(FLUSH_GRACE));
        if let Some(run) = &self.open {
            let unsettled = run.settled.is_none();
            let after = |time| run.started.mono.after(time);
            due[1] = Some(run.last_seen.mono.after(settings.run.stop_after));
            due[2] = unsettled.then(|| after(settings.run.settle_time));
            due[3] = unsettled.then(|| after(settings.run.settle_time.mul_f64(MOST)));
            due[4] = settings.alerts.run_too_long.map(after);
        }
        due
    }

    /// What to keep of the open run.
    pub fn open_state(&self) -> Option<OpenRunState> {
        self.open.as_ref().map(|run| OpenRunState {
            started: run.started.date(),
            last_seen: run.last_seen.date(),
            base: run.base,
        })
    }

    /// Seconds the open run has lasted.
    pub fn seconds(&self, now: Mono) -> Option<f64> {
        self.open
            .as_ref()
            .map(|run| now.since(run.started.mono).as_secs_f64())
    }
}

/// What the permeate probe shows, at the sensor that is read now.
pub(super) fn probed(train: &Train, settings: &UnitSettings, now: Mono) -> Option<Probed> {
    let (main, spare) = train.at(Point::PermeateTds);
    [main, spare].into_iter().flatten().find_map(|index| {
        let sensor = train.sensors().get(index)?;
        let us_cm = train.conductivity_of(sensor, settings, now).ok()?;
        Some(Probed {
            us_cm: us_cm.value.us_per_cm().max(0.0),
            heard_at: sensor.heard_at()?,
            smoothing: sensor.settings().smoothing,
        })
    })
}

/// Whether water is being made: the permeate meter decides where it can see; then what switches
/// the unit; then what flows besides; then pressure.
fn evidence(train: &Train, settings: &UnitSettings, now: Mono) -> Option<bool> {
    let start = settings.run.start_flow;
    let permeate = train.flow_sign(Point::PermeateFlow, now);
    if let Ok(flow) = permeate {
        return Some(flow.value >= start && flow.value > Flow::ZERO);
    }
    for contact in [Point::Pump, Point::InletValve] {
        if let Ok(on) = train.contact(contact, now) {
            return Some(on.value);
        }
    }
    let feed = train.flow_sign(Point::FeedFlow, now);
    let concentrate = train.flow_sign(Point::ConcentrateFlow, now);
    match (feed, concentrate) {
        (Ok(feed), Ok(concentrate)) => return Some(feed.value - concentrate.value >= start),
        (Ok(flow), Err(_)) | (Err(_), Ok(flow)) => {
            return Some(flow.value >= start && flow.value > Flow::ZERO);
        }
        (Err(_), Err(_)) => {}
    }
    if let (Some(threshold), Ok(pressure)) = (
        settings.run.start_pressure,
        train.pressure(Point::FeedPressure, now),
    ) {
        return Some(pressure.value >= threshold);
    }
    let sees_nothing = |finding| matches!(finding, Err(Lack::BelowRange(_)));
    (sees_nothing(permeate) || sees_nothing(feed) || sees_nothing(concentrate)).then_some(false)
}

/// Whether anything in this configuration can be the evidence of a run.
pub(super) fn can_be_seen(train: &Train, settings: &UnitSettings) -> bool {
    let told = [
        Point::PermeateFlow,
        Point::Pump,
        Point::InletValve,
        Point::FeedFlow,
        Point::ConcentrateFlow,
    ];
    told.into_iter().any(|point| train.has(point))
        || (settings.run.start_pressure.is_some() && train.has(Point::FeedPressure))
}
