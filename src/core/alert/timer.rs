//! A span of time that outlives restarts: it ends by the wall clock where that is set, else it is
//! counted on the monotonic one. Knows nothing of alerts.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::time::{Mono, Now, Wall};

/// A span of time that runs down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Timer {
    /// Its whole length, ms: it never lasts longer, whatever the clocks do.
    whole: u64,
    /// When it ends; `None` until the wall clock is set.
    until: Option<Wall>,
    /// What was left when last looked at, ms. Of one with an end it is kept as the whole, lest the
    /// state change every minute.
    left: u64,
    #[serde(skip)]
    looked: Option<Mono>,
}

impl Timer {
    pub(super) fn new(now: Now, length: Duration) -> Self {
        let whole = milliseconds(length);
        Self {
            whole,
            until: now.date().map(|date| after(date, whole)),
            left: whole,
            looked: Some(now.mono),
        }
    }

    /// What is left of it.
    pub(super) fn left(&mut self, now: Now) -> Duration {
        let passed = self
            .looked
            .map_or(Duration::ZERO, |looked| now.mono.since(looked));
        self.looked = Some(now.mono);
        self.left = self.left.saturating_sub(milliseconds(passed));
        if let Some(date) = now.date() {
            let by_wall = self
                .until
                .map(|until| u64::try_from(until.0.saturating_sub(date.0)).unwrap_or(0));
            match by_wall {
                Some(left) if left <= self.whole => self.left = left,
                // It was begun without a clock, or the clock was put back by more than the span.
                Some(_) | None => self.until = Some(after(date, self.left)),
            }
        }
        Duration::from_millis(self.left)
    }

    pub(super) fn is_over(&mut self, now: Now) -> bool {
        self.left(now).is_zero()
    }

    /// When it ends, if the wall clock was ever set meanwhile.
    pub(super) fn until(&self) -> Option<Wall> {
        self.until
    }

    /// As it is kept across restarts.
    pub(super) fn kept(mut self) -> Self {
        self.looked = None;
        if self.until.is_some() {
            self.left = self.whole;
        }
        self
    }
}

fn milliseconds(span: Duration) -> u64 {
    u64::try_from(span.as_millis()).unwrap_or(u64::MAX)
}

fn after(date: Wall, milliseconds: u64) -> Wall {
    Wall(
        date.0
            .saturating_add(i64::try_from(milliseconds).unwrap_or(i64::MAX)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: u64 = 3_600_000;
    const NOON: i64 = 1_795_608_000_000;

    fn at(mono: u64, wall: i64) -> Now {
        Now {
            mono: Mono(mono),
            wall: Wall(wall),
        }
    }

    fn left(timer: &mut Timer, mono: u64, wall: i64) -> u64 {
        milliseconds(timer.left(at(mono, wall)))
    }

    fn restarted(timer: Timer) -> Timer {
        let text = serde_json::to_string(&timer.kept()).unwrap();
        serde_json::from_str(&text).unwrap()
    }

    #[test]
    fn it_goes_on_by_the_wall_clock_through_a_restart() {
        let hour = NOON + HOUR as i64;
        let mut timer = Timer::new(at(0, NOON), Duration::from_millis(3 * HOUR));
        assert_eq!(left(&mut timer, HOUR, hour), 2 * HOUR);
        let mut timer = restarted(timer);
        // The monotonic clock began anew; another hour passed meanwhile.
        assert_eq!(left(&mut timer, 5, hour + HOUR as i64), HOUR);
        assert!(timer.is_over(at(HOUR, hour + 2 * HOUR as i64)));
    }

    #[test]
    fn without_a_clock_it_is_counted_and_gets_its_end_when_the_clock_is_set() {
        let mut timer = Timer::new(at(0, 0), Duration::from_millis(3 * HOUR));
        assert_eq!(left(&mut timer, HOUR, HOUR as i64), 2 * HOUR);
        assert_eq!(timer.until(), None);
        let mut timer = restarted(timer);
        assert_eq!(left(&mut timer, 0, 0), 2 * HOUR, "the time away is unknown");
        assert_eq!(left(&mut timer, HOUR, NOON), HOUR);
        assert_eq!(timer.until(), Some(Wall(NOON + HOUR as i64)));
        assert!(timer.is_over(at(2 * HOUR, NOON + HOUR as i64)));
    }

    #[test]
    fn a_clock_lost_by_a_restart_makes_it_no_longer_than_it_was() {
        let timer = Timer::new(at(0, NOON), Duration::from_millis(HOUR));
        let mut timer = restarted(timer);
        assert_eq!(left(&mut timer, 0, 0), HOUR);
        assert!(timer.is_over(at(HOUR, 1000)));
    }

    #[test]
    fn a_clock_put_back_by_years_does_not_prolong_it() {
        let mut timer = Timer::new(at(0, NOON), Duration::from_millis(2 * HOUR));
        assert_eq!(left(&mut timer, HOUR, NOON + HOUR as i64), HOUR);
        let year = 31_536_000_000;
        assert_eq!(left(&mut timer, HOUR + 1000, NOON - year), HOUR - 1000);
        assert!(timer.is_over(at(2 * HOUR, NOON - year + HOUR as i64)));
    }
}
