//! How long a cumulative sum runs: Siegmund's approximation against published tables and against
//! sums that were run.

use permeated::physics::statistics::{Cusum, average_run_length, decision_for};

use crate::{near, near_share};

/// The rates of both sides add.
fn two_sided(slack: f64, decision: f64, shift: f64) -> f64 {
    let rate = |shift| average_run_length(slack, decision, shift).unwrap().recip();
    (rate(shift) + rate(-shift)).recip()
}

/// Lucas and Crosier, Technometrics 24 (1982) 199, table 1 (as quoted in the examples of the R
/// package spc): k 0.5, h 4, both sides. The approximation is good to a few per cent up to a shift of
/// 2; for larger shifts the sum is over in two or three values and it falls behind.
#[test]
fn table_of_lucas_and_crosier() {
    for (shift, published, tolerance) in [
        (0.0, 168.0, 0.01),
        (0.25, 74.2, 0.005),
        (0.5, 26.6, 0.005),
        (0.75, 13.3, 0.005),
        (1.0, 8.38, 0.005),
        (1.5, 4.75, 0.02),
        (2.0, 3.34, 0.04),
        (2.5, 2.62, 0.07),
        (3.0, 2.19, 0.1),
    ] {
        near_share(shift, two_sided(0.5, 4.0, shift), published, tolerance);
    }
}

/// Montgomery, Introduction to Statistical Quality Control (from memory): k 0.5; h 4 and h 5, both
/// sides without a shift 168 and 465, and h 5 with a shift. One side alone runs twice as long.
#[test]
fn table_of_montgomery() {
    for (shift, published, tolerance) in [
        (0.0, 465.0, 0.01),
        (0.25, 139.0, 0.01),
        (0.5, 38.0, 0.005),
        (0.75, 17.0, 0.005),
        (1.0, 10.4, 0.01),
        (1.5, 5.75, 0.02),
        (2.0, 4.01, 0.04),
    ] {
        near_share(shift, two_sided(0.5, 5.0, shift), published, tolerance);
    }
    for (decision, published) in [(4.0, 336.0), (5.0, 930.0)] {
        let one_sided = average_run_length(0.5, decision, 0.0).unwrap();
        near_share(decision, one_sided, published, 0.01);
        let found = decision_for(0.5, published).unwrap();
        near(published, found, decision, 0.02);
    }
}

/// Vance (1986), table 1 with Goel and Wu's results: one side, k 0, h 10; and Waldmann (1986) and
/// Brook and Evans (1972), one side, k 0.5, h 3. All as quoted in the examples of the R package spc.
#[test]
fn tables_for_one_side() {
    for (shift, published) in [
        (-0.25, 2071.51),
        (-0.125, 400.28),
        (0.0, 124.66),
        (0.125, 59.30),
        (0.25, 36.71),
        (0.5, 20.37),
        (0.75, 14.06),
        (1.0, 10.75),
    ] {
        let found = average_run_length(0.0, 10.0, shift).unwrap();
        near_share(shift, found, published, 0.008);
    }
    for (shift, published, tolerance) in [
        (-0.5, 1963.0, 0.06),
        (0.0, 117.4, 0.011),
        (0.5, 17.35, 0.005),
        (1.5, 3.75, 0.025),
    ] {
        let found = average_run_length(0.5, 3.0, shift).unwrap();
        near_share(shift, found, published, tolerance);
    }
}

/// Normal numbers by Box and Muller's transform of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014).
struct Normal(u64);

impl Normal {
    /// Even in 0–1, 0 excluded.
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64 + 1e-17
    }

    fn draw(&mut self) -> f64 {
        let radius = (-2.0 * self.even().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}

/// Mean and standard error of the values taken until the upward sum passes its decision.
fn run(slack: f64, decision: f64, shift: f64, times: u32) -> (f64, f64) {
    let mut normal = Normal(20_240_229);
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..times {
        let mut chart = Cusum::new(0.0, slack, decision).unwrap();
        let mut taken = 0.0;
        while chart.high() <= decision {
            chart.push(normal.draw() + shift);
            taken += 1.0;
        }
        sum += taken;
        squares += taken * taken;
    }
    let mean = sum / f64::from(times);
    let variance = squares / f64::from(times) - mean * mean;
    (mean, (variance / f64::from(times)).sqrt())
}

/// Sums that were run, seeded: the published 336 and 8.38 (see above) within four standard errors,
/// and the approximation within three per cent and four standard errors of them.
#[test]
fn sums_that_were_run() {
    for (slack, decision, shift, times, published) in [
        (0.5, 4.0, 0.0, 3000, Some(336.0)),
        (0.5, 4.0, 1.0, 20_000, Some(8.38)),
        (0.25, 5.0, 0.0, 3000, None),
        (1.0, 3.0, 1.5, 20_000, None),
    ] {
        let name = format!("k {slack}, h {decision}, shift {shift}");
        let (mean, error) = run(slack, decision, shift, times);
        if let Some(published) = published {
            near(&name, mean, published, 4.0 * error);
        }
        let approximate = average_run_length(slack, decision, shift).unwrap();
        near(&name, approximate, mean, 0.03 * mean + 4.0 * error);
    }
}

#[test]
fn the_decision_gives_back_its_run_length() {
    for slack in [0.0, 0.1, 0.25, 0.5, 1.0, 2.0] {
        for run_length in [30.0, 100.0, 370.4, 1000.0, 1e5, 1e12] {
            let decision = decision_for(slack, run_length).unwrap();
            let back = average_run_length(slack, decision, 0.0).unwrap();
            near_share(format!("{slack} {run_length}"), back, run_length, 1e-9);
        }
    }
}

/// Where the closed form is 0/0, the series joins on: b² for no drift at all.
#[test]
fn a_drift_of_nothing() {
    near_share(
        "none",
        average_run_length(0.5, 4.0, 0.5).unwrap(),
        5.166 * 5.166,
        1e-14,
    );
    // Either side of the change from series to closed form.
    let around = |shift| average_run_length(0.5, 4.0, 0.5 + shift).unwrap();
    for drift in [9.6e-6, 9.7e-6] {
        let closed = 5.166f64.powi(2) * (1.0 - 2.0 * drift * 5.166 / 3.0);
        near_share(drift, around(drift), closed, 1e-8);
    }
}

#[test]
fn no_run_length_of_nonsense() {
    for nonsense in [f64::NAN, f64::INFINITY, -1.0] {
        assert_eq!(average_run_length(nonsense, 4.0, 0.0), None);
        assert_eq!(average_run_length(0.5, nonsense, 0.0), None);
        assert_eq!(decision_for(nonsense, 100.0), None);
        assert_eq!(decision_for(0.5, nonsense), None);
    }
    assert_eq!(average_run_length(0.5, 4.0, f64::NAN), None);
    assert_eq!(decision_for(0.5, 2.0), None);
    assert_eq!(average_run_length(1.0, 1e9, 0.0), Some(f64::INFINITY));
}
