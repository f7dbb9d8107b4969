//! Asks the core what a configuration can give: a unit of it makes water for some virtual minutes,
//! with every sensor speaking, and what comes out is the answer.

use std::{sync::Arc, time::Duration};

use super::usual::Usual;
use crate::{
    config::{Limit, UnitSettings},
    core::{
        Arrival, Basis, CyclingState, Lack, MembraneState, StageFindings, Unit, UnitState, Values,
        alert::Code, alert::Phase,
    },
    metrics::{Group, Metric, StageMetric},
    quantity::Volume,
    time::{Mono, Now, Wall},
};

const STEP: Duration = Duration::from_secs(10);
const STEPS: u32 = 18;
/// How soon quality counts is no question here, only whether it ever does.
const SETTLE_LITRES: f64 = 0.01;
const SETTLE_TIME: Duration = Duration::from_secs(60);
/// 2026-01-01, for units of which no stage has a date.
const DAY: Wall = Wall(1_767_225_600_000);
const DAY_MS: i64 = 86_400_000;

/// What the core says of a unit that makes water.
pub(super) struct Answer {
    pub(super) unit: Unit,
    pub(super) values: Values,
    pub(super) stages: Vec<StageFindings>,
}

/// Lets a unit of these settings make water.
pub(super) fn ask(settings: &UnitSettings) -> Answer {
    let settings = Arc::new(hurried(settings));
    let start = Now {
        mono: Mono(0),
        wall: after_installation(&settings),
    };
    let mut unit = Unit::new(Arc::clone(&settings), in_service(&settings), start);
    let usual = Usual::of(&settings);
    let mut now = start;
    for step in 0..STEPS {
        let age = STEP * step;
        now = at(start, age);
        for (index, sensor) in settings.sensors.iter().enumerate() {
            let observation = usual.observation(sensor, age, STEP);
            unit.observe(now, index, observation, Arrival::Live, None);
        }
        while unit.drain().is_some() {}
    }
    Answer {
        values: unit.values(now),
        stages: unit.stage_findings(now),
        unit,
    }
}

impl Answer {
    /// Whether the core saw the unit make water.
    pub(super) fn runs(&self) -> bool {
        self.unit.run_state().makes_water()
    }

    /// How many of the alerts of a code the core could judge, and of how many.
    pub(super) fn judged(&self, code: Code) -> (usize, usize) {
        let of_code = || self.unit.alerts().iter().filter(|alert| alert.code == code);
        // This one is judged in standby, and here the unit makes water.
        let meters = [Metric::FeedVolume, Metric::ConcentrateVolume];
        let measured = |metric: &Metric| {
            let found = self.values.of(*metric);
            found.is_ok_and(|known| known.basis == Basis::Measured)
        };
        let in_standby = code == Code::ShutoffLeaking && meters.iter().any(measured);
        let by_hand = code == Code::ChlorineBreakthrough
            || code == Code::ScalingRisk
                && self.values.of(Metric::ScalingIndex) == Err(Lack::TooEarly);
        let judged = of_code().filter(|alert| {
            in_standby
                || by_hand
                || alert.life.phase() != Phase::Unknown && self.can_be_taught(code)
        });
        (judged.count(), of_code().count())
    }

    /// Whether this configuration could ever have taught what the alert judges: the unit that is
    /// asked comes with an element that has learned.
    fn can_be_taught(&self, code: Code) -> bool {
        match code {
            Code::NormalizedFlowFalling => self.values.of(Metric::FlowTrend).is_ok(),
            Code::SaltPassageRising => self.values.of(Metric::SaltTrend).is_ok(),
            _ => true,
        }
    }

    /// Everything that was found, by name, with its basis. What only keeps the books or follows from them is left out,
    /// and so is the alert that every sensor brings for itself.
    pub(super) fn found(&self) -> Vec<(String, Basis)> {
        const BOOKS: [Metric; 3] = [
            Metric::UnsplitVolume,
            Metric::UnmatchedVolume,
            Metric::UnmeasuredTime,
        ];
        let metrics = Metric::ALL
            .iter()
            .filter(|metric| !BOOKS.contains(metric) && metric.group() != Group::Costs)
            .filter_map(|metric| {
                let known = self.values.of(*metric).ok()?;
                Some((metric.description().name.to_owned(), known.basis))
            });
        let stages = self.unit.stages().iter().zip(&self.stages);
        let stages = stages.flat_map(|(stage, found)| {
            [StageMetric::Left, StageMetric::LeftVolume]
                .into_iter()
                .filter_map(|metric| {
                    let name = metric.description().name;
                    let known = found.of(metric).ok()?;
                    Some((format!("{name} of {}", stage.settings().id), known.basis))
                })
        });
        let alerts = self.unit.alerts().iter().filter(|alert| {
            let of_every_sensor = matches!(
                alert.code,
                Code::SensorImplausible | Code::SensorSilent | Code::SensorStuck
            );
            !of_every_sensor
                && alert.life.phase() != Phase::Unknown
                && self.can_be_taught(alert.code)
        });
        let alerts = alerts.map(|alert| (format!("the alert {}", alert.key()), Basis::Measured));
        metrics.chain(stages).chain(alerts).collect()
    }
}

fn at(start: Now, age: Duration) -> Now {
    let ms = i64::try_from(age.as_millis()).unwrap_or(i64::MAX);
    Now {
        mono: start.mono.after(age),
        wall: Wall(start.wall.0.saturating_add(ms)),
    }
}

/// The same settings, but nothing has to hold, and little to settle, before it counts.
fn hurried(settings: &UnitSettings) -> UnitSettings {
    let mut unit = settings.clone();
    let run = &mut unit.run;
    run.settle_volume = run.settle_volume.min(Volume::from_litres(SETTLE_LITRES));
    run.settle_time = run.settle_time.min(SETTLE_TIME);
    for sensor in &mut unit.sensors {
        sensor.max_age = sensor.max_age.max(STEP);
    }
    let alerts = &mut unit.alerts;
    at_once(&mut alerts.product_tds_high);
    at_once(&mut alerts.permeate_tds_high);
    at_once(&mut alerts.rejection_low);
    at_once(&mut alerts.normalized_flow_low);
    at_once(&mut alerts.feed_pressure_low);
    at_once(&mut alerts.feed_pressure_high);
    at_once(&mut alerts.stage_low);
    at_once(&mut alerts.short_cycling);
    unit
}

fn at_once<Q>(limit: &mut Option<Limit<Q>>) {
    if let Some(limit) = limit {
        limit.hold = Duration::ZERO;
        limit.clear_hold = Duration::ZERO;
    }
}

/// An element that has made its first runs.
fn in_service(settings: &UnitSettings) -> UnitState {
    let membrane = MembraneState::in_service(settings.baseline_runs());
    // It has run for some days, so that what is told of a day and a run can be told.
    let cycling = CyclingState {
        days: 2.0,
        starts: 4.0,
        litres: 40.0,
        salt_mg: 100.0,
        creep_mg: 10.0,
        ..CyclingState::default()
    };
    UnitState {
        membrane,
        cycling,
        ..UnitState::default()
    }
}

/// The day after the last stage was installed.
fn after_installation(settings: &UnitSettings) -> Wall {
    let installed = settings.stages.iter().filter_map(|stage| stage.installed);
    let last = installed.filter_map(Wall::from_date).max();
    last.map_or(DAY, |day| Wall(day.0 + DAY_MS))
}
