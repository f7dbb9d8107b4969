//! Commands: only where they are wanted, never retained, never oversize; and nothing is subscribed that was
//! not configured.

use std::{collections::BTreeSet, fs};

use serde_json::Value;

use crate::{
    UNIT, VALUE, said,
    site::{CLIENT, Site, program, until},
    support::Watch,
};

/// What the broker's log shows as subscribed by the service: `<time>: <client> <QoS> <filter>`.
fn subscribed(site: &Site) -> BTreeSet<String> {
    let words = format!(": {CLIENT} 1 ");
    let log = site.broker.log();
    let lines = log.lines().filter_map(|line| line.split_once(&words));
    lines.map(|(_, filter)| filter.to_owned()).collect()
}

fn set(filters: &[&str]) -> BTreeSet<String> {
    filters.iter().map(ToString::to_string).collect()
}

const OWN: [&str; 2] = ["permeated/status", "permeated/status/session"];

#[test]
fn nothing_is_heard_that_was_not_configured() {
    let site = Site::new("", UNIT);
    let service = site.start();
    let mut wanted = set(&OWN);
    wanted.extend(set(&[
        "rig/product",
        "permeated/u/do/#",
        "homeassistant/status",
    ]));
    assert_eq!(subscribed(&site), wanted);
    service.terminate();
}

#[test]
fn switched_off_no_command_is_heard_offered_or_sent() {
    let site = Site::new("", &format!("[homie]\nenabled = true\n{UNIT}"));
    let text = fs::read_to_string(site.file()).unwrap();
    let watch = site.broker.watch("permeated/u/event");
    // What an earlier life subscribed must be given up, too.
    let service = site.start();
    until("it is announced", || {
        site.broker
            .retained("homeassistant/device/permeated/u/config")
            .is_some()
    });
    let announced = || {
        let topics = ["homeassistant/#", "homie/#"];
        topics
            .map(|topic| format!("{:?}", site.broker.all_retained(topic)))
            .concat()
    };
    assert!(announced().contains("command_topic") && announced().contains("settable\\\":true"));
    service.terminate();
    fs::write(site.file(), format!("commands = false\n{text}")).unwrap();
    let before = site.broker.log().len();
    let service = site.launch();
    site.hears(before);
    until("nothing is offered any more", || {
        let all = announced();
        !all.contains("command_topic") && !all.contains("settable\\\":true")
    });
    until("the broker forgot it", || {
        let log = site.broker.log();
        log[before..]
            .lines()
            .any(|line| line.ends_with("permeated/u/do/#") && !line.contains(" 1 "))
    });
    let log = site.broker.log();
    assert!(
        !log[before..].contains(&format!("{CLIENT} 1 permeated/u/do/#")),
        "{log}"
    );
    for topic in [
        "permeated/u/do/stage/di/replaced",
        "homie/5/permeated-u/stage-di/replaced/set",
    ] {
        site.broker.publish(topic, "", &[]);
    }
    site.broker.publish("rig/product", "3", &[]);
    until("what comes after them is heard", || {
        site.value(VALUE) == Some(3.0)
    });
    assert!(
        answers(&watch, "command_done").is_empty(),
        "{:?}",
        watch.seen()
    );
    assert!(
        answers(&watch, "command_refused").is_empty(),
        "{:?}",
        watch.seen()
    );
    let output = program()
        .args(["log", "replaced", "di", "--config"])
        .arg(site.file())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(said(&output).contains("commands = false"), "{output:?}");
    service.terminate();
}

fn answers(watch: &Watch, event: &str) -> Vec<Value> {
    (watch.on("permeated/u/event").iter())
        .map(|text| serde_json::from_str::<Value>(text).unwrap())
        .filter(|answer| answer["event"] == event)
        .collect()
}

/// Each with the words that its answer must have.
#[test]
fn what_is_no_command_is_answered_and_changes_nothing() {
    let site = Site::new("", UNIT);
    site.broker
        .publish("permeated/u/do/stage/di/replaced", "{}", &["-r"]);
    let watch = site.broker.watch("permeated/u/event");
    let service = site.start();
    until("the retained one is refused", || {
        let refused = answers(&watch, "command_refused");
        refused
            .iter()
            .any(|answer| answer["text"].as_str().unwrap().contains("retained"))
    });
    let long = format!("{{\"note\": \"{}\"}}", "x".repeat(5000));
    let deep = "[".repeat(3000);
    for (path, payload, wanted) in [
        ("stage/di/replaced", long.as_str(), "4096"),
        ("note", deep.as_str(), ""),
        ("stage/carbon/replaced", "", "carbon"),
        ("test/nothing", "1", "nothing"),
        ("alert/nothing/acknowledge", "", "nothing"),
        ("anything", "", "there is no command"),
    ] {
        let before = answers(&watch, "command_refused").len();
        site.broker
            .publish(&format!("permeated/u/do/{path}"), payload, &[]);
        until(path, || answers(&watch, "command_refused").len() > before);
        let answer = answers(&watch, "command_refused").pop().unwrap();
        assert!(
            answer["text"].as_str().unwrap().contains(wanted),
            "{answer}"
        );
    }
    // A unit that is not there has nobody who listens.
    site.broker
        .publish("permeated/other/do/stage/di/replaced", "", &[]);
    site.broker.publish("rig/product", "3", &[]);
    until("the next message is heard", || {
        site.value(VALUE) == Some(3.0)
    });
    assert!(
        answers(&watch, "command_done").is_empty(),
        "{:?}",
        watch.seen()
    );
    assert_eq!(answers(&watch, "command_refused").len(), 7);
    service.terminate();
}
