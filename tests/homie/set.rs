//! Setting a property: the same as a command on `do/…`.

use permeated::core::{Arrival, HandTest};
use serde_json::Value;

use super::{Site, configurations::everything};

/// What happened by it: kind and sentence of each event.
fn set(site: &mut Site, rest: &str, payload: &str, arrival: Arrival) -> Vec<(String, String)> {
    site.said.clear();
    site.hear(&format!("homie/5/{rest}/set"), payload, arrival);
    let events = site
        .said
        .iter()
        .filter(|said| said.topic.ends_with("/event"));
    events
        .map(|event| {
            let event: Value = serde_json::from_str(&event.payload).unwrap();
            let text = |key: &str| event[key].as_str().unwrap().to_owned();
            (text("event"), text("text"))
        })
        .collect()
}

fn kinds(events: &[(String, String)]) -> Vec<&str> {
    events.iter().map(|(kind, _)| kind.as_str()).collect()
}

#[test]
fn what_is_set_is_done() {
    let mut site = Site::new(&everything());
    // Long silence raises alerts, so that there is something to acknowledge.
    site.hear_all();
    site.pass(3 * 3_600_000);
    for unit in ["a", "a-b"] {
        let place = format!("permeated-{unit}/stage-catalytic-carbon/replaced");
        let events = set(&mut site, &place, "replaced", Arrival::Live);
        assert!(kinds(&events).contains(&"stage_replaced"), "{events:?}");
        assert!(kinds(&events).contains(&"command_done"), "{events:?}");
        // A moment: said once, not retained.
        let echo = site
            .said
            .iter()
            .find(|said| said.topic == format!("homie/5/{place}"));
        let echo = echo.unwrap();
        assert_eq!((echo.payload.as_str(), echo.retain), ("replaced", false));
        let place = format!("permeated-{unit}/alerts/acknowledge");
        assert_eq!(
            kinds(&set(&mut site, &place, "all", Arrival::Live)),
            ["command_done"]
        );
        for test in HandTest::ALL {
            let name = test.key().replace('_', "-");
            let place = format!("permeated-{unit}/tests/{name}");
            let events = set(&mut site, &place, "7.5", Arrival::Live);
            assert!(
                kinds(&events).contains(&"command_done"),
                "{place}: {events:?}"
            );
            site.pass(20_000);
            let value: f64 = site.value(&place).unwrap().parse().unwrap();
            assert!((value - 7.5).abs() < 1e-9, "{place}: {value}");
        }
    }
}

#[test]
fn a_retained_one_is_refused() {
    let mut site = Site::new(&everything());
    for (place, payload) in [
        ("permeated-a/stage-carbon/replaced", "replaced"),
        ("permeated-a/alerts/acknowledge", "all"),
        ("permeated-a/tests/ph", "7"),
    ] {
        let events = set(&mut site, place, payload, Arrival::Retained);
        assert_eq!(kinds(&events), ["command_refused"], "{place}");
        assert!(events[0].1.contains("retained"), "{}", events[0].1);
        let echo = |said: &permeated::wire::Outgoing| said.topic == format!("homie/5/{place}");
        assert!(!site.said.iter().any(echo), "nothing was done");
    }
}

#[test]
fn a_wrong_one_is_refused_and_told_what_is_allowed() {
    let mut site = Site::new(&everything());
    for (place, payload, allowed) in [
        ("permeated-a/stage-carbon/replaced", "true", "\"replaced\""),
        ("permeated-a/alerts/acknowledge", "", "\"all\""),
        ("permeated-a/tests/ph", "77", "5.5"),
        ("permeated-a/tests/ph", "acid", "acid"),
    ] {
        let events = set(&mut site, place, payload, Arrival::Live);
        assert_eq!(kinds(&events), ["command_refused"], "{place} {payload}");
        assert!(events[0].1.contains(allowed), "{}", events[0].1);
    }
    // What cannot be set, or is not ours, is nobody's business.
    for place in [
        "permeated-a/now/state",
        "permeated-a/stage-none/replaced",
        "permeated-c/alerts/acknowledge",
        "other/alerts/acknowledge",
    ] {
        assert_eq!(set(&mut site, place, "all", Arrival::Live), [], "{place}");
    }
}

#[test]
fn every_unit_hears_its_settings() {
    let site = Site::new(&everything());
    let filters = site.installation.subscriptions();
    for unit in ["a", "a-b"] {
        assert!(filters.contains(&format!("homie/5/permeated-{unit}/+/+/set")));
    }
}
