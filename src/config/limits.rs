//! Limits of what is watched besides the water's quality: sensors that lie, and the hydraulics.
//! Like all settings they cannot be wrong in themselves; `config::resolve` found every mistake.

use std::time::Duration;

use super::alerting::Limit;
use crate::quantity::{Concentration, Flow, Pressure, Temperature, Volume};

/// A range with hysteresis and holding times: raised outside `low` to `high`, taken back inside
/// `clear_low` to `clear_high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band<Q> {
    /// Below this the alert is raised.
    pub low: Q,
    /// Above this the alert is raised.
    pub high: Q,
    /// At least this clears it.
    pub clear_low: Q,
    /// At most this clears it.
    pub clear_high: Q,
    /// How long the value must stand outside, counted while it can be judged.
    pub hold: Duration,
    /// How long it must stand well inside before the alert is taken back.
    pub clear_hold: Duration,
}

/// When sensors are doubted. A switched-off alert (`None`) neither tells nor withdraws anything.
#[derive(Clone, Debug, PartialEq)]
pub struct DoubtLimits {
    /// Readings that cannot be, or that contradict the other sensors.
    pub sensor_implausible: Option<ImplausibleLimits>,
    /// A gauge that shows the same to the last digit for this much time of making water.
    pub sensor_stuck: Option<Duration>,
    /// Feed against permeate and concentrate where all three are metered.
    pub balance_open: Option<BalanceLimits>,
}

/// When a sensor's readings are implausible.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImplausibleLimits {
    /// This share of the readings (0–1) refused, or spikes …
    pub share: f64,
    /// … within this time.
    pub window: Duration,
    /// What a TDS probe may be off, 0–1: only more than two such errors is a contradiction.
    pub probe_error: f64,
    /// How long two probes must contradict each other.
    pub hold: Duration,
    /// How long they must agree before the alert is taken back.
    pub clear_hold: Duration,
}

/// When the water balance is open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BalanceLimits {
    /// Error of the balance as a share of the feed above this, 0–1.
    pub raise: f64,
    /// Below this the balance is closed again, 0–1.
    pub clear: f64,
    /// Judged each time this much has passed.
    pub volume: Volume,
}

/// Limits of the hydraulics; `None` switches an alert off.
#[derive(Clone, Debug, PartialEq)]
pub struct HydraulicLimits {
    /// Flow to the drain (or into the unit) in standby above this.
    pub shutoff_leaking: Option<Limit<Flow>>,
    /// Recovery outside this, 0–1.
    pub recovery_out_of_range: Option<Band<f64>>,
    /// Pressure lost in the pre-filters above what they lost when clean …
    pub prefilter_clogging: Option<Limit<Pressure>>,
    /// … and above this multiple of it.
    pub prefilter_factor: f64,
    /// What a booster pump adds to the line pressure below this.
    pub pump_not_lifting: Option<Limit<Pressure>>,
    /// Feed temperature outside this.
    pub feed_temperature_out_of_range: Option<Band<Temperature>>,
    /// Whether a closed leak contact is told.
    pub leak: bool,
}

/// Limits of what no sensor tells: tests by hand, rinses, the water's analysis. `None` switches an alert
/// off.
#[derive(Clone, Debug, PartialEq)]
pub struct CareLimits {
    /// A test for total chlorine behind carbon is due after this time.
    pub test_due: Option<Duration>,
    /// Whether a positive test behind the last carbon is told …
    pub chlorine_breakthrough: bool,
    /// … with total chlorine of this or more.
    pub positive: Concentration,
    /// Whether a new filling's rinse is asked for.
    pub rinse_due: bool,
    /// Saturation index of the concentrate above this.
    pub scaling_risk: Option<Limit<f64>>,
}
