//! Alerts: codes of our own in the trade's words, each with a limit, hysteresis, a time it must
//! hold, a plain sentence and what to check first.

mod life;
mod rules;
mod text;

pub(super) use life::Change;
use life::Verdict;
pub use life::{Life, LifeState, Phase};
pub(super) use rules::{Circumstances, describe, judge};
pub use text::{CAUTION, caution, check_first, title};

use serde::{Deserialize, Serialize};

use std::time::Duration;

use crate::{
    config::UnitSettings,
    time::{Mono, Now, Wall},
};
use rules::Judgement;

/// The list of alerts; drives documentation, hub and page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Code {
    /// Feed pressure above what housings and tubing are made for.
    FeedPressureHigh,
    /// Too little pressure to make water with.
    FeedPressureLow,
    /// The element gives less than its own baseline (or rating) under the same conditions.
    NormalizedFlowLow,
    /// TDS after the membrane above its limit.
    PermeateTdsHigh,
    /// TDS of the product above its limit.
    ProductTdsHigh,
    /// The membrane holds back too little.
    RejectionLow,
    /// A sensor was not heard for too long.
    SensorSilent,
    /// A stage is spent by its configured life.
    StageExhausted,
    /// A stage is nearly spent.
    StageLow,
}

impl Code {
    /// Every code.
    pub const ALL: [Self; 9] = [
        Self::FeedPressureHigh,
        Self::FeedPressureLow,
        Self::NormalizedFlowLow,
        Self::PermeateTdsHigh,
        Self::ProductTdsHigh,
        Self::RejectionLow,
        Self::SensorSilent,
        Self::StageExhausted,
        Self::StageLow,
    ];

    /// As written in topics and configuration.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::FeedPressureHigh => "feed_pressure_high",
            Self::FeedPressureLow => "feed_pressure_low",
            Self::NormalizedFlowLow => "normalized_flow_low",
            Self::PermeateTdsHigh => "permeate_tds_high",
            Self::ProductTdsHigh => "product_tds_high",
            Self::RejectionLow => "rejection_low",
            Self::SensorSilent => "sensor_silent",
            Self::StageExhausted => "stage_exhausted",
            Self::StageLow => "stage_low",
        }
    }

    /// How urgent it is.
    #[must_use]
    pub fn severity(self) -> Severity {
        match self {
            Self::FeedPressureHigh => Severity::Critical,
            Self::FeedPressureLow
            | Self::NormalizedFlowLow
            | Self::PermeateTdsHigh
            | Self::ProductTdsHigh
            | Self::RejectionLow
            | Self::SensorSilent
            | Self::StageExhausted => Severity::Warning,
            Self::StageLow => Severity::Notice,
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
    /// The figures seen when it was raised.
    pub seen: Option<Seen>,
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
    pub seen: Option<Seen>,
}

impl Alert {
    /// Its key in topics and the store: the code, and the subject behind a slash.
    #[must_use]
    pub fn key(&self) -> String {
        if self.subject_id.is_empty() {
            self.code.key().to_owned()
        } else {
            format!("{}/{}", self.code.key(), self.subject_id)
        }
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
        self.seen.as_ref().filter(|_| self.is_active())
    }

    /// Takes a judgement; `None` when the readings say nothing.
    pub(super) fn take(&mut self, now: Now, judgement: Option<&Judgement>) -> Option<Change> {
        let Some(judgement) = judgement else {
            self.due = None;
            return self
                .life
                .judge(now, Verdict::Unjudged, Duration::ZERO, Duration::ZERO);
        };
        let (hold, clear_hold) = (judgement.hold, judgement.clear_hold);
        let change = self.life.judge(now, judgement.verdict, hold, clear_hold);
        self.due = self.life.deadline(hold, clear_hold);
        change
    }

    pub(super) fn keep(&self) -> AlertState {
        AlertState {
            life: self.life.state(),
            seen: self.seen.clone(),
        }
    }
}

/// The alerts a unit's settings switch on, in a fixed order.
pub(super) fn alerts_of(
    settings: &UnitSettings,
    mut kept: impl FnMut(&str) -> Option<AlertState>,
) -> Vec<Alert> {
    let limits = &settings.alerts;
    let mut list = Vec::new();
    for code in Code::ALL {
        let (on, subjects): (bool, Vec<(Subject, String)>) = match code {
            Code::FeedPressureHigh => (limits.feed_pressure_high.is_some(), unit()),
            Code::FeedPressureLow => (limits.feed_pressure_low.is_some(), unit()),
            Code::NormalizedFlowLow => (limits.normalized_flow_low.is_some(), unit()),
            Code::PermeateTdsHigh => (limits.permeate_tds_high.is_some(), unit()),
            Code::ProductTdsHigh => (limits.product_tds_high.is_some(), unit()),
            Code::RejectionLow => (limits.rejection_low.is_some(), unit()),
            Code::SensorSilent => (
                limits.sensor_silent.is_some(),
                settings
                    .sensors
                    .iter()
                    .enumerate()
                    .map(|(index, sensor)| (Subject::Sensor(index), sensor.id.clone()))
                    .collect(),
            ),
            Code::StageExhausted => (limits.stage_exhausted, stages(settings)),
            Code::StageLow => (limits.stage_low.is_some(), stages(settings)),
        };
        if on {
            list.extend(subjects.into_iter().map(|(subject, subject_id)| Alert {
                code,
                subject,
                subject_id,
                life: Life::default(),
                seen: None,
                due: None,
            }));
        }
    }
    for alert in &mut list {
        if let Some(state) = kept(&alert.key()) {
            alert.life = Life::new(state.life);
            alert.seen = state.seen;
        }
    }
    list
}

fn unit() -> Vec<(Subject, String)> {
    vec![(Subject::Unit, String::new())]
}

/// Stages that have a configured life: the others can not be judged.
fn stages(settings: &UnitSettings) -> Vec<(Subject, String)> {
    settings
        .stages
        .iter()
        .enumerate()
        .filter(|(_, stage)| stage.life_volume.is_some() || stage.life_time.is_some())
        .map(|(index, stage)| (Subject::Stage(index), stage.id.clone()))
        .collect()
}
