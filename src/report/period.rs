//! The period of a report: whole days of the owner's calendar, and the days, months or years that its
//! figures are told by. A day has 23 or 25 hours when the clocks change.

use jiff::{ToSpan, civil::Date, tz::TimeZone};

use crate::time::Wall;

/// Days from the first to the one before the last.
#[derive(Clone, Debug, PartialEq)]
pub struct Period {
    /// Its first day.
    pub from: Date,
    /// The first day that is not part of it.
    pub to: Date,
    /// Where days begin.
    pub zone: TimeZone,
}

/// What may be asked for by a word: the last whole one, or everything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// The last month that is over.
    Month,
    /// The last quarter of a year that is over.
    Quarter,
    /// The last year that is over.
    Year,
    /// From the first day on which something was recorded to today.
    All,
}

/// What sums are told by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Each day.
    Day,
    /// Each month.
    Month,
    /// Each year.
    Year,
}

/// A day, month or year of a period, as far as it is part of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Its first day.
    pub day: Date,
    /// `2026-05-01`, `2026-05` or `2026`.
    pub label: String,
    /// Its first moment.
    pub from: Wall,
    /// The first moment after it.
    pub to: Wall,
}

/// With more days than this sums are told by the month …
const MOST_DAYS: i32 = 92;
/// … and with more than this by the year.
const MOST_MONTHS_IN_DAYS: i32 = 5 * 366;

impl Period {
    /// From one day to another that is later.
    ///
    /// # Errors
    /// When it is not, or a day lies beyond the calendar, in words.
    pub fn new(from: Date, to: Date, zone: &TimeZone) -> Result<Self, String> {
        if to <= from {
            return Err(format!(
                "the period ends on {to}, which must be later than its beginning {from} (the end is the \
                 first day that is not part of it)"
            ));
        }
        for day in [from, to] {
            if !(2000..=9000).contains(&day.year()) {
                return Err(format!("{day} is beyond the years 2000 to 9000"));
            }
        }
        Ok(Self {
            from,
            to,
            zone: zone.clone(),
        })
    }

    /// The last whole month, quarter or year before `today`; `None` for everything.
    #[must_use]
    pub fn last_whole(word: Word, today: Date, zone: &TimeZone) -> Option<Self> {
        let months = match word {
            Word::Month => 1,
            Word::Quarter => 3,
            Word::Year => 12,
            Word::All => return None,
        };
        let to = first_of_span(today, months);
        let from = to.checked_sub(i32::from(months).months()).ok()?;
        Self::new(from, to, zone).ok()
    }

    /// Its first moment.
    #[must_use]
    pub fn begin(&self) -> Wall {
        midnight(self.from, &self.zone)
    }

    /// The first moment after it.
    #[must_use]
    pub fn end(&self) -> Wall {
        midnight(self.to, &self.zone)
    }

    /// Whether that moment is part of it.
    #[must_use]
    pub fn contains(&self, at: Wall) -> bool {
        (self.begin()..self.end()).contains(&at)
    }

    /// What its sums are told by.
    #[must_use]
    pub fn step(&self) -> Step {
        let days = self.days();
        if days <= MOST_DAYS {
            Step::Day
        } else if days <= MOST_MONTHS_IN_DAYS {
            Step::Month
        } else {
            Step::Year
        }
    }

    /// The number of its days.
    #[must_use]
    pub fn days(&self) -> i32 {
        (self.to - self.from).get_days()
    }

    /// Its days, months or years, one after the other without a gap: together they are the period.
    #[must_use]
    pub fn slots(&self) -> Vec<Slot> {
        let step = self.step();
        let mut slots = Vec::new();
        let mut day = self.from;
        while day < self.to {
            let next = step.next(day).min(self.to);
            slots.push(Slot {
                day,
                label: step.label(day),
                from: midnight(day, &self.zone),
                to: midnight(next, &self.zone),
            });
            day = next;
        }
        slots
    }

    /// Its last day.
    #[must_use]
    pub fn last_day(&self) -> Date {
        self.to.yesterday().unwrap_or(self.to)
    }
}

impl Step {
    /// The first day of the next one. At the calendar's end there is none.
    fn next(self, day: Date) -> Date {
        let next = match self {
            Self::Day => day.tomorrow(),
            Self::Month => day.first_of_month().checked_add(1.month()),
            Self::Year => day.first_of_year().checked_add(1.year()),
        };
        next.unwrap_or(Date::MAX)
    }

    fn label(self, day: Date) -> String {
        match self {
            Self::Day => day.to_string(),
            Self::Month => format!("{:04}-{:02}", day.year(), day.month()),
            Self::Year => format!("{:04}", day.year()),
        }
    }
}

/// The first day of the span of so many months that `day` lies in.
fn first_of_span(day: Date, months: i8) -> Date {
    let month = (day.month() - 1) / months * months + 1;
    Date::new(day.year(), month, 1).unwrap_or(day)
}

/// The first moment of a day: one o'clock where the clocks go forward at midnight.
#[must_use]
pub fn midnight(day: Date, zone: &TimeZone) -> Wall {
    let zoned = day.to_zoned_datetime(zone.clone());
    // Only a day at the very end of the calendar has no moment; a period holds none.
    Wall(zoned.map_or(i64::MAX, |zoned| zoned.timestamp().as_millisecond()))
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;

    fn zone(name: &str) -> TimeZone {
        TimeZone::get(name).unwrap()
    }

    fn hours(slot: &Slot) -> i64 {
        (slot.to.0 - slot.from.0) / 3_600_000
    }

    /// Clocks change in Berlin on 2026-03-29 and 2026-10-25, in Cairo (at midnight) on 2026-04-24: IANA
    /// time zone database.
    #[test]
    fn days_have_23_or_25_hours_when_the_clocks_change() {
        let berlin = zone("Europe/Berlin");
        let days = Period::new(date(2026, 3, 28), date(2026, 3, 31), &berlin)
            .unwrap()
            .slots();
        assert_eq!(days.iter().map(hours).collect::<Vec<_>>(), [24, 23, 24]);
        let days = Period::new(date(2026, 10, 25), date(2026, 10, 26), &berlin)
            .unwrap()
            .slots();
        assert_eq!(hours(&days[0]), 25);
        let cairo =
            Period::new(date(2026, 4, 23), date(2026, 4, 26), &zone("Africa/Cairo")).unwrap();
        let days = cairo.slots();
        assert_eq!(days.iter().map(hours).collect::<Vec<_>>(), [24, 23, 24]);
        assert_eq!(days[1].from.to_rfc3339(), "2026-04-23T22:00:00.000Z");
    }

    #[test]
    fn the_last_whole_one_is_over() {
        let utc = TimeZone::UTC;
        let last = |word, today| {
            let period = Period::last_whole(word, today, &utc).unwrap();
            (period.from, period.to)
        };
        let today = date(2026, 1, 1);
        assert_eq!(last(Word::Month, today), (date(2025, 12, 1), today));
        assert_eq!(last(Word::Quarter, today), (date(2025, 10, 1), today));
        assert_eq!(last(Word::Year, today), (date(2025, 1, 1), today));
        let today = date(2026, 8, 31);
        assert_eq!(
            last(Word::Month, today),
            (date(2026, 7, 1), date(2026, 8, 1))
        );
        assert_eq!(
            last(Word::Quarter, today),
            (date(2026, 4, 1), date(2026, 7, 1))
        );
        assert_eq!(
            last(Word::Year, today),
            (date(2025, 1, 1), date(2026, 1, 1))
        );
        assert_eq!(Period::last_whole(Word::All, today, &utc), None);
    }

    #[test]
    fn a_period_that_ends_before_it_begins_is_refused() {
        let same = Period::new(date(2026, 1, 1), date(2026, 1, 1), &TimeZone::UTC);
        assert!(same.unwrap_err().contains("later than its beginning"));
        let far = Period::new(date(2026, 1, 1), Date::MAX, &TimeZone::UTC);
        assert!(far.unwrap_err().contains("beyond the years"));
    }

    #[test]
    fn months_and_years_are_cut_to_the_period() {
        let period = Period::new(date(2026, 1, 20), date(2026, 6, 5), &TimeZone::UTC).unwrap();
        let slots = period.slots();
        let labels: Vec<&str> = slots.iter().map(|slot| slot.label.as_str()).collect();
        assert_eq!(
            labels,
            [
                "2026-01", "2026-02", "2026-03", "2026-04", "2026-05", "2026-06"
            ]
        );
        assert_eq!((hours(&slots[0]), hours(&slots[5])), (12 * 24, 4 * 24));
        let decade = Period::new(date(2020, 7, 1), date(2027, 2, 1), &TimeZone::UTC).unwrap();
        assert_eq!(decade.slots().len(), 8);
    }

    proptest! {
        #[test]
        fn slots_follow_each_other_and_make_up_the_period(
            first in 0_i32..3000,
            days in 1_i32..4000,
            place in prop::sample::select(vec!["Europe/Berlin", "America/New_York", "Africa/Cairo", "Australia/Lord_Howe", "America/Havana"]),
        ) {
            let from = date(2022, 1, 1).checked_add(first.days()).unwrap();
            let to = from.checked_add(days.days()).unwrap();
            let period = Period::new(from, to, &zone(place)).unwrap();
            let slots = period.slots();
            prop_assert_eq!(slots[0].from, period.begin());
            prop_assert_eq!(slots[slots.len() - 1].to, period.end());
            for pair in slots.windows(2) {
                prop_assert_eq!(pair[0].to, pair[1].from);
            }
            prop_assert!(slots.iter().all(|slot| slot.from < slot.to));
        }
    }
}
