//! Short cycling: how often the unit starts, how little it then makes, and what that costs.
//!
//! Every start washes the salt out that crept through the membrane while the unit stood. Standing
//! for an hour or two brings as much as a night (a model's figures), so it is starts that load the
//! DI stages, not hours. A float without play or a tank without air can make twenty a day.
//!
//! What is counted fades with time (to 1/e in three days of being watched), so that the last days
//! count, whatever the wall clock says, in constant memory. Time the service was away is not watched:
//! it neither counts nor fades.
//!
//! Here, too: runs in a row without a flush.

use serde::{Deserialize, Serialize};

use super::{
    creep::Salt,
    known::{Finding, Known, Lack},
    record::RunRecord,
    run,
    unit::Unit,
    values::Values,
};
use crate::{
    config::{Point, UnitSettings},
    metrics::Metric,
    time::Mono,
};

/// What is counted falls to 1/e in this many days.
const FADING_DAYS: f64 = 3.0;
/// Days to watch before anything is said of a day.
const LEAST_DAYS: f64 = 1.0;
/// Runs to see before anything is said of a run.
const LEAST_RUNS: f64 = 2.0;
/// So many times as long a run, asked what it would save.
pub(super) const LONGER: f64 = 4.0;

/// What is kept across restarts: faded counts of the last days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CyclingState {
    /// Days watched.
    pub days: f64,
    /// Runs that ended.
    pub starts: f64,
    /// Those of them that made little.
    pub short_starts: f64,
    /// Litres of permeate they made.
    pub litres: f64,
    /// Salt of the runs whose creep is known, mg of NaCl …
    pub salt_mg: f64,
    /// … and what of it was creep.
    pub creep_mg: f64,
    /// Level at which the permeate of the last run had settled, µS/cm.
    pub usual_level: Option<f64>,
    /// Runs in a row that were long enough to be followed by a flush, and were not.
    pub runs_unflushed: u32,
}

/// Follows starts, salt and flushes.
#[derive(Clone, Debug)]
pub(super) struct Cycling {
    state: CyclingState,
    /// When `state` was true.
    at: Mono,
    pub salt: Salt,
    /// Whether anything tells of flushes now.
    flush_told: bool,
}

/// What the last days come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Pace {
    pub starts_per_day: f64,
    pub short_starts_per_day: f64,
    pub litres_per_run: f64,
    /// Share of the salt that creep brought, 0–1, where it is known.
    pub creep_share: Option<f64>,
}

/// What the alerts about runs look at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RunFacts {
    /// Whether anything tells a run.
    pub can_be_seen: bool,
    /// How long the open run has lasted; zero while none is.
    pub seconds: f64,
    /// None until enough was seen, or where litres are not known.
    pub pace: Option<Pace>,
    /// Runs in a row without a flush; none while nothing tells of flushes.
    pub unflushed: Option<u32>,
}

impl CyclingState {
    /// The same, `seconds` of watching later.
    fn later(mut self, seconds: f64) -> Self {
        let days = seconds / 86_400.0;
        let left = (-days / FADING_DAYS).exp();
        for count in [
            &mut self.days,
            &mut self.starts,
            &mut self.short_starts,
            &mut self.litres,
            &mut self.salt_mg,
            &mut self.creep_mg,
        ] {
            *count *= left;
        }
        self.days += FADING_DAYS * (1.0 - left);
        self
    }

    fn pace(&self) -> Option<Pace> {
        (self.days >= LEAST_DAYS && self.starts >= LEAST_RUNS).then(|| Pace {
            starts_per_day: self.starts / self.days,
            short_starts_per_day: self.short_starts / self.days,
            litres_per_run: self.litres / self.starts,
            creep_share: (self.salt_mg > 0.0)
                .then(|| (self.creep_mg / self.salt_mg).clamp(0.0, 1.0)),
        })
    }
}

impl Pace {
    /// Share of the salt that runs `LONGER` times as long would save, at most: as many litres with
    /// that much fewer starts, each with the same creep. Where the unit stands too briefly for the
    /// salt to even out, each start would bring a little more.
    pub fn saving(&self) -> Option<f64> {
        self.creep_share.map(|share| share * (1.0 - 1.0 / LONGER))
    }
}

impl Cycling {
    pub fn new(state: CyclingState, now: Mono) -> Self {
        Self {
            state,
            at: now,
            salt: Salt::default(),
            flush_told: false,
        }
    }

    fn now(&self, now: Mono) -> CyclingState {
        self.state.later(now.since(self.at).as_secs_f64())
    }

    /// What to keep.
    pub fn state(&self, now: Mono, usual_level: Option<f64>) -> CyclingState {
        CyclingState {
            usual_level,
            ..self.now(now)
        }
    }

    /// Takes whether a flush is seen now.
    pub fn flush(&mut self, seen: Option<bool>) {
        self.flush_told = seen.is_some();
        if seen == Some(true) {
            self.state.runs_unflushed = 0;
        }
    }

    /// Takes a run that ended. One that was cut short says nothing of a run's size.
    pub fn end_run(&mut self, now: Mono, record: &RunRecord, settings: &UnitSettings) {
        if record.interrupted {
            return;
        }
        self.state = self.now(now);
        self.at = now;
        let state = &mut self.state;
        state.starts += 1.0;
        state.litres += record.volumes.permeate.litres();
        if record.volumes.permeate < settings.alerts.short_run {
            state.short_starts += 1.0;
        }
        if let Some(creep) = &record.creep {
            state.salt_mg += creep.run_salt_mg;
            state.creep_mg += creep.salt_mg.min(creep.run_salt_mg);
        }
        if record.flushed {
            state.runs_unflushed = 0;
        } else if self.flush_told
            && record.seconds >= settings.alerts.flush_missed_run.as_secs_f64()
        {
            state.runs_unflushed = state.runs_unflushed.saturating_add(1);
        }
    }
}

impl Unit {
    pub(super) fn run_facts(&self, now: Mono) -> RunFacts {
        let litres = run::permeate_basis(&self.train, &self.settings);
        RunFacts {
            can_be_seen: run::can_be_seen(&self.train, &self.settings),
            seconds: self.runs.seconds(now).unwrap_or(0.0),
            pace: litres.and_then(|_| self.cycling.now(now).pace()),
            unflushed: self
                .cycling
                .flush_told
                .then_some(self.cycling.state.runs_unflushed),
        }
    }

    /// Fills in the salt that passed, and how often and how much the unit runs.
    pub(super) fn set_run_totals(&self, values: &mut Values, now: Mono) {
        let litres: Finding<()> = run::permeate_basis(&self.train, &self.settings)
            .map(|basis| Known { value: (), basis })
            .ok_or(Lack::NoSensor(Point::PermeateFlow));
        let probe = if self.train.has(Point::PermeateTds) {
            Ok(Known::measured(()))
        } else {
            Err(Lack::NoSensor(Point::PermeateTds))
        };
        let runs = if run::can_be_seen(&self.train, &self.settings) {
            Ok(Known::measured(()))
        } else {
            Err(Lack::NoRunSign)
        };
        let salt = super::known::both(probe, litres);
        let with = |known: Known<()>, value: Option<f64>| {
            value
                .map(|value| known.map(|()| value))
                .ok_or(Lack::TooEarly)
        };
        let pace = self.cycling.now(now).pace();
        values.set(
            Metric::PermeateSalt,
            salt.map(|known| known.map(|_| self.totals.permeate_salt_mg)),
        );
        values.set(
            Metric::CreepSalt,
            salt.map(|known| known.map(|_| self.totals.creep_salt_mg)),
        );
        values.set(
            Metric::StartsPerDay,
            runs.and_then(|known| with(known, pace.map(|pace| pace.starts_per_day))),
        );
        values.set(
            Metric::LitresPerRun,
            litres.and_then(|known| with(known, pace.map(|pace| pace.litres_per_run))),
        );
        let share = pace.and_then(|pace| pace.creep_share);
        values.set(
            Metric::CreepShare,
            salt.and_then(|known| with(known.map(|_| ()), share.map(|share| share * 100.0))),
        );
    }
}

#[cfg(test)]
mod tests;
