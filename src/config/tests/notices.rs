//! `[notices]` and `display`: what is read, and how a mistake is told.

use std::time::Duration;

use super::*;
use crate::config::{Display, NoticeSettings};

fn notices(text: &str) -> NoticeSettings {
    read(&format!("{text}\n{SMALLEST}")).unwrap().units[0].notices
}

#[test]
fn people_are_reminded_daily_and_have_no_quiet_hours_unless_they_say_so() {
    let usual = notices("");
    assert_eq!(
        (usual.remind, usual.quiet_hours),
        (Duration::from_secs(86_400), None)
    );
    let own = notices("[notices]\nremind = \"0 s\"\nquiet_hours = [\"22:30\", \"07:00\"]");
    assert_eq!(own.remind, Duration::ZERO);
    let hours = own.quiet_hours.unwrap();
    assert_eq!(
        (hours.from.to_string(), hours.until.to_string()),
        ("22:30:00".to_owned(), "07:00:00".to_owned())
    );
}

#[test]
fn sentences_are_metric_unless_told() {
    let display = |text: &str| read(&format!("{text}{SMALLEST}")).unwrap().units[0].display;
    assert_eq!(display(""), Display::Metric);
    assert_eq!(display("display = \"us\"\n"), Display::Us);
    one_problem(
        &format!("display = \"imperial\"\n{SMALLEST}"),
        1,
        "known are metric, us",
    );
}

#[test]
fn each_mistake_is_told_at_its_line() {
    for (line, part) in [
        ("remind = \"1 min\"", "10 min to 30 d"),
        ("remind = \"31 d\"", "0 s to 30 d"),
        ("remind = true", "a duration"),
        ("quiet_hours = \"22:00\"", "two times of the day"),
        ("quiet_hours = [\"22:00\"]", "two times of the day"),
        ("quiet_hours = [\"22:00\", \"7\"]", "no time of the day"),
        ("quiet_hours = [\"24:00\", \"07:00\"]", "no time of the day"),
        ("quiet_hours = [\"07:00\", \"07:00\"]", "are none"),
        ("quiet_hour = 1", "did you mean \"quiet_hours\"?"),
    ] {
        one_problem(&format!("[notices]\n{line}\n{SMALLEST}"), 2, part);
    }
}
