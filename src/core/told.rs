//! Entries of the maintenance log in words, for answers and for the command line.

use jiff::tz::TimeZone;

use super::journal::{Deed, Particulars};
use crate::time::Wall;

/// A moment as the owner's clock shows it: `2026-05-01 12:00`.
#[must_use]
pub fn moment(at: Wall, zone: &TimeZone) -> String {
    jiff::Timestamp::from_millisecond(at.0).map_or_else(
        |_| "unknown".to_owned(),
        |time| {
            let time = zone.to_datetime(time);
            format!("{} {:02}:{:02}", time.date(), time.hour(), time.minute())
        },
    )
}

impl Deed {
    /// What was done, in a few words.
    #[must_use]
    pub fn in_words(&self, zone: &TimeZone) -> String {
        match self {
            Self::HoldTest {
                outcome, minutes, ..
            } => format!("pressure hold test of {minutes} min: {}", outcome.key()),
            Self::Note => "note".to_owned(),
            Self::Replaced {
                stage, treated_l, ..
            } => format!("{stage} replaced after {treated_l:.0} L"),
            Self::Sanitised => "sanitised".to_owned(),
            Self::Test { test, value, after } => {
                let behind = after.as_ref().map(|stage| format!(" after {stage}"));
                let (title, value) = (test.title(), test.value_text(*value));
                format!("{title} {value}{}", behind.unwrap_or_default())
            }
            Self::Corrected { entry, was, now } => {
                format!("corrects entry {entry}: {}", changes(was, now, zone))
            }
            Self::Withdrawn { entry } => format!("withdraws entry {entry}"),
        }
    }
}

/// What a correction changed: `price from 20 to 25, lot "A1" added`.
fn changes(was: &Particulars, now: &Particulars, zone: &TimeZone) -> String {
    let moment = |at: Wall| moment(at, zone);
    let quoted = |text: &String| format!("{text:?}");
    let changes = [
        change("date", was.date.map(moment), now.date.map(moment)),
        change(
            "lot",
            was.lot.as_ref().map(quoted),
            now.lot.as_ref().map(quoted),
        ),
        change(
            "price",
            was.price.map(|price| price.to_string()),
            now.price.map(|price| price.to_string()),
        ),
        change(
            "value",
            was.value.map(|value| value.to_string()),
            now.value.map(|value| value.to_string()),
        ),
        change(
            "note",
            was.note.as_ref().map(quoted),
            now.note.as_ref().map(quoted),
        ),
    ];
    changes.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn change(what: &str, was: Option<String>, now: Option<String>) -> Option<String> {
    match (was, now) {
        (Some(was), Some(now)) => Some(format!("{what} from {was} to {now}")),
        (Some(was), None) => Some(format!("{what} {was} taken away")),
        (None, Some(now)) => Some(format!("{what} {now} added")),
        (None, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::HandTest;

    #[test]
    fn entries_are_told_in_words() {
        let zone = TimeZone::fixed(jiff::tz::offset(2));
        let test = Deed::Test {
            test: HandTest::TotalChlorine,
            value: 0.05,
            after: Some("carbon".to_owned()),
        };
        assert_eq!(
            test.in_words(&zone),
            "total chlorine 0.05 mg/L after carbon"
        );
        let corrected = Deed::Corrected {
            entry: 4,
            was: Particulars {
                date: Wall::from_rfc3339("2026-05-01T10:00:00Z"),
                price: Some(20.0),
                ..Particulars::default()
            },
            now: Particulars {
                date: Wall::from_rfc3339("2026-05-02T10:30:00Z"),
                lot: Some("A1".to_owned()),
                ..Particulars::default()
            },
        };
        assert_eq!(
            corrected.in_words(&zone),
            "corrects entry 4: date from 2026-05-01 12:00 to 2026-05-02 12:30, lot \"A1\" added, price 20 taken away"
        );
    }
}
