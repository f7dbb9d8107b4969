//! What of a period was recorded at all: samples follow each other without a gap while the service
//! runs; where none is, nothing was measured. Of hours and days that were gathered only the time they
//! hold is known, not when it was.

use super::period::{Period, Slot};
use crate::{sampler::Sample, time::Wall};

const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;
/// Samples as they came last no longer than a quarter of an hour and the rest of a minute.
const LONGEST_SAMPLE: u32 = 16 * 60;
/// An hour that was gathered holds no more: its last sample may end after it.
const LONGEST_HOUR: u32 = 3600 + LONGEST_SAMPLE;
/// Between two samples lies the time until the next look, no gap.
const SMALLEST_GAP: i64 = 5 * 60 * 1000;

/// The time that a sample stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// Its first moment.
    pub from: Wall,
    /// The first moment after it.
    pub to: Wall,
    /// How much of it was recorded, milliseconds.
    pub recorded: i64,
    /// Whether any sensor was heard.
    pub heard: bool,
}

/// A time in which nothing was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// From when on …
    pub from: Wall,
    /// … until when it lies,
    pub to: Wall,
    /// and how long it is: of one within a gathered hour or day no more is known.
    pub hours: f64,
    /// Whether the service ran and no sensor was heard.
    pub silent: bool,
}

/// The extents of samples in the order of time.
#[must_use]
pub fn extents(samples: &[Sample]) -> Vec<Extent> {
    let starts = samples.iter().skip(1).map(|sample| Some(sample.start));
    let nexts = starts.chain([None]);
    (samples.iter().zip(nexts))
        .map(|(sample, next)| extent(sample, next))
        .collect()
}

fn extent(sample: &Sample, next: Option<Wall>) -> Extent {
    let from = sample.start;
    let held = i64::from(sample.seconds) * 1000;
    let is_on = |slot: i64| from.0.rem_euclid(slot) == 0;
    let gathered = match sample.seconds {
        LONGEST_HOUR.. if is_on(DAY) => Some(DAY),
        LONGEST_SAMPLE.. if is_on(HOUR) => Some(HOUR),
        _ => None,
    };
    let end = from.0.saturating_add(gathered.unwrap_or(held));
    let next = next.map_or(i64::MAX, |next| next.0.max(from.0));
    // What lies between two samples is less than a second, and the time until the next look.
    let is_joined = gathered.is_none() && next.saturating_sub(end) < SMALLEST_GAP;
    let end = if is_joined { next } else { end.min(next) };
    // The first and the last sample of a gathered hour reach over its ends: so much may lack.
    let is_whole = gathered.is_none_or(|long| long - held < i64::from(LONGEST_SAMPLE) * 1000);
    // A figure of a stage is there while no sensor is heard; one of what flows is not.
    let is_sensed = |name: &&String| !name.contains('/');
    Extent {
        from,
        to: Wall(end),
        recorded: if is_whole {
            end - from.0
        } else {
            held.min(end - from.0)
        },
        heard: sample.figures.mean.keys().any(|name| is_sensed(&name)),
    }
}

/// Hours of a part of the period that were recorded with some sensor heard.
#[must_use]
pub fn measured_hours(extents: &[Extent], from: Wall, to: Wall) -> f64 {
    let part = |extent: &Extent| {
        let long = extent.to.0 - extent.from.0;
        let within = extent.to.0.min(to.0) - extent.from.0.max(from.0);
        #[allow(clippy::cast_precision_loss)] // Milliseconds of centuries fit.
        let share = if long > 0 {
            within.max(0) as f64 / long as f64
        } else {
            0.0
        };
        #[allow(clippy::cast_precision_loss)]
        let hours = extent.recorded as f64 / HOUR as f64;
        hours * share
    };
    extents.iter().filter(|extent| extent.heard).map(part).sum()
}

/// Hours of a slot, as far as it lies before `until`.
#[must_use]
pub fn hours_of(slot: &Slot, until: Wall) -> f64 {
    hours_between(slot.from, slot.to.min(until))
}

/// Hours from one moment to another; none backwards.
#[must_use]
pub fn hours_between(from: Wall, to: Wall) -> f64 {
    #[allow(clippy::cast_precision_loss)]
    let hours = (to.0 - from.0).max(0) as f64 / HOUR as f64;
    hours
}

/// The gaps of a period up to `until`, in the order of time.
#[must_use]
pub fn gaps(extents: &[Extent], period: &Period, until: Wall) -> Vec<Gap> {
    let (begin, end) = (period.begin(), period.end().min(until));
    let mut gaps = Vec::new();
    let mut reached = begin;
    let within = extents
        .iter()
        .filter(|extent| extent.to > begin && extent.from < end);
    for extent in within {
        note(
            &mut gaps,
            reached,
            extent.from,
            hours_between(reached, extent.from),
            false,
        );
        let (from, to) = (extent.from.max(begin), extent.to.min(end));
        let lacking = if extent.heard {
            hours_between(from, to) - measured_hours(&[*extent], from, to)
        } else {
            hours_between(from, to)
        };
        note(&mut gaps, from, to, lacking, !extent.heard);
        reached = reached.max(extent.to);
    }
    note(&mut gaps, reached, end, hours_between(reached, end), false);
    gaps
}

/// Adds a gap, or makes the last one longer.
fn note(gaps: &mut Vec<Gap>, from: Wall, to: Wall, hours: f64, silent: bool) {
    #[allow(clippy::cast_precision_loss)]
    let smallest = SMALLEST_GAP as f64 / HOUR as f64;
    if let Some(last) = gaps.last_mut()
        && last.to >= from
        && last.silent == silent
        && hours > 0.0
        && (last.hours - hours_between(last.from, last.to)).abs() < smallest
        && (hours - hours_between(from, to)).abs() < smallest
    {
        last.to = to;
        last.hours += hours;
    } else if hours >= smallest {
        gaps.push(Gap {
            from,
            to,
            hours,
            silent,
        });
    }
}

#[cfg(test)]
mod tests {
    use jiff::{civil::date, tz::TimeZone};

    use super::*;
    use crate::sampler::Figures;

    /// 2026-03-01T00:00:00Z, in milliseconds.
    const START: i64 = 1_772_323_200_000;

    fn sample(minutes: i64, seconds: u32, names: &[&str]) -> Sample {
        Sample {
            start: Wall(START + minutes * 60_000),
            seconds,
            figures: Figures {
                mean: names.iter().map(|name| ((*name).to_owned(), 1.0)).collect(),
                ..Figures::default()
            },
        }
    }

    fn day() -> Period {
        Period::new(date(2026, 3, 1), date(2026, 3, 2), &TimeZone::UTC).unwrap()
    }

    #[test]
    fn where_no_sample_is_nothing_was_measured() {
        let heard = &["feed_tds_mg_l"][..];
        let samples = [
            sample(0, 900, heard),
            sample(15, 910, heard),
            // Away for two hours; then up, but nothing heard for a quarter of an hour.
            sample(150, 900, heard),
            sample(165, 900, &["carbon/left_pct"]),
            sample(180, 900, heard),
        ];
        let extents = extents(&samples);
        let until = Wall(START + 195 * 60_000);
        let gaps = gaps(&extents, &day(), until);
        let told: Vec<(i64, f64, bool)> = gaps
            .iter()
            .map(|gap| ((gap.from.0 - START) / 60_000, gap.hours, gap.silent))
            .collect();
        assert_eq!(told.len(), 2, "{told:?}");
        assert_eq!((told[0].0, told[0].2), (30, false));
        assert!((told[0].1 - (2.0 - 10.0 / 3600.0)).abs() < 1e-9);
        assert_eq!((told[1].0, told[1].1, told[1].2), (165, 0.25, true));
        let measured = measured_hours(&extents, Wall(START), until);
        assert!(
            (measured - (1.0 + 10.0 / 3600.0)).abs() < 1e-9,
            "{measured}"
        );
    }

    #[test]
    fn of_gathered_hours_and_days_the_time_they_hold_is_known() {
        let heard = &["feed_tds_mg_l"][..];
        let extents = extents(&[sample(0, 43_200, heard), sample(24 * 60, 1800, heard)]);
        assert_eq!(hours_between(extents[0].from, extents[0].to), 24.0);
        assert_eq!(hours_between(extents[1].from, extents[1].to), 1.0);
        let gaps = gaps(&extents, &day(), Wall(i64::MAX));
        assert_eq!(gaps.len(), 1);
        assert_eq!(gaps[0].hours, 12.0);
        // Half a day of it, wherever it was.
        assert_eq!(
            measured_hours(&extents, Wall(START), Wall(START + DAY / 2)),
            6.0
        );
    }

    #[test]
    fn a_period_without_samples_is_one_gap() {
        let gaps = gaps(&[], &day(), Wall(i64::MAX));
        assert_eq!((gaps.len(), gaps[0].hours), (1, 24.0));
    }
}
