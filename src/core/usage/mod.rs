//! The unit's own use of water: litres by the owner's day for the last weeks, and by the month for
//! two years. `outlook` makes a forecast of them.
//!
//! A day's litres are the totals less what they were when it began, so that nothing needs writing
//! while water is made. A day counts as a day of use only when its beginning and its end were seen:
//! what was made on others is kept in the month's sums and left out of the use. An unset clock ends
//! no day; one that jumps makes days that are left out or lie in the future, where nobody looks.

mod outlook;
#[cfg(test)]
mod tests;
mod weeks;

use jiff::{
    civil::{Date, date},
    tz::TimeZone,
};
use serde::{Deserialize, Serialize};

pub use outlook::Span;
pub(super) use outlook::{FARTHEST, Rate, Start};

use super::water::{Totals, Volumes};
use crate::{
    config::StageWater,
    metrics::rounded,
    quantity::Volume,
    time::{Now, Wall},
};

/// Eight weeks, and the day that is just over.
const LONGEST_DAYS: usize = 57;
/// Two years and the month that goes on.
const LONGEST_MONTHS: usize = 25;
/// Kept in tenths of a litre.
const DECIMALS: u8 = 1;

/// What is kept of the use.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct UsageState {
    /// The day that goes on.
    open: Option<OpenDay>,
    /// Whole days in their order: day since 1970-01-01, litres of feed and of permeate.
    days: Vec<(i32, f64, f64)>,
    /// Months in their order.
    months: Vec<Month>,
    /// Litres of feed and permeate on days that were not seen whole: left out of the use.
    left_out: [f64; 2],
}

/// A day that goes on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct OpenDay {
    day: i32,
    /// Whether its beginning was seen.
    whole: bool,
    /// The totals when it began, litres of feed, permeate and concentrate.
    base: [f64; 3],
}

/// The use of a month.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Month {
    /// Months since the year 0.
    month: i32,
    /// Whole days.
    days: u16,
    /// Litres of feed and permeate on them.
    used: [f64; 2],
    /// Litres of feed, permeate and concentrate on all its days.
    litres: [f64; 3],
}

/// The unit's use, and what is to be expected of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Usage {
    state: UsageState,
    /// The open day as milliseconds of the wall clock.
    span: Option<(i64, i64)>,
    /// Of feed and permeate.
    rates: [Option<Rate>; 2],
}

impl Usage {
    pub fn new(state: UsageState) -> Self {
        Self {
            state,
            ..Self::default()
        }
    }

    pub fn state(&self) -> &UsageState {
        &self.state
    }

    /// Follows the calendar. Returns whether another day began.
    pub fn look(&mut self, now: Now, totals: &Totals, zone: &TimeZone) -> bool {
        let Some(wall) = now.date() else { return false };
        if self
            .span
            .is_some_and(|(from, to)| (from..to).contains(&wall.0))
        {
            return false;
        }
        let Some(day) = wall.day_in(zone) else {
            return false;
        };
        self.span = span_of(day, zone);
        self.turn(number_of(day), litres(totals));
        let places = [|day: &(i32, f64, f64)| day.1, |day: &(i32, f64, f64)| day.2];
        self.rates = [0, 1].map(|kind| {
            let days = self.state.days.iter();
            let days: Vec<(i32, f64)> = days.map(|day| (day.0, places[kind](day))).collect();
            let months = self.state.months.iter();
            let months: Vec<(i32, u16, f64)> = months
                .map(|month| (month.month, month.days, month.used[kind]))
                .collect();
            Rate::of(&days, &months, day)
        });
        true
    }

    fn turn(&mut self, today: i32, total: [f64; 3]) {
        let mut whole = false;
        if let Some(open) = self.state.open {
            if open.day == today {
                return;
            }
            let next = today == open.day + 1;
            whole = next;
            self.close(open, open.whole && next, today, total);
        }
        let mut base = total;
        let at = self.state.days.iter().position(|day| day.0 == today);
        if let Some(at) = at {
            // A clock put back: the day goes on.
            let (day, feed, permeate) = self.state.days.remove(at);
            let month = self.month(month_of(day));
            month.days = month.days.saturating_sub(1);
            for (kind, litres) in [feed, permeate].into_iter().enumerate() {
                base[kind] -= litres;
                month.used[kind] -= litres;
                month.litres[kind] -= litres;
            }
            whole = true;
        }
        self.state.open = Some(OpenDay {
            day: today,
            whole,
            base,
        });
    }

    fn close(&mut self, open: OpenDay, whole: bool, today: i32, total: [f64; 3]) {
        let sums = since(&open.base, &total).map(|litres| rounded(litres, DECIMALS));
        let month = self.month(month_of(open.day));
        for (sum, litres) in month.litres.iter_mut().zip(sums) {
            *sum = rounded(*sum + litres, DECIMALS);
        }
        let kept = if whole {
            month.days += 1;
            &mut month.used
        } else {
            &mut self.state.left_out
        };
        for (sum, litres) in kept.iter_mut().zip(sums) {
            *sum = rounded(*sum + litres, DECIMALS);
        }
        if whole {
            let days = &mut self.state.days;
            let at = days.partition_point(|day| day.0 < open.day);
            days.insert(at, (open.day, sums[0], sums[1]));
            if days.len() > LONGEST_DAYS {
                days.remove(surplus(days.iter().map(|day| day.0), today));
            }
        }
        if self.state.months.len() > LONGEST_MONTHS {
            let months = self.state.months.iter().map(|month| month.month);
            let at = surplus(months, month_of(today));
            self.state.months.remove(at);
        }
    }

    fn month(&mut self, number: i32) -> &mut Month {
        let months = &mut self.state.months;
        let at = months.partition_point(|month| month.month < number);
        if months.get(at).is_none_or(|month| month.month != number) {
            let month = number;
            months.insert(
                at,
                Month {
                    month,
                    ..Month::default()
                },
            );
        }
        &mut months[at]
    }

    /// The use that is to be expected of a kind of water; `None` before a week of whole days was seen.
    pub fn rate(&self, water: StageWater) -> Option<&Rate> {
        match water {
            StageWater::Feed => self.rates[0].as_ref(),
            StageWater::Permeate => self.rates[1].as_ref(),
        }
    }

    /// Litres since the owner's day began, as far as the clock was set; `None` before it was.
    pub fn today(&self, totals: &Totals) -> Option<Volumes> {
        let open = self.state.open?;
        Some(volumes(since(&open.base, &litres(totals))))
    }

    /// Litres since the owner's month began, as far as the clock was set; `None` before it was.
    pub fn month_so_far(&self, totals: &Totals) -> Option<Volumes> {
        let open = self.state.open?;
        let number = month_of(open.day);
        let mut sums = since(&open.base, &litres(totals));
        if let Some(month) = self.state.months.iter().find(|month| month.month == number) {
            for (sum, litres) in sums.iter_mut().zip(month.litres) {
                *sum += litres.max(0.0);
            }
        }
        Some(volumes(sums))
    }

    /// Litres of feed and permeate that were made on days not seen whole, and are left out of the
    /// use.
    pub fn left_out(&self) -> [Volume; 2] {
        self.state.left_out.map(Volume::from_litres)
    }
}

/// Which of too many goes: one that a jumping clock left in the future, else the oldest.
fn surplus(
    mut numbers: impl ExactSizeIterator<Item = i32> + DoubleEndedIterator,
    today: i32,
) -> usize {
    let last = numbers.len() - 1;
    match numbers.next_back() {
        Some(newest) if newest > today => last,
        Some(_) | None => 0,
    }
}

fn litres(totals: &Totals) -> [f64; 3] {
    [totals.feed, totals.permeate, totals.concentrate].map(Volume::litres)
}

fn since(base: &[f64; 3], total: &[f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|kind| (total[kind] - base[kind]).max(0.0))
}

fn volumes(litres: [f64; 3]) -> Volumes {
    let [feed, permeate, concentrate] = litres.map(Volume::from_litres);
    Volumes {
        feed,
        permeate,
        concentrate,
    }
}

/// When a day begins and ends there, in milliseconds of the wall clock.
fn span_of(day: Date, zone: &TimeZone) -> Option<(i64, i64)> {
    let begins = |day: Date| {
        let midnight = day.to_zoned_datetime(zone.clone()).ok()?;
        Some(midnight.timestamp().as_millisecond())
    };
    Some((begins(day)?, begins(day.tomorrow().ok()?)?))
}

/// Days since 1970-01-01.
fn number_of(day: Date) -> i32 {
    day.since(date(1970, 1, 1))
        .map_or(0, |span| span.get_days())
}

/// The day of a number; the last there is when it lies beyond.
fn day_of(number: i32) -> Date {
    let span = jiff::Span::new().try_days(number);
    let day = span.and_then(|span| date(1970, 1, 1).checked_add(span));
    day.unwrap_or(Date::MAX)
}

fn month_of(number: i32) -> i32 {
    month_number(day_of(number))
}

fn month_number(day: Date) -> i32 {
    i32::from(day.year()) * 12 + i32::from(day.month()) - 1
}

/// Where in the owner's calendar a moment lies; `None` while the clock is not set.
pub(super) fn start(now: Now, zone: &TimeZone) -> Option<Start> {
    let day = now.date()?.day_in(zone)?;
    let (from, to) = span_of(day, zone)?;
    let part = (now.wall.0 - from) as f64 / (to - from).max(1) as f64;
    Some(Start {
        day,
        part: part.clamp(0.0, 1.0),
    })
}

/// The owner's day so many days from now; `None` beyond what calendars hold.
pub(super) fn day_ahead(now: Now, days: f64, zone: &TimeZone) -> Option<Date> {
    /// Milliseconds of a day.
    const DAY: f64 = 86_400_000.0;
    let ahead = (days * DAY).is_finite().then_some((days * DAY) as i64)?;
    Wall(now.date()?.0.checked_add(ahead)?).day_in(zone)
}
