//! Sensors that lie: what speaks against each sensor, judged from readings as they are heard,
//! whether they are believed or not, so that a doubt can clear again.
//!
//! Everything here is bounded in memory, counts live readings only, measures time by the monotonic
//! clock and takes part in no equation. An alert decides with its holding times; while it is
//! active, the sensor's values are withdrawn ([`crate::core::Lack::Doubted`]).

mod balance;
mod readings;
mod run_litres;
mod salts;
mod storage;
mod stuck;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub(super) use balance::Contradiction;
use balance::{Balance, BalanceState};
use readings::Readings;
use run_litres::RunLitres;
pub(super) use salts::{Comparison, Salts};
use storage::StorageCheck;
use stuck::{Habit, Stillness};

use super::{
    run::{RunChanges, RunState},
    sensor::Sensor,
    train::Train,
    water::Flows,
};
use crate::{
    config::{Measure, Point, Sensed, Storage, UnitSettings},
    time::Mono,
};

/// Why a sensor's values are withdrawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doubt {
    /// It contradicts other probes.
    Contradicted,
    /// Too many of its readings cannot be, or are spikes.
    Refused,
    /// It shows the same to the last digit while everything else moves.
    Stuck,
    /// It counts less water than passed.
    UnderReads,
}

/// What is kept across restarts: habits, and evidence that takes several runs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct DoubtState {
    habits: BTreeMap<String, Habit>,
    balance: BalanceState,
    /// Runs in which the storage rose by more than the permeate meter counted.
    risen: u8,
}

/// Follows what speaks against the sensors of one unit.
#[derive(Clone, Debug)]
pub(super) struct Doubts {
    readings: Vec<Readings>,
    stillness: Stillness,
    salts: Salts,
    run_litres: RunLitres,
    balance: Balance,
    storage: StorageCheck,
}

/// What speaks for or against a sensor now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Evidence {
    /// It is as it should be.
    For,
    /// Neither.
    Mixed,
    /// It lies.
    Against,
}

impl Doubts {
    pub fn new(settings: &UnitSettings, kept: &DoubtState) -> Self {
        let habit = |id: &str| kept.habits.get(id).copied().unwrap_or_default();
        let habits = settings.sensors.iter().map(|sensor| habit(&sensor.id));
        Self {
            readings: vec![Readings::default(); settings.sensors.len()],
            stillness: Stillness::new(habits.collect()),
            salts: Salts::default(),
            run_litres: RunLitres::default(),
            balance: Balance::new(kept.balance),
            storage: StorageCheck::new(kept.risen),
        }
    }

    /// What to keep. Habits only of sensors that have one.
    pub fn state(&self, settings: &UnitSettings) -> DoubtState {
        let habits = settings.sensors.iter().zip(self.stillness.habits());
        DoubtState {
            habits: habits
                .filter(|(sensor, _)| can_be_stuck(settings, sensor.at, &sensor.measure))
                .map(|(sensor, habit)| (sensor.id.clone(), *habit))
                .collect(),
            balance: self.balance.state(),
            risen: self.storage.risen(),
        }
    }

    /// Looks at every sensor once.
    pub fn look(
        &mut self,
        now: Mono,
        train: &Train,
        settings: &UnitSettings,
        flows: &Flows,
        state: RunState,
        changes: &RunChanges,
    ) {
        if let Some(limits) = &settings.alerts.doubts.sensor_implausible {
            for (readings, sensor) in self.readings.iter_mut().zip(train.sensors()) {
                readings.look(now, sensor, limits.window, state);
            }
            self.salts = Salts::find(now, train, settings, flows, state, limits.probe_error);
        }
        let started = changes.started;
        self.stillness.look(now, train, state, started);
        let ended = changes.stopped;
        if let Some(run) = self.run_litres.look(now, train, state, started, ended) {
            if let Some(limits) = &settings.alerts.doubts.balance_open {
                self.balance.take(&run, train, limits);
            }
            self.storage.take(&run);
        }
    }

    /// What speaks for or against a sensor by its own readings: the share refused or spiking, 0–1.
    pub fn refused(&self, index: usize, settings: &UnitSettings) -> Option<(Evidence, f64)> {
        let limits = settings.alerts.doubts.sensor_implausible.as_ref()?;
        self.readings.get(index)?.judge(limits.share)
    }

    /// What the salts at several probes say.
    pub fn salts(&self) -> &Salts {
        &self.salts
    }

    /// Whether the storage rose by more than the permeate meter counted, in several runs.
    pub fn risen(&self, sensor: &Sensor, train: &Train) -> Option<Evidence> {
        let is_meter = sensor.settings().at == Point::PermeateFlow && !sensor.settings().spare;
        if is_meter && train.has(Point::StorageLevel) {
            Some(self.storage.judge())
        } else {
            None
        }
    }

    /// Litres the storage rose by, and litres the permeate meter counted, in the last such run.
    pub fn last_rise(&self) -> Option<(f64, f64)> {
        self.storage.last()
    }

    /// Whether a gauge shows the same to the last digit for too long.
    pub fn stuck(
        &self,
        now: Mono,
        index: usize,
        train: &Train,
        settings: &UnitSettings,
    ) -> Option<Evidence> {
        let limit = settings.alerts.doubts.sensor_stuck?;
        self.stillness.judge(now, index, train, limit)
    }

    /// How long a gauge has shown the same while water was made.
    pub fn still_for(&self, index: usize) -> std::time::Duration {
        self.stillness.still_for(index)
    }

    /// Whether the three metered flows add up.
    pub fn balance(&self, train: &Train, now: Mono) -> Option<(Evidence, Option<Contradiction>)> {
        self.balance.judge(train, now)
    }
}

/// Whether a sensor can be implausible: contacts say only yes or no.
pub(super) fn can_be_implausible(point: Point) -> bool {
    point.sensed() != Sensed::Contact
}

/// Whether a sensor can be stuck. Counts stand whenever nothing flows; a coarse level stays at the
/// mark of the float valve for weeks; an open outlet has no back-pressure for ever.
pub(super) fn can_be_stuck(settings: &UnitSettings, point: Point, measure: &Measure) -> bool {
    match (point, measure) {
        (Point::StorageLevel, _) => false,
        (Point::PermeatePressure, _) => matches!(settings.storage, Storage::Pressurised(_)),
        (_, Measure::Gauge { .. } | Measure::Rate { .. }) => true,
        (_, Measure::Pulses { .. } | Measure::Increments { .. } | Measure::Contact { .. }) => false,
    }
}
