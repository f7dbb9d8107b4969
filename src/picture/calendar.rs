//! Ticks of a time axis: round moments of the owner's clock, from minutes to years, whatever the clocks
//! do in spring and autumn.

use jiff::{
    SignedDuration, Span, Timestamp, ToSpan,
    civil::{Date, DateTime, Time, Weekday},
    tz::TimeZone,
};

use crate::time::Wall;

/// A tick: when, what stands at it, and the larger time it begins, where that is to be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Tick {
    pub at: Wall,
    pub text: String,
    pub larger: Option<String>,
}

/// The distance of two ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    Minutes(i64),
    /// More than one hour: of the clock, not of the time that passes.
    Hours(i8),
    Days(i64),
    Weeks(i64),
    Months(i8),
    Years(i16),
}

const DAY: f64 = 86_400e3;
/// So many ticks at most.
const MOST: f64 = 7.0;

/// Every step, the finest first, and how long it lasts in milliseconds.
const STEPS: [(Step, f64); 20] = [
    (Step::Minutes(1), 60e3),
    (Step::Minutes(5), 300e3),
    (Step::Minutes(10), 600e3),
    (Step::Minutes(15), 900e3),
    (Step::Minutes(30), 1_800e3),
    (Step::Minutes(60), 3_600e3),
    (Step::Hours(2), 7_200e3),
    (Step::Hours(3), 10_800e3),
    (Step::Hours(6), 21_600e3),
    (Step::Hours(12), 43_200e3),
    (Step::Days(1), DAY),
    (Step::Days(2), 2.0 * DAY),
    (Step::Weeks(1), 7.0 * DAY),
    (Step::Weeks(2), 14.0 * DAY),
    (Step::Months(1), 30.4 * DAY),
    (Step::Months(2), 60.9 * DAY),
    (Step::Months(3), 91.3 * DAY),
    (Step::Months(6), 182.6 * DAY),
    (Step::Years(1), 365.2 * DAY),
    (Step::Years(2), 730.5 * DAY),
];

/// The ticks from `from` to `to`.
pub(super) fn ticks(from: Wall, to: Wall, zone: &TimeZone) -> Vec<Tick> {
    let (Ok(first), Ok(last)) = (
        Timestamp::from_millisecond(from.0),
        Timestamp::from_millisecond(to.0),
    ) else {
        return Vec::new();
    };
    if first >= last {
        return Vec::new();
    }
    let step = step(first, last);
    let moments = match step {
        Step::Minutes(minutes) => by_time(first, last, minutes, zone),
        Step::Hours(_) | Step::Days(_) | Step::Weeks(_) | Step::Months(_) | Step::Years(_) => {
            by_clock(first, last, step, zone)
        }
    };
    label(&moments, step, zone)
}

fn step(first: Timestamp, last: Timestamp) -> Step {
    #[allow(clippy::cast_precision_loss)] // Milliseconds of centuries are exact.
    let span = (last.as_millisecond() - first.as_millisecond()) as f64;
    let fits = STEPS.iter().find(|(_, length)| span / length <= MOST);
    fits.map_or_else(
        || {
            #[allow(clippy::cast_possible_truncation)] // jiff's time ends with the year 9999.
            let years = (span / (365.2 * DAY) / MOST).ceil() as i16;
            Step::Years((years.max(5) + 4) / 5 * 5)
        },
        |(step, _)| *step,
    )
}

/// Evenly in time, beginning at a round moment of the clock.
fn by_time(first: Timestamp, last: Timestamp, minutes: i64, zone: &TimeZone) -> Vec<Timestamp> {
    let length = SignedDuration::from_mins(minutes);
    let clock = zone.to_datetime(first);
    let since_midnight = i64::from(clock.hour()) * 60 + i64::from(clock.minute());
    let beyond = since_midnight % minutes * 60 + i64::from(clock.second());
    let round = Timestamp::from_second(first.as_second() - beyond).unwrap_or(first);
    let mut moments = Vec::new();
    let mut at = round;
    while at <= last {
        if at >= first {
            moments.push(at);
        }
        let Ok(next) = at.checked_add(length) else {
            break;
        };
        at = next;
    }
    moments
}

/// Evenly on the clock or the calendar. A moment that the clock leaves out in spring is the next there is.
fn by_clock(first: Timestamp, last: Timestamp, step: Step, zone: &TimeZone) -> Vec<Timestamp> {
    let clock = zone.to_datetime(first);
    let (mut at, length): (DateTime, Span) = match step {
        Step::Minutes(minutes) => (clock, minutes.minutes()),
        Step::Hours(hours) => {
            let hour = clock.hour() - clock.hour() % hours;
            let time = Time::new(hour, 0, 0, 0).unwrap_or(Time::midnight());
            (clock.date().to_datetime(time), hours.hours())
        }
        Step::Days(days) => (midnight(clock.date()), days.days()),
        Step::Weeks(weeks) => {
            let since = clock.weekday().since(Weekday::Monday);
            let monday = clock.date().checked_sub(i64::from(since).days());
            (midnight(monday.unwrap_or(clock.date())), weeks.weeks())
        }
        Step::Months(months) => {
            let month = (clock.month() - 1) / months * months + 1;
            let day = Date::new(clock.year(), month, 1).unwrap_or(clock.date());
            (midnight(day), months.months())
        }
        Step::Years(years) => {
            let day = Date::new(clock.year() - clock.year() % years, 1, 1);
            (midnight(day.unwrap_or(clock.date())), years.years())
        }
    };
    let mut moments: Vec<Timestamp> = Vec::new();
    loop {
        let Ok(moment) = zone.to_ambiguous_timestamp(at).compatible() else {
            return moments;
        };
        if moment > last {
            return moments;
        }
        if moment >= first && moments.last().is_none_or(|before| *before < moment) {
            moments.push(moment);
        }
        let Ok(next) = at.checked_add(length) else {
            return moments;
        };
        at = next;
    }
}

fn midnight(day: Date) -> DateTime {
    day.to_datetime(Time::midnight())
}

/// What stands at each, and the day or year beneath where it is another than before.
fn label(moments: &[Timestamp], step: Step, zone: &TimeZone) -> Vec<Tick> {
    let mut before = String::new();
    let mut ticks = Vec::with_capacity(moments.len());
    for moment in moments {
        let at = zone.to_datetime(*moment);
        let month = MONTHS
            .get(usize::try_from(at.month() - 1).unwrap_or_default())
            .copied()
            .unwrap_or_default();
        let (text, larger) = match step {
            Step::Minutes(_) | Step::Hours(_) => (
                format!("{:02}:{:02}", at.hour(), at.minute()),
                format!("{} {month} {}", at.day(), at.year()),
            ),
            Step::Days(_) | Step::Weeks(_) => {
                (format!("{} {month}", at.day()), at.year().to_string())
            }
            Step::Months(_) => (month.to_owned(), at.year().to_string()),
            Step::Years(_) => (at.year().to_string(), String::new()),
        };
        let is_new = !larger.is_empty() && larger != before;
        ticks.push(Tick {
            at: Wall(moment.as_millisecond()),
            text,
            larger: is_new.then(|| larger.clone()),
        });
        before = larger;
    }
    ticks
}

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// A month as people write it: `Mar 2026`.
pub(super) fn month_text(day: Date) -> String {
    let month = usize::try_from(day.month() - 1).unwrap_or_default();
    let month = MONTHS.get(month).copied().unwrap_or_default();
    format!("{month} {}", day.year())
}

/// A day as people write it: `3 Mar`.
pub(super) fn day_text(day: Date) -> String {
    let month = usize::try_from(day.month() - 1).unwrap_or_default();
    let month = MONTHS.get(month).copied().unwrap_or_default();
    format!("{} {month}", day.day())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn wall(text: &str) -> Wall {
        Wall::from_rfc3339(text).unwrap()
    }

    fn texts(from: &str, to: &str, zone: &str) -> Vec<String> {
        let zone = TimeZone::get(zone).unwrap();
        let ticks = ticks(wall(from), wall(to), &zone);
        let text = |tick: Tick| match tick.larger {
            Some(larger) => format!("{} [{larger}]", tick.text),
            None => tick.text,
        };
        ticks.into_iter().map(text).collect()
    }

    #[test]
    fn ticks_are_round_moments_of_the_owner_s_clock() {
        let berlin = "Europe/Berlin";
        assert_eq!(
            texts("2026-11-26T21:10:00Z", "2026-11-27T03:10:00Z", berlin),
            [
                "23:00 [26 Nov 2026]",
                "00:00 [27 Nov 2026]",
                "01:00",
                "02:00",
                "03:00",
                "04:00"
            ]
        );
        assert_eq!(
            texts("2026-12-30T12:00:00Z", "2027-01-03T12:00:00Z", berlin),
            ["31 Dec [2026]", "1 Jan [2027]", "2 Jan", "3 Jan"]
        );
        assert_eq!(
            texts("2025-11-27T00:00:00Z", "2026-11-27T00:00:00Z", berlin),
            ["Jan [2026]", "Mar", "May", "Jul", "Sep", "Nov"]
        );
        assert_eq!(
            texts("2020-05-01T00:00:00Z", "2026-11-27T00:00:00Z", berlin),
            ["2021", "2022", "2023", "2024", "2025", "2026"]
        );
        // A zone that is half an hour beside the others.
        assert_eq!(
            texts(
                "2026-11-27T00:00:00Z",
                "2026-11-27T03:00:00Z",
                "Asia/Kolkata"
            ),
            [
                "05:30 [27 Nov 2026]",
                "06:00",
                "06:30",
                "07:00",
                "07:30",
                "08:00",
                "08:30"
            ]
        );
    }

    /// By the zone's rules: on 29 March 2026 the clocks of Berlin went from 02:00 to 03:00, on 25 October
    /// from 03:00 back to 02:00.
    #[test]
    fn the_day_the_clocks_change_has_its_ticks_at_the_same_hours() {
        assert_eq!(
            texts(
                "2026-03-28T23:00:00Z",
                "2026-03-29T22:00:00Z",
                "Europe/Berlin"
            ),
            [
                "00:00 [29 Mar 2026]",
                "06:00",
                "12:00",
                "18:00",
                "00:00 [30 Mar 2026]"
            ]
        );
        assert_eq!(
            texts(
                "2026-10-24T23:30:00Z",
                "2026-10-25T03:00:00Z",
                "Europe/Berlin"
            ),
            [
                "01:30 [25 Oct 2026]",
                "02:00",
                "02:30",
                "02:00",
                "02:30",
                "03:00",
                "03:30",
                "04:00"
            ]
        );
    }

    proptest! {
        #[test]
        fn ticks_lie_in_the_span_in_their_order_and_are_few(
            from in 1_700_000_000_000_i64..2_000_000_000_000,
            minutes in prop_oneof![3_i64..2000, 2000_i64..10_000_000],
            zone in prop::sample::select(vec!["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia"])
        ) {
            let to = from + minutes * 60_000;
            let ticks = ticks(Wall(from), Wall(to), &TimeZone::get(zone).unwrap());
            prop_assert!((1..=10).contains(&ticks.len()), "{ticks:?}");
            for pair in ticks.windows(2) {
                prop_assert!(pair[0].at < pair[1].at);
            }
            prop_assert!(ticks.iter().all(|tick| from <= tick.at.0 && tick.at.0 <= to));
        }
    }
}
