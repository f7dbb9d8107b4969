//! A recorded log through the core: the same bytes for the same log, a simulated day as a whole, and
//! wrong lines told with their place.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{collections::BTreeMap, path::Path};

use permeated::{
    cli::replay::{ReplayError, replay},
    config::{self, Settings},
    simulation::{DemoUnit, demo_configuration},
    time::Wall,
    wire::{Outgoing, log::Line},
};
use serde_json::Value;

const START: &str = "2026-06-01T06:00:00Z";

fn settings() -> Settings {
    let text = demo_configuration("mqtt://localhost", Path::new("/nowhere"));
    config::from_text("demo.toml", &text, &BTreeMap::new(), None).unwrap()
}

/// What the simulated boards publish in so many seconds, as `permeated` would have recorded it, and
/// the simulated unit's own books: litres of feed, permeate and concentrate.
fn recorded(seconds: u32) -> (String, [f64; 3]) {
    let start = Wall::from_rfc3339(START).unwrap();
    let mut unit = DemoUnit::new(1, "2026-06-01T06:00:00".parse().unwrap());
    let mut log = String::new();
    for second in 1..=seconds {
        let time = Wall(start.0 + i64::from(second) * 1000);
        for message in unit.step(1.0) {
            let line = Line::of(
                time,
                Outgoing {
                    topic: message.topic,
                    payload: message.payload,
                    // The broker marks as retained only what it sends at the subscription.
                    retain: false,
                },
            );
            log += &line.text();
            log.push('\n');
        }
    }
    let totals = unit.plant.truth().totals;
    let litres = [
        totals.feed_litres,
        totals.permeate_litres,
        totals.concentrate_litres,
    ];
    (log, litres)
}

fn replayed(log: &str) -> Result<String, ReplayError> {
    let mut out = Vec::new();
    replay(&settings(), "day.jsonl", log.as_bytes(), &mut out)?;
    Ok(String::from_utf8(out).unwrap())
}

/// The last document on a topic.
fn last(out: &str, topic: &str) -> Value {
    let line = out
        .lines()
        .map(|line| Line::read(line).unwrap().1)
        .rfind(|line| line.topic == topic)
        .unwrap_or_else(|| panic!("nothing on {topic}"));
    serde_json::from_str(&line.payload).unwrap()
}

#[test]
fn a_simulated_day_replays_to_the_same_bytes_and_the_simulated_water() {
    let (log, [feed, permeate, concentrate]) = recorded(86_400);
    let out = replayed(&log).unwrap();
    assert!(
        out == replayed(&log).unwrap(),
        "the same log, the same bytes"
    );
    // Every line is of the log's own form, so that a replay can be replayed.
    let mut before = Wall(i64::MIN);
    for line in out.lines() {
        let (time, _) = Line::read(line).unwrap();
        assert!(time >= before, "time runs forward: {line}");
        before = time;
    }
    // Against the simulation's own books (its physics is written apart from the core's): counters
    // are exact to a pulse, but below their minimum they stand still.
    let totals = last(&out, "permeated/basement/totals");
    for (key, truth) in [
        ("feed_l", feed),
        ("permeate_l", permeate),
        ("concentrate_l", concentrate),
    ] {
        let found = totals[key].as_f64().unwrap();
        assert!(
            (found - truth).abs() < 0.02 * truth,
            "{key}: found {found}, simulated {truth}"
        );
    }
    let run = last(&out, "permeated/basement/run");
    assert!(run["permeate_l"].as_f64().unwrap() > 1.0, "{run}");
    assert!(run["rejection_pct"].as_f64().unwrap() > 90.0, "{run}");
    assert_eq!(run["interrupted"], false, "{run}");
    let odd = |line: &&str| line.contains("/event\"") && line.contains("count_odd");
    assert_eq!(out.lines().find(odd), None, "no count was odd");
}

#[test]
fn wrong_lines_are_told_with_their_place() {
    let good = r#"{"time":"2026-06-01T06:00:00Z","topic":"a","payload":"1"}"#;
    for (log, expected) in [
        (format!("{good}\nnonsense\n"), "day.jsonl:2: "),
        (
            format!(
                "{good}\n\n{}\n",
                good.replace("2026-06-01T06:00:00Z", "noon")
            ),
            "day.jsonl:3: the time \"noon\" is not RFC 3339",
        ),
        (
            format!("{}\n", good.replace("payload", "value")),
            "day.jsonl:1: unknown field",
        ),
        (
            format!("{}\n", good.replace("\"1\"", "1")),
            "day.jsonl:1: invalid type",
        ),
    ] {
        let error = replayed(&log).unwrap_err().to_string();
        assert!(error.starts_with(expected), "{error}");
    }
}

#[test]
fn an_empty_log_says_nothing() {
    assert_eq!(replayed("\n\n").unwrap(), "");
}

/// A log whose clock was put back: no time passes, nothing is lost.
#[test]
fn a_log_may_jump_back() {
    let line = |time: &str| {
        format!(
            "{{\"time\":\"{time}\",\"topic\":\"demo/quality/sensor/feed_tds/state\",\"payload\":\"250\"}}\n"
        )
    };
    let log = line("2026-06-01T06:00:00Z")
        + &line("2026-06-01T05:00:00Z")
        + &line("2026-06-01T05:01:00Z");
    let out = replayed(&log).unwrap();
    let now = last(&out, "permeated/basement/now");
    assert_eq!(now["feed_tds_mg_l"], 250.0, "{now}");
}
