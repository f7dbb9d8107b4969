//! Commands as a keeper sends them: each is answered, a good one is safe at once, a bad one changes
//! nothing.

use serde_json::{Value, json};

use crate::{
    COUNTED,
    site::{Site, until},
    support::Watch,
};

const EVENT: &str = "permeated/u/event";

fn answers(watch: &Watch, event: &str) -> Vec<Value> {
    (watch.on(EVENT).iter())
        .map(|text| serde_json::from_str::<Value>(text).unwrap())
        .filter(|answer| answer["event"] == event)
        .collect()
}

/// A site whose unit made two litres, and its running service.
fn two_litres() -> (Site, crate::site::Service, Watch) {
    let site = Site::new("", COUNTED);
    let watch = site.broker.watch("permeated/u/#");
    let service = site.start();
    for count in [1000, 3000] {
        site.broker.publish("rig/pulses", &count.to_string(), &[]);
    }
    until("two litres are kept", || {
        site.kept("u")["totals"]["permeate"] == json!(2.0)
    });
    (site, service, watch)
}

fn treated(site: &Site, stage: &str) -> Value {
    site.kept("u")["stages"][stage]["treated"].clone()
}

#[test]
fn a_replaced_stage_is_answered_reset_and_safe_from_a_kill() {
    let (site, service, watch) = two_litres();
    // A message without payload, as `mosquitto_pub -n` sends it.
    site.broker
        .publish("permeated/u/do/stage/mixed-bed/replaced", "", &[]);
    until("it is answered", || {
        !answers(&watch, "command_done").is_empty()
    });
    let done = &answers(&watch, "command_done")[0];
    assert_eq!(done["about"], "stage/mixed-bed/replaced", "{done}");
    assert!(done["text"].as_str().unwrap().contains("2 L"), "{done}");
    assert_eq!(answers(&watch, "stage_replaced").len(), 1);
    // What could not be had again is safe before the broker is told to forget it.
    until("the broker may forget the command", || {
        acknowledged(&site, "do/stage/mixed-bed/replaced'")
    });
    service.kill();
    assert_eq!(treated(&site, "mixed-bed"), json!(0.0));

    let service = site.start();
    site.broker.publish("rig/pulses", "4500", &[]);
    until("the figures go on from zero", || {
        site.value("permeated/u/value/stage/mixed-bed/treated_l") == Some(1.5)
    });
    // 100 L of life less 1.5 L; the other stages go on as they were: 3.5 L of permeate, 17.5 L of feed.
    assert_eq!(
        site.value("permeated/u/value/stage/mixed-bed/left_pct"),
        Some(98.5)
    );
    assert_eq!(
        site.value("permeated/u/value/stage/sediment/treated_l"),
        Some(17.5)
    );
    let stage = site.document("permeated/u/stage/mixed-bed");
    assert!(stage["installed"].is_string(), "{stage}");
    service.terminate();
    // The old filling's figures are kept.
    let database = rusqlite::Connection::open(site.database()).unwrap();
    let text: String = database
        .query_row("SELECT document FROM stage_replaced", [], |row| row.get(0))
        .unwrap();
    let old: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(
        (&old["stage"], &old["treated"]),
        (&json!("mixed-bed"), &json!(2.0))
    );
}

/// Whether the broker has the receipt of the last message it sent us on that topic.
fn acknowledged(site: &Site, topic: &str) -> bool {
    let log = site.broker.log();
    let sent = (log.lines())
        .rfind(|line| line.contains("Sending PUBLISH to under-test") && line.contains(topic));
    // "… (d0, q1, r0, m7, 'topic', …"
    let Some(id) = sent.and_then(|line| line.split(", m").nth(1)?.split(',').next()) else {
        return false;
    };
    log.contains(&format!("Received PUBACK from under-test (Mid: {id},"))
}

#[test]
fn a_bad_command_is_answered_and_changes_nothing() {
    let (site, service, watch) = two_litres();
    for (path, payload, answer) in [
        (
            "stage/attic/replaced",
            "",
            "there is no stage \"attic\"; the stages are sediment, membrane, mixed-bed",
        ),
        (
            "stage/mixed-bed/replaced",
            "yesterday",
            "no JSON object in \"yesterday\"",
        ),
        (
            "stage/mixed-bed/replaced",
            "{\"date\": \"2999-01-01\"}",
            "no day in the past",
        ),
        (
            "stage/mixed-bed/replaced",
            "{\"dat\": \"2026-05-01\"}",
            "unknown key \"dat\"",
        ),
        ("dance", "", "there is no command \"dance\""),
        ("membrane/rebaseline", "now", "it takes no payload"),
    ] {
        let before = answers(&watch, "command_refused").len();
        site.broker
            .publish(&format!("permeated/u/do/{path}"), payload, &[]);
        until("it is answered", || {
            answers(&watch, "command_refused").len() > before
        });
        let refused = answers(&watch, "command_refused").pop().unwrap();
        assert_eq!(refused["about"], path, "{refused}");
        assert!(
            refused["text"].as_str().unwrap().contains(answer),
            "{refused}"
        );
    }
    assert!(answers(&watch, "command_done").is_empty());
    service.terminate();
    assert_eq!(treated(&site, "mixed-bed"), json!(2.0));
}

#[test]
fn a_retained_command_is_refused() {
    let (site, service, watch) = two_litres();
    service.terminate();
    // Retained before the service first hears that topic; afterwards a broker passes it on as new.
    let other = COUNTED.replace("unit.u", "unit.v");
    site.broker
        .publish("permeated/v/do/stage/mixed-bed/replaced", "PRESS", &["-r"]);
    let events = site.broker.watch("permeated/v/event");
    site.configure(&format!("{COUNTED}{other}"));
    let service = site.start();
    until("it is refused", || {
        (events.on("permeated/v/event").iter())
            .any(|text| text.contains("command_refused") && text.contains("retained"))
    });
    site.broker.publish("rig/pulses", "4000", &[]);
    until("the unit lives", || {
        site.kept("u")["totals"]["permeate"] == json!(3.0)
    });
    assert!(answers(&watch, "command_done").is_empty());
    assert!(!(events.on("permeated/v/event").iter()).any(|text| text.contains("command_done")));
    service.terminate();
    assert!(site.kept("v")["stages"]["mixed-bed"]["installed"].is_null());
}

#[test]
fn a_command_sent_while_the_service_was_away_is_carried_out_once() {
    let (site, service, watch) = two_litres();
    service.terminate();
    site.broker
        .publish("permeated/u/do/stage/mixed-bed/replaced", "PRESS", &[]);
    let service = site.start();
    until("it is answered", || {
        answers(&watch, "command_done").len() == 1
    });
    service.terminate();
    assert_eq!(treated(&site, "mixed-bed"), json!(0.0));
    let service = site.start();
    service.terminate();
    assert_eq!(answers(&watch, "stage_replaced").len(), 1);
}
