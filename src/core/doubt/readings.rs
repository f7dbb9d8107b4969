//! Readings that cannot be: refused as outside what is believable (the error codes of cheap
//! thermometers among them), or lone spikes while water is made.

use std::{collections::VecDeque, time::Duration};

use super::Evidence;
use crate::{
    config::Sensed,
    core::{run::RunState, sensor::Sensor},
    physics::statistics::is_spike,
    time::Mono,
};

/// The window moves on by a sixth of itself.
const PARTS: usize = 6;
/// One or two refused readings are a node that starts, whatever share they make.
const LEAST_BAD: u32 = 3;
/// It clears at a quarter of the share that raises.
const CLEAR_RATIO: f64 = 0.25;
/// A spike stands in the middle of this many readings …
const AROUND: usize = 7;
/// … this many deviations off, as is usual for Hampel's test …
const WIDTH: f64 = 3.0;
/// … and by a tenth of what its neighbours show: small noise is no lie.
const SPIKE_SHARE: f64 = 0.1;

#[derive(Clone, Copy, Debug, Default)]
struct Part {
    all: u32,
    bad: u32,
}

/// One sensor's readings within the window.
#[derive(Clone, Debug, Default)]
pub(super) struct Readings {
    seen_good: u64,
    seen_bad: u64,
    parts: VecDeque<Part>,
    /// Their sum: asked for at every look, changed by few.
    sum: Part,
    part_began: Mono,
    /// Before this the present part goes on for sure.
    part_lasts: Mono,
    /// When the first reading of the window came; none while nothing is heard.
    since: Option<Mono>,
    full: bool,
    around: VecDeque<f64>,
    /// The smallest change seen: the sensor's step, if it has one.
    step: Option<f64>,
}

impl Readings {
    pub fn look(&mut self, now: Mono, sensor: &Sensor, window: Duration, state: RunState) {
        self.move_on(now, window);
        let sent = sensor.sent();
        let fresh = sent.readings - self.seen_good;
        let refused = sent.refused - self.seen_bad;
        (self.seen_good, self.seen_bad) = (sent.readings, sent.refused);
        if state != RunState::Producing {
            // Between states values change by themselves.
            self.around.clear();
        }
        if fresh + refused == 0 {
            return;
        }
        self.since.get_or_insert(now);
        let mut bad = refused;
        if fresh > 0 && state == RunState::Producing && self.is_lone_spike(sensor) {
            bad += 1;
        }
        let count = |number: u64| u32::try_from(number).unwrap_or(u32::MAX);
        if let Some(part) = self.parts.back_mut() {
            part.all = part.all.saturating_add(count(fresh + refused));
            part.bad = part.bad.saturating_add(count(bad));
        }
        self.add_up();
    }

    fn add_up(&mut self) {
        self.sum = Part::default();
        for part in &self.parts {
            self.sum.all = self.sum.all.saturating_add(part.all);
            self.sum.bad = self.sum.bad.saturating_add(part.bad);
        }
    }

    /// Turns to the next parts of the window as time passes; silence empties it.
    fn move_on(&mut self, now: Mono, window: Duration) {
        if self.parts.is_empty() || now >= self.part_lasts {
            self.turn(now, window);
        }
        if self.sum.all == 0 {
            self.since = None;
        }
        self.full = self.since.is_some_and(|since| now.since(since) >= window);
    }

    fn turn(&mut self, now: Mono, window: Duration) {
        let length = window / u32::try_from(PARTS).unwrap_or(1);
        let passed = now.since(self.part_began);
        if self.parts.is_empty() || passed >= window + length {
            self.parts.clear();
            self.parts.push_back(Part::default());
            self.part_began = now;
            self.since = None;
            self.add_up();
        } else if passed >= length {
            let mut begun = self.part_began;
            while now.since(begun) >= length {
                begun = begun.after(length);
                if self.parts.len() >= PARTS {
                    self.parts.pop_front();
                }
                self.parts.push_back(Part::default());
            }
            self.part_began = begun;
            self.add_up();
        }
        self.part_lasts = self.part_began.after(length);
    }

    /// Whether the reading in the middle of the last few stands alone, far from the others.
    fn is_lone_spike(&mut self, sensor: &Sensor) -> bool {
        let Some(value) = sensor.latest() else {
            return false;
        };
        if let Some(before) = self.around.back() {
            let change = (value - before).abs();
            if change > 0.0 {
                self.step = Some(self.step.map_or(change, |step| step.min(change)));
            }
        }
        if self.around.len() >= AROUND {
            self.around.pop_front();
        }
        self.around.push_back(value);
        if self.around.len() < AROUND {
            return false;
        }
        let mut window = [0.0; AROUND];
        for (slot, value) in window.iter_mut().zip(&self.around) {
            *slot = *value;
        }
        let middle = AROUND / 2;
        let (before, spike, after) = (window[middle - 1], window[middle], window[middle + 1]);
        let usual = (before + after) / 2.0;
        let off = (spike - usual).abs();
        let large = match sensor.settings().at.sensed() {
            Sensed::Pressure => 0.3,
            Sensed::Temperature => 2.0,
            Sensed::Dissolved => 5.0,
            Sensed::Volume | Sensed::Flow | Sensed::Contact => return false,
        };
        let alone = (before - after).abs() < off / 2.0;
        let step = self.step.unwrap_or(0.0);
        alone
            && off > large
            && off > SPIKE_SHARE * usual.abs()
            && is_spike(spike, &window, step, WIDTH) == Some(true)
    }

    /// The evidence, and the share of bad readings in the window.
    pub fn judge(&self, limit: f64) -> Option<(Evidence, f64)> {
        self.since?;
        let Part { all, bad } = self.sum;
        if bad == 0 {
            return Some((Evidence::For, 0.0));
        }
        let share = f64::from(bad) / f64::from(all.max(1));
        let evidence = if share >= limit && bad >= LEAST_BAD && self.full {
            Evidence::Against
        } else if share > limit * CLEAR_RATIO {
            Evidence::Mixed
        } else {
            Evidence::For
        };
        Some((evidence, share))
    }
}
