//! The use that is to be expected: a level by the weeks, a pattern by the days of the week, a season
//! by last year's months, and how far all that may be off.

use jiff::civil::Date;

use super::{
    month_number, number_of,
    weeks::{Week, kept, of_monday, of_week, present, squares},
};

/// Weeks that are looked at.
pub(super) const WEEKS: i32 = 8;
/// Weeks after which one counts half (exponential smoothing, common practice; the span is a choice).
const HALF_LIFE: f64 = 4.0;
/// How the use of a week scatters before it is known (relative, an assumption), and how many weeks
/// that weighs.
const USUAL_SCATTER: f64 = 0.3;
pub(super) const USUAL_WEIGHT: f64 = 2.0;
/// Weeks that the even pattern weighs against a day's own mean.
const EVEN_WEIGHT: f64 = 4.0;
/// How far habits drift: relative, by the square root of the weeks, and at most (an assumption; the
/// season of the first year is part of it).
const DRIFT: f64 = 0.03;
const LARGEST_DRIFT: f64 = 0.2;
/// Half the width of a band that holds 90 % of a normal distribution, in standard deviations.
const BAND_90: f64 = 1.645;
/// A month tells of a season with so many whole days.
const LEAST_MONTH: u16 = 14;
/// No month uses more than so many times another, as far as is believed.
const LARGEST_SEASON: f64 = 2.0;
/// So far by single days; the pattern of the week evens out beyond.
const BY_DAY: i32 = 28;
/// Nobody plans further ahead, days.
pub(in crate::core) const FARTHEST: f64 = 5.0 * 365.0;

/// The use of one kind of water, to be expected.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::core) struct Rate {
    /// L/day, the mean over a week now.
    pub level: f64,
    /// Relative standard deviation of a week's use.
    scatter: f64,
    /// Even weeks that the level is worth.
    weeks: f64,
    /// Factors of Monday to Sunday.
    weekday: [f64; 7],
    /// Factors of January to December against now.
    season: [f64; 12],
    /// The last week's use, L/day, if it was not believed for being large: it may go on so.
    surge: Option<f64>,
}

/// Where in the owner's calendar one stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::core) struct Start {
    /// The day.
    pub day: Date,
    /// The part of it that is over, 0–1.
    pub part: f64,
}

/// A number of days; infinite where it is not in sight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The fewest, of a band that should hold 90 %.
    pub low: f64,
    /// The likely number.
    pub likely: f64,
    /// The most.
    pub high: f64,
}

impl Span {
    /// Nothing is left.
    pub(in crate::core) const OVER: Self = Self {
        low: 0.0,
        likely: 0.0,
        high: 0.0,
    };
}

impl Rate {
    /// From whole days (day since 1970, litres) and months (number, whole days, litres); `None` before
    /// there is a week.
    pub fn of(days: &[(i32, f64)], months: &[(i32, u16, f64)], today: Date) -> Option<Self> {
        let number = number_of(today);
        let present = present(days, number);
        let days = present.as_slice();
        let factors = weekday(days, 0..WEEKS, number);
        let weeks: Vec<Week> = (0..WEEKS)
            .filter_map(|age| Week::of(days, &factors, number, age))
            .collect();
        let kept = kept(&weeks)?;
        let weight = |week: &Week| 0.5_f64.powf(f64::from(week.age) / HALF_LIFE);
        let all: f64 = kept.iter().map(&weight).sum();
        let squares: f64 = kept.iter().map(|week| weight(week).powi(2)).sum();
        let level = kept
            .iter()
            .map(|week| weight(week) * week.use_)
            .sum::<f64>()
            / all;
        let newest = weeks.first().filter(|week| week.age == 0);
        let left_out = newest.filter(|newest| !kept.contains(newest));
        Some(Self {
            level,
            scatter: scatter(&kept, level),
            weeks: all * all / squares,
            weekday: weekday(days, kept.iter().map(|week| week.age), number),
            season: season(months, today),
            surge: left_out.map(|week| week.use_).filter(|used| *used > level),
        })
    }

    /// An even use as it was over the first `days`, of which nothing more is known.
    pub fn even(level: f64, days: f64) -> Self {
        Self {
            level,
            scatter: USUAL_SCATTER,
            weeks: (days / 7.0).max(1.0 / 7.0),
            weekday: [1.0; 7],
            season: [1.0; 12],
            surge: None,
        }
    }

    /// How long so many litres last: the least, likely and most there are.
    pub fn span(&self, litres: [f64; 3], start: Start) -> Span {
        let [least, likely, most] = litres;
        let middle = self.days(likely, start);
        if !middle.is_finite() {
            return Span {
                low: self.days(least, start),
                likely: middle,
                high: middle,
            };
        }
        let reach = BAND_90 * self.deviation(middle);
        // Two causes that know nothing of each other.
        let low = if least > 0.0 {
            likely * (-reach.hypot((likely / least).ln())).exp()
        } else {
            0.0
        };
        let high = if likely > 0.0 {
            likely * reach.hypot((most / likely).ln()).exp()
        } else {
            most * reach.exp()
        };
        let surge = self.surge.map_or(f64::INFINITY, |surge| {
            self.days(least * self.level / surge, start)
        });
        Span {
            low: self.days(low, start).min(surge),
            likely: middle,
            high: self.days(high, start),
        }
    }

    /// Relative standard deviation of the mean use over so many days ahead: of the level, of the weeks
    /// to come, and of what habits do.
    fn deviation(&self, days: f64) -> f64 {
        let weeks = (days / 7.0).max(1.0 / 7.0);
        let known = self.scatter.powi(2) * (1.0 / self.weeks + 1.0 / weeks);
        let drift = (DRIFT * weeks.sqrt()).min(LARGEST_DRIFT);
        (known + drift.powi(2)).sqrt()
    }

    /// Days until so many litres are used; infinite beyond [`FARTHEST`].
    pub(super) fn days(&self, litres: f64, start: Start) -> f64 {
        if litres <= 0.0 {
            return 0.0;
        }
        if self.level <= 0.0 {
            return f64::INFINITY;
        }
        let (mut left, mut days) = (litres, 0.0);
        let mut date = start.day;
        while days <= FARTHEST {
            let ends = date.last_of_month();
            let month = self.level * self.season[usize::from(date.month().unsigned_abs()) - 1];
            let length = i32::from(ends.day() - date.day()) + 1;
            for _ in 0..length {
                if days >= f64::from(BY_DAY) {
                    break;
                }
                let today = month * self.of_day(date, start.part);
                if left <= today {
                    return days + left / today;
                }
                left -= today;
                days += 1.0;
                let Ok(next) = date.tomorrow() else {
                    return f64::INFINITY;
                };
                date = next;
            }
            if date <= ends {
                let length = f64::from(ends.day() - date.day()) + 1.0;
                if left <= month * length {
                    return days + left / month;
                }
                left -= month * length;
                days += length;
                let Ok(next) = ends.tomorrow() else {
                    return f64::INFINITY;
                };
                date = next;
            }
        }
        f64::INFINITY
    }

    /// The factor of 24 hours that begin in the course of a day.
    fn of_day(&self, day: Date, part: f64) -> f64 {
        let at = usize::from(day.weekday().to_monday_zero_offset().unsigned_abs());
        self.weekday[at] * (1.0 - part) + self.weekday[(at + 1) % 7] * part
    }
}

fn scatter(kept: &[Week], level: f64) -> f64 {
    if level <= 0.0 {
        return USUAL_SCATTER;
    }
    let squares = squares(kept, level) + USUAL_WEIGHT * USUAL_SCATTER.powi(2);
    (squares / (kept.len() as f64 - 1.0 + USUAL_WEIGHT)).sqrt()
}

/// Factors of Monday to Sunday, from the weeks of these ages.
fn weekday(days: &[(i32, f64)], ages: impl Iterator<Item = i32>, today: i32) -> [f64; 7] {
    let (mut sums, mut counts) = ([0.0; 7], [0.0; 7]);
    for age in ages {
        for (day, litres) in of_week(days, today, age) {
            sums[of_monday(*day)] += litres;
            counts[of_monday(*day)] += 1.0;
        }
    }
    let mean = sums.iter().sum::<f64>() / counts.iter().sum::<f64>();
    if mean.is_nan() || mean <= 0.0 {
        return [1.0; 7];
    }
    let shrunk: [f64; 7] = [0, 1, 2, 3, 4, 5, 6]
        .map(|at| (sums[at] / mean + EVEN_WEIGHT) / (counts[at] + EVEN_WEIGHT));
    let whole = shrunk.iter().sum::<f64>() / 7.0;
    shrunk.map(|factor| factor / whole)
}

/// Last year's months against the same weeks of last year; one year counts half, two count two
/// thirds.
fn season(months: &[(i32, u16, f64)], today: Date) -> [f64; 12] {
    let number = month_number(today);
    let mean = |wanted: &[i32]| {
        let told = months.iter().filter(|month| wanted.contains(&month.0));
        let (days, litres) = told.fold((0, 0.0), |sum, month| (sum.0 + month.1, sum.1 + month.2));
        let least = LEAST_MONTH * u16::try_from(wanted.len()).unwrap_or(u16::MAX);
        (days >= least && litres > 0.0).then(|| litres / f64::from(days))
    };
    let mut factors = [1.0; 12];
    for ahead in 0..12 {
        let ratios: Vec<f64> = [12, 24]
            .into_iter()
            .filter_map(|ago| {
                let then = number - ago;
                let ratio = mean(&[then + ahead])? / mean(&[then - 1, then])?;
                Some(ratio.clamp(1.0 / LARGEST_SEASON, LARGEST_SEASON).ln())
            })
            .collect();
        let years = ratios.len() as f64;
        let at = (number + ahead).rem_euclid(12) as usize;
        factors[at] = (ratios.iter().sum::<f64>() / (years + 1.0)).exp();
    }
    factors
}
