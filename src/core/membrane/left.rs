//! What is left of the element on its way from its baseline to where it has done its service: the limit of the
//! normalised flow, and the salt passage at which the rejection falls to its limit.
//!
//! Plants clean their elements at a tenth more salt; an element at home is not cleaned but replaced, and one that
//! went from 96.0 to 95.6 % is far from its end (reference: a maker's manual calls 80 to 90 % medium).

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
    /// The limit.
    pub limit: WayEnd,
}

/// Where a way ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::core) enum WayEnd {
    /// At this share of the baseline.
    Share(f64),
    /// Where so much salt passes that the rejection has fallen to this, from 0 to 1; the share of the baseline's
    /// salt passage that does it.
    Rejection(f64, f64),
}

impl WayEnd {
    /// As a share of the baseline.
    pub fn share(self) -> f64 {
        match self {
            Self::Share(share) | Self::Rejection(_, share) => share,
        }
    }
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
        let limit = self.limit(wear, alerts);
        let used = self.change(wear).map(|change| {
            let length = limit.share().ln();
            let gone = change.value / length;
            let margin = (BAND_95 * change.deviation / length).abs();
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
    use crate::{
        core::load::{LEAST, LIKELY, MOST},
        metrics::Metric,
        physics::diffusion,
        quantity::{Conductivity, Flow},
    };

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
        // As long as nothing told how much passes, the limits are 85 % of the flow and 110 % of the salt of
        // `salt_passage_rising`: ln 0.93 / ln 0.85 = 0.447 and
        // ln 1.02 / ln 1.10 = 0.208 of the ways are gone.
        let (flow, salt) = (ways.flow.used.unwrap().value, ways.salt.used.unwrap().value);
        assert!((flow[LIKELY] - 0.447).abs() < 0.05, "{flow:?}");
        assert!((salt[LIKELY] - 0.208).abs() < 0.10, "{salt:?}");
        assert!(flow[LEAST] < flow[LIKELY] && flow[LIKELY] < flow[MOST]);
        // As much again and a quarter more: 66 days · 0.553 / 0.447 = 82 days.
        let days = ways.flow.days.unwrap().value;
        assert!((days.likely - 82.0).abs() < 12.0, "{days:?}");
        assert!(days.low < 82.0 && days.high > 82.0, "{days:?}");
        // 4.08 % pass where at the baseline 4 % did: the rejection is at 90 % when 0.1/0.9 pass for each part held
        // back instead of 0.04/0.96, 2.67 times as much: ln 1.02 / ln 2.67 = 0.020 of the way.
        let figures = |passage: f64, of_baseline: f64| {
            [
                (Metric::SaltPassage, passage),
                (Metric::SaltPassageOfBaseline, of_baseline),
            ]
            .map(|(metric, value)| (metric.description().name.to_owned(), Known::measured(value)))
        };
        state.hold(
            &figures(4.08, 100.0 * (0.0408 / 0.9592) / (0.04 / 0.96)),
            None,
        );
        let WayEnd::Rejection(rejection, times) = state.limit(Wear::Salt, &alerts) else {
            panic!("{:?}", state.limit(Wear::Salt, &alerts));
        };
        assert_eq!(rejection, 0.9);
        assert!((times - 2.667).abs() < 0.001, "{times}");
        // The same by solution-diffusion (`physics::diffusion`, which tests/reference holds to closed forms).
        let flow = Flow::from_l_per_min(0.2);
        let [feed, passed] = [400.0, 16.0].map(Conductivity::from_us_per_cm);
        let at_baseline = diffusion::salt_permeability(flow, feed, passed).unwrap();
        let at_end = diffusion::permeate(flow, feed, at_baseline * times).unwrap();
        assert!((at_end.us_per_cm() - 40.0).abs() < 0.01, "{at_end:?}");
        let salt = state.ways(&alerts).salt.used.unwrap().value;
        assert!((salt[LIKELY] - 0.02).abs() < 0.01, "{salt:?}");
        // A run without a probe changes nothing; one at low pressure, where twice as much passes, a little.
        state.hold(&[], None);
        state.hold(&figures(8.0, 100.0), None);
        let lower = state.limit(Wear::Salt, &alerts).share();
        assert!((2.4..2.667).contains(&lower), "{lower}");
        // Where hardly more was held back from the beginning, its change is what counts.
        let mut poor = MembraneState::default();
        poor.hold(&figures(9.5, 100.0), None);
        assert_eq!(poor.limit(Wear::Salt, &alerts), WayEnd::Share(1.1));
        let never = ways.or_never(Some(Lack::NoRunSign), None);
        assert_eq!(never.flow.days, Err(Lack::NoRunSign));
        assert!(never.salt.used.is_ok());
    }
}
