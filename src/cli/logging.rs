//! What the service says about itself, on standard error.

use std::io::IsTerminal as _;

use tracing::Level;

/// Starts logging at `level`. Under the service manager the journal adds the time itself; colours
/// only for a person at a terminal who did not refuse them (`NO_COLOR`).
pub(super) fn start(level: Level) {
    let colours = std::io::stderr().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    let builder = tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_max_level(level)
        .with_ansi(colours)
        .with_target(false);
    if std::env::var_os("JOURNAL_STREAM").is_some() {
        builder.without_time().init();
    } else {
        builder.init();
    }
}
