//! Homie at a real broker: how the devices stand through a start, a kill, a change and an end, in the order
//! in which a controller sees it.

use crate::{
    COUNTED,
    site::{CLIENT, Site, until},
    support::Mosquitto,
};

const SERVICE: &str = "homie/5/permeated/$state";
const UNIT: &str = "homie/5/permeated-u/$state";
const VALUE: &str = "homie/5/permeated-u/totals/permeate-l";

/// A second unit beside the counted one.
const SECOND: &str =
    "[[unit.v.sensor]]\nat = \"product_tds\"\ntopic = \"rig/tds\"\nunit = \"ppm\"\n";

fn with_homie(units: &str) -> String {
    format!("[homie]\nenabled = true\n{units}")
}

/// The places of these messages among all that was seen; panics where one is missing.
fn places(seen: &[(String, String)], messages: &[(&str, &str)]) -> Vec<usize> {
    let place = |(topic, payload): &(&str, &str)| {
        let found = seen
            .iter()
            .position(|(other, text)| other == topic && text == payload);
        found.unwrap_or_else(|| panic!("{topic} {payload} in {seen:#?}"))
    };
    messages.iter().map(place).collect()
}

#[test]
fn it_is_ready_lost_ready_again_and_disconnected() {
    let site = Site::new(Mosquitto::PERSISTENT, &with_homie(COUNTED));
    let watch = site.broker.watch("homie/#");
    let all = || -> Vec<(String, String)> {
        let seen = watch.seen().into_iter();
        seen.map(|seen| (seen.topic, seen.payload)).collect()
    };
    let stands = |topic: &str| site.broker.retained(topic);
    let service = site.start();
    until("it is ready", || {
        stands(SERVICE).as_deref() == Some("ready")
    });
    assert_eq!(stands(UNIT).as_deref(), Some("ready"));
    site.broker.publish("rig/pulses", "1000", &[]);
    site.broker.publish("rig/pulses", "3000", &[]);
    until("a value", || stands(VALUE).as_deref() == Some("2.0"));
    let description = stands("homie/5/permeated-u/$description").unwrap();
    let seen = all();
    let of_description = seen
        .iter()
        .position(|(topic, _)| topic == "homie/5/permeated-u/$description");
    let order = places(
        &seen,
        &[
            (SERVICE, "init"),
            (UNIT, "init"),
            (UNIT, "ready"),
            (SERVICE, "ready"),
        ],
    );
    assert!(order.is_sorted(), "{order:?}");
    assert!(order[1] < of_description.unwrap() && of_description.unwrap() < order[2]);

    // A command, by the main session.
    let event = site.broker.watch("permeated/u/event");
    let replaced = "homie/5/permeated-u/stage-mixed-bed/replaced/set";
    site.broker.publish(replaced, "replaced", &["-q", "1"]);
    let happened = |kind: &str| {
        let seen = event.on("permeated/u/event");
        seen.iter().any(|payload| payload.contains(kind))
    };
    until("it is done", || happened("stage_replaced"));

    service.kill();
    until("the broker says it for it", || {
        stands(SERVICE).as_deref() == Some("lost")
    });
    let service = site.start();
    until("it is ready again", || {
        stands(SERVICE).as_deref() == Some("ready")
    });
    assert_eq!(
        stands("homie/5/permeated-u/$description"),
        Some(description),
        "the same version after a restart"
    );
    service.terminate();
    assert_eq!(stands(SERVICE).as_deref(), Some("disconnected"));
    assert_eq!(stands(UNIT).as_deref(), Some("disconnected"));
    assert_eq!(site.broker.connections_of(&format!("{CLIENT}-homie")), 2);
}

#[test]
fn what_left_the_configuration_is_removed_and_its_state_first() {
    let site = Site::new(
        Mosquitto::PERSISTENT,
        &with_homie(&format!("{SECOND}{COUNTED}")),
    );
    let service = site.start();
    let state = "homie/5/permeated-v/$state";
    until("it is ready", || {
        site.broker.retained(SERVICE).as_deref() == Some("ready")
    });
    assert!(site.broker.retained(state).is_some());
    service.terminate();

    site.configure(&with_homie(COUNTED));
    let watch = site.broker.watch("homie/5/permeated-v/#");
    let described = "homie/5/permeated-v/$description";
    until("what is retained is seen", || watch.on(state).len() == 1);
    let service = site.start();
    until("it is removed", || {
        site.broker.all_retained("homie/5/permeated-v/#").is_empty()
    });
    until("that is seen", || watch.saw(described, ""));
    let seen = watch.seen();
    let empty: Vec<&str> = (seen.iter())
        .filter(|seen| seen.payload.is_empty())
        .map(|seen| seen.topic.as_str())
        .collect();
    assert_eq!(empty[0], state, "{empty:?}");
    until("the other is ready", || {
        site.broker.retained(SERVICE).as_deref() == Some("ready")
    });
    let root = site.document("homie/5/permeated/$description");
    assert_eq!(root["children"], serde_json::json!(["permeated-u"]));
    service.terminate();

    // Switched off, nothing stays.
    site.configure(COUNTED);
    let service = site.start();
    until("nothing is left", || {
        site.broker.all_retained("homie/#").is_empty()
    });
    service.terminate();
    let log = std::fs::read_to_string(site.folder().join("log")).unwrap();
    assert!(!log.contains("ERROR"), "{log}");
}
