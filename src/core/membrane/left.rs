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

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::super::{Lesson, When};
    use super::*;
    use crate::core::load::{LEAST, LIKELY, MOST};

    fn alerts() -> AlertSettings {
        let text = "[broker]\nurl = \"mqtt://localhost\"\n[[unit.k.sensor]]\nat = \"feed_tds\"\ntopic = \"a\"\nunit = \"mg/L\"\n";
        let settings =
            crate::config::from_text("k.toml", text, &std::collections::BTreeMap::new(), None);
        settings.unwrap().units[0].alerts.clone()
    }

    #[test]
    fn the_way_from_the_baseline_to_the_limit_is_shared_out() {
        let mut state = MembraneState::default();
        let alerts = alerts();
        assert_eq!(state.ways(&alerts).flow.used, Err(Lack::TooEarly));
        // A slow decline to 0.93 of the flow and a rise to 1.02 of the salt, over 70 days.
        for run in 0..=70_i32 {
            let part = f64::from((run - 4).max(0)) / 66.0;
            let lesson = Lesson {
                x: 0.0,
                water: -3.0 + part * 0.93_f64.ln(),
                salt: Some(-5.0 + part * 1.02_f64.ln()),
                channel: None,
                basis: Basis::Measured,
            };
            let when = When {
                ended: None,
                since_last: Some(Duration::from_secs(86_400)),
            };
            state.learn(lesson, when, 5);
        }
        let ways = state.ways(&alerts);
        // The limits are 85 % of the flow and 110 % of the salt: ln 0.93 / ln 0.85 = 0.447 and
        // ln 1.02 / ln 1.10 = 0.208 of the ways are gone.
        let (flow, salt) = (ways.flow.used.unwrap().value, ways.salt.used.unwrap().value);
        assert!((flow[LIKELY] - 0.447).abs() < 0.05, "{flow:?}");
        assert!((salt[LIKELY] - 0.208).abs() < 0.10, "{salt:?}");
        assert!(flow[LEAST] < flow[LIKELY] && flow[LIKELY] < flow[MOST]);
        // As much again and a quarter more: 66 days · 0.553 / 0.447 = 82 days.
        let days = ways.flow.days.unwrap().value;
        assert!((days.likely - 82.0).abs() < 12.0, "{days:?}");
        assert!(days.low < 82.0 && days.high > 82.0, "{days:?}");
        let never = ways.or_never(Some(Lack::NoRunSign), None);
        assert_eq!(never.flow.days, Err(Lack::NoRunSign));
        assert!(never.salt.used.is_ok());
    }
}
