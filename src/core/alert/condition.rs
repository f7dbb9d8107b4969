//! The unit in one word, for a hub's dashboard.

use super::Severity;
use crate::{core::unit::Unit, time::Now};

/// How a unit stands, the worst last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Condition {
    /// No alert is active that was not acknowledged.
    Ok,
    /// Something wants a look within days.
    Attention,
    /// No sensor is heard: nothing can be said.
    NoData,
    /// Something wants a look now.
    Act,
}

impl Condition {
    /// Every one, for documentation and hubs.
    pub const ALL: [Self; 4] = [Self::Ok, Self::Attention, Self::Act, Self::NoData];

    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Attention => "attention",
            Self::NoData => "no_data",
            Self::Act => "act",
        }
    }
}

impl Unit {
    /// How many alerts are active, acknowledged and explained ones included.
    #[must_use]
    pub fn alerts_active(&self) -> usize {
        self.alerts.iter().filter(|alert| alert.is_active()).count()
    }

    /// How the unit stands: by its worst active alert that was not acknowledged, or that nothing is
    /// heard of it.
    #[must_use]
    pub fn condition(&self, now: Now) -> Condition {
        let open = self
            .alerts
            .iter()
            .filter(|alert| alert.is_active() && !alert.care.is_acknowledged());
        let by_alerts = match open.map(super::Alert::severity).max() {
            None => Condition::Ok,
            Some(Severity::Notice | Severity::Warning) => Condition::Attention,
            Some(Severity::Critical) => Condition::Act,
        };
        let mut sensors = self.train.sensors().iter();
        let heard = sensors.any(|sensor| {
            sensor.was_heard() && !sensor.is_offline() && now.mono <= sensor.silent_at()
        });
        if heard {
            by_alerts
        } else {
            by_alerts.max(Condition::NoData)
        }
    }
}
