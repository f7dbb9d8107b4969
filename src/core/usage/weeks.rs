//! Weeks of use, and which of them tell of the present habit: absences, single great days and old
//! habits do not.

use super::outlook::{USUAL_WEIGHT, WEEKS};
use crate::physics::statistics::{DEVIATION_PER_MAD, median};

/// A week counts with so many known days.
const LEAST_DAYS: usize = 4;
/// A week further from the median than so many deviations counts less, at twice as many not at all: the
/// Hampel identifier (Davies and Gather, J. Am. Stat. Assoc. 88 (1993) 782: from memory), made smooth.
const OUTLYING: f64 = 3.0;
/// Weeks scatter at least so much, as a share of the median: few weeks may lie close by chance.
const LEAST_SCATTER: f64 = 0.2;
/// Weeks in a row at another level are a new habit, not an exception.
const STEP_WEEKS: usize = 3;
/// … when the two means lie so many standard errors apart: chance alone does that once in some years.
const STEP: f64 = 3.5;
/// Below this share of the old level nobody is at home: that is no habit.
const ABSENCE: f64 = 0.2;
/// So many days in a row with next to no use are an absence …
const ABSENT_DAYS: usize = 5;
/// … unless it happens more often than this in the weeks looked at, or takes more than half of them:
/// then water is simply made seldom.
const ABSENCES: usize = 2;
/// Next to no use, as a share of the middle day with use.
const IDLE: f64 = 0.05;
/// Below this share of the mean the median week is an idle one: water is made seldom and much.
const LUMPY: f64 = 0.1;

/// Seven days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Week {
    /// Whole weeks since it ended.
    pub age: i32,
    /// L/day.
    pub use_: f64,
}

impl Week {
    /// Of days that are missing their own place in the week is missing, too.
    pub(super) fn of(
        days: &[(i32, f64)],
        factors: &[f64; 7],
        today: i32,
        age: i32,
    ) -> Option<Self> {
        let known: Vec<&(i32, f64)> = of_week(days, today, age).collect();
        let litres: f64 = known.iter().map(|day| day.1).sum();
        let factors = known.iter().map(|day| factors[of_monday(day.0)]);
        let share = if known.len() == 7 { 7.0 } else { factors.sum() };
        (known.len() >= LEAST_DAYS).then(|| Self {
            age,
            use_: litres / share,
        })
    }
}

/// 0 for a Monday to 6 for a Sunday: 1970-01-01 was a Thursday.
pub(super) fn of_monday(day: i32) -> usize {
    (day + 3).rem_euclid(7) as usize
}

/// The days of the weeks looked at, without absences.
pub(super) fn present(days: &[(i32, f64)], today: i32) -> Vec<(i32, f64)> {
    let looked_at = today - 7 * WEEKS..today;
    let days = days.iter().filter(|day| looked_at.contains(&day.0));
    let days: Vec<(i32, f64)> = days.copied().collect();
    let mut used: Vec<f64> = days
        .iter()
        .map(|day| day.1)
        .filter(|used| *used > 0.0)
        .collect();
    let idle = IDLE * median(&mut used).unwrap_or(0.0);
    let runs = days.chunk_by(|one, other| (one.1 <= idle) == (other.1 <= idle));
    let absent = |run: &&[(i32, f64)]| run[0].1 <= idle && run.len() >= ABSENT_DAYS;
    let lengths: Vec<usize> = runs.clone().filter(absent).map(<[_]>::len).collect();
    if lengths.len() > ABSENCES || 2 * lengths.iter().sum::<usize>() > days.len() {
        return days;
    }
    runs.filter(|run| !absent(run)).flatten().copied().collect()
}

pub(super) fn of_week(
    days: &[(i32, f64)],
    today: i32,
    age: i32,
) -> impl Iterator<Item = &(i32, f64)> {
    let ends = today - 7 * age;
    days.iter()
        .filter(move |day| (ends - 7..ends).contains(&day.0))
}

/// The weeks that tell of the present habit, newest first.
pub(super) fn kept(weeks: &[Week]) -> Option<Vec<Week>> {
    let middle = middle(weeks)?;
    if weeks.len() < STEP_WEEKS || middle < LUMPY * mean(weeks) {
        return Some(weeks.to_vec());
    }
    if let Some(weeks) = after_step(weeks) {
        return Some(weeks.to_vec());
    }
    let reach = OUTLYING * spread(weeks, middle);
    // No week is in today and out tomorrow: from one reach to two it counts less and less.
    let believed = |week: &Week| {
        let away = week.use_ - middle;
        let counted = away.abs().min((2.0 * reach - away.abs()).max(0.0));
        Week {
            use_: middle + counted.copysign(away),
            ..*week
        }
    };
    let is_near = |week: &&Week| (week.use_ - middle).abs() < 2.0 * reach || reach == 0.0;
    Some(weeks.iter().filter(is_near).map(believed).collect())
}

/// The newest weeks, if they stand at another level than those before: Student's comparison of two
/// means (common practice), at the place that parts them best.
fn after_step(weeks: &[Week]) -> Option<&[Week]> {
    let places = STEP_WEEKS..=weeks.len().checked_sub(STEP_WEEKS)?;
    let parted = places.filter_map(|at| {
        let (new, old) = weeks.split_at(at);
        let (new_level, old_level) = (mean(new), mean(old));
        if new_level < ABSENCE * old_level {
            return None;
        }
        let squares = squares(new, new_level) + squares(old, old_level);
        let variance = (squares + USUAL_WEIGHT * LEAST_SCATTER.powi(2))
            / (weeks.len() as f64 - 2.0 + USUAL_WEIGHT);
        let own = variance * (1.0 / new.len() as f64 + 1.0 / old.len() as f64);
        let way = (new_level / old_level).ln().abs() / own.sqrt();
        (way > STEP).then_some((way, new))
    });
    let best = parted.reduce(|best, next| if next.0 > best.0 { next } else { best });
    best.map(|(_, weeks)| weeks)
}

fn mean(weeks: &[Week]) -> f64 {
    weeks.iter().map(|week| week.use_).sum::<f64>() / weeks.len() as f64
}

/// The sum of squares about a level, relative to it.
pub(super) fn squares(weeks: &[Week], level: f64) -> f64 {
    if level <= 0.0 {
        return 0.0;
    }
    let away = |week: &Week| (week.use_ / level - 1.0).powi(2);
    weeks.iter().map(away).sum()
}

fn middle(weeks: &[Week]) -> Option<f64> {
    median(&mut weeks.iter().map(|week| week.use_).collect::<Vec<_>>())
}

/// A robust standard deviation.
fn spread(weeks: &[Week], middle: f64) -> f64 {
    let away = |week: &Week| (week.use_ - middle).abs();
    let mad = median(&mut weeks.iter().map(away).collect::<Vec<_>>()).unwrap_or(0.0);
    (DEVIATION_PER_MAD * mad).max(LEAST_SCATTER * middle)
}
