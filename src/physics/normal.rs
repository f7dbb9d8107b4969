//! The normal distribution, as far as it is needed: its quantile, the width of the usual band, and what
//! is learned of a value that is only known to lie above another.

// The coefficients stand as published, with more digits than an f64 holds.
#![allow(clippy::excessive_precision)]

/// Half the width of a band that holds 95 % of a normal distribution, in standard deviations.
pub const BAND_95: f64 = 1.96;

/// The value below which a standard normal number lies with this probability (0–1, both excluded).
///
/// Rational approximation PPND16 of Wichura, "Algorithm AS 241: The Percentage Points of the Normal
/// Distribution", Applied Statistics 37 (1988) 477, accurate to about 1 part in 10¹⁶.
///
/// `None` outside the range.
#[must_use]
pub fn quantile(probability: f64) -> Option<f64> {
    super::proper_fraction(probability)?;
    let from_middle = probability - 0.5;
    if from_middle.abs() <= 0.425 {
        let r = 0.180_625 - from_middle * from_middle;
        return Some(from_middle * polynomial(&MIDDLE.0, r) / polynomial(&MIDDLE.1, r));
    }
    let tail = probability.min(1.0 - probability);
    let r = (-tail.ln()).sqrt();
    let (parts, r) = if r <= 5.0 {
        (&TAIL, r - 1.6)
    } else {
        (&FAR_TAIL, r - 5.0)
    };
    let distance = polynomial(&parts.0, r) / polynomial(&parts.1, r);
    Some(distance.copysign(from_middle))
}

/// Coefficients from the constant up: numerator and denominator.
type Rational = ([f64; 8], [f64; 8]);

/// From here up the continued fraction settles in a few dozen terms, below it the series does.
const FAR: f64 = 2.0;
const TERMS: u32 = 200;

/// Density over upper tail, φ(x) / (1 − Φ(x)): the mean of a standard normal number that is known to be
/// above `x` (the inverse of Mills' ratio). Never below zero, nor below `x`.
///
/// Above 2 by Laplace's continued fraction x + 1/(x + 2/(x + 3/…)), below by the series
/// Φ(x) = ½ + φ(x)·(x + x³/3 + x⁵/15 + …) (Marsaglia, J. Stat. Software 11 (2004) no. 4, from memory);
/// below −8 the tail is one. Not-a-number for not-a-number.
#[must_use]
pub fn hazard(x: f64) -> f64 {
    if x > FAR {
        let fraction = |inner: f64, term: u32| x + f64::from(term) / inner;
        return (1..TERMS).rev().fold(x, fraction);
    }
    let density = (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt();
    if x < -8.0 {
        return density;
    }
    let (mut term, mut sum) = (x, x);
    for step in 1..TERMS {
        term *= x * x / f64::from(2 * step + 1);
        sum += term;
    }
    density / (0.5 - density * sum)
}

/// |p − ½| up to 0.425, in 0.180625 − (p − ½)².
const MIDDLE: Rational = (
    [
        3.387_132_872_796_366_608,
        1.331_416_678_917_843_774_5e2,
        1.971_590_950_306_551_442_7e3,
        1.373_169_376_550_946_112_5e4,
        4.592_195_393_154_987_145_7e4,
        6.726_577_092_700_870_085_3e4,
        3.343_057_558_358_812_810_5e4,
        2.509_080_928_730_122_672_7e3,
    ],
    [
        1.0,
        4.231_333_070_160_091_125_2e1,
        6.871_870_074_920_579_083e2,
        5.394_196_021_424_751_107_7e3,
        2.121_379_430_158_659_586_7e4,
        3.930_789_580_009_271_061e4,
        2.872_908_573_572_194_267_4e4,
        5.226_495_278_852_854_561e3,
    ],
);
/// √(−ln p) up to 5, less 1.6.
const TAIL: Rational = (
    [
        1.423_437_110_749_683_577_34,
        4.630_337_846_156_545_295_9,
        5.769_497_221_460_691_405_5,
        3.647_848_324_763_204_605_04,
        1.270_458_252_452_368_382_58,
        2.417_807_251_774_506_117_7e-1,
        2.272_384_498_926_918_458_33e-2,
        7.745_450_142_783_414_076_4e-4,
    ],
    [
        1.0,
        2.053_191_626_637_758_821_87,
        1.676_384_830_183_803_849_4,
        6.897_673_349_851_000_045_5e-1,
        1.481_039_764_274_800_745_9e-1,
        1.519_866_656_361_645_719_66e-2,
        5.475_938_084_995_344_946e-4,
        1.050_750_071_644_416_843_24e-9,
    ],
);
/// √(−ln p) beyond 5, less 5.
const FAR_TAIL: Rational = (
    [
        6.657_904_643_501_103_777_2,
        5.463_784_911_164_114_369_9,
        1.784_826_539_917_291_335_8,
        2.965_605_718_285_048_912_3e-1,
        2.653_218_952_657_612_309_3e-2,
        1.242_660_947_388_078_438_6e-3,
        2.711_555_568_743_487_578_15e-5,
        2.010_334_399_292_288_132_65e-7,
    ],
    [
        1.0,
        5.998_322_065_558_879_376_9e-1,
        1.369_298_809_227_358_053_1e-1,
        1.487_536_129_085_061_485_25e-2,
        7.868_691_311_456_132_591e-4,
        1.846_318_317_510_054_681_8e-5,
        1.421_511_758_316_445_888_7e-7,
        2.044_263_103_389_939_785_64e-15,
    ],
);

fn polynomial(coefficients: &[f64; 8], x: f64) -> f64 {
    coefficients
        .iter()
        .rev()
        .fold(0.0, |sum, coefficient| sum * x + coefficient)
}
