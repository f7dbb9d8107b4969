//! What is left of the element on its way from its baseline to the configured limits.

use super::{MembraneState, wear::Wear};
use crate::{
    config::AlertSettings,
    core::{
        known::{Basis, Finding, Known, Lack},
        load::Ends,
        usage::Span,
    },
    physics::normal::BAND_95,
};

/// How far the element is on its way to one limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::core) struct Way {
    /// The share of the way that is gone: least, likely, most.
    pub used: Finding<Ends>,
    /// Days until the limit is reached, from the last run that taught.
    pub days: Finding<Span>,
    /// The limit, as a share of the baseline.
    pub limit: f64,
}

/// The ways to both limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::core) struct Ways {
    pub flow: Way,
    pub salt: Way,
}

impl Ways {
    /// The same, where nothing can ever be taught: `flow` and `salt` say why.
    pub fn or_never(mut self, flow: Option<Lack>, salt: Option<Lack>) -> Self {
        for (way, lack) in [(&mut self.flow, flow), (&mut self.salt, salt)] {
            if let Some(lack) = lack {
                (way.used, way.days) = (Err(lack), Err(lack));
            }
        }
        self
    }
}

impl MembraneState {
    /// What is left of the element. The way is that of the logarithms, as wear takes its share of what
    /// there is.
    pub(in crate::core) fn ways(&self, alerts: &AlertSettings) -> Ways {
        Ways {
            flow: self.way(Wear::Flow, alerts),
            salt: self.way(Wear::Salt, alerts),
        }
    }

    fn way(&self, wear: Wear, alerts: &AlertSettings) -> Way {
        let basis = self.basis.unwrap_or(Basis::Measured);
        let limit = Self::limit(wear, alerts);
        let used = self.change(wear).map(|change| {
            let gone = change.value / limit.ln();
            let margin = (BAND_95 * change.deviation / limit.ln()).abs();
            [gone - margin, gone, gone + margin].map(|share| share.max(0.0))
        });
        let days = self.forecast(wear, alerts).map(|forecast| {
            let seen = |days: Option<f64>| days.unwrap_or(f64::INFINITY);
            Span {
                low: seen(forecast.earliest),
                likely: seen(forecast.likely),
                high: seen(forecast.latest),
            }
        });
        Way {
            used: used
                .map(|value| Known { value, basis })
                .ok_or(Lack::TooEarly),
            days: days
                .map(|value| Known { value, basis })
                .ok_or(Lack::TooEarly),
            limit,
        }
    }
}
