//! Gauges that show the same to the last digit through hours of making water and several runs,
//! while the sensors round them move.
//!
//! A coarse gauge on steady water does so honestly. So each sensor's own habit counts: the longest
//! time it has ever stood still and then moved. What shows whole numbers, and what was never seen
//! to move, is given much longer.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::Evidence;
use crate::{
    config::{Measure, Point, Sensed},
    core::{run::RunState, sensor::Sensor, train::Train},
    quantity::Flow,
    time::Mono,
};

/// Runs that must have begun, and readings that must have come, while it stood still.
const RUNS: u32 = 2;
const READINGS: u32 = 60;
/// From here on a whole number is fine enough: the steps of a converter, say.
const FINE: f64 = 1000.0;
/// Smaller whole numbers, and sensors never seen to move, are given this multiple of the time.
const PATIENCE: u32 = 4;
/// So is a sensor's own longest stillness.
const HABIT: u32 = 4;
/// A probe that shows this little stands still honestly: mg/L (twice as many µS/cm).
const LEAST_DISSOLVED: f64 = 3.0;
/// Starts of neighbours closer together than this are one run.
const SAME_RUN: Duration = Duration::from_secs(600);

/// How long a sensor has shown the same, and used to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Kept", into = "Kept")]
pub(super) struct Habit {
    raw: Option<f64>,
    /// Time of making water with the same reading.
    still: Duration,
    runs: u32,
    readings: u32,
    /// Whether others moved meanwhile.
    others_moved: bool,
    /// The longest stillness that ended by itself; none while it was never seen to move.
    longest: Option<Duration>,
}

/// As kept: one short row for each sensor, times in seconds.
type Kept = (Option<f64>, u64, u32, u32, bool, Option<u64>);

impl From<Kept> for Habit {
    fn from((raw, still, runs, readings, others_moved, longest): Kept) -> Self {
        Self {
            raw,
            still: Duration::from_secs(still),
            runs,
            readings,
            others_moved,
            longest: longest.map(Duration::from_secs),
        }
    }
}

impl From<Habit> for Kept {
    fn from(habit: Habit) -> Self {
        (
            habit.raw,
            habit.still.as_secs(),
            habit.runs,
            habit.readings,
            habit.others_moved,
            habit.longest.map(|longest| longest.as_secs()),
        )
    }
}

/// What was last seen of a sensor.
#[derive(Clone, Copy, Debug, Default)]
struct Watched {
    seen: u64,
    heard_at: Option<Mono>,
    /// Where it stood when it last moved by more than noise.
    anchor: Option<f64>,
    /// Whether something flows there, or the contact is closed.
    on: bool,
    run_began: Option<Mono>,
}

/// Follows the stillness of all sensors of a unit.
#[derive(Clone, Debug)]
pub(super) struct Stillness {
    habits: Vec<Habit>,
    watched: Vec<Watched>,
}

impl Stillness {
    pub fn new(habits: Vec<Habit>) -> Self {
        Self {
            watched: vec![Watched::default(); habits.len()],
            habits,
        }
    }

    pub fn habits(&self) -> &[Habit] {
        &self.habits
    }

    pub fn look(&mut self, now: Mono, train: &Train, state: RunState, started: bool) {
        let (mut moved, mut rose) = (Movers::default(), Movers::default());
        for (index, sensor) in train.sensors().iter().enumerate() {
            // Without a reading nothing moves.
            if sensor.sent().readings == self.watched[index].seen {
                continue;
            }
            if self.watched[index].moves(now, sensor) {
                moved.add(index);
            }
            if self.watched[index].rises(now, sensor) {
                rose.add(index);
            }
        }
        for (index, sensor) in train.sensors().iter().enumerate() {
            let (watched, habit) = (&mut self.watched[index], &mut self.habits[index]);
            let began = started || rose.another_than(index);
            let same = |at: Mono| now.since(at) < SAME_RUN;
            if began && !watched.run_began.is_some_and(same) {
                habit.runs = habit.runs.saturating_add(1);
                watched.run_began = Some(now);
            }
            habit.others_moved |= moved.another_than(index);
            let sent = sensor.sent();
            if sent.readings == watched.seen {
                continue;
            }
            watched.seen = sent.readings;
            let heard_before = watched.heard_at.replace(now);
            if habit.raw != Some(sent.last) {
                habit.begin(sent.last);
            } else if let Some(before) = heard_before {
                habit.readings = habit.readings.saturating_add(1);
                if state.makes_water() {
                    habit.still += now.since(before).min(sensor.settings().max_age);
                }
            }
        }
    }

    pub fn still_for(&self, index: usize) -> Duration {
        let habit = self.habits.get(index);
        habit.map_or(Duration::ZERO, |habit| habit.still)
    }

    /// The evidence about a sensor, given how much time of making water is long.
    pub fn judge(
        &self,
        now: Mono,
        index: usize,
        train: &Train,
        limit: Duration,
    ) -> Option<Evidence> {
        let sensor = train.sensors().get(index)?;
        let habit = self.habits.get(index)?;
        if !sensor.is_fresh(now) {
            return None;
        }
        let is_stuck = habit.others_moved
            && habit.runs >= RUNS
            && habit.readings >= READINGS
            && habit.still >= habit.patience(limit)
            && !is_honestly_still(now, sensor);
        Some(if is_stuck {
            Evidence::Against
        } else {
            Evidence::For
        })
    }
}

impl Habit {
    /// It moved: what it did until now is how it is.
    fn begin(&mut self, raw: f64) {
        let longest = self
            .raw
            .map(|_| self.longest.unwrap_or_default().max(self.still));
        *self = Self {
            raw: Some(raw),
            longest,
            ..Self::default()
        };
    }

    fn patience(&self, limit: Duration) -> Duration {
        // Small whole numbers move only when what they measure does so by a whole step.
        let coarse = |raw: f64| raw.fract() == 0.0 && raw.abs() < FINE;
        let coarse = self.raw.is_some_and(coarse);
        let long = if coarse || self.longest.is_none() {
            limit * PATIENCE
        } else {
            limit
        };
        long.max(self.longest.unwrap_or_default() * HABIT)
    }
}

impl Watched {
    /// Whether the sensor moved by more than its noise since it last did.
    fn moves(&mut self, now: Mono, sensor: &Sensor) -> bool {
        let point = sensor.settings().at;
        let (value, least, share) = match point.sensed() {
            Sensed::Pressure => (sensor.shown(now).ok(), 0.1, 0.02),
            Sensed::Temperature => (sensor.shown(now).ok(), 0.5, 0.02),
            Sensed::Dissolved => (sensor.shown(now).ok(), 3.0, 0.02),
            Sensed::Flow => (sensor.metered(now).ok().map(Flow::l_per_min), 0.02, 0.1),
            Sensed::Volume => (sensor.shown(now).ok(), 1.0, 0.02),
            Sensed::Contact => (None, 0.0, 0.0),
        };
        let Some(value) = value else {
            return false;
        };
        let Some(anchor) = self.anchor else {
            self.anchor = Some(value);
            return false;
        };
        let moved = (value - anchor).abs() > (share * anchor.abs()).max(least);
        if moved {
            self.anchor = Some(value);
        }
        moved
    }

    /// Whether something began to flow there, or a switch of the unit closed.
    fn rises(&mut self, now: Mono, sensor: &Sensor) -> bool {
        let on = match sensor.settings().at {
            Point::Pump | Point::InletValve => sensor.contact(now).ok(),
            point if point.sensed() == Sensed::Flow => {
                let flow = sensor.metered(now).ok();
                flow.map(|flow| flow > Flow::ZERO)
            }
            _ => None,
        };
        let Some(on) = on else {
            return false;
        };
        let was = std::mem::replace(&mut self.on, on);
        on && !was
    }
}

/// Which sensors did something in one look: none, one, or several.
#[derive(Clone, Copy, Default)]
struct Movers {
    first: Option<usize>,
    several: bool,
}

impl Movers {
    fn add(&mut self, index: usize) {
        self.several |= self.first.is_some();
        self.first.get_or_insert(index);
    }

    fn another_than(self, index: usize) -> bool {
        self.several || self.first.is_some_and(|first| first != index)
    }
}

/// Whether it shows what may stand for ever: hardly any salt, or no flow.
fn is_honestly_still(now: Mono, sensor: &Sensor) -> bool {
    match &sensor.settings().measure {
        Measure::Gauge {
            probe: Some(probe), ..
        } => {
            let steps = if probe.scale.is_some() { 1.0 } else { 2.0 };
            sensor
                .latest()
                .is_none_or(|value| value <= LEAST_DISSOLVED * steps)
        }
        Measure::Rate { .. } => !sensor.metered(now).is_ok_and(|flow| flow > Flow::ZERO),
        Measure::Gauge { probe: None, .. }
        | Measure::Pulses { .. }
        | Measure::Increments { .. }
        | Measure::Contact { .. } => false,
    }
}
