//! The steady part of a run: a bounded number of evenly spaced samples of each metric, and their
//! medians. A long run is thinned, not cut.

use super::{
    known::{Basis, Known},
    values::Values,
};
use crate::{
    metrics::{Group, Metric},
    time::Mono,
};

/// Samples kept for each metric; when full, every second one is dropped and the spacing doubles.
const MOST: usize = 128;
/// First spacing, milliseconds.
const SPACING_MS: u64 = 10_000;

/// Samples of a run's steady part.
#[derive(Clone, Debug)]
pub(super) struct Steady {
    spacing_ms: u64,
    next: Mono,
    samples: Vec<Vec<Option<Known<f64>>>>,
}

impl Default for Steady {
    fn default() -> Self {
        Self {
            spacing_ms: SPACING_MS,
            next: Mono(0),
            samples: Vec::new(),
        }
    }
}

/// The metrics of which a run keeps medians: what flows, and what the membrane does.
pub(super) fn kept() -> impl Iterator<Item = Metric> {
    Metric::ALL
        .iter()
        .copied()
        .filter(|metric| metric.group() != Group::Totals)
}

impl Steady {
    /// Takes a sample if one is due.
    pub fn sample(&mut self, now: Mono, values: &Values) {
        if now < self.next {
            return;
        }
        self.next = Mono(now.0.saturating_add(self.spacing_ms));
        if self.samples.len() >= MOST {
            let mut keep = false;
            self.samples.retain(|_| {
                keep = !keep;
                keep
            });
            self.spacing_ms = self.spacing_ms.saturating_mul(2);
        }
        self.samples
            .push(kept().map(|metric| values.of(metric).ok()).collect());
    }

    /// Whether a sample is due.
    pub fn is_due(&self, now: Mono) -> bool {
        now >= self.next
    }

    /// The median of each metric of which at least half of the samples had a value.
    pub fn medians(&self) -> Vec<(String, Known<f64>)> {
        let mut medians = Vec::new();
        for (index, metric) in kept().enumerate() {
            let known: Vec<Known<f64>> = self
                .samples
                .iter()
                .filter_map(|sample| sample.get(index).copied().flatten())
                .collect();
            if known.is_empty() || known.len() * 2 < self.samples.len() {
                continue;
            }
            let mut numbers: Vec<f64> = known.iter().map(|known| known.value).collect();
            let basis = known
                .iter()
                .map(|known| known.basis)
                .max()
                .unwrap_or(Basis::Assumed);
            if let Some(value) = crate::physics::statistics::median(&mut numbers) {
                medians.push((metric.description().name.to_owned(), Known { value, basis }));
            }
        }
        medians
    }
}
