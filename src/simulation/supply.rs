//! The simulated mains: pressure, temperature and salt as smooth functions of time.

use serde::{Deserialize, Serialize};

use std::f64::consts::TAU;

use super::random::wander;
use crate::quantity::{Pressure, Temperature};

const DAY: f64 = 86_400.0;
const YEAR: f64 = 365.25 * DAY;

/// The water that comes in. Each figure is mean + season + day + wander; the season is warmest and
/// the day's draw on the pressure strongest half-way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Supply {
    /// Mean pressure.
    pub pressure: Pressure,
    /// Half the daily swing of the pressure.
    pub pressure_daily: Pressure,
    /// Largest random wander of the pressure.
    pub pressure_wander: Pressure,
    /// Mean temperature.
    pub temperature: Temperature,
    /// Half the yearly swing of the temperature, °C.
    pub temperature_seasonal: f64,
    /// Largest random wander of the temperature, °C.
    pub temperature_wander: f64,
    /// Mean salt, mg/L of NaCl.
    pub salt_mg_per_l: f64,
    /// Half the yearly swing of the salt, as a share.
    pub salt_seasonal: f64,
    /// Largest random wander of the salt, as a share.
    pub salt_wander: f64,
    /// Day of the year on which the simulation begins (0 = first of January).
    pub first_day: f64,
}

impl Supply {
    /// A supply that never changes.
    #[must_use]
    pub fn steady(pressure: Pressure, temperature: Temperature, salt_mg_per_l: f64) -> Self {
        Self {
            pressure,
            pressure_daily: Pressure::ZERO,
            pressure_wander: Pressure::ZERO,
            temperature,
            temperature_seasonal: 0.0,
            temperature_wander: 0.0,
            salt_mg_per_l,
            salt_seasonal: 0.0,
            salt_wander: 0.0,
            first_day: 0.0,
        }
    }

    /// Gauge pressure in bar `seconds` after the start.
    pub(super) fn bar(&self, seed: u64, seconds: f64) -> f64 {
        let day = (TAU * seconds / DAY).cos();
        (self.pressure.bar()
            + self.pressure_daily.bar() * day
            + self.pressure_wander.bar() * wander(seed ^ 1, seconds, 900.0))
        .max(0.0)
    }

    /// Temperature in °C.
    pub(super) fn celsius(&self, seed: u64, seconds: f64) -> f64 {
        (self.temperature.celsius() - self.temperature_seasonal * self.season(seconds)
            + self.temperature_wander * wander(seed ^ 2, seconds, 0.7 * DAY))
        .max(0.5)
    }

    /// Salt in mg/L of NaCl: highest in the cold of the year.
    pub(super) fn mg_per_l(&self, seed: u64, seconds: f64) -> f64 {
        let share = self.salt_seasonal * self.season(seconds)
            + self.salt_wander * wander(seed ^ 3, seconds, 0.4 * DAY);
        (self.salt_mg_per_l * (1.0 + share)).max(0.0)
    }

    /// 1 in the depth of winter (late January in the north), −1 half a year later.
    fn season(&self, seconds: f64) -> f64 {
        (TAU * (self.first_day * DAY + seconds - 25.0 * DAY) / YEAR).cos()
    }
}
