//! What the service says about itself, on standard error.

use anstream::{AutoStream, ColorChoice};
use tracing::Level;

/// Starts logging at `level`. Under the service manager the journal adds the time itself; colours
/// only for a person at a terminal that has them (`TERM=dumb` has not), unless refused (`NO_COLOR`).
pub(super) fn start(level: Level) {
    // The same judge as that of the help and of all else that is coloured.
    let colours = AutoStream::choice(&std::io::stderr()) != ColorChoice::Never;
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
