//! Whatever comes: memory is bounded, and what had no room is told.

use super::{
    super::heard::{Heard, LIMITS, LeftOut, Limits, Message},
    House, NOW,
};
use crate::time::Wall;

fn take(heard: &mut Heard, topic: &str, payload: &[u8]) {
    heard.take(Message {
        topic,
        payload,
        retained: false,
        after: std::time::Duration::ZERO,
        at: Wall(NOW),
    });
}

#[test]
fn what_has_no_room_is_counted_and_told() {
    let limits = Limits {
        topics: 3,
        values: 5,
        ..LIMITS
    };
    let mut heard = Heard::within(limits, "permeated");
    for number in 0..10 {
        take(&mut heard, &format!("t/{number}"), b"1");
    }
    take(&mut heard, "t/0", br#"{"a":1,"b":2,"c":3,"d":4}"#);
    take(&mut heard, "t/1", &[0xff, 0xfe]);
    take(&mut heard, "t/1", &vec![b'1'; 70_000]);
    take(&mut heard, &"x".repeat(2000), b"1");
    let deep = format!("{}1{}", "[".repeat(50), "]".repeat(50));
    take(&mut heard, "t/2", deep.as_bytes());
    assert_eq!(heard.counts(), (15, 3, 5));
    assert_eq!(
        heard.left_out,
        LeftOut {
            topics: 7,
            values: 2,
            too_large: 1,
            not_text: 1,
            too_deep: 1,
            long_names: 1
        }
    );
    let report = super::super::Proposal::of(&heard).report(false);
    assert!(
        report.contains("Left out") && report.contains("12 levels"),
        "{report}"
    );
}

/// A board that was never given its name. Found by libFuzzer: what was proposed of it, `check` refused.
#[test]
fn what_stands_for_an_id_in_a_configuration_is_not_proposed() {
    let told = r#"{"state_topic": "rodi/leak", "payload_on": "{UNIT}", "payload_off": "OFF",
        "availability_topic": "rodi/{unit}/status"}"#;
    let house = House::new()
        .live("rodi/{unit}/feed_tds", "250 ppm")
        .live("rodi/json", r#"{"{unit}": {"feed_tds": "250 ppm"}}"#)
        .live("homeassistant/binary_sensor/leak/config", told)
        .live("rodi/leak", "OFF");
    let proposal = house.proposal();
    let report = proposal.report(true);
    assert!(report.contains("or {unit} in it"), "{report}");
    let topics: Vec<&str> = (proposal.findings.iter())
        .map(|finding| finding.topic.as_str())
        .collect();
    assert_eq!(topics, ["rodi/leak"]);
    assert_eq!(proposal.findings[0].words, None);
    assert_eq!(proposal.findings[0].presence, None);
}

#[test]
fn json_too_deep_to_be_read_is_a_text() {
    let deep = format!("{}1{}", "[".repeat(5000), "]".repeat(5000));
    let house = House::new().live("rodi/tds", &deep);
    assert_eq!(house.proposal().findings.len(), 0);
}

/// A busy house: the whole of it is judged within a moment, which a slow square of it would not be.
#[test]
fn thousands_of_topics_are_judged() {
    let mut house = House::new();
    for number in 0..20_000 {
        house.message(&format!("house/rodi{number}/feed_tds"), b"250 ppm", false);
    }
    let proposal = house.proposal();
    assert_eq!(
        (proposal.findings.len(), proposal.left_out.topics),
        (5000, 15_000)
    );
    assert!(proposal.report(true).len() < 10_000_000);
}
