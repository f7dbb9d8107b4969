//! Which days were asked for.

use clap::ValueEnum;
use jiff::{civil::Date, tz::TimeZone};

use crate::{
    past::Past,
    report::period::{Period, Word},
    time::{Now, Wall},
};

/// A period by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PeriodWord {
    /// The last month that is over
    Month,
    /// The last quarter of a year that is over
    Quarter,
    /// The last year that is over
    Year,
    /// From the first day on which something was recorded to today
    All,
}

/// What was asked for.
#[derive(Clone, Copy, Debug, Default)]
pub struct Asked {
    /// The first day.
    pub from: Option<Date>,
    /// The first that is not part of it.
    pub to: Option<Date>,
    /// The period's name.
    pub word: Option<PeriodWord>,
}

/// The first and the last day on which something was recorded.
pub type Recorded = Option<(Date, Date)>;

impl Asked {
    /// The days; in words what is wrong with them.
    pub fn period(self, recorded: Recorded, now: Now, zone: &TimeZone) -> Result<Period, String> {
        let today = now
            .wall
            .day_in(zone)
            .ok_or("the clock of this machine is not set")?;
        let tomorrow = today.tomorrow().map_err(|error| error.to_string())?;
        let first = recorded.map_or(today, |(first, _)| first);
        let word = match (self.word, self.from, self.to) {
            (Some(PeriodWord::Month), _, _) | (None, None, None) => Word::Month,
            (Some(PeriodWord::Quarter), _, _) => Word::Quarter,
            (Some(PeriodWord::Year), _, _) => Word::Year,
            (Some(PeriodWord::All), _, _) => Word::All,
            (None, from, to) => {
                let (from, to) = (from.unwrap_or(first), to.unwrap_or(tomorrow));
                return Period::new(from, to, zone)
                    .map_err(|wrong| format!("--from, --to: {wrong}"));
            }
        };
        match Period::last_whole(word, today, zone) {
            Some(period) => Ok(period),
            None => Period::new(first.min(today), tomorrow, zone),
        }
    }
}

/// When something was recorded of a unit.
pub fn recorded(past: &Past, zone: &TimeZone) -> Recorded {
    let samples = past.samples.iter().map(|sample| Some(sample.start));
    let runs = past.runs.iter().map(|run| run.started.or(run.ended));
    let alerts = past.alerts.iter().map(|alert| alert.raised);
    let entries = past.entries.iter().map(|entry| entry.entered);
    let moments = samples.chain(runs).chain(alerts).chain(entries).flatten();
    let days: Vec<Date> = moments.filter_map(|at: Wall| at.day_in(zone)).collect();
    Some((*days.iter().min()?, *days.iter().max()?))
}

/// Nothing was recorded in that period: what there is instead.
pub fn nothing(unit: &str, period: &Period, recorded: Recorded) -> String {
    let asked = format!("from {} to {}", period.from, period.last_day());
    match recorded {
        None => format!("nothing was recorded of unit {unit:?} yet"),
        Some((first, last)) => format!(
            "nothing was recorded of unit {unit:?} {asked}; there is something from {first} to {last}: \
             --period all, or --from and --to"
        ),
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::time::Mono;

    fn now(text: &str) -> Now {
        Now {
            mono: Mono(0),
            wall: Wall::from_rfc3339(text).unwrap(),
        }
    }

    fn days(asked: Asked, at: &str) -> Result<(Date, Date), String> {
        let recorded = Some((date(2026, 2, 10), date(2026, 8, 3)));
        let zone = TimeZone::get("America/New_York").unwrap();
        let period = asked.period(recorded, now(at), &zone)?;
        Ok((period.from, period.to))
    }

    #[test]
    fn what_is_not_said_follows_from_the_owners_day() {
        // In New York it is still the 31st of July.
        let at = "2026-08-01T03:00:00Z";
        let asked = |from, to, word| days(Asked { from, to, word }, at).unwrap();
        assert_eq!(
            asked(None, None, None),
            (date(2026, 6, 1), date(2026, 7, 1))
        );
        let all = Some(PeriodWord::All);
        assert_eq!(
            asked(None, None, all),
            (date(2026, 2, 10), date(2026, 8, 1))
        );
        let from = Some(date(2026, 7, 30));
        assert_eq!(
            asked(from, None, None),
            (date(2026, 7, 30), date(2026, 8, 1))
        );
        assert_eq!(
            asked(None, from, None),
            (date(2026, 2, 10), date(2026, 7, 30))
        );
    }

    #[test]
    fn days_that_cannot_be_are_refused() {
        let backwards = Asked {
            from: Some(date(2026, 7, 1)),
            to: Some(date(2026, 1, 1)),
            word: None,
        };
        assert!(
            days(backwards, "2026-08-01T00:00:00Z")
                .unwrap_err()
                .contains("--from, --to")
        );
        let unset = days(Asked::default(), "1970-01-01T00:00:00Z");
        assert!(unset.unwrap_err().contains("clock"));
    }
}
