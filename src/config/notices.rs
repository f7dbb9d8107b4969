//! How people are told: how often they are reminded, when they sleep, and which units they read.

use std::time::Duration;

use jiff::civil::Time;

/// Rules for what a person is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoticeSettings {
    /// An alert that is active and not acknowledged is told again this often; zero: never.
    pub remind: Duration,
    /// When what is not critical waits.
    pub quiet_hours: Option<QuietHours>,
}

impl Default for NoticeSettings {
    fn default() -> Self {
        Self {
            remind: super::defaults::REMIND,
            quiet_hours: None,
        }
    }
}

/// A part of the day by the clock on the wall, over midnight when it ends earlier than it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct QuietHours {
    /// The first quiet moment.
    pub from: Time,
    /// The first that is not quiet any more; not the same as `from`.
    pub until: Time,
}

impl QuietHours {
    /// Whether that time of the day is quiet.
    #[must_use]
    pub fn contains(self, time: Time) -> bool {
        if self.from < self.until {
            self.from <= time && time < self.until
        } else {
            time >= self.from || time < self.until
        }
    }
}

/// The units in which sentences speak. Documents, topics and metrics keep theirs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Display {
    /// bar, °C, L.
    #[default]
    Metric,
    /// psi, °F, gal.
    Us,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quiet_hours_may_run_over_midnight() {
        let time = |text: &str| text.parse::<Time>().unwrap();
        let hours = |from: &str, until: &str| QuietHours {
            from: time(from),
            until: time(until),
        };
        let night = hours("22:00", "07:00");
        let noon = hours("12:30", "14:00");
        for (hours, at, quiet) in [
            (night, "21:59:59", false),
            (night, "22:00", true),
            (night, "00:00", true),
            (night, "06:59:59", true),
            (night, "07:00", false),
            (noon, "12:29", false),
            (noon, "12:30", true),
            (noon, "14:00", false),
            (noon, "00:00", false),
        ] {
            assert_eq!(hours.contains(time(at)), quiet, "{hours:?} {at}");
        }
    }
}
