//! How far the past has been played, on standard error: a bar on a terminal, a line now and then
//! elsewhere.

use std::io::{self, IsTerminal as _, Write as _};

use indicatif::ProgressBar;
use jiff::tz::TimeZone;

use crate::{cli::progress::drawn, time::Wall};

/// Lines where there is no terminal: one for each of these parts.
const PARTS: u32 = 4;

pub(super) struct Progress {
    bar: Option<ProgressBar>,
    began: Wall,
    days: u32,
}

impl Progress {
    /// Begins a past of so many days; nothing is shown of one without any.
    pub(super) fn begin(began: Wall, days: u32) -> Self {
        let is_shown = days > 0 && io::stderr().is_terminal();
        Self {
            bar: is_shown.then(|| {
                let template = "playing the past  {BAR}  {percent:>3} %  {msg}";
                drawn(Some(u64::from(days)), template)
            }),
            began,
            days,
        }
    }

    /// So many days are over.
    pub(super) fn reach(&mut self, day: u32) {
        let date = self.date(day);
        if let Some(bar) = &self.bar {
            bar.set_message(date);
            bar.set_position(u64::from(day));
            if day == self.days {
                bar.finish_and_clear();
            }
        } else if day * PARTS / self.days > (day - 1) * PARTS / self.days {
            let share = 100 * day / self.days;
            // Without a reader there is nobody to tell.
            let _ = writeln!(io::stderr(), "playing the past: {share:3} %, {date}");
        }
    }

    fn date(&self, day: u32) -> String {
        let at = Wall(self.began.0 + i64::from(day) * 86_400_000);
        at.day_in(&TimeZone::UTC)
            .map_or_else(String::new, |date| date.to_string())
    }
}
