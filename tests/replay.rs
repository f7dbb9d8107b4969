//! A recorded log through the core: the same bytes for the same log, a simulated day as a whole, and
//! wrong lines told with their place.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    collections::BTreeMap,
    io::Write as _,
    path::Path,
    process::{Command, Stdio},
};

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

const SENSORS: &str = "time_zone = \"Europe/Berlin\"\n[publish]\ninterval = \"1 s\"\n\
    [[unit.u.sensor]]\nat = \"permeate_flow\"\ntopic = \"a\"\npointer = \"/f\"\nunit = \"L/min\"\n\
    [[unit.u.sensor]]\nat = \"feed_tds\"\ntopic = \"a\"\npointer = \"/t\"\nunit = \"ppm\"\n\
    [[unit.u.sensor]]\nat = \"pump\"\ntopic = \"b\"\n";

fn of_sensors(log: &[u8]) -> Result<String, ReplayError> {
    let settings = config::from_text("t.toml", SENSORS, &BTreeMap::new(), None).unwrap();
    let mut out = Vec::new();
    replay(&settings, "t", log, &mut out)?;
    Ok(String::from_utf8(out).unwrap())
}

/// The same twenty minutes three times: as messages of JSON; as a table of topics; as a table with a column
/// for each sensor, by the owner's clock (Berlin in June: two hours ahead of UTC).
fn three_ways() -> [String; 3] {
    let [mut log, mut topics, mut columns] = [
        "",
        "time,topic,payload,retain\n",
        "time,permeate_flow,feed_tds,pump\n",
    ]
    .map(str::to_owned);
    for minute in 0..20 {
        let (flow, tds) = (f64::from(minute % 7) / 10.0, 240 + minute);
        let board = format!("{{\"f\": {flow}, \"t\": {tds}}}");
        let pump = if minute == 5 { "ON" } else { "" };
        let utc = format!("2026-06-01T06:{minute:02}:00Z");
        for (topic, payload) in [("a", board.as_str()), ("b", pump)] {
            if !payload.is_empty() {
                let quoted = Value::from(payload);
                log +=
                    &format!("{{\"time\":\"{utc}\",\"topic\":\"{topic}\",\"payload\":{quoted}}}\n");
                // RFC 4180, 2.7: a quote in a quoted field is doubled.
                let doubled = payload.replace('"', "\"\"");
                topics += &format!("{utc},{topic},\"{doubled}\",false\n");
            }
        }
        columns += &format!("2026-06-01 08:{minute:02}:00,{flow},{tds},{pump}\n");
    }
    [log, topics, columns]
}

#[test]
fn a_table_replays_as_the_messages_it_stands_for() {
    let [log, topics, columns] = three_ways();
    let expected = of_sensors(log.as_bytes()).unwrap();
    assert!(expected.contains("run_started"), "{expected}");
    assert!(of_sensors(topics.as_bytes()).unwrap() == expected);
    assert!(of_sensors(columns.as_bytes()).unwrap() == expected);
    // As spreadsheets write it where commas are decimal, with a byte order mark.
    let semicolons = columns.replace(',', ";").replace('.', ",");
    assert!(of_sensors(format!("\u{feff}{semicolons}").as_bytes()).unwrap() == expected);
    // Tables as Python's csv module writes them, in both of its dialects.
    for dialect in ["excel", "excel-tab"] {
        let script = format!(
            "import csv, sys\nrows = csv.reader(sys.stdin.read().splitlines())\n\
             csv.writer(sys.stdout, '{dialect}').writerows(rows)"
        );
        let mut python = Command::new("python3")
            .args(["-c", &script])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3; run the tests with tests/run, which checks for what is needed");
        python
            .stdin
            .take()
            .unwrap()
            .write_all(topics.as_bytes())
            .unwrap();
        let table = python.wait_with_output().unwrap().stdout;
        assert!(table.windows(2).any(|bytes| bytes == b"\r\n"));
        assert!(of_sensors(&table).unwrap() == expected, "{dialect}");
    }
}

#[test]
fn wrong_tables_are_told_with_line_and_column() {
    let head = "time,permeate_flow,feed_tds,pump\n2026-06-01T06:00:00Z,1,250,\n";
    for (rows, expected) in [
        ("noon,1,250,\n", "t:3: column 1 (time): \"noon\""),
        (
            "2026-06-01T06:01:00Z,1,many,\n",
            "t:3: column 3 (feed_tds): \"many\" is not a number",
        ),
        (
            "2026-06-01T06:01:00Z,1\n",
            "t:3: 2 cells, where the header has 4",
        ),
        (
            "2026-10-25 02:30,1,2,\n",
            "t:3: column 1 (time): \"2026-10-25 02:30\" came twice",
        ),
    ] {
        let error = of_sensors(format!("{head}{rows}").as_bytes())
            .unwrap_err()
            .to_string();
        assert!(error.starts_with(expected), "{error}");
    }
    let error = of_sensors(b"time,flow\n").unwrap_err().to_string();
    assert!(
        error.starts_with("t:1: column 2 of the header, \"flow\"")
            && error.contains("permeate_flow, feed_tds, pump"),
        "{error}"
    );
    let error = of_sensors(b"time,pump\n2026-06-01T06:00:00Z,\xff\n")
        .unwrap_err()
        .to_string();
    assert!(error.starts_with("t:2: column 2 is no UTF-8"), "{error}");
}

#[test]
fn only_a_torn_last_line_is_left_out() {
    let [log, ..] = three_ways();
    let whole = of_sensors(log.as_bytes()).unwrap();
    let torn = format!("{log}{{\"time\":\"2026-06-01T06:2");
    assert!(of_sensors(torn.as_bytes()).unwrap() == whole);
    // Bytes cut in the middle of a letter, too.
    let cut = [log.as_bytes(), b"{\"time\":\"\xc3"].concat();
    assert!(of_sensors(&cut).unwrap() == whole);
    let lines = log.lines().count();
    let within = format!("{torn}\n{log}");
    let error = of_sensors(within.as_bytes()).unwrap_err().to_string();
    assert!(error.starts_with(&format!("t:{}: ", lines + 1)), "{error}");
    assert!(
        of_sensors(b"{\"time\"").is_err(),
        "a file of one broken line is no log"
    );
}

/// A board without a battery: its wall clock was set an hour after the recording began. What measured itself
/// by a clock that cannot be set passes as it was; without one the jump would be 56 years to live through.
#[test]
fn a_clock_that_was_set_late_lets_no_time_pass() {
    let line = |time: &str, mono: u64| {
        format!(
            "{{\"time\":\"{time}\",\"topic\":\"a\",\"payload\":\"{{\\\"f\\\": 1.0, \\\"t\\\": 250}}\",\"mono\":{mono}}}\n"
        )
    };
    let mut log = String::new();
    for second in 0..30_u64 {
        let time = if second < 15 {
            format!("1970-01-01T01:00:{second:02}Z")
        } else {
            format!("2026-06-01T06:00:{second:02}Z")
        };
        log += &line(&time, 1000 * second);
    }
    let out = of_sensors(log.as_bytes()).unwrap();
    let totals = last(&out, "permeated/u/totals");
    // 1 L/min for 29 s, and the last half of what is held between two messages.
    let litres = totals["permeate_l"].as_f64().unwrap();
    assert!((litres - 29.0 / 60.0).abs() < 0.02, "{totals}");
}
