//! A line on a terminal that says how far the listening is; nothing where nobody watches.

use std::time::Duration;

use indicatif::ProgressBar;

use crate::cli::progress::drawn;

/// How often the line is brought up to date.
pub(super) const STEP: Duration = Duration::from_millis(250);

/// The line, on standard error; it is gone when the listening is over.
pub(super) struct Progress(ProgressBar);

impl Progress {
    pub(super) fn start(time: Duration) -> Self {
        let bar = drawn(Some(time.as_secs()), "{BAR} {elapsed} of {len} s  {msg}");
        bar.set_message("connecting");
        Self(bar)
    }

    /// Messages, topics and values so far.
    pub(super) fn show(&self, (messages, topics, values): (u64, usize, usize)) {
        self.0.set_position(self.0.elapsed().as_secs());
        self.0.set_message(format!(
            "{messages} messages on {topics} topics, {values} values; Ctrl-C ends it"
        ));
    }

    pub(super) fn end(&self) {
        self.0.finish_and_clear();
    }
}
