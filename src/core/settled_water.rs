//! What the water was like in the last settled run that told: what changes slowly, and is asked for
//! between runs, too.

use serde::{Deserialize, Serialize};

use super::known::Known;
use crate::metrics::Metric;

/// Figures of the last settled runs, in the metrics' units. Each is of the last run that told it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SettledWater {
    /// L/min.
    pub feed_flow: Option<Known<f64>>,
    /// bar.
    pub feed_pressure: Option<Known<f64>>,
    /// °C.
    pub temperature: Option<Known<f64>>,
    /// µS/cm at 25 °C.
    pub conductivity: Option<Known<f64>>,
    /// %.
    pub recovery: Option<Known<f64>>,
    /// %.
    pub salt_passage: Option<Known<f64>>,
    /// Of the pre-filters between two gauges, bar at 1 L/min.
    pub prefilter_drop: Option<Known<f64>>,
}

impl SettledWater {
    /// What these figures tell, and nothing else.
    pub(super) fn of(figures: &[(String, Known<f64>)]) -> Self {
        let of = |metric: Metric| {
            let name = metric.description().name;
            let found = figures.iter().find(|(own, _)| own == name);
            found
                .map(|(_, known)| *known)
                .filter(|known| known.value.is_finite())
        };
        Self {
            feed_flow: of(Metric::FeedFlow),
            feed_pressure: of(Metric::FeedPressure),
            temperature: of(Metric::FeedTemperature),
            conductivity: of(Metric::FeedConductivity),
            recovery: of(Metric::Recovery),
            salt_passage: of(Metric::SaltPassage),
            prefilter_drop: of(Metric::PrefilterDrop),
        }
    }

    /// The same, and of what these do not tell what was known before.
    pub(super) fn or(self, before: Self) -> Self {
        Self {
            feed_flow: self.feed_flow.or(before.feed_flow),
            feed_pressure: self.feed_pressure.or(before.feed_pressure),
            temperature: self.temperature.or(before.temperature),
            conductivity: self.conductivity.or(before.conductivity),
            recovery: self.recovery.or(before.recovery),
            salt_passage: self.salt_passage.or(before.salt_passage),
            prefilter_drop: self.prefilter_drop.or(before.prefilter_drop),
        }
    }
}
