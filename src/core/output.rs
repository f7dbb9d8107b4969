//! What the core gives out: one enum, drained by the caller. Outputs are facts; turning them into
//! messages is the business of `wire`.

use serde::{Deserialize, Serialize};

use crate::time::Wall;

use super::alert::{Episode, Notice};
use super::journal::Entry;
use super::record::RunRecord;
use super::stage::StageRecord;

/// Something the caller should publish, keep or tell.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// Something happened.
    Event(Event),
    /// An alert changed; its index in the unit's list of alerts.
    AlertChanged(usize),
    /// An alert was raised, acknowledged or cleared: how its episode stands, to be kept in place of what
    /// was kept of that number.
    AlertNoted(Box<Episode>),
    /// An entry was added to the maintenance log.
    Logged(Box<Entry>),
    /// A person is to be told of an alert. It waits in the state until [`super::Unit::delivered`], and
    /// may be handed on once the state that holds it is durable.
    Notice(Box<Notice>),
    /// A run ended.
    RunEnded(Box<RunRecord>),
    /// A stage was replaced; this is how the old filling ended.
    StageReplaced(Box<StageRecord>),
}

/// Something that happened, told once.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// What happened, in the words of the list in [`EventKind`].
    pub event: EventKind,
    /// When, if the clock was set.
    pub time: Option<Wall>,
    /// What it is about: a stage, a sensor, an alert, a command.
    pub about: Option<String>,
    /// A plain sentence.
    pub text: String,
}

/// The kinds of event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// An alert was raised.
    AlertRaised,
    /// An alert was cleared.
    AlertCleared,
    /// An alert is still active, and people are reminded of it.
    AlertReminded,
    /// The membrane's baseline was set from its first settled runs.
    BaselineSet,
    /// A command was carried out.
    CommandDone,
    /// A command was refused; nothing changed.
    CommandRefused,
    /// A count was not believed, or fell.
    CountOdd,
    /// A pressure hold test ended.
    HoldTestEnded,
    /// A sensor sent something that is no reading (told once until it sends one again).
    NoReading,
    /// A run ended.
    RunEnded,
    /// A run started.
    RunStarted,
    /// A stage was replaced.
    StageReplaced,
}

impl EventKind {
    /// Every kind, for documentation and adapters.
    pub const ALL: [Self; 12] = [
        Self::AlertRaised,
        Self::AlertCleared,
        Self::AlertReminded,
        Self::BaselineSet,
        Self::CommandDone,
        Self::CommandRefused,
        Self::CountOdd,
        Self::HoldTestEnded,
        Self::NoReading,
        Self::RunEnded,
        Self::RunStarted,
        Self::StageReplaced,
    ];

    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::AlertRaised => "alert_raised",
            Self::AlertCleared => "alert_cleared",
            Self::AlertReminded => "alert_reminded",
            Self::BaselineSet => "baseline_set",
            Self::CommandDone => "command_done",
            Self::CommandRefused => "command_refused",
            Self::CountOdd => "count_odd",
            Self::HoldTestEnded => "hold_test_ended",
            Self::NoReading => "no_reading",
            Self::RunEnded => "run_ended",
            Self::RunStarted => "run_started",
            Self::StageReplaced => "stage_replaced",
        }
    }
}

/// What a meter found odd about a count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MeterEvent {
    /// More than the pipe can carry in the time: nothing was added.
    TooMuch {
        /// The count before (0 for increments).
        last: f64,
        /// The count that was not believed.
        count: f64,
    },
    /// The count started again from zero and was added.
    Restarted {
        /// The count before.
        last: f64,
        /// The count now.
        count: f64,
    },
    /// The count fell back to an older value: a new base, nothing added.
    FellBack {
        /// The count before.
        last: f64,
        /// The count now.
        count: f64,
    },
}

impl MeterEvent {
    /// A plain sentence about it.
    #[must_use]
    pub fn sentence(self, sensor: &str) -> String {
        let (Self::TooMuch { last, count }
        | Self::Restarted { last, count }
        | Self::FellBack { last, count }) = self;
        let (last, count) = (shown(last), shown(count));
        match self {
            Self::TooMuch { .. } => format!(
                "{sensor}: the count went from {last} to {count}, more than the pipe can carry in the time; nothing was added"
            ),
            Self::Restarted { .. } => {
                format!("{sensor}: the count started again ({last} to {count}); counted from zero")
            }
            Self::FellBack { .. } => {
                format!(
                    "{sensor}: the count fell back from {last} to {count}; counted on from there, nothing was added"
                )
            }
        }
    }
}

/// A count as people read it: nonsense may have hundreds of digits.
fn shown(count: f64) -> String {
    if count.abs() < 1e15 {
        count.to_string()
    } else {
        format!("{count:e}")
    }
}
