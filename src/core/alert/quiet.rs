//! Whether what is not critical waits for the morning: the owner's quiet hours, by the clock on the
//! wall.

use crate::{config::UnitSettings, time::Now};

/// Whether it is within the quiet hours. While the clock is not set it never is: the morning could not
/// be told, and a notice would wait for ever.
pub(super) fn is_quiet(settings: &UnitSettings, now: Now) -> bool {
    let Some(hours) = settings.notices.quiet_hours else {
        return false;
    };
    now.wall
        .time_in(&settings.time_zone)
        .is_some_and(|time| hours.contains(time))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{
        config,
        time::{Mono, Wall},
    };

    fn quiet(hours: &str, times: &[&str]) -> Vec<bool> {
        let text = format!(
            "time_zone = \"CET-1CEST,M3.5.0,M10.5.0/3\"\n[broker]\nurl = \"mqtt://localhost\"\n[notices]\n\
             quiet_hours = {hours}\n[[unit.u.sensor]]\nat = \"leak\"\ntopic = \"t\"\n"
        );
        let settings = config::from_text("test", &text, &BTreeMap::new(), None).unwrap();
        let at = |time: &&str| Now {
            mono: Mono(0),
            wall: Wall::from_rfc3339(time).unwrap(),
        };
        times
            .iter()
            .map(|time| is_quiet(&settings.units[0], at(time)))
            .collect()
    }

    /// Central European time changes at 01:00 UTC on the last Sundays of March and October (EU directive
    /// 2000/84/EC): 2026-03-29 has no hour from 02:00, 2026-10-25 has it twice.
    #[test]
    fn the_hour_that_is_left_out_and_the_one_that_comes_twice() {
        let hour = "[\"02:00\", \"03:00\"]";
        let spring = ["2026-03-29T00:59:59Z", "2026-03-29T01:00:00Z"];
        assert_eq!(quiet(hour, &spring), [false, false]);
        let autumn = [
            "2026-10-24T23:59:59Z",
            "2026-10-25T00:00:00Z",
            "2026-10-25T01:30:00Z",
            "2026-10-25T02:00:00Z",
        ];
        assert_eq!(quiet(hour, &autumn), [false, true, true, false]);
    }

    #[test]
    fn over_midnight_and_without_a_clock() {
        let night = "[\"22:00\", \"07:00\"]";
        let times = [
            "2026-01-10T20:59:59Z",
            "2026-01-10T21:00:00Z",
            "2026-01-11T05:59:59Z",
            "2026-01-11T06:00:00Z",
            // A board without a battery.
            "1970-01-01T00:30:00Z",
        ];
        assert_eq!(quiet(night, &times), [false, true, true, false, false]);
    }
}
