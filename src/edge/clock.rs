//! The clock: the only place that asks what time it is.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use crate::time::{Mono, Now, Wall};

/// Both clocks of this process, possibly made to run faster than real ones (for the demo).
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    origin: Instant,
    origin_wall: Wall,
    speed: f64,
    /// Whether the wall clock is the system's, which may be set while we run.
    is_real: bool,
}

impl Clock {
    /// The real clocks.
    #[must_use]
    pub fn real() -> Self {
        Self {
            is_real: true,
            ..Self::fast(1.0, system_time())
        }
    }

    /// Clocks on which `speed` (> 0) seconds pass in a real one, beginning now with `wall`.
    #[must_use]
    pub fn fast(speed: f64, wall: Wall) -> Self {
        Self {
            origin: Instant::now(),
            origin_wall: wall,
            speed,
            is_real: false,
        }
    }

    /// What time it is.
    #[must_use]
    pub fn now(&self) -> Now {
        let elapsed = self.origin.elapsed().mul_f64(self.speed);
        let mono = Mono(u64::try_from(elapsed.as_millis()).unwrap_or(u64::MAX));
        let wall = if self.is_real {
            system_time()
        } else {
            Wall(
                self.origin_wall
                    .0
                    .saturating_add(i64::try_from(elapsed.as_millis()).unwrap_or(i64::MAX)),
            )
        };
        Now { mono, wall }
    }

    /// How long to sleep, in real time, until a point on the monotonic clock.
    #[must_use]
    pub fn until(&self, at: Mono) -> Duration {
        let now = self.now().mono;
        at.since(now).div_f64(self.speed)
    }
}

/// What time the system says it is.
#[must_use]
pub fn system_time() -> Wall {
    // Before 1970 the clock is not set; so says 1970 itself.
    let since = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default();
    Wall(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}

/// Sleeps until then; without a time for ever.
pub(crate) async fn sleep_until(at: Option<tokio::time::Instant>) {
    match at {
        Some(at) => tokio::time::sleep_until(at).await,
        None => std::future::pending().await,
    }
}
