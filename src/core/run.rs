//! Runs: when the unit stands, settles, produces, flushes; and what a run amounted to.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{
    known::{Basis, Known, Lack},
    steady::Steady,
    train::Train,
    water::{Flows, Totals, Volumes},
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

/// A run that ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunRecord {
    /// When water began to be made.
    pub started: Option<Wall>,
    /// When it ceased.
    pub ended: Option<Wall>,
    /// Between the two, in seconds.
    pub seconds: f64,
    /// Litres of this run.
    pub volumes: Volumes,
    /// Seconds from the start until quality counted; none when the run was too short for that.
    pub settled_after_seconds: Option<f64>,
    /// Whether a flush was seen in the run or right after it.
    pub flushed: bool,
    /// Whether the service was stopped, or nothing was heard any more, before the run ended.
    pub interrupted: bool,
    /// Medians of the steady part, by metric.
    pub steady: Vec<(String, Known<f64>)>,
    /// Why there are no medians, in words.
    pub no_figures: Option<String>,
}

/// The run that is going on.
#[derive(Clone, Debug)]
pub(super) struct OpenRun {
    pub started: Now,
    pub last_seen: Now,
    base: Totals,
    settled_at: Option<Mono>,
    pub flushed: bool,
    pub steady: Steady,
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
pub(super) enum RunChange {
    Started,
    Ended(Box<RunRecord>),
}

/// Follows the runs.
#[derive(Clone, Debug, Default)]
pub(super) struct Runs {
    pub state: RunState,
    pub open: Option<OpenRun>,
    /// Totals while nothing ran: what the next run starts from.
    base: Totals,
}

impl Runs {
    pub fn new(totals: Totals) -> Self {
        Self {
            base: totals,
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
    ) -> Option<RunChange> {
        let flushing = train
            .contact(Point::FlushValve, now.mono)
            .is_ok_and(|known| known.value);
        let making = evidence(train, settings, now.mono);
        if let Some(run) = &mut self.open {
            run.flushed |= flushing;
            if making == Some(true) {
                run.last_seen = now;
            }
        }
        let change = match (&self.open, making) {
            (None, Some(true)) if !flushing => {
                self.open = Some(OpenRun {
                    started: now,
                    last_seen: now,
                    base: self.base,
                    settled_at: None,
                    flushed: false,
                    steady: Steady::default(),
                });
                Some(RunChange::Started)
            }
            (Some(run), Some(false) | None)
                if now.mono.since(run.last_seen.mono) >= settings.run.stop_after =>
            {
                self.open
                    .take()
                    .map(|run| RunChange::Ended(Box::new(run.close(totals, making.is_none()))))
            }
            _ => None,
        };
        if let Some(run) = &mut self.open
            && run.settled_at.is_none()
            && run.has_settled(now, settings, flows, totals)
        {
            run.settled_at = Some(now.mono);
        }
        self.state = match (&self.open, making) {
            _ if flushing => RunState::Flushing,
            (Some(run), _) if run.settled_at.is_some() => RunState::Producing,
            (Some(_), _) => RunState::Settling,
            (None, Some(_)) => RunState::Standby,
            (None, None) => RunState::Unknown,
        };
        if self.open.is_none() {
            self.base = *totals;
        }
        change
    }

    /// When the state may change without a further reading: the run ends, or has settled by time.
    pub fn deadlines(&self, settings: &UnitSettings) -> [Option<Mono>; 2] {
        let Some(run) = &self.open else {
            return [None; 2];
        };
        let settled = run.started.mono.after(settings.run.settle_time);
        [
            Some(run.last_seen.mono.after(settings.run.stop_after)),
            Some(settled).filter(|_| run.settled_at.is_none()),
        ]
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

impl OpenRun {
    /// By the permeate that washed the creep out where volume is known, by time where it is not.
    fn has_settled(
        &self,
        now: Now,
        settings: &UnitSettings,
        flows: &Flows,
        totals: &Totals,
    ) -> bool {
        if flows.permeate.is_ok() {
            totals.permeate - self.base.permeate >= settings.run.settle_volume
        } else {
            now.mono.since(self.started.mono) >= settings.run.settle_time
        }
    }

    fn close(self, totals: &Totals, unheard: bool) -> RunRecord {
        let steady = self.steady.medians();
        let no_figures = match self.settled_at {
            None => Some("too short: the first, salty permeate was not washed out yet".to_owned()),
            Some(_) if steady.is_empty() => {
                Some("no sensor gave a usable figure while it ran".to_owned())
            }
            Some(_) => None,
        };
        RunRecord {
            started: self.started.date(),
            ended: self.last_seen.date(),
            seconds: self.last_seen.mono.since(self.started.mono).as_secs_f64(),
            volumes: totals.since(&self.base),
            settled_after_seconds: self
                .settled_at
                .map(|settled| settled.since(self.started.mono).as_secs_f64()),
            flushed: self.flushed,
            interrupted: unheard,
            steady,
            no_figures,
        }
    }
}

/// The record of a run that a stop of the service cut short.
pub(super) fn interrupted(open: &OpenRunState, totals: &Totals) -> RunRecord {
    let seconds = match (open.started, open.last_seen) {
        (Some(started), Some(seen)) => seen.since(started).unwrap_or(Duration::ZERO).as_secs_f64(),
        (None, _) | (_, None) => 0.0,
    };
    RunRecord {
        started: open.started,
        ended: open.last_seen,
        seconds,
        volumes: totals.since(&open.base),
        settled_after_seconds: None,
        flushed: false,
        interrupted: true,
        steady: Vec::new(),
        no_figures: Some("the service was stopped while it ran".to_owned()),
    }
}

/// Whether water is being made: the permeate meter decides where it can see; then what switches
/// the unit; then what flows besides; then pressure.
fn evidence(train: &Train, settings: &UnitSettings, now: Mono) -> Option<bool> {
    let start = settings.run.start_flow;
    let permeate = train.flow(Point::PermeateFlow, now);
    if let Ok(flow) = permeate {
        return Some(flow.value >= start && flow.value > Flow::ZERO);
    }
    for contact in [Point::Pump, Point::InletValve] {
        if let Ok(on) = train.contact(contact, now) {
            return Some(on.value);
        }
    }
    let feed = train.flow(Point::FeedFlow, now);
    let concentrate = train.flow(Point::ConcentrateFlow, now);
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

/// Whether litres of the feed are known at all in this configuration, and how well.
pub(super) fn feed_basis(train: &Train, settings: &UnitSettings) -> Option<Basis> {
    let [feed, permeate, concentrate] =
        [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow]
            .map(|point| train.has(point));
    if feed {
        Some(Basis::Measured)
    } else if (permeate && concentrate)
        || ((permeate || concentrate) && settings.supply.waste_ratio.is_some())
    {
        Some(Basis::Inferred)
    } else {
        None
    }
}

/// Whether litres of permeate are known at all in this configuration, and how well.
pub(super) fn permeate_basis(train: &Train, settings: &UnitSettings) -> Option<Basis> {
    let [feed, permeate, concentrate] =
        [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow]
            .map(|point| train.has(point));
    if permeate {
        Some(Basis::Measured)
    } else if (feed && concentrate)
        || ((feed || concentrate) && settings.supply.waste_ratio.is_some())
    {
        Some(Basis::Inferred)
    } else {
        None
    }
}

/// Whether litres of concentrate are known at all in this configuration, and how well.
pub(super) fn concentrate_basis(train: &Train, settings: &UnitSettings) -> Option<Basis> {
    let [feed, permeate, concentrate] =
        [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow]
            .map(|point| train.has(point));
    if concentrate {
        Some(Basis::Measured)
    } else if (feed && permeate) || ((feed || permeate) && settings.supply.waste_ratio.is_some()) {
        Some(Basis::Inferred)
    } else {
        None
    }
}
