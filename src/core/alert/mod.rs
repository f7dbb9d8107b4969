//! Alerts: codes of our own in the trade's words, each with a limit, hysteresis, a time it must
//! hold, a plain sentence and what to check first.

mod attend;
mod because;
mod care;
mod chemistry;
mod condition;
mod doubted;
mod episode;
mod figures;
mod hydraulic;
mod life;
mod list;
mod notice;
mod quiet;
mod rules;
mod run_rules;
mod stages;
mod text;
mod timer;
mod wear;

pub use attend::{ALL_ALERTS, Answer};
pub use care::Care;
pub use condition::Condition;
pub use episode::{Acknowledged, End, Ending, Episode, Ongoing};
pub(super) use life::Change;
use life::Verdict;
pub use life::{Life, LifeState, Phase};
pub(super) use list::alerts_of;
pub(crate) use notice::shortened;
pub use notice::{LONGEST_TEXT, LONGEST_TITLE, Notice, NoticeKind, Notices};
pub(super) use rules::{Circumstances, Judgement, describe, judge};
pub use text::{CAUTION, caution, check_first, title};
pub(super) use wear::{flow_falling, salt_rising};

use serde::{Deserialize, Serialize};

use std::time::Duration;

use super::doubt::Doubt;
use crate::{
    config::UnitSettings,
    time::{Mono, Now, Wall},
};

/// The list of alerts; drives documentation, hub and page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Code {
    /// Feed, permeate and concentrate as metered do not add up.
    BalanceOpen,
    /// A test by hand found chlorine behind all carbon.
    ChlorineBreakthrough,
    /// Feed pressure above what housings and tubing are made for.
    FeedPressureHigh,
    /// Too little pressure to make water with.
    FeedPressureLow,
    /// The feed is near freezing, or too warm for housings and element.
    FeedTemperatureOutOfRange,
    /// Run after run without a flush.
    FlushMissed,
    /// Water where it should not be.
    Leak,
    /// The element gives less than it did: a step, or a trend surely below its limit.
    NormalizedFlowFalling,
    /// The element gives less than its own baseline (or rating) under the same conditions.
    NormalizedFlowLow,
    /// TDS after the membrane above its limit.
    PermeateTdsHigh,
    /// The pre-filters take more pressure than when they were clean.
    PrefilterClogging,
    /// TDS of the product above its limit.
    ProductTdsHigh,
    /// The booster pump runs and adds no pressure.
    PumpNotLifting,
    /// Too much or too little of the feed becomes product.
    RecoveryOutOfRange,
    /// The membrane holds back too little.
    RejectionLow,
    /// The unit makes water without end.
    RunTooLong,
    /// A new filling's fines are to be washed to the drain.
    RinseDue,
    /// The element lets more salt through than it did: a step, or a trend surely above its limit.
    SaltPassageRising,
    /// The concentrate is so hard that chalk may fall out in the membrane.
    ScalingRisk,
    /// A sensor's readings cannot be, or contradict the others.
    SensorImplausible,
    /// A sensor was not heard for too long.
    SensorSilent,
    /// A sensor shows the same whatever happens.
    SensorStuck,
    /// The unit starts often and makes little each time.
    ShortCycling,
    /// Water runs to the drain while none is made.
    ShutoffLeaking,
    /// A stage is spent by its configured life.
    StageExhausted,
    /// The resin of a stage begins to let salt through.
    StageLeaking,
    /// A stage is nearly spent.
    StageLow,
    /// A stage was spent long ago and is still in use.
    StageOverdue,
    /// It is time to test for chlorine behind the carbon.
    TestDue,
}

impl Code {
    /// Every code.
    pub const ALL: [Self; 29] = [
        Self::BalanceOpen,
        Self::ChlorineBreakthrough,
        Self::FeedPressureHigh,
        Self::FeedPressureLow,
        Self::FeedTemperatureOutOfRange,
        Self::FlushMissed,
        Self::Leak,
        Self::NormalizedFlowFalling,
        Self::NormalizedFlowLow,
        Self::PermeateTdsHigh,
        Self::PrefilterClogging,
        Self::ProductTdsHigh,
        Self::PumpNotLifting,
        Self::RecoveryOutOfRange,
        Self::RejectionLow,
        Self::RinseDue,
        Self::RunTooLong,
        Self::SaltPassageRising,
        Self::ScalingRisk,
        Self::SensorImplausible,
        Self::SensorSilent,
        Self::SensorStuck,
        Self::ShortCycling,
        Self::ShutoffLeaking,
        Self::StageExhausted,
        Self::StageLeaking,
        Self::StageLow,
        Self::StageOverdue,
        Self::TestDue,
    ];

    /// As written in topics and configuration.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::BalanceOpen => "balance_open",
            Self::ChlorineBreakthrough => "chlorine_breakthrough",
            Self::RinseDue => "rinse_due",
            Self::ScalingRisk => "scaling_risk",
            Self::TestDue => "test_due",
            Self::FeedTemperatureOutOfRange => "feed_temperature_out_of_range",
            Self::Leak => "leak",
            Self::PrefilterClogging => "prefilter_clogging",
            Self::PumpNotLifting => "pump_not_lifting",
            Self::RecoveryOutOfRange => "recovery_out_of_range",
            Self::SensorImplausible => "sensor_implausible",
            Self::SensorStuck => "sensor_stuck",
            Self::ShutoffLeaking => "shutoff_leaking",
            Self::FeedPressureHigh => "feed_pressure_high",
            Self::FeedPressureLow => "feed_pressure_low",
            Self::FlushMissed => "flush_missed",
            Self::NormalizedFlowFalling => "normalized_flow_falling",
            Self::NormalizedFlowLow => "normalized_flow_low",
            Self::PermeateTdsHigh => "permeate_tds_high",
            Self::ProductTdsHigh => "product_tds_high",
            Self::RejectionLow => "rejection_low",
            Self::RunTooLong => "run_too_long",
            Self::SaltPassageRising => "salt_passage_rising",
            Self::SensorSilent => "sensor_silent",
            Self::ShortCycling => "short_cycling",
            Self::StageExhausted => "stage_exhausted",
            Self::StageLeaking => "stage_leaking",
            Self::StageLow => "stage_low",
            Self::StageOverdue => "stage_overdue",
        }
    }

    /// How urgent it is.
    #[must_use]
    pub fn severity(self) -> Severity {
        match self {
            Self::ChlorineBreakthrough | Self::FeedPressureHigh | Self::Leak => Severity::Critical,
            Self::BalanceOpen
            | Self::FeedTemperatureOutOfRange
            | Self::PrefilterClogging
            | Self::PumpNotLifting
            | Self::RecoveryOutOfRange
            | Self::SensorImplausible
            | Self::SensorStuck
            | Self::ShutoffLeaking
            | Self::FeedPressureLow
            | Self::NormalizedFlowLow
            | Self::PermeateTdsHigh
            | Self::ProductTdsHigh
            | Self::RejectionLow
            | Self::RunTooLong
            | Self::SaltPassageRising
            | Self::SensorSilent
            | Self::StageExhausted
            | Self::StageOverdue => Severity::Warning,
            Self::FlushMissed
            | Self::NormalizedFlowFalling
            | Self::RinseDue
            | Self::ScalingRisk
            | Self::ShortCycling
            | Self::StageLeaking
            | Self::StageLow
            | Self::TestDue => Severity::Notice,
        }
    }
}

/// How urgent an alert is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Can wait for the next order or weekend.
    Notice,
    /// Wants a look within a day.
    Warning,
    /// Wants a look now.
    Critical,
}

impl Severity {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Notice => "notice",
            Self::Warning => "warning",
            Self::Critical => "critical",
        }
    }
}

/// What an alert is about, besides the unit itself: an index into the unit's stages or sensors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// A sensor.
    Sensor(usize),
    /// A stage.
    Stage(usize),
    /// The unit as a whole.
    Unit,
}

/// One alert of a unit.
#[derive(Clone, Debug)]
pub struct Alert {
    /// Which.
    pub code: Code,
    /// About what.
    pub subject: Subject,
    /// The subject's id; empty for the unit.
    pub subject_id: String,
    /// Where it stands in its life.
    pub life: Life,
    /// The figures seen when it was raised. In boxes, as the episode, for most alerts never are.
    pub seen: Option<Box<Seen>>,
    /// What people know of it and said to it.
    pub care: Care,
    /// The key of the active alert that is told instead of this one.
    pub because: Option<String>,
    /// Its present episode, or the last while that may go on.
    pub(super) episode: Option<Box<Ongoing>>,
    /// What its limit last asked for before it is raised.
    pub(super) hold: Duration,
    /// The sensor it casts doubt on while it is active, and why.
    pub(super) casts: Option<(usize, Doubt)>,
    /// When it changes next if the readings stay as they are.
    pub(super) due: Option<Mono>,
}

/// What was seen, against which limit: a sentence's figures, already in words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// A plain sentence with the figures.
    pub sentence: String,
    /// The value seen, in `unit`.
    pub value: Option<f64>,
    /// The limit, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: String,
}

impl Seen {
    /// A sentence without figures.
    fn words(sentence: String) -> Self {
        Self {
            sentence,
            value: None,
            limit: None,
            unit: String::new(),
        }
    }
}

/// What is kept of an alert across restarts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlertState {
    /// Where it stood.
    pub life: LifeState,
    /// What was seen.
    pub seen: Option<Box<Seen>>,
    /// The id of the sensor it casts doubt on, and why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub casts: Option<(String, Doubt)>,
    /// What people know of it and said to it.
    #[serde(default)]
    pub care: Care,
    /// Its present episode, or the last while that may go on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) episode: Option<Box<Ongoing>>,
}

impl Alert {
    /// Its key in topics and the store: the code, and the subject behind a slash.
    #[must_use]
    pub fn key(&self) -> String {
        notice::key(self.code, &self.subject_id)
    }

    /// How urgent it is.
    #[must_use]
    pub fn severity(&self) -> Severity {
        self.code.severity()
    }

    /// Since when it is active.
    #[must_use]
    pub fn since(&self) -> Option<Wall> {
        self.life.since()
    }

    /// Whether it is active.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.life.phase() == Phase::Active
    }

    /// The sentence and figures of the raising, if it is active.
    #[must_use]
    pub fn told(&self) -> Option<&Seen> {
        self.seen.as_deref().filter(|_| self.is_active())
    }

    /// Takes a judgement; `None` when the readings say nothing.
    pub(super) fn take(&mut self, now: Now, judgement: Option<&Judgement>) -> Option<Change> {
        let verdict = judgement.map_or(Verdict::Unjudged, |judgement| judgement.verdict);
        if self.life.rests(verdict) {
            self.due = None;
            return None;
        }
        let Some(judgement) = judgement else {
            self.due = None;
            return self
                .life
                .judge(now, Verdict::Unjudged, Duration::ZERO, Duration::ZERO);
        };
        let (hold, clear_hold) = (judgement.hold, judgement.clear_hold);
        self.hold = hold;
        let change = self.life.judge(now, judgement.verdict, hold, clear_hold);
        self.due = self.life.deadline(hold, clear_hold);
        match change {
            Some(Change::Raised) => self.casts = judgement.casts,
            Some(Change::Cleared) => self.casts = None,
            Some(Change::Known) | None => {}
        }
        change
    }

    /// Whether its life is worth a place in the state: every sensor has these alerts, and one that
    /// is not active is judged anew within moments.
    pub(super) fn is_worth_keeping(&self) -> bool {
        self.is_active()
            || !self.care.is_idle()
            || !matches!(self.code, Code::SensorImplausible | Code::SensorStuck)
    }

    pub(super) fn keep(&self, settings: &UnitSettings) -> AlertState {
        let id = |index: usize| Some(settings.sensors.get(index)?.id.clone());
        AlertState {
            life: self.life.state(),
            seen: self.seen.clone(),
            casts: self
                .casts
                .and_then(|(index, doubt)| Some((id(index)?, doubt))),
            care: self.care.kept(),
            episode: self.episode.as_deref().map(Ongoing::kept).map(Box::new),
        }
    }
}
