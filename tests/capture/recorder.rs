//! `permeated capture` at a real broker: what it survives, what it says, what it leaves behind.

use std::{fs, io::Write as _};

use permeated::wire::log::Mark;

use crate::{
    program::{Running, marks, messages, path, publish, run, site, subscribed, text},
    site::until,
};

#[test]
fn a_capture_outlives_the_broker_says_what_it_missed_and_leaves_nothing_behind() {
    let mut site = site();
    let (config, log) = (path(&site, "permeated.toml"), path(&site, "log.jsonl"));
    publish(&site.broker, "rig/pulses", b"17", &["-r"]);
    let capture = Running::start(&[
        "capture", "--config", &config, "--output", &log, "--also", "other/#",
    ]);
    let read = || fs::read_to_string(&log).unwrap_or_default();
    until("the retained message is there", || {
        read().contains("\"17\"")
    });
    publish(&site.broker, "other/deep/topic", b"\xff", &[]);
    until("another topic is there", || read().contains("/w=="));
    site.broker.kill();
    let before = site.broker.log().len();
    site.broker.restart();
    subscribed(&site.broker, "permeated-", before);
    publish(&site.broker, "rig/leak", b"ON", &[]);
    until("what came after is there", || read().contains("rig/leak"));
    let ended = capture.end("-INT");
    assert_eq!(ended.status.code(), Some(0), "{ended:?}");
    let told = text(&ended.stderr);
    assert!(
        told.contains("Recorded 3 messages on 3 topics") && told.contains("1 gap"),
        "{told}"
    );
    assert!(ended.stdout.is_empty());
    let text_of_log = read();
    assert!(
        matches!(
            marks(&text_of_log)[..],
            [Mark::Began(_), Mark::Gap(..), Mark::Ended]
        ),
        "{text_of_log}"
    );
    let first = &messages(&text_of_log)[0];
    assert!(first.2, "it was retained: {first:?}");
    // MQTT 3.1.1: a will and a PUBLISH are all a client can write.
    let broker = site.broker.log();
    assert!(
        !broker.contains("Received PUBLISH from permeated-"),
        "{broker}"
    );
    assert!(!broker.contains("Will message specified"), "{broker}");
    // p2 is a protocol level, c1 a clean session.
    let connects = broker
        .lines()
        .filter(|line| line.contains(" as permeated-"));
    assert!(
        connects.clone().count() >= 2 && connects.clone().all(|line| line.contains("c1")),
        "{broker}"
    );

    // A file that is there is left alone; more may be added to it.
    let whole = read();
    let again = |more: &[&str]| {
        run(&[
            &[
                "capture", "--config", &config, "--for", "0.2s", "--output", &log,
            ][..],
            more,
        ]
        .concat())
    };
    let refused = again(&[]);
    assert_eq!(refused.status.code(), Some(1), "{refused:?}");
    assert!(text(&refused.stderr).contains("--append"), "{refused:?}");
    assert_eq!(read(), whole);
    let added = again(&["--append"]);
    assert!(added.status.success(), "{added:?}");
    assert!(read().starts_with(&whole) && read().len() > whole.len());
    let replayed = run(&["replay", "--config", &config, &log]);
    assert!(replayed.status.success(), "{replayed:?}");
    assert!(again(&["--force"]).status.success());
    assert!(!read().starts_with(&whole));
}

#[test]
fn a_kill_in_a_flood_leaves_whole_lines() {
    const FLOOD: usize = 20_000;
    let site = site();
    let (config, log) = (path(&site, "permeated.toml"), path(&site, "log.jsonl"));
    let before = site.broker.log().len();
    let mut capture = Running::start(&["capture", "--config", &config, "-o", &log]);
    subscribed(&site.broker, "permeated-", before);
    let _flood = site.broker.publish_numbers("rig/pulses", FLOOD, "1");
    let read = || fs::read(&log).unwrap_or_default();
    until("it is in the middle of it", || read().len() > 100_000);
    capture.0.kill().unwrap();
    capture.0.wait().unwrap();
    let bytes = read();
    let whole = bytes.iter().rposition(|byte| *byte == b'\n').unwrap();
    let log_text = text(&bytes[..=whole]);
    let numbers: Vec<usize> = (messages(&log_text).into_iter())
        .map(|(_, payload, _)| text(&payload).parse().unwrap())
        .collect();
    assert!(numbers.len() > 500 && numbers.len() < FLOOD);
    assert!(
        numbers.iter().copied().eq(1..=numbers.len()),
        "none is missing"
    );
    // Torn by hand, for a kill seldom hits a line.
    fs::OpenOptions::new()
        .append(true)
        .open(&log)
        .unwrap()
        .write_all(b"{\"time\":\"20")
        .unwrap();
    let replayed = run(&["replay", "--config", &config, &log]);
    assert_eq!(replayed.status.code(), Some(0), "{replayed:?}");
    let told = text(&replayed.stderr);
    assert!(told.contains("torn") && told.contains("left out"), "{told}");
}

#[test]
fn a_capture_that_never_reached_a_broker_says_so() {
    let mut site = site();
    site.broker.kill();
    let config = path(&site, "permeated.toml");
    let ended = run(&["capture", "--config", &config, "--for", "1 s"]);
    assert_eq!(ended.status.code(), Some(1), "{ended:?}");
    assert!(
        text(&ended.stderr).contains("nothing was recorded"),
        "{ended:?}"
    );
    let wrong = run(&["capture", "--config", &config, "--for", "soon"]);
    assert_eq!(wrong.status.code(), Some(2), "{wrong:?}");
}
