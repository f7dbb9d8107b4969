//! How long to wait before the next attempt, and whether another client fights for our id. Pure:
//! times are given.

use std::{
    hash::{BuildHasher, RandomState},
    time::{Duration, Instant},
};

use super::Timings;

/// Pauses between attempts, doubling from the first to the longest.
#[derive(Debug)]
pub(super) struct Pauses {
    first: Duration,
    longest: Duration,
    failures: u32,
}

impl Pauses {
    pub(super) fn new(timings: &Timings) -> Self {
        Self {
            first: timings.first_pause,
            longest: timings.longest_pause,
            failures: 0,
        }
    }

    /// A connection has lived long enough to start over.
    pub(super) fn reset(&mut self) {
        self.failures = 0;
    }

    /// The pause after a failure that may end by itself.
    pub(super) fn next(&mut self) -> Duration {
        let factor = 2_u32.saturating_pow(self.failures);
        self.failures = self.failures.saturating_add(1);
        shortened(self.first.saturating_mul(factor).min(self.longest))
    }

    /// The pause after a failure that only a person can end.
    pub(super) fn slow(&mut self) -> Duration {
        self.failures = self.failures.saturating_add(1);
        shortened(self.longest)
    }
}

/// Up to a quarter less, by chance: the clients of a broker that was restarted must not all come
/// back in the same instant.
fn shortened(pause: Duration) -> Duration {
    let chance = RandomState::new().hash_one(0_u8) % 1024;
    let chance = u32::try_from(chance).unwrap_or(0);
    pause - pause / 4 * chance / 1024
}

/// Watches for another client with our id: the broker throws out the older of two, so both keep
/// throwing each other out.
#[derive(Debug, Default)]
pub(super) struct Takeover {
    last: Option<Instant>,
    cut_off: bool,
    in_a_row: u32,
}

impl Takeover {
    /// A connection stands.
    pub(super) fn connected(&mut self, now: Instant, gap: Duration) {
        let soon = self.last.is_some_and(|last| now - last < gap);
        self.in_a_row = if self.cut_off && soon {
            self.in_a_row + 1
        } else {
            0
        };
        self.last = Some(now);
        self.cut_off = false;
    }

    /// The broker cut a standing connection off.
    pub(super) fn cut_off(&mut self) {
        self.cut_off = true;
    }

    /// An attempt failed: the broker was away, which explains the loss.
    pub(super) fn failed(&mut self) {
        self.cut_off = false;
        self.in_a_row = 0;
    }

    /// Whether two connections in a row followed each other too fast.
    pub(super) fn suspected(&self) -> bool {
        self.in_a_row >= 2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_the_longest_and_start_over() {
        let mut pauses = Pauses::new(&Timings::default());
        let mut full = Duration::from_millis(500);
        for _ in 0..12 {
            let pause = pauses.next();
            assert!(
                pause <= full && pause >= full * 3 / 4,
                "{pause:?} of {full:?}"
            );
            full = (full * 2).min(Duration::from_secs(60));
        }
        pauses.reset();
        assert!(pauses.next() <= Duration::from_millis(500));
        assert!(pauses.slow() >= Duration::from_secs(45));
    }

    #[test]
    fn pauses_vary() {
        let all: std::collections::HashSet<Duration> = (0..20)
            .map(|_| shortened(Duration::from_secs(60)))
            .collect();
        assert!(all.len() > 10, "{all:?}");
    }

    #[test]
    fn two_quick_connections_in_a_row_betray_another_client() {
        let gap = Duration::from_secs(10);
        let start = Instant::now();
        let mut takeover = Takeover::default();
        for second in [0, 1] {
            takeover.connected(start + Duration::from_secs(second), gap);
            assert!(!takeover.suspected());
            takeover.cut_off();
        }
        takeover.connected(start + Duration::from_secs(3), gap);
        assert!(takeover.suspected());
        takeover.cut_off();
        takeover.connected(start + Duration::from_secs(33), gap);
        assert!(!takeover.suspected(), "it has left");
    }

    #[test]
    fn a_broker_that_is_restarted_is_no_other_client() {
        let gap = Duration::from_secs(10);
        let start = Instant::now();
        let mut takeover = Takeover::default();
        for second in 0..5 {
            takeover.connected(start + Duration::from_secs(second), gap);
            takeover.cut_off();
            takeover.failed();
        }
        assert!(!takeover.suspected());
    }
}
