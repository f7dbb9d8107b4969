//! The simulated container: a float switch with play, and people who draw from it.

use serde::{Deserialize, Serialize};

use crate::quantity::Volume;

/// An open container with a float switch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Container {
    /// Contents now.
    pub contents: Volume,
    /// At this volume the float stops the unit …
    pub full: Volume,
    /// … and below this one it calls for water again.
    pub refill: Volume,
}

/// Water drawn again and again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Draw {
    /// How often, s.
    pub every_seconds: f64,
    /// When in that period, s after its begin; begin and length stay within the period.
    pub at_seconds: f64,
    /// How long it takes, s (> 0).
    pub for_seconds: f64,
    /// How much each time.
    pub volume: Volume,
}

impl Draw {
    /// Litres asked for between two moments, exactly, however they are cut.
    pub(super) fn litres_between(&self, from: f64, to: f64) -> f64 {
        self.litres_until(to) - self.litres_until(from)
    }

    fn litres_until(&self, seconds: f64) -> f64 {
        let periods = (seconds / self.every_seconds).floor();
        let within = seconds - periods * self.every_seconds - self.at_seconds;
        let part = (within / self.for_seconds).clamp(0.0, 1.0);
        self.volume.litres() * (periods + part)
    }
}

impl Container {
    /// Whether the float calls for water, given whether the unit runs now.
    pub(super) fn calls(&self, running: bool) -> bool {
        if running {
            self.contents < self.full
        } else {
            self.contents < self.refill
        }
    }

    /// Fills and draws; returns the litres that could be drawn.
    pub(super) fn change(&mut self, filled: f64, asked: f64) -> f64 {
        let before = self.contents.litres() + filled;
        let drawn = asked.min(before);
        self.contents = Volume::from_litres(before - drawn);
        drawn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_float_has_play() {
        let mut container = Container {
            contents: Volume::from_litres(50.0),
            full: Volume::from_litres(60.0),
            refill: Volume::from_litres(55.0),
        };
        assert!(container.calls(false));
        container.change(7.0, 0.0);
        assert!(container.calls(true) && !container.calls(false));
        container.change(3.0, 0.0);
        assert!(!container.calls(true));
        assert_eq!(container.change(0.0, 1000.0), 60.0, "no more than there is");
        assert_eq!(container.contents, Volume::ZERO);
    }

    #[test]
    fn draws_add_up_however_time_is_cut() {
        let draw = Draw {
            every_seconds: 3600.0,
            at_seconds: 600.0,
            for_seconds: 300.0,
            volume: Volume::from_litres(4.0),
        };
        assert_eq!(draw.litres_between(0.0, 600.0), 0.0);
        assert!((draw.litres_between(600.0, 675.0) - 1.0).abs() < 1e-12);
        let cut: f64 = (0..1234)
            .map(|n| draw.litres_between(f64::from(n) * 7.0, f64::from(n + 1) * 7.0))
            .sum();
        assert!((cut - draw.litres_between(0.0, 8638.0)).abs() < 1e-9);
        assert!((cut - 12.0).abs() < 1e-9, "three draws in 8638 s: {cut}");
    }
}
