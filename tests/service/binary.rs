//! The other commands as a user types them: `check`, `replay`, help, and what is mistyped.

use std::{
    fs,
    io::Read as _,
    path::Path,
    process::{Output, Stdio},
};

use serde_json::Value;

use crate::{COUNTED, site::program};

fn run(arguments: &[&str]) -> Output {
    program().args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn written(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    fs::write(&path, text).unwrap();
    path.display().to_string()
}

#[test]
fn the_example_file_checks() {
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/config/permeated.toml");
    let output = run(&["check", example]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(output.stderr.is_empty(), "{}", text(&output.stderr));
    let said = text(&output.stdout);
    assert!(said.contains("kitchen"), "{said}");
}

#[test]
fn every_problem_of_a_file_is_told_at_once_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let broken = "[broker]\nurl = \"mqtt://localhost\"\n[store]\ncheckpiont = \"60 s\"\n\
                  [[unit.u.sensor]]\nat = \"feed_pressure\"\ntopic = \"rig/+/p\"\nunit = \"furlong\"\n";
    let file = written(folder.path(), "broken.toml", broken);
    for command in [
        vec!["check", &file],
        vec!["run", "--config", &file],
        vec!["replay", "--config", &file, "no.log"],
    ] {
        let output = run(&command);
        assert_eq!(output.status.code(), Some(2), "{command:?} {output:?}");
        let told = text(&output.stderr);
        // Lines 4, 7 and 8 of the text above.
        for (line, found) in [(4, "checkpiont"), (7, "rig/+/p"), (8, "furlong")] {
            // The place, the line as it stands in the file, and the words about it.
            let place = format!("{file}:{line}:");
            let block = told.split("\n\n").find(|block| block.contains(&place));
            assert!(
                block.is_some_and(|block| block.matches(found).count() >= 2),
                "{place} {found}: {told}"
            );
        }
        assert!(output.stdout.is_empty(), "{}", text(&output.stdout));
    }
    let output = run(&["check", "/nowhere/permeated.toml"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(text(&output.stderr).contains("/nowhere/permeated.toml"));
}

/// A log of a counter that passes a litre a minute for an hour, and its configuration.
fn recorded(folder: &Path) -> (String, String) {
    let config =
        format!("[store]\ndirectory = \"state\"\n[broker]\nurl = \"mqtt://localhost\"\n{COUNTED}");
    let config = written(folder, "permeated.toml", &config);
    let lines: String = (0..=60)
        .map(|minute| {
            let (hour, minute_of) = (9 + minute / 60, minute % 60);
            let count = 5000 + 1000 * minute;
            format!(
                "{{\"time\":\"2026-11-25T{hour:02}:{minute_of:02}:00Z\",\"topic\":\"rig/pulses\",\"payload\":\"{count}\",\"retain\":false}}\n"
            )
        })
        .collect();
    (config, written(folder, "log", &lines))
}

#[test]
fn a_replay_gives_the_same_bytes_every_time_and_the_right_litres() {
    let folder = tempfile::tempdir().unwrap();
    let (config, log) = recorded(folder.path());
    let first = run(&["replay", "--config", &config, &log]);
    assert_eq!(first.status.code(), Some(0), "{first:?}");
    let second = run(&["replay", "--config", &config, &log]);
    assert!(first.stdout == second.stdout, "two replays differ");
    assert!(
        !folder.path().join("state").exists(),
        "a replay keeps nothing"
    );
    // The output is a log itself. 60 steps of 1000 pulses at 1000 to the litre: 60 L.
    let messages: Vec<Value> = (text(&first.stdout).lines())
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let last = |topic: &str| {
        (messages.iter().rfind(|message| message["topic"] == topic))
            .unwrap_or_else(|| panic!("{topic}"))
            .clone()
    };
    assert_eq!(last("permeated/u/value/permeate_l")["payload"], "60.0");
    assert_eq!(
        last("permeated/u/value/stage/mixed-bed/left_pct")["payload"],
        "40.0"
    );
    assert_eq!(
        last("permeated/u/value/permeate_flow_l_min")["payload"],
        "1.0"
    );
    assert_eq!(last("permeated/u/now")["retain"], true);
}

#[test]
fn a_wrong_line_of_a_log_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let (config, log) = recorded(folder.path());
    let mut lines = fs::read_to_string(&log).unwrap();
    lines.push_str("\n{\"time\": \"yesterday\", \"topic\": \"a\", \"payload\": \"1\"}\n");
    fs::write(&log, lines).unwrap();
    let output = run(&["replay", "--config", &config, &log]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let told = text(&output.stderr);
    // 61 good lines, an empty one, the wrong one.
    assert!(
        told.contains(&format!("{log}:63:")) && told.contains("yesterday"),
        "{told}"
    );
    let output = run(&["replay", "--config", &config, "/nowhere/log"]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(text(&output.stderr).contains("/nowhere/log"));
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = tempfile::tempdir().unwrap();
    let (config, log) = recorded(folder.path());
    // Far more output than a pipe holds.
    let once = fs::read_to_string(&log).unwrap();
    let days: String = (10..28)
        .map(|day| once.replace("2026-11-25", &format!("2026-12-{day}")))
        .collect();
    fs::write(&log, days).unwrap();
    let mut process = (program().args(["replay", "--config", &config, &log]))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut output = process.stdout.take().unwrap();
    output.read_exact(&mut [0; 100]).unwrap();
    drop(output);
    let ended = process.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(0), "{ended:?}");
    assert!(ended.stderr.is_empty(), "{}", text(&ended.stderr));
}

#[test]
fn help_and_version_are_given_and_mistakes_told() {
    let help = run(&["--help"]);
    assert_eq!(help.status.code(), Some(0));
    let said = text(&help.stdout);
    for word in ["check", "demo", "replay", "run", "fit to drink"] {
        assert!(said.contains(word), "{word}: {said}");
    }
    let version = run(&["--version"]);
    assert_eq!(version.status.code(), Some(0));
    assert_eq!(
        text(&version.stdout).trim(),
        concat!("permeated ", env!("CARGO_PKG_VERSION"))
    );
    for mistake in [
        vec!["rnu"],
        vec![],
        vec!["run", "--cofnig", "x"],
        vec!["demo", "--speed", "0"],
    ] {
        let output = run(&mistake);
        assert_eq!(output.status.code(), Some(2), "{mistake:?} {output:?}");
        assert!(
            output.stdout.is_empty() && !output.stderr.is_empty(),
            "{output:?}"
        );
    }
}
