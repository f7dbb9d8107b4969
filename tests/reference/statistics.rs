//! Median, spike test and control charts against published vectors.

use permeated::physics::statistics::{Cusum, Drift, Ewma, Spread, is_spike, median};

use crate::near;

#[test]
fn median_by_hand() {
    assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
    assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), Some(2.5));
    assert_eq!(median(&mut [-0.0, 7.0]), Some(3.5));
    assert_eq!(median(&mut []), None);
    assert_eq!(median(&mut [1.0, f64::NAN, 2.0]), None);
    assert_eq!(median(&mut [1.0, f64::INFINITY, 2.0]), None);
    assert_eq!(median(&mut [f64::MAX, f64::MAX]), Some(f64::MAX));
}

/// The Hampel filter with 3 values each side and 3 deviations, the window cut at the ends (defaults
/// of the mathworks function `hampel`); the vector calculated with numpy: it takes out the values at
/// 4 and 10, the medians there are 10.1 and 9.95.
#[test]
fn hampel_filter() {
    let values = [
        10.0, 10.1, 9.9, 10.0, 25.0, 10.2, 10.1, 9.8, 10.0, 10.1, 0.0, 10.0, 9.9,
    ];
    let window = |at: usize| &values[at.saturating_sub(3)..(at + 4).min(values.len())];
    let spikes: Vec<usize> = (0..values.len())
        .filter(|at| is_spike(values[*at], window(*at), 0.0, 3.0).unwrap())
        .collect();
    assert_eq!(spikes, [4, 10]);
    near("at 4", Spread::of(window(4)).unwrap().median, 10.1, 1e-12);
    near("at 10", Spread::of(window(10)).unwrap().median, 9.95, 1e-12);
    // 1.4826 is the reciprocal of the normal distribution's third quartile.
    let scaled = Spread::of(&[-1.0, 0.0, 1.0]).unwrap().deviation;
    near("scale", scaled, 1.482_602_218_505_602, 1e-12);
}

/// A probe with steps of 1 mg/L has no scatter most of the time: without the floor, a plain Hampel
/// test calls a single step a spike.
#[test]
fn one_step_of_a_coarse_probe_is_no_spike() {
    let values = [5.0, 5.0, 5.0, 5.0, 6.0, 5.0, 5.0, 5.0, 5.0];
    assert_eq!(is_spike(6.0, &values, 0.0, 3.0), Some(true));
    assert_eq!(is_spike(6.0, &values, 1.0, 3.0), Some(false));
    assert_eq!(is_spike(7.0, &values, 1.0, 3.0), Some(true));
    assert_eq!(is_spike(f64::NAN, &values, 1.0, 3.0), None);
    assert_eq!(is_spike(6.0, &[], 1.0, 3.0), None);
    assert_eq!(is_spike(6.0, &values, f64::NAN, 3.0), None);
    assert_eq!(is_spike(6.0, &values, 1.0, -3.0), None);
}

/// NIST/SEMATECH e-Handbook 6.3.2.4 (via a public test file that quotes it). The page rounds its
/// factor to 0.4201 and truncates the lower limit: 1e-3.
#[test]
fn ewma_of_the_handbook() {
    let data = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8,
        51.2, 52.6, 52.4, 53.6, 52.1,
    ];
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52,
        50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let mut chart = Ewma::new(50.0, 2.0539, 0.3, 3.0).unwrap();
    near("start", chart.value(), 50.0, 0.0);
    for (value, average) in data.iter().zip(printed) {
        chart.push(*value);
        near(value, chart.value(), average, 0.0051);
        assert!(!chart.is_out(), "{value}");
    }
    let (low, high) = chart.limits();
    near("upper limit", high, 52.5884, 1e-3);
    near("lower limit", low, 47.4115, 1e-3);
}

/// Montgomery's data (help.imsl.com; mean 10, deviation 1).
const MONTGOMERY: [f64; 30] = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40,
    10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62,
    11.31, 10.52,
];

/// λ 0.1, L 2.7, calculated: z 9.945, 10.0232, 10.0108, 10.5731, 10.6468, 10.6341 at 1, 10, 20, 28,
/// 29, 30; the first beyond its limit (10.6187) is 29.
#[test]
fn ewma_finds_a_shift() {
    let mut chart = Ewma::new(10.0, 1.0, 0.1, 2.7).unwrap();
    let mut first_out = None;
    for (at, value) in (1..).zip(MONTGOMERY) {
        chart.push(value);
        let expected = match at {
            1 => Some(9.945),
            10 => Some(10.0232),
            20 => Some(10.0108),
            28 => Some(10.5731),
            29 => Some(10.6468),
            30 => Some(10.6341),
            _ => None,
        };
        if let Some(expected) = expected {
            near(at, chart.value(), expected, 5.1e-5);
        }
        if at == 29 {
            near("limit", chart.limits().1, 10.6187, 1e-4);
        }
        if chart.is_out() {
            first_out = first_out.or(Some(at));
        }
    }
    assert_eq!(first_out, Some(29));
}

/// Montgomery and Runger, Applied Statistics and Probability for Engineers, example 16-6, table
/// 16-8: target 99, K 1, H 10, no alarm.
#[test]
fn cusum_of_the_textbook() {
    let data = [
        102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4,
        97.0, 96.7, 100.3, 101.4, 97.2, 101.0,
    ];
    let high = [
        2.0, 0.0, 0.0, 0.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0, 1.3, 0.0, 1.1, 0.0, 0.0, 0.0, 0.3, 1.7,
        0.0, 1.0,
    ];
    let low = [
        0.0, 3.2, 2.9, 2.5, 0.0, 0.0, 0.0, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 2.3, 0.0, 0.0,
        0.8, 0.0,
    ];
    // The plain sum of the same table: that the data are as printed.
    let plain = [
        3.0, -1.2, -1.9, -2.5, 0.5, 0.0, 0.0, -1.3, -0.3, -1.2, 1.1, 0.8, 2.9, 2.3, 0.3, -2.0,
        -0.7, 1.7, -0.1, 1.9,
    ];
    let mut sum = 0.0;
    let mut chart = Cusum::new(99.0, 1.0, 10.0).unwrap();
    for (at, value) in data.into_iter().enumerate() {
        chart.push(value);
        sum += value - 99.0;
        near(format!("sum {}", at + 1), sum, plain[at], 1e-9);
        near(format!("SH {}", at + 1), chart.high(), high[at], 1e-9);
        near(format!("SL {}", at + 1), chart.low(), low[at], 1e-9);
        assert_eq!(chart.drift(), None);
    }
}

/// NIST/SEMATECH 6.3.2.3, data from memory, sums calculated: first alarm at 14 with SH 4.94, SH 20
/// 19.035, greatest SL 0.715 at 8.
#[test]
fn cusum_of_the_handbook() {
    let data = [
        324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
        324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
    ];
    let mut chart = Cusum::new(325.0, 0.3175, 4.1959).unwrap();
    let (mut highs, mut lows, mut first) = (vec![], vec![], None);
    for (at, value) in (1..).zip(data) {
        chart.push(value);
        highs.push(chart.high());
        lows.push(chart.low());
        first = first.or(chart.drift().map(|drift| (at, drift)));
    }
    assert_eq!(first, Some((14, Drift::Up)));
    near("SH 13", highs[12], 3.0075, 5.1e-5);
    near("SH 14", highs[13], 4.94, 0.0051);
    near("SH 20", highs[19], 19.035, 0.00051);
    near("SL 8", lows[7], 0.715, 0.00051);
    near(
        "greatest SL",
        lows.iter().copied().fold(0.0, f64::max),
        0.715,
        0.00051,
    );
}

/// Montgomery's data, K 0.5, H 5, calculated: first alarm at 29 with SH 5.28, then 5.30.
#[test]
fn cusum_finds_a_shift() {
    let mut chart = Cusum::new(10.0, 0.5, 5.0).unwrap();
    let mut first = None;
    for (at, value) in (1..).zip(MONTGOMERY) {
        chart.push(value);
        first = first.or(chart.drift().map(|_| (at, chart.high())));
    }
    let (at, sum) = first.unwrap();
    assert_eq!(at, 29);
    near("SH 29", sum, 5.28, 0.0051);
    near("SH 30", chart.high(), 5.30, 0.0051);
}

/// A chart kept after any value and taken up again ends as one that ran through.
#[test]
fn charts_resume_where_they_were_kept() {
    for kept_at in 0..=MONTGOMERY.len() {
        let (before, after) = MONTGOMERY.split_at(kept_at);
        let new = (
            Ewma::new(10.0, 1.0, 0.1, 2.7).unwrap(),
            Cusum::new(10.0, 0.5, 5.0).unwrap(),
        );
        let through = |(mut average, mut sum): (Ewma, Cusum), values: &[f64]| {
            for value in values {
                average.push(*value);
                sum.push(*value);
            }
            (average, sum)
        };
        let (average, sum) = through(new, before);
        let resumed = (
            new.0.resumed(average.value(), average.youth()).unwrap(),
            new.1.resumed(sum.high(), sum.low()).unwrap(),
        );
        assert_eq!(through(resumed, after), through(new, &MONTGOMERY));
    }
    let average = Ewma::new(10.0, 1.0, 0.1, 2.7).unwrap();
    let sum = Cusum::new(10.0, 0.5, 5.0).unwrap();
    for nonsense in [f64::NAN, f64::INFINITY, -1.0] {
        assert_eq!(average.resumed(10.0, nonsense), None);
        assert_eq!(sum.resumed(nonsense, 0.0), None);
        assert_eq!(sum.resumed(0.0, nonsense), None);
    }
    assert_eq!(average.resumed(f64::NAN, 0.5), None);
    assert_eq!(average.resumed(10.0, 1.5), None);
}

#[test]
fn charts_are_not_spoilt_by_nonsense() {
    assert_eq!(Ewma::new(f64::NAN, 1.0, 0.1, 3.0), None);
    assert_eq!(Ewma::new(0.0, 1.0, 0.0, 3.0), None);
    assert_eq!(Ewma::new(0.0, -1.0, 0.1, 3.0), None);
    assert_eq!(Cusum::new(0.0, -1.0, 1.0), None);
    assert_eq!(Cusum::new(f64::INFINITY, 1.0, 1.0), None);
    let mut average = Ewma::new(10.0, 1.0, 0.2, 3.0).unwrap();
    let mut sum = Cusum::new(10.0, 0.5, 5.0).unwrap();
    let (before_average, before_sum) = (average, sum);
    for nonsense in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        average.push(nonsense);
        sum.push(nonsense);
    }
    assert_eq!((average, sum), (before_average, before_sum));
    for _ in 0..20 {
        sum.push(9.0);
    }
    assert_eq!(sum.drift(), Some(Drift::Down));
}

/// By the definition of the limits: nothing is out before the first value, and both ways count.
#[test]
fn an_average_is_out_below_as_above() {
    for far in [-5.0, 5.0] {
        let mut chart = Ewma::new(10.0, 1.0, 0.5, 3.0).unwrap();
        assert!(!chart.is_out());
        for _ in 0..5 {
            chart.push(10.0);
            assert!(!chart.is_out());
        }
        chart.push(10.0 + far);
        chart.push(10.0 + far);
        assert!(chart.is_out(), "{far}");
    }
}

/// At their limits nothing is told: a value like all others is no spike, a sum of nothing no drift.
#[test]
fn what_is_as_expected_is_neither_spike_nor_drift() {
    assert_eq!(is_spike(5.0, &[5.0; 7], 0.0, 3.0), Some(false));
    assert_eq!(Cusum::new(10.0, 0.5, 0.0).unwrap().drift(), None);
}
