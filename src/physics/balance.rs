//! Water and salt balance round the membrane: recovery, waste ratio, rejection, concentrate. Owns no
//! judgement: a rejection below zero is returned as such, the caller says what it means.
//!
//! Symbols: Q flow, C conductivity at 25 °C (proportional to concentration closely enough for
//! ratios), f feed, p permeate, c concentrate, Y recovery.

use super::{not_negative, positive, proper_fraction};
use crate::quantity::{Conductivity, Flow};

/// Recovery Y = Qp / Qf, from 0 up to but not including 1.
///
/// `None` without feed flow, for a negative permeate flow, or when no concentrate would be left.
#[must_use]
pub fn recovery(permeate: Flow, feed: Flow) -> Option<f64> {
    let permeate = not_negative(permeate.l_per_min())?;
    let share = permeate / positive(feed.l_per_min())?;
    (share < 1.0).then_some(share)
}

/// Parts of concentrate to one part of permeate, w = (1 − Y) / Y, for 0 < Y < 1.
#[must_use]
pub fn waste_ratio(recovery: f64) -> Option<f64> {
    let recovery = proper_fraction(recovery)?;
    positive((1.0 - recovery) / recovery)
}

/// Recovery Y = 1 / (1 + w) from the waste ratio (> 0).
#[must_use]
pub fn recovery_from_waste_ratio(waste_ratio: f64) -> Option<f64> {
    proper_fraction(1.0 / (1.0 + positive(waste_ratio)?))
}

/// Rejection R = 1 − Cp / Cf on the feed, as two probes measure it; 1 is perfect, and it is below
/// zero when the permeate is saltier than the feed (a probe's fault, or creep).
///
/// `None` for a feed that is not above zero or a permeate below zero.
#[must_use]
pub fn rejection(feed: Conductivity, permeate: Conductivity) -> Option<f64> {
    Some(1.0 - salt_passage(feed, permeate)?)
}

/// Salt passage Cp / Cf on the feed; 0 is perfect, above 1 the permeate is saltier than the feed.
///
/// `None` for a feed that is not above zero or a permeate below zero.
#[must_use]
pub fn salt_passage(feed: Conductivity, permeate: Conductivity) -> Option<f64> {
    let feed = positive(feed.us_per_cm())?;
    not_negative(not_negative(permeate.us_per_cm())? / feed)
}

/// Salt passage on the log-mean feed-side concentration: what the membrane itself lets through,
/// lower than [`salt_passage`] as the water along the element is saltier than the feed.
#[must_use]
pub fn salt_passage_on_average(
    feed: Conductivity,
    permeate: Conductivity,
    recovery: f64,
) -> Option<f64> {
    Some(salt_passage(feed, permeate)? / log_mean_concentration_factor(recovery)?)
}

/// Mean feed-side concentration over feed concentration, ln(1 / (1 − Y)) / Y, for 0 < Y < 1.
/// Takes the rejection as near one; the error is below 2 % up to Y = 0.5 at 95 % rejection.
#[must_use]
pub fn log_mean_concentration_factor(recovery: f64) -> Option<f64> {
    let recovery = proper_fraction(recovery)?;
    positive(-(-recovery).ln_1p() / recovery)
}

/// Concentrate by balance, Cc = (Cf − Y·Cp) / (1 − Y), for 0 < Y < 1.
///
/// `None` when feed or permeate are below zero or the permeate would carry more salt than the feed.
#[must_use]
pub fn concentrate(
    feed: Conductivity,
    permeate: Conductivity,
    recovery: f64,
) -> Option<Conductivity> {
    let recovery = proper_fraction(recovery)?;
    let feed = not_negative(feed.us_per_cm())?;
    let permeate = not_negative(permeate.us_per_cm())?;
    not_negative((feed - recovery * permeate) / (1.0 - recovery)).map(Conductivity::from_us_per_cm)
}

/// Recovery from three probes, Y = (Cc − Cf) / (Cc − Cp).
///
/// `None` unless permeate < feed < concentrate, for then no recovery between 0 and 1 fits.
#[must_use]
pub fn recovery_from_salts(
    feed: Conductivity,
    permeate: Conductivity,
    concentrate: Conductivity,
) -> Option<f64> {
    let feed = positive(feed.us_per_cm())?;
    let permeate = not_negative(permeate.us_per_cm())?;
    let concentrate = positive(concentrate.us_per_cm())?;
    if permeate < feed && feed < concentrate {
        proper_fraction((concentrate - feed) / (concentrate - permeate))
    } else {
        None
    }
}
