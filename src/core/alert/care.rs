//! What people know of an alert, and what they said to it. An alert's state changes at once; this
//! decides when a person is told: once when it is raised, again while it lasts, once when it is over.
//!
//! Nothing here is told twice or lost by a restart: all of it is kept with the alert's state.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{NoticeKind, Severity, timer::Timer};
use crate::time::{Now, Wall};

/// What is not critical waits this long after it was raised: its cause may come a moment later, and
/// is then told instead.
pub(super) const GATHER: Duration = Duration::from_secs(60);
/// That something is over is told only when it has stayed so: what comes back meanwhile is the same.
pub(super) const OVER_AFTER: Duration = Duration::from_secs(600);

/// What the keeper said to an alert.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Heed {
    /// Seen: told no more unless it becomes worse.
    Acknowledged {
        at: Option<Wall>,
        severity: Severity,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    },
    /// Not now: silent for a while, then told again if it is still active.
    Snoozed(Timer),
}

/// What people know of an alert, and what they said to it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Care {
    pub(super) heed: Option<Heed>,
    /// How urgent it was when people were told; `None` while they know nothing of it, or know that it
    /// is over.
    pub(super) told: Option<Severity>,
    /// Since when what they were told of is active, if the clock was set.
    since: Option<Wall>,
    /// When they were last told, if the clock was set.
    pub(super) told_at: Option<Wall>,
    /// How often they were reminded.
    pub(super) reminded: u32,
    /// Until the next reminder.
    remind: Option<Timer>,
    /// Until what is raised, or over, may be told.
    wait: Option<Timer>,
    /// Whether it was active when last looked at.
    active: bool,
    /// Whether another alert explained it when last looked at.
    explained: bool,
}

/// How an alert stands, as far as telling it goes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    pub active: bool,
    /// If the clock was set.
    pub since: Option<Wall>,
    pub severity: Severity,
    /// Another active alert is its cause, and is told instead.
    pub explained: bool,
    /// What its limit asks for before it is raised; asked again once its cause is gone.
    pub hold: Duration,
    /// It waits for the morning.
    pub waits: bool,
    /// How often people are reminded; zero: never.
    pub remind: Duration,
}

impl Care {
    /// Whether nothing is to be done about an alert that is not active.
    pub(super) fn is_idle(&self) -> bool {
        self.told.is_none() && self.heed.is_none() && !self.active
    }

    /// What people are to be told now, if anything. They count as told from then on.
    pub(super) fn review(&mut self, now: Now, standing: &Standing) -> Option<NoticeKind> {
        if standing.active != self.active {
            self.active = standing.active;
            self.wait = None;
        }
        if standing.active {
            self.review_active(now, standing)
        } else {
            self.review_over(now, standing)
        }
    }

    fn review_active(&mut self, now: Now, standing: &Standing) -> Option<NoticeKind> {
        if standing.explained {
            self.explained = true;
            return None;
        }
        if std::mem::take(&mut self.explained) {
            self.wait = Some(Timer::new(now, standing.hold.max(GATHER)));
        }
        if self.is_silenced(now, standing.severity) {
            return None;
        }
        let gather = if standing.severity < Severity::Critical {
            GATHER
        } else {
            Duration::ZERO
        };
        let wait = self.wait.get_or_insert_with(|| Timer::new(now, gather));
        if !wait.is_over(now) || standing.waits {
            return None;
        }
        let kind = match self.told {
            Some(told) if standing.severity <= told => self
                .is_reminder_due(now, standing.remind)
                .then_some(NoticeKind::Reminder)?,
            Some(_) | None => NoticeKind::Raised,
        };
        if kind == NoticeKind::Raised {
            self.reminded = 0;
            self.since = standing.since;
        } else {
            self.reminded = self.reminded.saturating_add(1);
        }
        self.told = Some(standing.severity);
        self.told_at = now.date();
        self.remind = reminder(now, standing.remind);
        Some(kind)
    }

    /// Whether the keeper wants to hear nothing of it; what was said and no longer holds is dropped.
    fn is_silenced(&mut self, now: Now, severity: Severity) -> bool {
        match &mut self.heed {
            Some(Heed::Acknowledged { severity: seen, .. }) if severity <= *seen => return true,
            Some(Heed::Snoozed(timer)) => {
                if !timer.is_over(now) {
                    return true;
                }
                // Then told again, whatever the rule for reminders.
                self.remind = Some(Timer::new(now, Duration::ZERO));
            }
            Some(Heed::Acknowledged { .. }) | None => {}
        }
        self.heed = None;
        false
    }

    fn is_reminder_due(&mut self, now: Now, every: Duration) -> bool {
        if self.remind.is_none() {
            self.remind = reminder(now, every);
        }
        self.remind.as_mut().is_some_and(|timer| timer.is_over(now))
    }

    fn review_over(&mut self, now: Now, standing: &Standing) -> Option<NoticeKind> {
        self.explained = false;
        if self.is_idle() {
            self.wait = None;
            return None;
        }
        if let Some(Heed::Snoozed(timer)) = &mut self.heed
            && !timer.is_over(now)
        {
            return None;
        }
        let wait = self.wait.get_or_insert_with(|| Timer::new(now, OVER_AFTER));
        if !wait.is_over(now) || (self.told.is_some() && standing.waits) {
            return None;
        }
        let told = self.told.is_some();
        *self = Self::default();
        told.then_some(NoticeKind::Cleared)
    }

    pub(super) fn acknowledge(&mut self, now: Now, severity: Severity, note: Option<String>) {
        self.heed = Some(Heed::Acknowledged {
            at: now.date(),
            severity,
            note,
        });
    }

    pub(super) fn snooze(&mut self, now: Now, length: Duration) {
        self.heed = Some(Heed::Snoozed(Timer::new(now, length)));
    }

    /// Whether it was acknowledged.
    #[must_use]
    pub fn is_acknowledged(&self) -> bool {
        matches!(self.heed, Some(Heed::Acknowledged { .. }))
    }

    /// When it was acknowledged, if the clock was set, and with what words.
    #[must_use]
    pub fn acknowledged(&self) -> Option<(Option<Wall>, Option<&str>)> {
        match &self.heed {
            Some(Heed::Acknowledged { at, note, .. }) => Some((*at, note.as_deref())),
            Some(Heed::Snoozed(_)) | None => None,
        }
    }

    /// Until when it is silent, if the clock was set.
    #[must_use]
    pub fn snoozed_until(&self) -> Option<Wall> {
        match &self.heed {
            Some(Heed::Snoozed(timer)) => timer.until(),
            Some(Heed::Acknowledged { .. }) | None => None,
        }
    }

    /// Whether it is silent for a while.
    #[must_use]
    pub fn is_snoozed(&self) -> bool {
        matches!(self.heed, Some(Heed::Snoozed(_)))
    }

    /// Since when what people were told of is active, if the clock was set.
    pub(super) fn since(&self) -> Option<Wall> {
        self.since
    }

    /// When people were last told of it, if the clock was set.
    #[must_use]
    pub fn told_at(&self) -> Option<Wall> {
        self.told_at
    }

    /// How often people were reminded since it was raised.
    #[must_use]
    pub fn reminded(&self) -> u32 {
        self.reminded
    }

    /// As it is kept across restarts.
    pub(super) fn kept(&self) -> Self {
        let mut kept = self.clone();
        if let Some(Heed::Snoozed(timer)) = &mut kept.heed {
            *timer = timer.kept();
        }
        for timer in [&mut kept.remind, &mut kept.wait] {
            *timer = timer.map(Timer::kept);
        }
        kept
    }
}

fn reminder(now: Now, every: Duration) -> Option<Timer> {
    (!every.is_zero()).then(|| Timer::new(now, every))
}

#[cfg(test)]
mod tests;
