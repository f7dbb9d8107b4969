//! Control charts over the surprises of the runs: a cumulative sum and a moving average tell a
//! lasting shift from scatter; a shift is believed when it is also large enough to matter.
//!
//! The surprises are in standard deviations. With a slack of half of one and [`DECISION`], a unit
//! with nothing wrong is suspected by each chart about once in 100 000 runs, by the two together
//! once in 50 000 (Siegmund's approximation for the sum; for both by simulation, see the tests). A
//! suspicion alone is not told: a shift of 1 % may be certain and matters to nobody.

use serde::{Deserialize, Serialize};

use crate::physics::statistics::{Cusum, Drift, Ewma};

/// Half the shift worth finding, in standard deviations.
const SLACK: f64 = 0.5;
/// Runs between two suspicions where nothing is wrong.
#[cfg(test)]
const RUN_LENGTH: f64 = 100_000.0;
/// The sum that raises a suspicion: for [`SLACK`] and [`RUN_LENGTH`] by Siegmund's approximation.
pub(super) const DECISION: f64 = 10.35;
/// Weight of a run in the moving average, and its limits.
const WEIGHT: f64 = 0.1;
const WIDTH: f64 = 4.7;
/// One run says no more than this: a step is told by several.
const MOST: f64 = 4.0;
/// Runs in which a suspicion must prove itself.
const PROOF: u32 = 8;
/// Runs after which it may be believed.
const LEAST_PROOF: u32 = 2;

/// A shift that was believed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// ln of the share of the baseline before it.
    pub before: f64,
    /// ln of the share of the baseline when it was believed.
    pub after: f64,
}

/// What is kept of the charts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Charts {
    high: f64,
    low: f64,
    average: f64,
    youth: f64,
    /// ln of the share of the baseline when both sums were last at rest.
    calm: f64,
    /// Which way a shift is suspected, and for how many runs.
    suspected: Option<(bool, u32)>,
    /// The shift that was believed and lasts.
    pub shift: Option<Shift>,
}

impl Default for Charts {
    fn default() -> Self {
        Self {
            high: 0.0,
            low: 0.0,
            average: 0.0,
            youth: 1.0,
            calm: 0.0,
            suspected: None,
            shift: None,
        }
    }
}

/// What the charts ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Call {
    Nothing,
    /// A shift is suspected: let the level follow.
    Loosen,
    /// A shift for the worse is believed.
    Believed,
}

/// Which way is worse, and how much of a shift matters (natural logarithm, above zero).
#[derive(Clone, Copy, Debug)]
pub(super) struct Worse {
    pub is_up: bool,
    pub matters: f64,
}

impl Charts {
    /// Takes in a run: its surprise, and the level's change from the baseline after it.
    pub fn push(&mut self, worse: Worse, surprise: f64, change: f64) -> Call {
        if let Some(shift) = self.shift
            && worse.size(change - shift.before) < worse.matters * 0.5
        {
            self.shift = None;
        }
        if let Some((up, runs)) = self.suspected {
            return self.prove(worse, up, runs + 1, change);
        }
        let at_rest = self.high == 0.0 && self.low == 0.0;
        if at_rest {
            self.calm = change;
        }
        let Some(drift) = self.chart(surprise.clamp(-MOST, MOST)) else {
            return Call::Nothing;
        };
        self.rest();
        self.suspected = Some((drift == Drift::Up, 0));
        Call::Loosen
    }

    fn prove(&mut self, worse: Worse, up: bool, runs: u32, change: f64) -> Call {
        let shifted = worse.size(change - self.calm);
        if up == worse.is_up && runs >= LEAST_PROOF && shifted >= worse.matters {
            self.suspected = None;
            // A second step on top of the first is measured from before both.
            let before = self.shift.map_or(self.calm, |shift| shift.before);
            self.shift = Some(Shift {
                before,
                after: change,
            });
            self.calm = change;
            return Call::Believed;
        }
        self.suspected = (runs < PROOF).then_some((up, runs));
        Call::Nothing
    }

    fn chart(&mut self, surprise: f64) -> Option<Drift> {
        let mut sum = Cusum::new(0.0, SLACK, DECISION)?.resumed(self.high, self.low)?;
        sum.push(surprise);
        (self.high, self.low) = (sum.high(), sum.low());
        let mut average = Ewma::new(0.0, 1.0, WEIGHT, WIDTH)?.resumed(self.average, self.youth)?;
        average.push(surprise);
        (self.average, self.youth) = (average.value(), average.youth());
        let by_average = average.is_out().then_some(if self.average > 0.0 {
            Drift::Up
        } else {
            Drift::Down
        });
        sum.drift().or(by_average)
    }

    fn rest(&mut self) {
        (self.high, self.low, self.average, self.youth) = (0.0, 0.0, 0.0, 1.0);
    }
}

impl Worse {
    fn size(self, change: f64) -> f64 {
        if self.is_up { change } else { -change }
    }
}

/// The smallest lasting shift that the sum finds within `runs` runs, for runs that scatter by
/// `noise` (natural logarithm).
pub(super) fn smallest_shift(noise: f64, runs: f64) -> f64 {
    noise * (SLACK + DECISION / runs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::statistics::decision_for;

    /// Even numbers by a linear congruence (Knuth's MMIX constants), made normal by Box and Muller.
    struct Normal(u64);

    impl Normal {
        fn even(&mut self) -> f64 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        }

        fn next(&mut self) -> f64 {
            let radius = (-2.0 * self.even().ln()).sqrt();
            radius * (std::f64::consts::TAU * self.even()).cos()
        }
    }

    const FLOW: Worse = Worse {
        is_up: false,
        matters: 0.05,
    };

    #[test]
    fn the_decision_is_the_one_for_the_stated_run_length() {
        // Either side may raise a suspicion, so each is given half.
        let decision = decision_for(SLACK, 2.0 * RUN_LENGTH).unwrap();
        assert!((decision - DECISION).abs() < 0.005, "{decision}");
    }

    #[test]
    fn nothing_wrong_is_suspected_as_rarely_as_stated() {
        // Three times the stated length: 3 suspicions are expected of each chart; twice as many as of
        // both would be more than chance.
        let (mut charts, mut normal) = (Charts::default(), Normal(7));
        let mut suspicions = 0;
        for _ in 0..300_000 {
            if charts.push(FLOW, normal.next(), 0.0) == Call::Loosen {
                suspicions += 1;
            }
            assert_eq!(charts.shift, None);
        }
        assert!(suspicions <= 12, "{suspicions}");
    }

    #[test]
    fn a_step_is_believed_within_a_few_runs_and_taken_back_when_it_is_mended() {
        let mut charts = Charts::default();
        // One odd run says nothing, two of them raise a suspicion.
        assert_eq!(charts.push(FLOW, -8.0, -0.004), Call::Nothing);
        assert_eq!(charts.push(FLOW, -8.0, -0.008), Call::Loosen);
        // The level, let go, follows.
        assert_eq!(charts.push(FLOW, -3.0, -0.10), Call::Nothing);
        assert_eq!(charts.push(FLOW, 0.0, -0.11), Call::Believed);
        let shift = charts.shift.unwrap();
        assert_eq!((shift.before, shift.after), (-0.004, -0.11));
        charts.push(FLOW, 0.0, -0.09);
        assert!(charts.shift.is_some());
        charts.push(FLOW, 0.0, -0.02);
        assert_eq!(charts.shift, None);
    }

    #[test]
    fn a_shift_that_matters_to_nobody_is_not_told_nor_one_for_the_better() {
        let mut charts = Charts::default();
        for _ in 0..200 {
            assert_ne!(charts.push(FLOW, -3.0, -0.02), Call::Believed);
            assert_ne!(charts.push(FLOW, 3.0, 0.2), Call::Believed);
        }
        let mut charts = Charts::default();
        for _ in 0..200 {
            assert_ne!(charts.push(FLOW, 3.0, 0.2), Call::Believed);
        }
        assert_eq!(charts.shift, None);
    }
}
