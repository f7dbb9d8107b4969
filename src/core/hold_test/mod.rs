//! The pressure hold test: the keeper closes inlet and outlets, the gauge is watched for some minutes.
//! For commissioning and after service. permeated closes no valve, and a test that was passed is no
//! guarantee against leaks.

mod judge;

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{
    Keep,
    journal::Deed,
    known::{Basis, Lack},
    output::EventKind,
    train::Train,
    unit::Unit,
    water::Flows,
};
use crate::{
    config::{Point, UnitSettings},
    quantity::{Pressure, Temperature},
    time::{Mono, Now, Wall},
};
pub use judge::{Figures, Outcome};
use judge::{LONGEST_GAP, Verdict};

/// What to heed; said at the start of a test and in its document.
pub const CAUTIONS: [&str; 4] = [
    "Stay within the ratings of housings, tubing and fittings: they can burst, and shut-in water that \
     grows warmer may rise above the line pressure.",
    "Relieve the pressure before you open anything.",
    "permeated closes no valve, and a test that was passed is no guarantee against leaks.",
    "Local codes and licensed trades come first.",
];

/// A test that goes on, as it is kept: a restart ends it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OpenHoldTest {
    /// When it was started, if the clock was set.
    pub started: Option<Wall>,
    /// Minutes to watch the pressure for, after it has settled.
    pub minutes: f64,
    /// The point of the gauge.
    pub gauge: String,
    /// What the keeper added in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A test that ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldResult {
    /// As it was started.
    pub test: OpenHoldTest,
    /// When it ended, if the clock was set.
    pub ended: Option<Wall>,
    /// What it came to.
    pub outcome: Outcome,
    /// Why, in words.
    pub why: String,
    /// What was seen.
    pub figures: Figures,
}

/// What is kept across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct HoldTestState {
    /// The test that goes on.
    pub open: Option<OpenHoldTest>,
    /// The last one that ended.
    pub last: Option<HoldResult>,
}

/// What a keeper asks for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HoldTestRequest {
    /// How long, if not as configured.
    pub time: Option<Duration>,
    /// Words for the maintenance log.
    pub note: Option<String>,
}

/// What the test does now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HoldTestPhase {
    /// Nothing.
    Idle,
    /// Waits for water hammer and the first creep of the tubing to be over.
    Settling,
    /// Watches the gauge.
    Running,
}

impl HoldTestPhase {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Settling => "settling",
            Self::Running => "running",
        }
    }
}

/// Water hammer is over in seconds, the quick part of the tubing's creep in a minute or so (common
/// practice, no source).
const SETTLING: Duration = Duration::from_secs(60);
/// Readings kept of a test: every pair of them is looked at in the end.
const MOST_READINGS: f64 = 120.0;

/// The watched part of a test.
#[derive(Clone, Debug)]
struct Watched {
    gauge: Point,
    began: Mono,
    time: Duration,
    /// Seconds since the pressure had settled, bar.
    readings: Vec<(f64, f64)>,
    /// The same, °C.
    temperatures: Vec<(f64, f64)>,
    /// When the gauge spoke for the last reading that was taken.
    heard: Option<Mono>,
}

impl Watched {
    fn settled_at(&self) -> Mono {
        self.began.after(SETTLING)
    }

    fn ends_at(&self) -> Mono {
        self.settled_at().after(self.time)
    }

    /// Takes what the gauge says if it is something new.
    fn take(&mut self, now: Mono, train: &Train, settings: &UnitSettings) {
        let second = now.since(self.settled_at()).as_secs_f64();
        let apart = self.time.as_secs_f64() / MOST_READINGS;
        let is_early = self
            .readings
            .last()
            .is_some_and(|(last, _)| second - last < apart);
        let heard = heard_at(train, self.gauge);
        // One that spoke before the pressure had settled tells of that time.
        if is_early || heard <= self.heard || heard < Some(self.settled_at()) {
            return;
        }
        let Ok(pressure) = train.pressure(self.gauge, now) else {
            return;
        };
        self.heard = heard;
        self.readings.push((second, pressure.value.bar()));
        if let Ok(known) = train.temperature(settings, now)
            && known.basis == Basis::Measured
        {
            let celsius = Temperature::celsius(known.value);
            self.temperatures.push((second, celsius));
        }
    }
}

/// When a sensor at the point last spoke.
fn heard_at(train: &Train, point: Point) -> Option<Mono> {
    let (main, spare) = train.at(point);
    let sensors = [main, spare].into_iter().flatten();
    let sensors = sensors.filter_map(|index| train.sensors().get(index));
    sensors.filter_map(|sensor| sensor.heard_at()).max()
}

/// The gauge to watch: at the membrane, else at the inlet.
#[must_use]
pub fn gauge(settings: &UnitSettings) -> Option<Point> {
    let sits = |point: &Point| settings.sensors.iter().any(|sensor| sensor.at == *point);
    [Point::FeedPressure, Point::SupplyPressure]
        .into_iter()
        .find(sits)
}

#[derive(Clone, Debug, Default)]
pub(super) struct HoldTest {
    pub state: HoldTestState,
    watched: Option<Watched>,
}

impl HoldTest {
    pub fn new(state: HoldTestState) -> Self {
        Self {
            state,
            watched: None,
        }
    }

    /// When something is due without a reading.
    pub fn deadlines(&self) -> [Option<Mono>; 2] {
        let watched = self.watched.as_ref();
        [
            watched.map(Watched::settled_at),
            watched.map(Watched::ends_at),
        ]
    }
}

impl Unit {
    /// The last test, and the one that goes on.
    #[must_use]
    pub fn hold_test(&self) -> &HoldTestState {
        &self.hold_test.state
    }

    /// What the hold test does now.
    #[must_use]
    pub fn hold_test_phase(&self, now: Mono) -> HoldTestPhase {
        match &self.hold_test.watched {
            None => HoldTestPhase::Idle,
            Some(watched) if now < watched.settled_at() => HoldTestPhase::Settling,
            Some(_) => HoldTestPhase::Running,
        }
    }

    pub(super) fn start_hold_test(&mut self, now: Now, request: HoldTestRequest) {
        const COMMAND: &str = "hold_test/start";
        match self.may_test(now.mono) {
            Err(why) => self.refuse(now, COMMAND, why),
            Ok((gauge, pressure)) => {
                let time = request.time.unwrap_or(self.settings.hold_test.time);
                let minutes = time.as_secs_f64() / 60.0;
                self.hold_test.watched = Some(Watched {
                    gauge,
                    began: now.mono,
                    time,
                    readings: Vec::new(),
                    temperatures: Vec::new(),
                    heard: None,
                });
                self.hold_test.state.open = Some(OpenHoldTest {
                    started: now.date(),
                    minutes,
                    gauge: gauge.key().to_owned(),
                    note: request.note,
                });
                let text = format!(
                    "{} stands at {:.2} bar and is watched for {minutes:.0} min, after a minute of \
                     settling. Keep inlet and outlets closed. {}",
                    gauge.key(),
                    pressure.bar(),
                    CAUTIONS.join(" ")
                );
                self.answer(now, COMMAND, &text);
            }
        }
    }

    /// The gauge and what it shows, or why no test can be made.
    fn may_test(&self, now: Mono) -> Result<(Point, Pressure), String> {
        if self.hold_test.state.open.is_some() {
            return Err("a test goes on already; hold_test/stop ends it".to_owned());
        }
        let gauge = gauge(&self.settings).ok_or(
            "there is no gauge to watch: it needs a feed_pressure or supply_pressure sensor",
        )?;
        if self.is_wet() {
            return Err(
                "the unit makes water or flushes, as far as its sensors tell; close inlet and \
                 outlets first"
                    .to_owned(),
            );
        }
        let pressure = self.train.pressure(gauge, now);
        let pressure = pressure
            .map_err(|lack| format!("the gauge tells nothing now: {lack}"))?
            .value;
        let least = self.settings.hold_test.least_pressure;
        if pressure < least {
            return Err(format!(
                "{} shows {:.2} bar, and below {:.2} bar there is nothing to test; let the line \
                 pressure in before the inlet is closed",
                gauge.key(),
                pressure.bar(),
                least.bar()
            ));
        }
        Ok((gauge, pressure))
    }

    fn is_wet(&self) -> bool {
        self.runs.state.makes_water() || self.runs.flushing == Some(true)
    }

    pub(super) fn stop_hold_test(&mut self, now: Now) {
        const COMMAND: &str = "hold_test/stop";
        if self.hold_test.state.open.is_none() {
            self.refuse(now, COMMAND, "no test goes on".to_owned());
            return;
        }
        self.break_off(now, "it was stopped by the keeper");
        self.answer(now, COMMAND, "The test was stopped.");
    }

    /// Ends a test that the service did not see to its end.
    pub(super) fn end_lost_hold_test(&mut self, now: Now) {
        if self.hold_test.state.open.is_some() {
            self.break_off(now, "the service was restarted");
        }
    }

    /// Watches the gauge while a test goes on.
    pub(super) fn watch_hold_test(&mut self, now: Now, flows: &Flows) {
        let Some(watched) = &mut self.hold_test.watched else {
            return;
        };
        if now.mono < watched.settled_at() {
            return;
        }
        watched.take(now.mono, &self.train, &self.settings);
        let second = now.mono.since(watched.settled_at()).as_secs_f64();
        let last = watched.readings.last().map_or(0.0, |reading| reading.0);
        let is_silent = second - last > LONGEST_GAP * watched.time.as_secs_f64();
        let first = watched.readings.first().map(|reading| reading.1);
        let least = self.settings.hold_test.least_pressure.bar();
        let gauge = watched.gauge;
        let is_over = now.mono >= watched.ends_at();
        let start_flow = self.settings.run.start_flow;
        let is_flowing = [flows.feed, flows.permeate, flows.concentrate]
            .iter()
            .any(|flow| flow.is_ok_and(|known| known.value > start_flow));
        if is_flowing || self.is_wet() {
            self.break_off(now, "water flowed during the test");
        } else if let Some(first) = first.filter(|first| *first < least) {
            let why = format!(
                "the pressure had fallen to {first:.2} bar before it settled: something is open, or \
                 leaks much"
            );
            self.break_off(now, &why);
        } else if is_silent {
            let lack = self.train.pressure(gauge, now.mono).err();
            let lack = lack.map(|lack: Lack| format!(" ({lack})"));
            let why = format!("the gauge fell silent{}", lack.unwrap_or_default());
            self.break_off(now, &why);
        } else if is_over {
            self.judge_hold_test(now);
        }
    }

    fn judge_hold_test(&mut self, now: Now) {
        if let Some(watched) = self.hold_test.watched.take() {
            let verdict = judge::judge(
                &watched.readings,
                &watched.temperatures,
                watched.time.as_secs_f64(),
                &self.settings.hold_test,
            );
            self.end_hold_test(now, verdict);
        }
    }

    fn break_off(&mut self, now: Now, why: &str) {
        self.hold_test.watched = None;
        let verdict = Verdict {
            outcome: Outcome::Inconclusive,
            why: why.to_owned(),
            figures: Figures::default(),
        };
        self.end_hold_test(now, verdict);
    }

    fn end_hold_test(&mut self, now: Now, verdict: Verdict) {
        let Some(test) = self.hold_test.state.open.take() else {
            return;
        };
        let word = match verdict.outcome {
            Outcome::Held => "The pressure held",
            Outcome::Dropped => "The pressure dropped",
            Outcome::Inconclusive => "The pressure hold test is inconclusive",
        };
        let text = format!("{word}: {}. {}", verdict.why, CAUTIONS[2]);
        let deed = Deed::HoldTest {
            outcome: verdict.outcome,
            why: verdict.why.clone(),
            minutes: test.minutes,
            start_bar: verdict.figures.start_bar,
            end_bar: verdict.figures.end_bar,
        };
        let note = test.note.clone();
        self.log(now, None, deed, note);
        self.hold_test.state.last = Some(HoldResult {
            test,
            ended: now.date(),
            outcome: verdict.outcome,
            why: verdict.why,
            figures: verdict.figures,
        });
        self.event(now, EventKind::HoldTestEnded, None, text);
        self.keep = Keep::Now;
    }
}
