//! Scenarios: tables of times, messages and expectations, played through the core on a virtual
//! clock. One text file in `tests/scenarios/` is one scenario; to add one, add a file.
//!
//! ```text
//! # A remark. Say here where each expected number comes from.
//! config: rodi.toml                     a configuration in the same folder
//! start: 2026-03-02T06:00:00Z           what the wall clock says at 00:00:00 ("unset" for none)
//! config:                               more TOML, added to the file's, up to the line ---
//! ---
//! 00:00:10  rodi/feed_pressure  60      at this time, this topic brings this payload
//! 00:00:10  retained rodi/feed_tds 250  … retained by the broker; `late`: queued by it
//! 00:00:10  rodi/feed_tds  ''           … with nothing in it
//! every 10 s from 00:00:00 to 01:00:00  rodi/feed_tds  250
//! every 10 s from 00:00:00 to 01:00:00  rodi/pulses  1000 += 25   1000, 1025, 1050 …
//! every 10 s from 01:00:10 to 02:00:00  rodi/pulses  += 0         … goes on from where it was
//! 2d 03:00:00  stop                     the service is gone, messages are lost …
//! 2d 04:00:00  start                    … and back, with the state it kept
//! 00:30:00  clock 2026-03-02T09:00:00Z  the wall clock is set; `clock -01:00:00` puts it back
//! 00:10:00  expect basement now state producing
//! 00:10:00  expect basement now feed_tds_mg_l 250 ±0.1 measured
//! 00:10:00  expect basement now feed_tds_mg_l null "sensor silent"
//! 00:10:00  expect basement now storage_level_l absent
//! 00:10:00  expect basement value rejection_pct 96.0 ±0.1     or None, or a word
//! 00:10:00  expect basement alert product_tds_high active     or clear, unknown
//! 00:10:00  expect basement event run_started "a part of its text"  the last of its kind
//! 00:10:00  expect basement events run_started 1              how many so far
//! 00:10:00  expect basement events alert_raised@stage_low/carbon 1    … about this
//! 00:10:00  expect basement records run 1                     or stage: handed over to be stored
//! always basement value permeate_flow_l_min 0 to 0.2          whenever it has a value
//! ```
//!
//! Documents are `now`, `membrane`, `totals`, `costs`, `hold_test`, `run`, `stage/<id>` and `alert/<key>`, as last published; a key may
//! be a path into them (`unconfirmed/feed_tds`). Rows may stand in any order; at one time messages come first, in the order
//! written. Where it matters which of a board's messages comes first, write them so.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "scenarios/play.rs"]
mod play;
#[path = "scenarios/script.rs"]
mod script;

use std::{fs, path::Path};

use script::Script;

fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios")
}

/// Plays one text; every failed expectation as `file:line: what: found …, expected …`.
fn failures(file: &str, text: &str) -> Vec<String> {
    match Script::read(file, text, &folder()) {
        Ok(script) => play::play(&script),
        Err(mistake) => vec![mistake],
    }
}

#[test]
fn every_scenario_goes_as_written() {
    let mut files: Vec<_> = fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "txt"))
        .collect();
    files.sort();
    assert!(files.len() > 20, "where are the scenarios?");
    let only = std::env::var("SCENARIO").unwrap_or_default();
    let mut failed = Vec::new();
    for path in files {
        let file = path.file_name().unwrap().to_string_lossy().into_owned();
        if file.contains(&only) {
            failed.extend(failures(&file, &fs::read_to_string(&path).unwrap()));
        }
    }
    assert!(failed.is_empty(), "\n{}\n", failed.join("\n"));
}

/// A harness that cannot fail proves nothing.
#[test]
fn a_wrong_expectation_is_told_with_its_line() {
    let text = "config: rodi.toml
00:00:00  rodi/feed_tds  250
00:00:10  expect basement now feed_tds_mg_l 250
00:00:10  expect basement now feed_tds_mg_l 251 ±0.5
00:00:10  expect basement now feed_tds_mg_l 250 inferred
00:00:10  expect basement now feed_tds_mg_l null
00:00:10  expect basement now permeate_tds_mg_l null \"silent\"
00:00:10  expect basement now no_such_key 1
00:00:10  expect basement value feed_tds_mg_l 249
00:00:10  expect basement alert product_tds_high active
00:00:10  expect basement event run_started
00:00:10  expect basement events run_started 1
00:00:10  expect basement records run 1
always basement value feed_tds_mg_l 0 to 249
";
    let failed = failures("wrong.txt", text);
    let lines: Vec<&str> = failed
        .iter()
        .map(|failure| failure.split(':').nth(1).unwrap())
        .collect();
    let mut told: Vec<usize> = lines.iter().map(|line| line.parse().unwrap()).collect();
    told.sort_unstable();
    told.dedup();
    assert_eq!(told, [4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14], "{failed:#?}");
    assert!(
        failed.iter().any(|failure| failure
            == "wrong.txt:4: basement now feed_tds_mg_l: found 250.0 measured, expected 251 ±0.5"),
        "{failed:#?}"
    );
}

#[test]
fn a_wrong_row_is_told_with_its_line() {
    for (row, word) in [
        ("noon rodi/feed_tds 1", "noon"),
        ("00:00:10 expect basement", "expect"),
        ("every 10 s from 00:00:10 rodi/feed_tds 1", "every"),
        ("00:00:10 rodi/feed_tds", "payload"),
    ] {
        let failed = failures("wrong.txt", &format!("config: rodi.toml\n{row}\n"));
        assert_eq!(failed.len(), 1, "{row}");
        assert!(failed[0].starts_with("wrong.txt:2: "), "{failed:?}");
        assert!(failed[0].contains(word), "{failed:?}");
    }
}
