//! The membrane's figures as people see them: live while water is made and its quality counts,
//! held from the last run in between; and the element's own baseline.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{
    known::{Finding, Known, Lack},
    run::RunRecord,
    values::Values,
};
use crate::{
    metrics::{Group, Metric},
    quantity::Flow,
    time::{Now, Wall},
};

/// Figures of a run are no news after this many days.
const HELD_DAYS: u64 = 7;

/// What is kept of the membrane across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct MembraneState {
    /// Normalised flow of the first settled runs, L/min.
    pub first_runs: Vec<Flow>,
    /// The baseline: their median.
    pub baseline: Option<Flow>,
    /// When it was set.
    pub baseline_set: Option<Wall>,
    /// The last figures, by metric name.
    pub held: BTreeMap<String, Known<f64>>,
    /// When they were taken.
    pub held_at: Option<Wall>,
}

impl MembraneState {
    /// Takes the figures of a run that ended. Returns the baseline if this run completed it.
    pub(super) fn end_run(&mut self, record: &RunRecord, baseline_runs: usize) -> Option<Flow> {
        let steady: BTreeMap<&str, Known<f64>> = record
            .steady
            .iter()
            .map(|(name, known)| (name.as_str(), *known))
            .collect();
        if steady.is_empty() {
            return None;
        }
        self.held = membrane_metrics()
            .filter_map(|metric| {
                let name = metric.description().name;
                Some((name.to_owned(), *steady.get(name)?))
            })
            .collect();
        self.held_at = record.ended;
        let normalized = steady.get(Metric::NormalizedFlow.description().name)?;
        if self.baseline.is_some() || record.interrupted {
            return None;
        }
        self.first_runs.push(Flow::from_l_per_min(normalized.value));
        if self.first_runs.len() < baseline_runs {
            return None;
        }
        let mut flows: Vec<f64> = self
            .first_runs
            .iter()
            .map(|flow| flow.l_per_min())
            .collect();
        let baseline = crate::physics::statistics::median(&mut flows).map(Flow::from_l_per_min)?;
        self.baseline = Some(baseline);
        self.baseline_set = record.ended;
        self.first_runs.clear();
        Some(baseline)
    }

    /// Forgets the baseline; the next settled runs make a new one.
    pub(super) fn rebaseline(&mut self) {
        self.first_runs.clear();
        self.baseline = None;
        self.baseline_set = None;
    }

    /// A figure of the last run, while it is young enough.
    pub(super) fn held(&self, metric: Metric, now: Now) -> Finding<f64> {
        let taken = self.held_at.ok_or(Lack::NotProducing)?;
        let date = now.date().ok_or(Lack::NoDate)?;
        // Put back a clock, and the figures are no older for it.
        let age = date.since(taken).unwrap_or_default();
        if age.as_secs() > HELD_DAYS * 86_400 {
            return Err(Lack::NotProducing);
        }
        self.held
            .get(metric.description().name)
            .copied()
            .ok_or(Lack::NotProducing)
    }

    /// Fills in the figures of the last run.
    pub(super) fn fill_held(&self, values: &mut Values, now: Now) {
        for metric in membrane_metrics() {
            values.set(metric, self.held(metric, now));
        }
    }
}

fn membrane_metrics() -> impl Iterator<Item = Metric> {
    Metric::ALL
        .iter()
        .copied()
        .filter(|metric| metric.group() == Group::Membrane)
}
