//! How the pressure hold test is made. `resolve::hold_test` found every mistake.

use std::time::Duration;

use super::defaults;
use crate::quantity::Pressure;

/// The test of a closed unit by its pressure gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldTestSettings {
    /// How long the pressure is watched, after it has settled.
    pub time: Duration,
    /// The pressure may fall by this share of what it was, 0–1 …
    pub allowed_share: f64,
    /// … or by this much, whichever is more.
    pub allowed_drop: Pressure,
    /// Below this there is nothing to test.
    pub least_pressure: Pressure,
}

impl Default for HoldTestSettings {
    fn default() -> Self {
        Self {
            time: defaults::HOLD_TEST_TIME,
            allowed_share: defaults::HOLD_TEST_SHARE,
            allowed_drop: Pressure::from_bar(defaults::HOLD_TEST_DROP_BAR),
            least_pressure: Pressure::from_bar(defaults::HOLD_TEST_LEAST_BAR),
        }
    }
}
