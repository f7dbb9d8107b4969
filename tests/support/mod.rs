//! What several test files share. Each uses a part of it.
#![allow(dead_code, unused_imports)]

mod board;
mod imitation;
mod log;
mod mosquitto;

pub use board::{BOARD, MAKING, RESTING};
pub use imitation::{Imitation, Packet, Wire};
pub use log::Log;
pub use mosquitto::{Background, Mosquitto, Seen, Watch, free_port};

use std::time::{Duration, Instant};

/// Waits until `condition` holds, looking every few milliseconds while the runtime goes on; panics
/// with `what` when it does not within `limit`.
pub async fn until(limit: Duration, what: &str, mut condition: impl FnMut() -> bool) {
    let start = Instant::now();
    while !condition() {
        assert!(start.elapsed() < limit, "not within {limit:?}: {what}");
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}
