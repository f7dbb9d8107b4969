//! The value of every metric at one moment, or why there is none.

use super::known::{Finding, Known, Lack, sized};
use crate::{metrics::Metric, quantity::Quantity};

/// One finding for each metric, in the metric's published unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Values {
    findings: [Finding<f64>; Metric::ALL.len()],
}

impl Default for Values {
    fn default() -> Self {
        Self {
            findings: [Err(Lack::TooEarly); Metric::ALL.len()],
        }
    }
}

impl Values {
    /// What is known of a metric.
    pub fn of(&self, metric: Metric) -> Finding<f64> {
        self.findings
            .get(metric as usize)
            .copied()
            .unwrap_or(Err(Lack::TooEarly))
    }

    pub(super) fn set(&mut self, metric: Metric, finding: Finding<f64>) {
        if let Some(slot) = self.findings.get_mut(metric as usize) {
            *slot = sized(finding);
        }
    }

    /// Sets a quantity whose base unit is the published one.
    pub(super) fn set_quantity<Q: Quantity>(&mut self, metric: Metric, finding: Finding<Q>) {
        self.set(metric, finding.map(|known| known.map(Quantity::base)));
    }

    /// Sets a share (0–1) published as per cent.
    pub(super) fn set_share(&mut self, metric: Metric, finding: Finding<f64>) {
        self.set(
            metric,
            finding.map(|known: Known<f64>| known.map(|share| share * 100.0)),
        );
    }
}
