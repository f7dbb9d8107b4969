//! Logs and tables played to a real broker.

use std::{
    fs,
    path::{Path, PathBuf},
};

use crate::{
    program::{path, run, site, text},
    site::until,
};

fn written(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, text).unwrap();
    path
}

#[test]
fn a_log_is_played_to_a_broker_where_that_was_meant() {
    let site = site();
    let config = path(&site, "permeated.toml");
    let mut lines = String::new();
    for second in 0..20 {
        lines += &format!(
            "{{\"time\":\"2026-11-25T09:00:{second:02}Z\",\"topic\":\"rig/pulses\",\"payload\":\"{second}\"}}\n"
        );
    }
    lines += "{\"time\":\"2026-11-25T09:00:20Z\",\"topic\":\"rig/leak\",\"payload\":\"OFF\",\"retain\":true}\n\
              {\"time\":\"2026-11-25T09:00:20Z\",\"topic\":\"permeated/u/do/note\",\"payload\":\"x\"}\n";
    let log = written(site.folder(), "log.jsonl", &lines)
        .display()
        .to_string();
    let refused = run(&["replay", "--config", &config, &log, "--speed", "100"]);
    assert_eq!(refused.status.code(), Some(2), "{refused:?}");
    assert!(text(&refused.stderr).contains("--prefix"), "{refused:?}");
    let watch = site.broker.watch("#");
    let played = run(&[
        "replay", "--config", &config, &log, "--speed", "100", "--prefix", "past/",
    ]);
    assert_eq!(played.status.code(), Some(0), "{played:?}");
    let told = text(&played.stderr);
    for words in [
        "Played 20 messages",
        "1 commands",
        "1 that were retained",
        "under past/",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let expected: Vec<String> = (0..20).map(|second: u32| second.to_string()).collect();
    until("all is there", || watch.on("past/rig/pulses").len() == 20);
    assert_eq!(watch.on("past/rig/pulses"), expected);
    assert_eq!(watch.seen().len(), 20, "and nothing else");

    // A table with a column for each sensor: the board's two columns become its one document.
    let table = "time,feed_tds,permeate_tds,leak\n2026-11-25T09:00:00Z,400,16,\n2026-11-25T09:00:01Z,,,ON\n";
    let table = written(site.folder(), "table.csv", table)
        .display()
        .to_string();
    let played = run(&[
        "replay", "--config", &config, &table, "--speed", "1", "--yes",
    ]);
    assert!(played.status.success(), "{played:?}");
    until("all is there", || watch.saw("rig/leak", "ON"));
    assert_eq!(watch.on("rig/board"), [r#"{"feed":400,"permeate":16}"#]);
}
