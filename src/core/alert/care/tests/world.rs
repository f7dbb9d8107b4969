//! What happens at which minute, played to an alert's care.

use std::time::Duration;

use super::super::*;
use crate::time::Mono;
use Step::{Acknowledge, Away, Cause, Clear, ClockLost, Quiet, Raise, Snooze, Worse};

const MINUTE: u64 = 60_000;
pub const DAY: u64 = 1440;
const START: i64 = 1_795_608_000_000;

#[derive(Clone, Copy)]
pub enum Step {
    Raise,
    Clear,
    Acknowledge,
    /// For so many minutes.
    Snooze(u64),
    /// Another alert explains it, or does no more.
    Cause(bool),
    Quiet(bool),
    /// From now on critical.
    Worse,
    /// The service is away for so many minutes.
    Away(u64),
    /// The wall clock is not set any more.
    ClockLost,
}

pub struct World {
    pub care: Care,
    pub standing: Standing,
    /// Minutes since the beginning, and when the process began.
    pub minute: u64,
    began: u64,
    clock_set: bool,
}

impl World {
    pub fn new(remind: u64) -> Self {
        Self {
            care: Care::default(),
            standing: Standing {
                active: false,
                since: None,
                severity: Severity::Warning,
                explained: false,
                hold: Duration::from_secs(600),
                waits: false,
                remind: Duration::from_secs(remind * 60),
            },
            minute: 0,
            began: 0,
            clock_set: true,
        }
    }

    pub fn now(&self) -> Now {
        let passed = (self.minute * MINUTE) as i64;
        Now {
            mono: Mono((self.minute - self.began) * MINUTE),
            wall: Wall(if self.clock_set {
                START + passed
            } else {
                passed
            }),
        }
    }

    fn take(&mut self, step: Step) {
        let now = self.now();
        match step {
            Raise => self.standing.active = true,
            Clear => self.standing.active = false,
            Acknowledge => self.care.acknowledge(now, self.standing.severity, None),
            Snooze(minutes) => self.care.snooze(now, Duration::from_secs(minutes * 60)),
            Cause(is) => self.standing.explained = is,
            Quiet(is) => self.standing.waits = is,
            Worse => self.standing.severity = Severity::Critical,
            ClockLost => self.clock_set = false,
            Away(minutes) => {
                let text = serde_json::to_string(&self.care.kept()).unwrap();
                self.care = serde_json::from_str(&text).unwrap();
                self.minute += minutes;
                self.began = self.minute;
            }
        }
    }

    /// Looks every minute until `end`.
    pub fn play(mut self, steps: &[(u64, Step)], end: u64) -> Vec<(u64, NoticeKind)> {
        let mut told = Vec::new();
        let mut steps = steps.iter().peekable();
        while self.minute <= end {
            while let Some((_, step)) = steps.next_if(|(at, _)| *at <= self.minute) {
                self.take(*step);
            }
            let now = self.now();
            told.extend(
                self.care
                    .review(now, &self.standing)
                    .map(|kind| (self.minute, kind)),
            );
            self.minute += 1;
        }
        told
    }
}

/// A table's row: what it shows, what happens, until when, and what is told.
pub type Row = (
    &'static str,
    &'static [(u64, Step)],
    u64,
    &'static [(u64, NoticeKind)],
);

pub fn hold(remind: u64, rows: &[Row]) {
    for (name, steps, end, expected) in rows {
        assert_eq!(World::new(remind).play(steps, *end), *expected, "{name}");
    }
}
