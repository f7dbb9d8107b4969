//! Carbon: how much disinfectant it was given, how long water stays in it, and what a membrane is
//! exposed to once it lets chlorine through. The whole feed passes carbon, not only the product.
//! No sensor tells a spent carbon; these figures do not replace a test by hand.

use std::{ops::RangeInclusive, time::Duration};

use super::{not_negative, positive, proper_fraction};
use crate::quantity::{Concentration, Flow, Mass, Volume};

/// Free chlorine a polyamide membrane bears, ppm·h: "about 200–1000", the less the warmer, the more
/// alkaline and with iron (a membrane maker's manual). Flow falls first, then flow and salt rise.
pub const FREE_CHLORINE_PPM_HOURS: RangeInclusive<f64> = 200.0..=1000.0;
/// Chloramine such a membrane bears, ppm·h (from memory).
pub const CHLORAMINE_PPM_HOURS: f64 = 300_000.0;

/// What went through the carbon for this much product: product / recovery, for 0 < recovery < 1.
/// `None` for another recovery or a volume below zero.
#[must_use]
pub fn feed_volume(permeate: Volume, recovery: f64) -> Option<Volume> {
    let product = not_negative(permeate.litres())?;
    not_negative(product / proper_fraction(recovery)?).map(Volume::from_litres)
}

/// Disinfectant brought by this much feed. `None` when either is below zero.
#[must_use]
pub fn disinfectant(feed: Volume, disinfectant: Concentration) -> Option<Mass> {
    not_negative(feed.litres())?;
    not_negative(disinfectant.mg_per_l())?;
    not_negative(disinfectant.in_volume(feed).grams()).map(Mass::from_grams)
}

/// What a vessel takes by its maker's word: rated litres × the rated mg/L. `None` unless both are
/// above zero.
#[must_use]
pub fn rated_capacity(rated: Volume, at: Concentration) -> Option<Mass> {
    positive(disinfectant(rated, at)?.grams()).map(Mass::from_grams)
}

/// Feed that may still pass before `capacity` has been given, with `given` so far: zero when it has.
/// `None` without disinfectant or for masses below zero.
#[must_use]
pub fn feed_left(capacity: Mass, given: Mass, arriving: Concentration) -> Option<Volume> {
    let capacity = not_negative(capacity.grams())?;
    let left = (capacity - not_negative(given.grams())?).max(0.0);
    let grams_per_litre = positive(arriving.mg_per_l())? / 1000.0;
    not_negative(left / grams_per_litre).map(Volume::from_litres)
}

/// Empty-bed contact time: volume of the media over the feed's flow.
///
/// Advice only. Rules for tanks (2 min for chlorine, 6 to 10 for chloramine) fail every home cartridge
/// (20 to 60 s), whose fine grain makes up for it. `None` unless both are above zero.
#[must_use]
pub fn contact_time(media: Volume, feed: Flow) -> Option<Duration> {
    let seconds = positive(media.litres())? / positive(feed.l_per_min())? * 60.0;
    Duration::try_from_secs_f64(seconds).ok()
}

/// Exposure of a membrane in ppm·h: concentration × hours. `None` below zero.
#[must_use]
pub fn exposure_ppm_hours(leaking: Concentration, running: Duration) -> Option<f64> {
    let hours = running.as_secs_f64() / 3600.0;
    not_negative(not_negative(leaking.mg_per_l())? * hours)
}

/// Running hours until `bears_ppm_hours` are reached. `None` unless both are above zero.
#[must_use]
pub fn hours_to_exposure(bears_ppm_hours: f64, leaking: Concentration) -> Option<f64> {
    positive(positive(bears_ppm_hours)? / positive(leaking.mg_per_l())?)
}
