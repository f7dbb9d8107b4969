//! Times and spans as people say them, by the owner's clock.

use jiff::{civil::Date, tz::TimeZone};

use crate::time::Wall;

const DAY: f64 = 86_400.0;
const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];
const WEEKDAYS: [&str; 7] = [
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
];

fn month(date: Date) -> &'static str {
    let index = usize::from(date.month().unsigned_abs()).saturating_sub(1);
    MONTHS.get(index).copied().unwrap_or_default()
}

/// "14 March"; with the year where it is not this one's.
pub(super) fn day(date: Date, today: Option<Date>) -> String {
    let month = month(date);
    if today.is_none_or(|today| today.year() == date.year()) {
        format!("{} {month}", date.day())
    } else {
        format!("{} {month} {}", date.day(), date.year())
    }
}

/// "Nov ’26": short enough to stand under a bar.
pub(super) fn short_month(date: Date) -> String {
    let name: String = month(date).chars().take(3).collect();
    format!("{name} ’{:02}", date.year().rem_euclid(100))
}

/// "Friday 27 November 2026, 03:12".
pub(super) fn long_moment(at: Wall, zone: &TimeZone) -> Option<String> {
    let (date, clock) = (at.day_in(zone)?, clock(at, zone)?);
    let weekday = usize::from(date.weekday().to_monday_zero_offset().unsigned_abs());
    let weekday = WEEKDAYS.get(weekday).copied().unwrap_or_default();
    let (number, month, year) = (date.day(), month(date), date.year());
    Some(format!("{weekday} {number} {month} {year}, {clock}"))
}

/// "03:12" today, "yesterday 22:10", else "24 November, 22:10".
pub(super) fn moment(at: Wall, now: Option<Wall>, zone: &TimeZone) -> String {
    let (Some(date), Some(clock)) = (at.day_in(zone), clock(at, zone)) else {
        return "unknown".to_owned();
    };
    let today = now.and_then(|now| now.day_in(zone));
    if today == Some(date) {
        clock
    } else if today.and_then(|today| today.yesterday().ok()) == Some(date) {
        format!("yesterday {clock}")
    } else {
        format!("{}, {clock}", day(date, today))
    }
}

/// "03:12".
fn clock(at: Wall, zone: &TimeZone) -> Option<String> {
    let time = at.time_in(zone)?;
    Some(format!("{:02}:{:02}", time.hour(), time.minute()))
}

/// "40 s", "3 min", "2 h 40 min", "14 h", "4 days": in whole numbers, the smaller one.
pub(super) fn length(seconds: f64) -> String {
    let whole = |value: f64, one: &str, more: &str| {
        let value = value.floor();
        format!("{value:.0} {}", if value == 1.0 { one } else { more })
    };
    match seconds.max(0.0) {
        s if s >= 2.0 * DAY => whole(s / DAY, "day", "days"),
        s if s >= 10.0 * 3600.0 => whole(s / 3600.0, "h", "h"),
        s if s >= 2.0 * 3600.0 => {
            let hours = whole(s / 3600.0, "h", "h");
            match s % 3600.0 {
                rest if rest < 60.0 => hours,
                rest => format!("{hours} {}", whole(rest / 60.0, "min", "min")),
            }
        }
        s if s >= 60.0 => whole(s / 60.0, "min", "min"),
        s => whole(s, "s", "s"),
    }
}

/// A number of days to come, no finer than anybody plans: "12 days", "6 weeks", "5 months", "3 years".
pub(super) fn days_ahead(days: f64) -> String {
    let whole = |value: f64, one: &str, more: &str| {
        let value = value.round().max(1.0);
        format!("{value:.0} {}", if value == 1.0 { one } else { more })
    };
    match days {
        d if d < 21.0 => whole(d, "day", "days"),
        d if d < 70.0 => whole(d / 7.0, "week", "weeks"),
        d if d < 700.0 => whole(d / 30.44, "month", "months"),
        d => whole(d / 365.25, "year", "years"),
    }
}

/// A sentence's beginning; "pH" stays as it is.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let (first, second) = (letters.next(), letters.clone().next());
    match (first, second) {
        (Some(first), second) if !second.is_some_and(char::is_uppercase) => {
            first.to_uppercase().chain(letters).collect()
        }
        (Some(_) | None, _) => text.to_owned(),
    }
}

/// A title within a sentence: "Rejection low" becomes "rejection low", "TDS high" stays.
pub(super) fn within(title: &str) -> String {
    let mut letters = title.chars();
    let (first, second) = (letters.next(), letters.clone().next());
    match (first, second) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(letters).collect()
        }
        (Some(_) | None, _) => title.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_as_short_as_they_can_be() {
        let zone = TimeZone::fixed(jiff::tz::offset(1));
        let wall = |text: &str| Wall::from_rfc3339(text).unwrap();
        let now = wall("2026-11-27T03:12:00Z");
        for (at, told) in [
            ("2026-11-27T01:05:00Z", "02:05"),
            ("2026-11-26T22:10:00Z", "yesterday 23:10"),
            ("2026-11-26T23:10:00Z", "00:10"),
            ("2026-11-24T12:00:00Z", "24 November, 13:00"),
            ("2025-11-24T12:00:00Z", "24 November 2025, 13:00"),
        ] {
            assert_eq!(moment(wall(at), Some(now), &zone), told);
        }
        assert_eq!(
            long_moment(now, &zone).unwrap(),
            "Friday 27 November 2026, 04:12"
        );
    }

    #[test]
    fn spans_are_no_finer_than_they_matter() {
        for (days, told) in [
            (0.2, "1 day"),
            (12.4, "12 days"),
            (30.0, "4 weeks"),
            (160.0, "5 months"),
            (800.0, "2 years"),
        ] {
            assert_eq!(days_ahead(days), told);
        }
        for (seconds, told) in [
            (59.9, "59 s"),
            (119.0, "1 min"),
            (7200.0, "2 h"),
            (10_750.0, "2 h 59 min"),
            (50_000.0, "13 h"),
            (2e5, "2 days"),
        ] {
            assert_eq!(length(seconds), told);
        }
        assert_eq!(capital("alkalinity"), "Alkalinity");
        assert_eq!(capital("pH 7.65"), "pH 7.65");
        assert_eq!(within("Rejection low"), "rejection low");
        assert_eq!(within("TDS high"), "TDS high");
    }
}
