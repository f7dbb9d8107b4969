//! A whole short replay of arbitrary lines: JSON or a table.

use permeated::{
    cli::replay::replay,
    wire::log::{Entry, Line},
};

use super::{log::table, world::settings};

/// A replay of more days only does the same again, more slowly.
const LONGEST_MS: u64 = 2 * 86_400_000;

/// The same bytes give the same bytes, up to the same line; what is said is a log itself.
pub fn take(bytes: &[u8]) {
    if lasts(bytes) > LONGEST_MS {
        return;
    }
    let (said, end) = replayed(bytes);
    assert_eq!((&said, &end), (&replayed(bytes).0, &replayed(bytes).1));
    for line in said.lines() {
        assert!(Line::read(line).is_ok(), "{line}");
    }
}

fn replayed(bytes: &[u8]) -> (String, Option<String>) {
    let mut out = Vec::new();
    let end = replay(settings(), "log", bytes, &mut out);
    let said = String::from_utf8_lossy(&out).into_owned();
    (said, end.err().map(|error| error.to_string()))
}

/// Milliseconds that pass in a log, or more.
fn lasts(bytes: &[u8]) -> u64 {
    let lines = bytes.split(|byte| *byte == b'\n');
    let lines = lines.filter_map(|line| std::str::from_utf8(line).ok());
    let entries: Vec<Entry> = lines.filter_map(|line| Entry::read(line).ok()).collect();
    let text = String::from_utf8_lossy(bytes);
    // Blank lines before a header are left out by whoever reads a table.
    let entries = [entries, table(text.trim_start().as_bytes())].concat();
    let pairs = entries.iter().zip(entries.iter().skip(1));
    let steps = pairs.map(|(before, after)| {
        let wall = u64::try_from(after.time.0 - before.time.0).unwrap_or(0);
        let (begin, end) = (
            before.mono.unwrap_or_default(),
            after.mono.unwrap_or_default(),
        );
        wall.max(end.0.saturating_sub(begin.0))
    });
    steps.fold(0, u64::saturating_add)
}
