//! Years of simulated units with cheap sensors, played through the core in two or three seconds each.
//!
//! A [`household::Household`] says what a year is like: seed, season at the start, how the element follows
//! the temperature and declines, how good the sensors are, and what happens on which day. [`live_all`]
//! plays households side by side; each gives a [`diary::Diary`] of what the core said (events, alerts, run
//! records) beside what was true at the time (rejection, A and B left, litres). The same household always
//! gives the same diary. The truth is the simulation's, whose physics is apart from the daemon's.
//!
//! To add a year, change what is special about it and ask its diary:
//!
//! ```text
//! let torn = Household {
//!     first_day: 180.0,
//!     happenings: vec![(90.0, Happening::Lose { share_of_a: 0.0, rise_of_b: 2.0 })],
//!     ..Household::new(7, TemperatureLaw::Viscosity)
//! };
//! let diary = &live_all(&[torn])[0];
//! assert!(diary.alarms().iter().any(|alarm| alarm.key == "rejection_low" && alarm.raised < 93.0));
//! ```
//!
//! More sensors or another configuration: `Household::configuration` (TOML) and `household::POINTS`. The
//! plant itself (supply, element, draws) is in `Household::parameters`; `Happening::Change` alters it on a
//! day. Years cost two or three seconds of one core, so tests share [`ordinary::NORMAL_YEARS`].
//!
//! `cargo test --test years -- --nocapture` prints the figures.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "years/diary.rs"]
mod diary;
#[path = "years/faithful.rs"]
mod faithful;
#[path = "years/household.rs"]
mod household;
#[path = "years/life.rs"]
mod life;
#[path = "years/ordinary.rs"]
mod ordinary;
#[path = "years/shortfall.rs"]
mod shortfall;
#[path = "years/wear.rs"]
mod wear;

use std::sync::atomic::{AtomicUsize, Ordering};

use diary::Diary;
use household::Household;

/// Plays households side by side on all cores; the diaries come in the order of the households.
pub fn live_all(households: &[Household]) -> Vec<Diary> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let work = || {
        let mut own = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(household) = households.get(index) else {
                return own;
            };
            own.push((index, life::live(household)));
        }
    };
    let mut diaries: Vec<(usize, Diary)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
        workers
            .into_iter()
            .flat_map(|worker| worker.join().unwrap())
            .collect()
    });
    diaries.sort_by_key(|(index, _)| *index);
    diaries.into_iter().map(|(_, diary)| diary).collect()
}
