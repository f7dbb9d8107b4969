//! The Theil–Sen slope and the normal quantile against scipy.

// Figures stand as the source printed them.
#![allow(clippy::excessive_precision)]

use permeated::physics::normal::{hazard, quantile};
use permeated::physics::slope::{Slope, theil_sen};

use crate::{near, near_share};

/// The data of scipy's own test of `theilslopes` (said there to be Sen's of 1968).
const SEN: [(f64, f64); 7] = [
    (1.0, 9.0),
    (2.0, 15.0),
    (3.0, 19.0),
    (4.0, 20.0),
    (10.0, 45.0),
    (12.0, 55.0),
    (18.0, 78.0),
];

/// Forty points of a falling trend with noise, three of them wild, with ties in x and in y. Made with
/// numpy 2.4.6 and scipy 1.17.1:
///
/// ```python
/// rng = np.random.default_rng(20240229)
/// x = np.sort(np.round(rng.uniform(0, 120, 40)))
/// y = np.round(2.9 - 0.0042 * x + rng.normal(0, 0.05, 40), 2)
/// y[[4, 17, 33]] += [1.5, -1.2, 0.9]
/// y = np.round(y, 2)
/// scipy.stats.theilslopes(y, x, confidence)
/// ```
const WILD: [(f64, f64); 40] = [
    (5.0, 2.94),
    (7.0, 2.82),
    (8.0, 2.85),
    (9.0, 2.86),
    (10.0, 4.36),
    (12.0, 2.76),
    (17.0, 2.83),
    (17.0, 2.8),
    (18.0, 2.83),
    (19.0, 2.83),
    (20.0, 2.78),
    (20.0, 2.82),
    (27.0, 2.81),
    (32.0, 2.74),
    (34.0, 2.75),
    (36.0, 2.75),
    (37.0, 2.73),
    (39.0, 1.52),
    (39.0, 2.73),
    (43.0, 2.7),
    (43.0, 2.75),
    (46.0, 2.72),
    (52.0, 2.8),
    (66.0, 2.59),
    (82.0, 2.58),
    (86.0, 2.5),
    (88.0, 2.51),
    (90.0, 2.5),
    (91.0, 2.58),
    (91.0, 2.55),
    (94.0, 2.58),
    (100.0, 2.51),
    (104.0, 2.44),
    (105.0, 3.43),
    (108.0, 2.45),
    (108.0, 2.42),
    (110.0, 2.31),
    (110.0, 2.39),
    (117.0, 2.35),
    (120.0, 2.35),
];

/// What scipy made of [`WILD`]: confidence, slope, intercept, low, high.
const WILD_LINES: [[f64; 5]; 4] = [
    [
        0.5,
        -0.004_339_622_641_509_434,
        2.916_603_773_584_905_7,
        -0.004_464_285_714_285_714,
        -0.004_174_757_281_553_395_5,
    ],
    [
        0.9,
        -0.004_339_622_641_509_434,
        2.916_603_773_584_905_7,
        -0.004_629_629_629_629_629,
        -0.003_888_888_888_888_896_6,
    ],
    [
        0.95,
        -0.004_339_622_641_509_434,
        2.916_603_773_584_905_7,
        -0.004_699_999_999_999_998,
        -0.003_846_153_846_153_832_5,
    ],
    [
        0.99,
        -0.004_339_622_641_509_434,
        2.916_603_773_584_905_7,
        -0.004_819_277_108_433_734,
        -0.003_636_363_636_363_639_4,
    ],
];

#[track_caller]
fn is(line: Option<Slope>, slope: f64, low: f64, high: f64, intercept: f64) {
    let line = line.unwrap();
    near("slope", line.slope, slope, 1e-12);
    near("low", line.low, low, 1e-12);
    near("high", line.high, high, 1e-12);
    near("intercept", line.intercept, intercept, 1e-12);
}

/// scipy 1.17.1, `test_stats.test_theilslopes`: slope 4, intercept 4, interval 3.71 to 4.38 at a
/// confidence of 93 %; its full digits calculated with it: 26/7 and 35/8.
#[test]
fn the_example_of_the_library() {
    is(
        theil_sen(&SEN, 0.93),
        4.0,
        3.714_285_714_285_714_4,
        4.375,
        4.0,
    );
    let mut backwards = SEN;
    backwards.reverse();
    assert_eq!(theil_sen(&backwards, 0.93), theil_sen(&SEN, 0.93));
}

/// The same test's short series y = 0, 1, 1: slope and intercept one half. Interval by scipy.
#[test]
fn three_points_with_a_tie() {
    let points = [(0.0, 0.0), (1.0, 1.0), (2.0, 1.0)];
    is(theil_sen(&points, 0.95), 0.5, 0.0, 1.0, 0.5);
}

/// One value of 78 read as 200: 4.1818 (calculated with scipy), where least squares gives 9.5208
/// in place of 4.0214.
#[test]
fn one_wild_value_hardly_matters() {
    let mut points = SEN;
    points[6].1 = 200.0;
    is(
        theil_sen(&points, 0.93),
        4.181_818_181_818_182,
        3.714_285_714_285_714_4,
        12.066_666_666_666_666,
        3.272_727_272_727_273_4,
    );
}

#[test]
fn forty_noisy_points_with_ties() {
    for [confidence, slope, intercept, low, high] in WILD_LINES {
        is(theil_sen(&WILD, confidence), slope, low, high, intercept);
    }
}

/// A confidence of one half or less is taken at its word: the lower, the narrower.
#[test]
fn more_confidence_never_narrows_the_interval() {
    let mut before = (f64::MAX, f64::MIN);
    for confidence in [0.01, 0.2, 0.4, 0.5, 0.6, 0.8, 0.95, 0.999, 0.999_999] {
        let line = theil_sen(&WILD, confidence).unwrap();
        assert!(line.low <= line.slope && line.slope <= line.high);
        assert!(
            line.low <= before.0 && line.high >= before.1,
            "{confidence}"
        );
        before = (line.low, line.high);
    }
}

/// What scipy gives for two points, for equal values, and for ties that leave no variance (not a
/// number there, the whole span here).
#[test]
fn few_points_and_many_ties() {
    is(
        theil_sen(&[(0.0, 1.0), (1.0, 2.0)], 0.95),
        1.0,
        1.0,
        1.0,
        1.0,
    );
    let level = [(0.0, 3.0), (1.0, 3.0), (2.0, 3.0), (5.0, 3.0)];
    is(theil_sen(&level, 0.95), 0.0, 0.0, 0.0, 3.0);
    // Nine of ten at the same x and nine of ten at the same y.
    let mut tied = [(0.0, 0.0); 10];
    tied[0].1 = 1.0;
    tied[9].0 = 1.0;
    is(theil_sen(&tied, 0.95), 0.0, -1.0, 0.0, 0.0);
}

#[test]
fn no_line_through_nonsense() {
    assert_eq!(theil_sen(&[], 0.95), None);
    assert_eq!(theil_sen(&[(1.0, 1.0)], 0.95), None);
    assert_eq!(theil_sen(&[(1.0, 1.0), (1.0, 2.0)], 0.95), None);
    for nonsense in [f64::NAN, f64::INFINITY] {
        for point in [(nonsense, 1.0), (1.0, nonsense)] {
            assert_eq!(theil_sen(&[(0.0, 0.0), point, (2.0, 2.0)], 0.95), None);
        }
    }
    assert_eq!(theil_sen(&[(0.0, -f64::MAX), (1.0, f64::MAX)], 0.95), None);
    for confidence in [0.0, 1.0, -0.5, 95.0, f64::NAN] {
        assert_eq!(theil_sen(&SEN, confidence), None, "{confidence}");
    }
}

/// `scipy.stats.norm.ppf` of scipy 1.17.1.
#[test]
fn normal_quantiles() {
    for (probability, expected) in [
        (1e-300, -37.047_096_299_361_2),
        (1e-10, -6.361_340_902_404_056),
        (0.0005, -3.290_526_731_491_894_5),
        (0.01, -2.326_347_874_040_840_8),
        (0.025, -1.959_963_984_540_054_5),
        (0.05, -1.644_853_626_951_472_9),
        (0.075, -1.439_531_470_938_456_3),
        (0.1, -1.281_551_565_544_600_4),
        (0.25, -0.674_489_750_196_081_7),
        (0.45, -0.125_661_346_855_074_02),
        (0.535, 0.087_844_837_895_871_82),
        (0.9, 1.281_551_565_544_600_4),
        (0.975, 1.959_963_984_540_054),
        (0.999, 3.090_232_306_167_813),
    ] {
        near_share(probability, quantile(probability).unwrap(), expected, 3e-15);
    }
    assert_eq!(quantile(0.5), Some(0.0));
    for outside in [0.0, 1.0, -0.1, 1.1, f64::NAN] {
        assert_eq!(quantile(outside), None, "{outside}");
    }
}

/// φ(x) / (1 − Φ(x)) with the complementary error function of Python's `math`; the middle is √(2/π).
#[test]
fn the_hazard_of_a_normal_number_is_that_of_the_error_function() {
    for (x, expected) in [
        (-8.5, 8.166_235_631_669_551e-17),
        (-3.0, 0.004_437_839_042_125_664),
        (-1.0, 0.287_599_970_939_178_4),
        (0.0, 0.797_884_560_802_865_4),
        (1.0, 1.525_135_276_160_981),
        (1.999, 2.372_329_841_607_757_4),
        (2.0, 2.373_215_532_822_84),
        (2.001, 2.374_101_283_393_788_5),
        (3.0, 3.283_098_654_930_434),
        (5.0, 5.186_503_967_125_83),
        (10.0, 10.098_093_233_962_423),
        (20.0, 20.049_753_068_527_14),
    ] {
        near_share(x, hazard(x), expected, 1e-9);
    }
    assert_eq!(hazard(-40.0), 0.0);
    assert!(hazard(1e6) >= 1e6 && hazard(f64::NAN).is_nan());
}

#[test]
fn a_slope_beyond_what_a_number_holds_is_none() {
    let points = [
        (0.0, -1.7e308),
        (1.0, 1.7e308),
        (2.0, 1.7e308),
        (3.0, 1.7e308),
    ];
    assert_eq!(theil_sen(&points, 0.95), None);
}
