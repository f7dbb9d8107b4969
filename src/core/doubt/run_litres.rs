//! What each meter counted in a run, apart from the books: no meter's litres are put right by
//! another's here, because the meters are what is judged.

use std::time::Duration;

use crate::{
    config::Point,
    core::{known::Lack, meter, run::RunState, sensor::Sensor, train::Train},
    quantity::{Flow, Volume},
    time::Mono,
};

pub(super) const METERS: [Point; 3] =
    [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow];
/// A meter tells of the end of a run with its next message; twice the usual 300 s at most.
const LONGEST_WAIT: Duration = Duration::from_secs(600);
/// Beyond this share of a run below its range, a meter's count says nothing.
const MOST_BELOW: f64 = 0.2;

/// A run as its meters counted it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RunCount {
    /// By feed, permeate and concentrate; none where a meter is missing, was away, below its range
    /// or odd meanwhile.
    pub litres: [Option<f64>; 3],
    pub seconds: f64,
    /// How much the storage's level rose, where it is measured.
    pub rise: Option<Volume>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Counted {
    litres: f64,
    readings: u64,
    odd: u64,
    /// What the last message told, when it came, and how long after the one before.
    last: f64,
    at: Option<Mono>,
    interval: Duration,
}

#[derive(Clone, Copy, Debug)]
struct Open {
    began: Mono,
    looked: Mono,
    ended: Option<Mono>,
    litres: [f64; 3],
    sound: [bool; 3],
    below: [Duration; 3],
    owes: [bool; 3],
    level: Option<Volume>,
    rise: Option<Volume>,
    last_rise: Option<Volume>,
}

/// Follows the meters of a unit.
#[derive(Clone, Debug, Default)]
pub(super) struct RunLitres {
    counted: [Counted; 3],
    open: Option<Open>,
    level: Option<Volume>,
}

impl RunLitres {
    /// Looks at the meters; a run that all of them have told of, if this completes one.
    pub fn look(
        &mut self,
        now: Mono,
        train: &Train,
        state: RunState,
        started: bool,
        ended: bool,
    ) -> Option<RunCount> {
        // What was not told before the next run began is not known.
        let mut done = None;
        if started {
            done = self.open.take().map(Open::close);
            self.open = Some(self.begin(now));
        }
        let level = level(train, now);
        for (slot, point) in METERS.into_iter().enumerate() {
            let sensor = train.at(point).0.map(|index| &train.sensors()[index]);
            self.take(now, slot, sensor);
        }
        if let Some(open) = &mut self.open {
            open.follow_level(level, state);
            if ended {
                open.ended = Some(now);
                open.rise = open.last_rise;
                open.owes = METERS.map(|point| train.has(point));
            }
            open.looked = now;
            let waited = open.ended.is_some_and(|at| now.since(at) > LONGEST_WAIT);
            if open.ended.is_some() && (open.owes == [false; 3] || waited) {
                done = done.or_else(|| self.open.take().map(Open::close));
            }
        }
        if self.open.is_none() || level.is_some() {
            self.level = level;
        }
        done
    }

    /// A run begins: what a meter told shortly before the one that showed it is of this run.
    fn begin(&self, now: Mono) -> Open {
        let told = |counted: &Counted| {
            let is_of_run = counted
                .at
                .is_some_and(|at| now.since(at) < counted.interval);
            if is_of_run { counted.last } else { 0.0 }
        };
        Open {
            began: now,
            looked: now,
            ended: None,
            litres: [0, 1, 2].map(|slot: usize| told(&self.counted[slot])),
            sound: [true; 3],
            below: [Duration::ZERO; 3],
            owes: [false; 3],
            level: self.level,
            rise: None,
            last_rise: None,
        }
    }

    fn take(&mut self, now: Mono, slot: usize, sensor: Option<&Sensor>) {
        let counted = &mut self.counted[slot];
        let heard = sensor.and_then(Sensor::litres_heard).map(Volume::litres);
        let (Some(sensor), Some(heard)) = (sensor, heard) else {
            return;
        };
        let sent = sensor.sent();
        let mut open = self.open.as_mut();
        if let Some(open) = open.as_mut().filter(|open| open.ended.is_none())
            && matches!(sensor.metered(now), Err(Lack::BelowRange(_)))
        {
            open.below[slot] += now.since(open.looked);
        }
        if sent.readings != counted.readings {
            // The first message after a start tells of the time before it.
            let first = counted.readings == 0;
            let told = if first { 0.0 } else { heard - counted.litres };
            counted.interval = counted.at.map_or(Duration::ZERO, |at| {
                now.since(at).min(sensor.settings().max_age)
            });
            (counted.litres, counted.readings) = (heard, sent.readings);
            (counted.last, counted.at) = (told, Some(now));
            if let Some(open) = open {
                open.litres[slot] += told;
                open.owes[slot] = false;
                open.sound[slot] &= sent.odd == counted.odd;
            }
            counted.odd = sent.odd;
        } else if let Some(open) = open {
            let heard = sensor.metered(now);
            open.sound[slot] &= matches!(heard, Ok(_) | Err(Lack::BelowRange(_) | Lack::TooEarly));
        }
    }
}

impl Open {
    /// The level at the beginning may only be heard a little later; the last one while water was
    /// made counts.
    fn follow_level(&mut self, level: Option<Volume>, state: RunState) {
        let Some(level) = level else {
            return;
        };
        let first = *self.level.get_or_insert(level);
        if state.makes_water() {
            self.last_rise = Some(level - first);
        }
    }

    fn close(self) -> RunCount {
        let end = self.ended.unwrap_or(self.looked);
        let seconds = end.since(self.began).as_secs_f64();
        let mut litres = [None; 3];
        for (slot, counted) in litres.iter_mut().enumerate() {
            let seen = self.below[slot].as_secs_f64() <= MOST_BELOW * seconds;
            let told = self.ended.is_some() && !self.owes[slot];
            if self.sound[slot] && seen && told {
                *counted = Some(self.litres[slot]);
            }
        }
        RunCount {
            litres,
            seconds,
            rise: self.rise,
        }
    }
}

/// What the storage holds, whether the sensor is believed or not.
fn level(train: &Train, now: Mono) -> Option<Volume> {
    let index = train.at(Point::StorageLevel).0?;
    let shown = train.sensors()[index].shown(now).ok()?;
    Some(<Volume as crate::quantity::Quantity>::from_base(shown))
}

/// The mean flow of a run, and whether a meter sees so little only poorly: within half as much again
/// of its minimum.
pub(super) fn is_near_minimum(train: &Train, slot: usize, mean: Flow) -> bool {
    let minimum = train
        .at(METERS[slot])
        .0
        .map(|index| meter::minimum(train.sensors()[index].settings()));
    minimum.is_some_and(|minimum| minimum > Flow::ZERO && mean < minimum * 1.5)
}
