//! A trend that a few wild values do not bend: the Theil–Sen slope with Sen's confidence interval.
//! Plain numbers in and out; what they mean is the caller's.

use super::{finite, normal, proper_fraction, statistics::median};

/// A straight line through points, and how sure its slope is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// The median of the slopes between any two points with different x.
    pub slope: f64,
    /// Lower end of the slope's confidence interval.
    pub low: f64,
    /// Upper end of the slope's confidence interval.
    pub high: f64,
    /// The line's y at x = 0: median(y) − slope · median(x).
    pub intercept: f64,
}

/// The Theil–Sen line through points (x, y), with the interval that holds the true slope with
/// `confidence` (0–1, both excluded; 0.95 is usual), for up to some hundred points: every pair is
/// looked at.
///
/// Sen, J. Am. Stat. Assoc. 63 (1968) 1379. The interval is made of the pairwise slopes at the ranks
/// (N ± z·√V) / 2, V being the variance of Kendall's score with ties in x and y taken off (Sen's
/// equation 2.6), ranks rounded to even and kept within the slopes there are. This is what
/// `scipy.stats.theilslopes` computes (method "separate"). Two things differ from it: a confidence
/// of one half or less is taken at its word, and where ties leave no variance the interval spans
/// all slopes, scipy's being not a number.
///
/// Few points say little: below about five the interval is that of all slopes. Equal values on a
/// coarse scale give a slope of nothing with an interval of nothing, which is the scale's doing.
///
/// `None` with fewer than two different x, or when anything is not finite.
#[must_use]
pub fn theil_sen(points: &[(f64, f64)], confidence: f64) -> Option<Slope> {
    let slopes = pairwise_slopes(points)?;
    let mut x: Vec<f64> = points.iter().map(|point| point.0).collect();
    let mut y: Vec<f64> = points.iter().map(|point| point.1).collect();
    let slope = median(&mut slopes.clone())?;
    let intercept = finite(median(&mut y)? - slope * median(&mut x)?)?;
    // `median` has sorted both.
    let variance = score_variance(points.len(), &x, &y);
    let (low, high) = interval(&slopes, variance, confidence)?;
    Some(Slope {
        slope,
        low,
        high,
        intercept,
    })
}

/// Sorted; `None` when there are none or one is not finite.
fn pairwise_slopes(points: &[(f64, f64)]) -> Option<Vec<f64>> {
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (at, one) in points.iter().enumerate() {
        finite(one.0)?;
        finite(one.1)?;
        let others = points[at + 1..].iter().filter(|other| other.0 != one.0);
        slopes.extend(others.map(|other| (other.1 - one.1) / (other.0 - one.0)));
    }
    if slopes.is_empty() || !slopes.iter().all(|slope| slope.is_finite()) {
        return None;
    }
    slopes.sort_unstable_by(f64::total_cmp);
    Some(slopes)
}

/// Sen's equation 2.6; below zero when nearly everything is tied.
fn score_variance(count: usize, sorted_x: &[f64], sorted_y: &[f64]) -> f64 {
    let term = |count: usize| {
        let count = count as f64;
        count * (count - 1.0) * (2.0 * count + 5.0)
    };
    let ties = |sorted: &[f64]| -> f64 {
        let groups = sorted.chunk_by(|one, other| one == other);
        groups.map(|group| term(group.len())).sum()
    };
    (term(count) - ties(sorted_x) - ties(sorted_y)) / 18.0
}

/// The slopes at the two ranks of Sen's interval.
fn interval(sorted: &[f64], variance: f64, confidence: f64) -> Option<(f64, f64)> {
    let below = normal::quantile((1.0 - proper_fraction(confidence)?) / 2.0)?;
    let last = sorted.len() - 1;
    if variance < 0.0 {
        return Some((sorted[0], sorted[last]));
    }
    let count = sorted.len() as f64;
    let reach = below * variance.sqrt();
    // A rank below zero becomes the first: the cast saturates.
    let low = ((count + reach) / 2.0).round_ties_even() - 1.0;
    let high = ((count - reach) / 2.0).round_ties_even();
    Some((sorted[low as usize], sorted[(high as usize).min(last)]))
}
