//! What was spent by the calendar of the owner's time zone: today, this month, the last whole month.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::Spent;

/// Sums by the calendar. What is booked while the clock is not set waits for the first day it tells;
/// what became known only after the service was away counts on the day it became known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Days {
    /// The day it is.
    pub day: Option<Date>,
    /// Spent on that day.
    pub today: Spent,
    /// Spent in its month.
    pub month: Spent,
    /// Whether costs were kept from that month's first moment on.
    month_is_whole: bool,
    /// The month before, if costs were kept all through it.
    pub last_month: Option<Spent>,
    /// Spent while no day was known.
    undated: Spent,
}

/// A clock that is put right by less than this turns no day back.
const SMALLEST_STEP_BACK_HOURS: i64 = 48;

impl Days {
    /// Adds what was spent, and turns the page when another day has come.
    pub(super) fn add(&mut self, day: Option<Date>, spent: &Spent) {
        self.undated.add(spent);
        if let Some(day) = day {
            self.turn_to(day);
            let waited = std::mem::take(&mut self.undated);
            self.today.add(&waited);
            self.month.add(&waited);
        }
    }

    fn turn_to(&mut self, day: Date) {
        let Some(old) = self.day else {
            self.day = Some(day);
            return;
        };
        let ahead = day.duration_since(old).as_hours();
        if day == old || (ahead < 0 && -ahead < SMALLEST_STEP_BACK_HOURS) {
            return;
        }
        let month = |date: Date| i32::from(date.year()) * 12 + i32::from(date.month());
        let months = month(day) - month(old);
        if months != 0 {
            let ended = std::mem::take(&mut self.month);
            self.last_month = (months == 1 && self.month_is_whole).then_some(ended);
            self.month_is_whole = months == 1;
        }
        self.today = Spent::default();
        self.day = Some(day);
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn water(cost: f64) -> Spent {
        Spent {
            water: cost,
            ..Spent::default()
        }
    }

    #[test]
    fn days_and_months_begin_anew() {
        let mut days = Days::default();
        days.add(Some(date(2026, 9, 29)), &water(1.0));
        days.add(Some(date(2026, 9, 30)), &water(2.0));
        assert_eq!((days.today.water, days.month.water), (2.0, 3.0));
        // September was not whole: costs were kept from the 29th on.
        days.add(Some(date(2026, 10, 1)), &water(4.0));
        assert_eq!((days.today.water, days.month.water), (4.0, 4.0));
        assert_eq!(days.last_month, None);
        days.add(Some(date(2026, 10, 31)), &water(8.0));
        days.add(Some(date(2026, 11, 1)), &water(0.0));
        assert_eq!(days.last_month, Some(water(12.0)));
        assert_eq!((days.today.water, days.month.water), (0.0, 0.0));
        // A month that was left out entirely tells nothing of the one before.
        days.add(Some(date(2027, 1, 5)), &water(1.0));
        assert_eq!(days.last_month, None);
    }

    #[test]
    fn what_no_day_is_known_of_waits_for_the_first() {
        let mut days = Days::default();
        days.add(None, &water(1.0));
        assert_eq!((days.day, days.today), (None, Spent::default()));
        days.add(Some(date(2026, 9, 29)), &water(2.0));
        assert_eq!((days.today.water, days.month.water), (3.0, 3.0));
        days.add(None, &water(5.0));
        assert_eq!(days.today.water, 3.0);
        days.add(Some(date(2026, 9, 30)), &water(0.0));
        assert_eq!((days.today.water, days.month.water), (5.0, 8.0));
    }

    #[test]
    fn a_clock_put_right_at_midnight_turns_no_day_back() {
        let mut days = Days::default();
        days.add(Some(date(2026, 9, 30)), &water(1.0));
        days.add(Some(date(2026, 10, 1)), &water(2.0));
        days.add(Some(date(2026, 9, 30)), &water(4.0));
        assert_eq!((days.day, days.today.water), (Some(date(2026, 10, 1)), 6.0));
        // One that was years ahead does.
        days.add(Some(date(2024, 1, 1)), &water(8.0));
        assert_eq!((days.day, days.today.water), (Some(date(2024, 1, 1)), 8.0));
        assert_eq!((days.month.water, days.last_month), (8.0, None));
    }
}
