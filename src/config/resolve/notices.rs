//! `[notices]` and `display`: how people are told.

use jiff::civil::Time;

use super::super::{
    defaults,
    field::Field,
    notices::{Display, NoticeSettings, QuietHours},
    reader::Reader,
};

pub(super) const KEYS: &[&str] = &["remind", "quiet_hours"];

const QUIET_WANTED: &str = "two times of the day such as [\"22:00\", \"07:00\"]";

pub(super) fn notices(reader: Option<&Reader<'_>>) -> NoticeSettings {
    let field = |key| reader.and_then(|reader| reader.field(key));
    NoticeSettings {
        remind: field("remind")
            .and_then(|field| remind(&field))
            .unwrap_or(defaults::REMIND),
        quiet_hours: field("quiet_hours").and_then(|field| quiet_hours(&field)),
    }
}

/// Zero is never; else not more often than a person bears.
fn remind(field: &Field<'_>) -> Option<std::time::Duration> {
    let span = field.duration_in(std::time::Duration::ZERO..=*defaults::REMIND_RANGE.end())?;
    if !span.is_zero() && !defaults::REMIND_RANGE.contains(&span) {
        // Told with the range as it is.
        return field.duration_in(defaults::REMIND_RANGE);
    }
    Some(span)
}

fn quiet_hours(field: &Field<'_>) -> Option<QuietHours> {
    let entries = field.list(QUIET_WANTED)?;
    let [from, until] = entries.as_slice() else {
        field.wrong(format!("{QUIET_WANTED} are wanted here"));
        return None;
    };
    let (from, until) = (time(from), time(until));
    let hours = QuietHours {
        from: from?,
        until: until?,
    };
    if hours.from == hours.until {
        field.wrong("quiet hours that end when they begin are none; leave the key out instead");
        return None;
    }
    Some(hours)
}

fn time(field: &Field<'_>) -> Option<Time> {
    let text = field.text()?;
    let time = text.parse::<Time>().ok().filter(|_| {
        // Hours and minutes: "7" or a whole date would be read as something, too.
        text.len() == "22:00".len() && text.as_bytes().get(2) == Some(&b':')
    });
    if time.is_none() {
        field.wrong(format!(
            "{text:?} is no time of the day; write it as \"22:00\""
        ));
    }
    time
}

pub(super) fn display(field: &Field<'_>) -> Option<Display> {
    field.one_of(
        "way to show units",
        &[("metric", Display::Metric), ("us", Display::Us)],
    )
}
