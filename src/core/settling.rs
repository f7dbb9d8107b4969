//! Settling: when the salt that crept through the membrane while the unit stood is washed out.
//!
//! The first permeate washes the small volume behind the membrane; the excess over what the
//! membrane makes falls about exponentially, by a factor e for every such volume (0.05 to 0.15 L of
//! a home element, a model's figures). So the permeate's own signal tells best:
//!
//! - The beginning of a run is cut into stretches of a fifth of `settle_volume` (of `settle_time`
//!   where litres are not known), each of three readings or more. A stretch's level is the mean of
//!   the middle half of its readings: a spike does not move it, and noise dithers the steps of a
//!   probe that shows whole mg/L.
//! - The run has settled when a stretch's level differs from that of the stretch before it by no
//!   more than 4 % or half a step of such a probe (1 µS/cm). A fall by d from one stretch to the
//!   next leaves an excess of d·r²·x/(1 − r)² behind, with x the stretch in volumes behind the
//!   membrane and r = exp(−x): 0.05·d to 1.2·d for x from 2 down to 0.5. A steady high level is
//!   settled, too: that is the membrane, not creep. A rise is as little a level as a fall: the
//!   water in the tube to the probe passes first, and it may have been clean.
//! - Never before 0.6 of `settle_volume` (0.3 L: three volumes behind the membrane), and at three
//!   times `settle_volume` at the latest.
//! - A probe that gave fewer than two stretches by `settle_volume` tells too little, and one that is
//!   not read tells nothing: then the volume decides, or the time where litres are not known.

use serde::{Deserialize, Serialize};

use crate::{physics::statistics::interquartile_mean, time::Mono};

/// A stretch, the least and the most, all in parts of `settle_volume` or `settle_time`.
const STRETCH: f64 = 0.2;
const LEAST: f64 = 0.6;
pub(super) const MOST: f64 = 3.0;
/// What sums of litres miss by rounding.
const SLACK: f64 = 1e-9;
/// Readings a stretch needs, and the most that are kept of one: when full, every second is dropped.
const FEWEST: usize = 3;
const KEPT: usize = 16;
/// Change between two stretches that is none: a share of the level, or µS/cm.
const SHARE: f64 = 0.04;
const HALF_STEP: f64 = 1.0;

/// What told that a run had settled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SettledBy {
    /// The permeate's conductivity no longer changed.
    Signal,
    /// The configured volume had passed.
    Volume,
    /// The configured time had passed.
    Time,
    /// The permeate still changed when three times the configured volume or time had passed.
    Limit,
}

impl SettledBy {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Signal => "signal",
            Self::Volume => "volume",
            Self::Time => "time",
            Self::Limit => "limit",
        }
    }
}

/// How far a run has come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Progress {
    /// In parts of `settle_volume` where `by_volume`, else of `settle_time`.
    pub share: f64,
    pub by_volume: bool,
}

impl Progress {
    fn reached(self) -> Option<SettledBy> {
        let by = if self.by_volume {
            SettledBy::Volume
        } else {
            SettledBy::Time
        };
        (self.share >= 1.0).then_some(by)
    }
}

/// What the permeate probe shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Probed {
    /// µS/cm at 25 °C.
    pub us_cm: f64,
    /// When it was heard.
    pub heard_at: Mono,
    /// Of how many readings it is the median.
    pub smoothing: usize,
}

/// Follows the permeate of a run that has not settled yet.
#[derive(Clone, Debug)]
pub(super) struct Settling {
    heard_at: Mono,
    by_volume: bool,
    /// Where the present stretch began.
    begun: f64,
    readings: Vec<f64>,
    stretches: u32,
    /// Level of the last whole stretch, µS/cm.
    level: Option<f64>,
    peak: Option<f64>,
}

impl Settling {
    /// What was heard before the run says nothing of it.
    pub fn new(started: Mono) -> Self {
        Self {
            heard_at: Mono(started.0.saturating_sub(1)),
            by_volume: true,
            begun: 0.0,
            readings: Vec::with_capacity(KEPT),
            stretches: 0,
            level: None,
            peak: None,
        }
    }

    /// Level of the last whole stretch, µS/cm.
    pub fn level(&self) -> Option<f64> {
        self.level
    }

    /// The highest that was shown, µS/cm.
    pub fn peak(&self) -> Option<f64> {
        self.peak
    }

    /// Looks at the permeate; says once by what the run has settled.
    pub fn look(&mut self, progress: Progress, probed: Option<Probed>) -> Option<SettledBy> {
        if progress.by_volume != self.by_volume {
            // Litres came to be known, or no longer are: the stretches begin anew.
            self.by_volume = progress.by_volume;
            self.begun = progress.share;
            self.readings.clear();
            self.stretches = 0;
        }
        let Some(probed) = probed else {
            return progress.reached();
        };
        if self.take(progress.share, probed) && progress.share >= LEAST - SLACK {
            return Some(SettledBy::Signal);
        }
        if self.stretches < 2 {
            return progress.reached();
        }
        (progress.share >= MOST - SLACK).then_some(SettledBy::Limit)
    }

    /// Takes a reading if it is a new one. Returns whether a stretch ended with it whose level is
    /// that of the one before.
    fn take(&mut self, share: f64, probed: Probed) -> bool {
        if probed.heard_at <= self.heard_at {
            return false;
        }
        self.heard_at = probed.heard_at;
        self.peak = Some(self.peak.unwrap_or(probed.us_cm).max(probed.us_cm));
        if self.readings.len() >= KEPT {
            let mut keep = false;
            self.readings.retain(|_| {
                keep = !keep;
                keep
            });
        }
        self.readings.push(probed.us_cm);
        if share - self.begun < STRETCH - SLACK || self.readings.len() < FEWEST {
            return false;
        }
        let level = interquartile_mean(&mut self.readings);
        let before = std::mem::replace(&mut self.level, level).filter(|_| self.stretches > 0);
        self.begun = share;
        self.readings.clear();
        self.stretches += 1;
        before
            .zip(level)
            .is_some_and(|(before, level)| (before - level).abs() <= (SHARE * level).max(HALF_STEP))
    }
}

#[cfg(test)]
mod tests;
