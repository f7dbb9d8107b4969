//! What a pressure hold test amounts to: readings of a closed unit in, a verdict with its figures out.

use serde::{Deserialize, Serialize};

use crate::{
    config::HoldTestSettings,
    physics::{
        slope::{self, Slope},
        statistics::median,
    },
};

/// What a test came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The pressure held. No guarantee against leaks.
    Held,
    /// It fell by more than is allowed.
    Dropped,
    /// Neither can be said.
    Inconclusive,
}

impl Outcome {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Dropped => "dropped",
            Self::Inconclusive => "inconclusive",
        }
    }
}

/// What was seen in a test; what could not be worked out is not there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Figures {
    /// Median of the first readings, bar.
    pub start_bar: Option<f64>,
    /// Median of the last readings, bar.
    pub end_bar: Option<f64>,
    /// By how much it fell, bar; below zero if it rose.
    pub drop_bar: Option<f64>,
    /// What was allowed, bar.
    pub allowed_bar: Option<f64>,
    /// Fall over the whole time by a robust slope: the least of its 95 % band, bar.
    pub drop_least_bar: Option<f64>,
    /// The most of that band, bar.
    pub drop_most_bar: Option<f64>,
    /// The smallest step the gauge showed, bar; none if it never moved.
    pub gauge_step_bar: Option<f64>,
    /// How much warmer the feed was at the end, K; none without a thermometer.
    pub warmer_k: Option<f64>,
    /// Readings that counted.
    pub readings: usize,
}

/// A verdict: what it is, why, and by what figures.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Verdict {
    pub outcome: Outcome,
    pub why: String,
    pub figures: Figures,
}

/// Fewer readings make no trend.
const LEAST_READINGS: usize = 10;
/// A gap of this share of the time, and nobody knows what happened meanwhile.
pub(super) const LONGEST_GAP: f64 = 1.0 / 3.0;
/// No gauge that is sold as a sensor is coarser: two values further apart are a fall, not a step.
const COARSEST_STEP_BAR: f64 = 0.25;
/// Two values closer than this are the same: what arithmetic leaves of equal readings.
const SAME_BAR: f64 = 1e-6;
/// What a degree may do to the pressure of water shut in plastic housings and tubing, in either direction.
/// Water of 20 °C swells by 2.1e-4 per K, polypropylene and polyethylene by 3e-4 to 6e-4: which of the two
/// wins depends on the make. The tubing gives by some 1e-3 of its volume per bar, twenty times as much as
/// the water itself (4.6e-5), and trapped air by more; (2e-4 − 5e-4) / 1e-3 = −0.3 bar/K. An estimate
/// from handbook values (from memory), good to a factor of two or three; in rigid pipes it would be
/// 2.1e-4 / 4.6e-5 = 4.5 bar/K.
const BAR_PER_KELVIN: f64 = 0.3;
/// A fall beyond so many times what the temperature explains is not the temperature's.
const FAR_BEYOND: f64 = 3.0;
const CONFIDENCE: f64 = 0.95;

/// Judges readings (seconds from the beginning, bar) of `seconds`, and the feed's temperature (°C) at
/// the same times if a thermometer told.
pub(super) fn judge(
    readings: &[(f64, f64)],
    temperatures: &[(f64, f64)],
    seconds: f64,
    limits: &HoldTestSettings,
) -> Verdict {
    let mut figures = Figures {
        readings: readings.len(),
        warmer_k: change(temperatures).map(|(first, last)| last - first),
        gauge_step_bar: smallest_step(readings),
        ..Figures::default()
    };
    let inconclusive = |why: String, figures| Verdict {
        outcome: Outcome::Inconclusive,
        why,
        figures,
    };
    if readings.len() < LEAST_READINGS {
        let why = format!(
            "only {} readings came, and at least {LEAST_READINGS} are needed; let the gauge report \
             more often, or test for longer",
            readings.len()
        );
        return inconclusive(why, figures);
    }
    let gap = longest_gap(readings, seconds);
    if gap > LONGEST_GAP * seconds {
        let why = format!("the gauge was silent for {:.0} min", gap / 60.0);
        return inconclusive(why, figures);
    }
    let trend = slope::theil_sen(readings, CONFIDENCE);
    let (Some((start, end)), Some(trend)) = (change(readings), trend) else {
        return inconclusive("the readings give no trend".to_owned(), figures);
    };
    let allowed = (limits.allowed_share * start).max(limits.allowed_drop.bar());
    figures.start_bar = Some(start);
    figures.end_bar = Some(end);
    figures.drop_bar = Some(start - end);
    figures.allowed_bar = Some(allowed);
    figures.drop_least_bar = Some(-trend.high * seconds);
    figures.drop_most_bar = Some(-trend.low * seconds);
    let (outcome, why) = weigh(&figures, start - end, allowed, &trend, seconds);
    Verdict {
        outcome,
        why,
        figures,
    }
}

fn weigh(
    figures: &Figures,
    drop: f64,
    allowed: f64,
    trend: &Slope,
    seconds: f64,
) -> (Outcome, String) {
    let step = figures.gauge_step_bar.unwrap_or(0.0).min(COARSEST_STEP_BAR);
    let (least, most) = (-trend.high * seconds, -trend.low * seconds);
    // A sudden fall between two steady stretches leaves the least at nothing.
    let falls = drop - step > allowed && least >= 0.0;
    let holds = drop + step <= allowed && most <= allowed;
    let explained = figures.warmer_k.map_or(0.0, f64::abs) * BAR_PER_KELVIN;
    if drop < -allowed {
        let why = "the pressure rose: the inlet was not closed, or the water grew warmer";
        return (Outcome::Inconclusive, why.to_owned());
    }
    if explained > allowed && !(falls && drop > FAR_BEYOND * explained) {
        let why = format!(
            "the temperature changed by {:.1} K, which may move the pressure of water shut in by \
             some {explained:.2} bar in either direction",
            figures.warmer_k.unwrap_or_default()
        );
        return (Outcome::Inconclusive, why);
    }
    if falls {
        let why = format!("it fell by {drop:.2} bar, and {allowed:.2} bar are allowed");
        return (Outcome::Dropped, why);
    }
    if holds {
        let mut why = format!("it fell by {drop:.2} bar of the {allowed:.2} bar that are allowed");
        if figures.gauge_step_bar.is_none() {
            why += "; the gauge did not move at all, as one would that is stuck";
        }
        if figures.warmer_k.is_none() {
            why += "; no thermometer tells whether warmer or colder water hides a change";
        }
        return (Outcome::Held, why);
    }
    let why = format!(
        "a fall of {drop:.2} bar cannot be told from the {allowed:.2} bar that are allowed: the \
         gauge has steps of {step:.2} bar, and by its trend the fall is {least:.2} to {most:.2} bar"
    );
    (Outcome::Inconclusive, why)
}

/// Medians of the first and of the last readings: a tenth of them, three to nine.
fn change(readings: &[(f64, f64)]) -> Option<(f64, f64)> {
    let few = (readings.len() / 10).clamp(3, 9);
    let middle = |part: &[(f64, f64)]| {
        let mut values: Vec<f64> = part.iter().map(|reading| reading.1).collect();
        median(&mut values)
    };
    let first = readings.get(..few)?;
    let last = readings.get(readings.len().checked_sub(few)?..)?;
    Some((middle(first)?, middle(last)?))
}

/// The longest time without a reading, the beginning and the end of the test included.
fn longest_gap(readings: &[(f64, f64)], seconds: f64) -> f64 {
    let times = readings.iter().map(|reading| reading.0).chain([seconds]);
    let mut before = 0.0;
    times.fold(0.0, |longest: f64, time| {
        let gap = time - before;
        before = time;
        longest.max(gap)
    })
}

fn smallest_step(readings: &[(f64, f64)]) -> Option<f64> {
    let mut values: Vec<f64> = readings.iter().map(|reading| reading.1).collect();
    values.sort_unstable_by(f64::total_cmp);
    let steps = values.windows(2).map(|pair| pair[1] - pair[0]);
    steps.filter(|step| *step > SAME_BAR).reduce(f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECONDS: f64 = 900.0;

    /// 31 readings, one each half minute, of a pressure that follows `pressure` (minutes → bar).
    fn readings(pressure: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
        (0..=30u32)
            .map(|index| f64::from(index) * 30.0)
            .map(|second| (second, pressure(second / 60.0)))
            .collect()
    }

    fn verdict(readings: &[(f64, f64)], warmer: f64) -> Verdict {
        let temperatures: Vec<(f64, f64)> = readings
            .iter()
            .map(|(second, _)| (*second, 15.0 + warmer * second / SECONDS))
            .collect();
        judge(
            readings,
            &temperatures,
            SECONDS,
            &HoldTestSettings::default(),
        )
    }

    /// To the hundredth of a bar that its gauge shows.
    fn shown(bar: f64) -> f64 {
        (bar * 100.0).round() / 100.0
    }

    /// 0.02 bar a minute are 0.3 bar in a quarter of an hour; the medians of the first and last three
    /// readings stand half a minute inside: 3.99 and 3.71 bar, 0.28 apart. 3 % of 3.99 bar are 0.1197 bar,
    /// more than the 0.1 bar.
    #[test]
    fn a_steady_fall_is_a_drop() {
        let found = verdict(&readings(|minute| shown(4.0 - 0.02 * minute)), 0.0);
        assert_eq!(found.outcome, Outcome::Dropped, "{found:?}");
        let figures = found.figures;
        let near = |found: Option<f64>, expected: f64| {
            assert!(
                (found.unwrap() - expected).abs() < 1e-6,
                "{found:?}, not {expected}"
            );
        };
        near(figures.allowed_bar, 0.1197);
        near(figures.start_bar, 3.99);
        near(figures.end_bar, 3.71);
        near(figures.drop_bar, 0.28);
        near(figures.gauge_step_bar, 0.01);
        near(figures.drop_least_bar, 0.3);
        near(figures.drop_most_bar, 0.3);
    }

    /// At 2 bar 3 % are 0.06 bar: the 0.1 bar count. 0.004 bar a minute are 0.06 bar.
    #[test]
    fn a_fall_within_what_is_allowed_is_held() {
        let found = verdict(&readings(|minute| shown(2.0 - 0.004 * minute)), 0.0);
        assert_eq!(found.outcome, Outcome::Held, "{found:?}");
        assert_eq!(found.figures.allowed_bar, Some(0.1));
        let still = verdict(&readings(|_| 2.0), 0.0);
        assert_eq!(still.outcome, Outcome::Held);
        assert!(still.why.contains("did not move at all"), "{}", still.why);
        assert_eq!(still.figures.gauge_step_bar, None);
    }

    #[test]
    fn a_rise_says_nothing_of_leaks() {
        let found = verdict(&readings(|minute| 4.0 + 0.02 * minute), 0.0);
        assert_eq!(found.outcome, Outcome::Inconclusive);
        assert!(found.why.contains("rose"), "{}", found.why);
    }

    /// 2 K may move it by 0.6 bar: a fall of 0.28 is not a leak for sure, and none at all may hide one.
    /// One by 2.8 bar is far beyond.
    #[test]
    fn a_change_of_temperature_is_told_from_a_leak_only_far_beyond_it() {
        for fall in [0.0, 0.02] {
            for warmer in [2.0, -2.0] {
                let found = verdict(&readings(|minute| shown(4.0 - fall * minute)), warmer);
                assert_eq!(found.outcome, Outcome::Inconclusive, "{fall} {found:?}");
                assert!(found.why.contains("temperature"), "{}", found.why);
            }
        }
        let found = verdict(&readings(|minute| shown(4.0 - 0.2 * minute)), -2.0);
        assert_eq!(found.outcome, Outcome::Dropped);
        // 0.3 K explain 0.09 bar, less than is allowed.
        let found = verdict(&readings(|minute| shown(4.0 - 0.02 * minute)), -0.3);
        assert_eq!(found.outcome, Outcome::Dropped);
    }

    /// A gauge of tenths of a bar shows a fall of 0.06 bar as one step of 0.1, which may be 0 or 0.2.
    #[test]
    fn a_coarse_gauge_decides_only_what_it_can() {
        let tenths = |bar: f64| (bar * 10.0).round() / 10.0;
        let found = verdict(&readings(|minute| tenths(4.07 - 0.004 * minute)), 0.0);
        assert_eq!(found.outcome, Outcome::Inconclusive, "{found:?}");
        let found = verdict(&readings(|minute| tenths(4.0 - 0.05 * minute)), 0.0);
        assert_eq!(found.outcome, Outcome::Dropped, "{found:?}");
        let found = verdict(&readings(|_| tenths(4.0)), 0.0);
        assert_eq!(found.outcome, Outcome::Held);
    }

    /// A fitting that lets go shows as two values a bar apart: a fall, not the step of a gauge.
    #[test]
    fn a_sudden_fall_is_a_drop() {
        let found = verdict(
            &readings(|minute| if minute < 7.0 { 4.0 } else { 3.0 }),
            0.0,
        );
        assert_eq!(found.outcome, Outcome::Dropped, "{found:?}");
    }

    #[test]
    fn too_few_readings_and_gaps_say_nothing() {
        let all = readings(|minute| 4.0 - 0.02 * minute);
        let few: Vec<(f64, f64)> = all.iter().copied().step_by(4).collect();
        let found = verdict(&few, 0.0);
        assert_eq!(found.outcome, Outcome::Inconclusive);
        assert!(found.why.contains("only 8 readings"), "{}", found.why);
        // Nothing between the fourth and the tenth minute, and nothing after the ninth.
        let outside = |from: f64, to: f64| {
            let kept = all.iter().copied();
            kept.filter(|(second, _)| *second <= from * 60.0 || *second >= to * 60.0)
                .collect::<Vec<_>>()
        };
        for (from, to) in [(4.0, 10.0), (9.0, 16.0)] {
            let found = verdict(&outside(from, to), 0.0);
            assert_eq!(found.outcome, Outcome::Inconclusive);
            assert!(found.why.contains("silent for 6 min"), "{}", found.why);
        }
    }

    /// Without a thermometer the verdict stands, with a word about it.
    #[test]
    fn no_thermometer_is_told() {
        let found = judge(
            &readings(|_| 4.0),
            &[],
            SECONDS,
            &HoldTestSettings::default(),
        );
        assert_eq!(found.outcome, Outcome::Held);
        assert!(found.why.contains("no thermometer"), "{}", found.why);
    }
}
