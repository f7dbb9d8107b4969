//! Time as the core is given it. Nothing here reads a clock; `edge::clock` does.
//!
//! Two clocks travel together: the monotonic one, which measures (integration, ages, holding
//! times), and the wall clock, which dates records. The wall clock may be unset (a board without a
//! battery) or jump; nothing that is measured depends on it.

use std::time::Duration;

use serde::{Deserialize, Serialize};

/// A day without a change of the clocks.
pub(crate) const SECONDS_PER_DAY: f64 = 86_400.0;

/// A point on the monotonic clock: milliseconds since the service (or the log) began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mono(pub u64);

impl Mono {
    /// The time since `earlier`, zero when it is not earlier.
    #[must_use]
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_millis(self.0.saturating_sub(earlier.0))
    }

    /// This point and `duration` more.
    #[must_use]
    pub fn after(self, duration: Duration) -> Self {
        Self(
            self.0
                .saturating_add(u64::try_from(duration.as_millis()).unwrap_or(u64::MAX)),
        )
    }
}

/// A point on the wall clock: milliseconds since the Unix epoch, UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Wall(pub i64);

/// 2024-01-01T00:00:00Z. An earlier wall clock has not been set: this software is younger.
const EARLIEST: i64 = 1_704_067_200_000;

impl Wall {
    /// Whether the clock had been set at all.
    #[must_use]
    pub fn is_set(self) -> bool {
        self.0 >= EARLIEST
    }

    /// The time since `earlier`; `None` when either clock was unset or time ran backwards.
    #[must_use]
    pub fn since(self, earlier: Self) -> Option<Duration> {
        if !self.is_set() || !earlier.is_set() {
            return None;
        }
        u64::try_from(self.0 - earlier.0)
            .ok()
            .map(Duration::from_millis)
    }

    /// RFC 3339 in UTC with milliseconds, as every record and message has it.
    #[must_use]
    pub fn to_rfc3339(self) -> String {
        jiff::Timestamp::from_millisecond(self.0)
            .map_or_else(|_| "unknown".to_owned(), |time| format!("{time:.3}"))
    }

    /// The beginning of a day, UTC.
    #[must_use]
    pub fn from_date(date: jiff::civil::Date) -> Option<Self> {
        let midnight = date.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?;
        Some(Self(midnight.timestamp().as_millisecond()))
    }

    /// The day it is in that time zone, if the clock was set.
    #[must_use]
    pub fn day_in(self, zone: &jiff::tz::TimeZone) -> Option<jiff::civil::Date> {
        let moment = jiff::Timestamp::from_millisecond(self.0).ok()?;
        self.is_set().then(|| zone.to_datetime(moment).date())
    }

    /// The time of the day it is in that time zone, if the clock was set.
    #[must_use]
    pub fn time_in(self, zone: &jiff::tz::TimeZone) -> Option<jiff::civil::Time> {
        let moment = jiff::Timestamp::from_millisecond(self.0).ok()?;
        self.is_set().then(|| zone.to_datetime(moment).time())
    }

    /// From an RFC 3339 text with `Z` or an offset.
    #[must_use]
    pub fn from_rfc3339(text: &str) -> Option<Self> {
        text.trim()
            .parse::<jiff::Timestamp>()
            .ok()
            .map(|time| Self(time.as_millisecond()))
    }
}

/// Both clocks at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Now {
    /// Measures.
    pub mono: Mono,
    /// Dates.
    pub wall: Wall,
}

impl Now {
    /// The wall clock, if it has been set.
    #[must_use]
    pub fn date(self) -> Option<Wall> {
        self.wall.is_set().then_some(self.wall)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_go_there_and_back() {
        let wall = Wall::from_rfc3339("2026-11-25T09:00:00.250Z").unwrap();
        assert_eq!(wall.to_rfc3339(), "2026-11-25T09:00:00.250Z");
        assert_eq!(
            Wall::from_rfc3339("2026-11-25T10:00:00.250+01:00"),
            Some(wall)
        );
        assert_eq!(
            Wall::from_rfc3339("2026-11-25T10:00:00"),
            None,
            "no zone, no time"
        );
    }

    #[test]
    fn an_unset_clock_dates_nothing() {
        assert!(!Wall(3_600_000).is_set());
        assert_eq!(Wall(1_800_000_000_000).since(Wall(0)), None);
        assert_eq!(Mono(5).since(Mono(9)), Duration::ZERO);
    }
}
