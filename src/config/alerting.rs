//! Limits of the alerts. Like all settings they cannot be wrong in themselves; `config::resolve` found
//! every mistake.

use std::time::Duration;

use super::limits::{CareLimits, DoubtLimits, HydraulicLimits};
use crate::quantity::{Conductivity, Pressure, Volume};

/// A limit with hysteresis and holding times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit<Q> {
    /// Beyond this value the alert is raised …
    pub raise: Q,
    /// … and it clears on the other side of this one.
    pub clear: Q,
    /// How long the value must stand beyond `raise`, counted while it can be judged.
    pub hold: Duration,
    /// How long it must stand beyond `clear` before the alert is taken back.
    pub clear_hold: Duration,
}

/// The limits of every alert; `None` switches it off.
#[derive(Clone, Debug, PartialEq)]
pub struct AlertSettings {
    /// Conductivity of the product above this.
    pub product_tds_high: Option<Limit<Conductivity>>,
    /// Conductivity after the membrane above this.
    pub permeate_tds_high: Option<Limit<Conductivity>>,
    /// Rejection below this, 0–1.
    pub rejection_low: Option<Limit<f64>>,
    /// Normalised flow as a share of the baseline below this, 0–1 …
    pub normalized_flow_low: Option<Limit<f64>>,
    /// … and, until there is a baseline, as a share of the rating, 0–1.
    pub normalized_flow_low_of_rating: f64,
    /// The trend of the normalised flow as a share of the baseline surely below this, 0–1; a step
    /// down raises it, too.
    pub normalized_flow_falling: Option<Limit<f64>>,
    /// The trend of the salt passage as a multiple of the baseline's surely above this, above 1; a
    /// step up raises it, too.
    pub salt_passage_rising: Option<Limit<f64>>,
    /// Feed pressure while the unit runs below this.
    pub feed_pressure_low: Option<Limit<Pressure>>,
    /// Feed pressure at any time above this.
    pub feed_pressure_high: Option<Limit<Pressure>>,
    /// Share of a stage left below this, 0–1.
    pub stage_low: Option<Limit<f64>>,
    /// Days a stage has left below this also raise `stage_low`.
    pub stage_low_days: f64,
    /// Whether a spent stage is told.
    pub stage_exhausted: bool,
    /// How long a stage may be spent before it is told again, more urgently; `None` switches the
    /// alert off.
    pub stage_overdue: Option<Duration>,
    /// Whether it is told that a stage's resin begins to let salt through.
    pub stage_leaking: bool,
    /// How long beyond its `max_age` a sensor may be silent; `None` switches the alert off.
    pub sensor_silent: Option<Duration>,
    /// Short runs a day above this …
    pub short_cycling: Option<Limit<f64>>,
    /// … where a run is short that makes less than this.
    pub short_run: Volume,
    /// A run that lasts as long as this or longer; `None` switches the alert off.
    pub run_too_long: Option<Duration>,
    /// Runs in a row without a flush; `None` switches the alert off …
    pub flush_missed: Option<u32>,
    /// … of those that lasted at least this long.
    pub flush_missed_run: Duration,
    /// When sensors are doubted.
    pub doubts: DoubtLimits,
    /// Limits of the hydraulics.
    pub hydraulics: HydraulicLimits,
    /// What tests by hand and the water's analysis tell.
    pub care: CareLimits,
}
