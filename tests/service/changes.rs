//! The configuration changes between two runs: what is gone leaves nothing behind at the broker.

use std::collections::BTreeMap;

use crate::{
    COUNTED,
    site::{CLIENT, Service, Site, until},
};

/// A second unit with a sensor of its own.
const SECOND: &str = r#"
[[unit.gone.stage]]
id = "carbon"
kind = "carbon"
life_time = "180 d"
[[unit.gone.sensor]]
at = "feed_temperature"
topic = "rig/temperature"
unit = "degC"
"#;

/// Runs until these topics, the last of their units, are published, with what is retained then.
fn run_once(site: &Site, topics: &[&str]) -> (Service, BTreeMap<String, String>) {
    let service = site.start();
    site.broker.publish("rig/pulses", "1000", &[]);
    site.broker.publish("rig/temperature", "14", &[]);
    for topic in topics {
        until("it publishes", || site.broker.retained(topic).is_some());
    }
    let retained = site.broker.all_retained("permeated/#");
    (service, retained)
}

fn sent_since(site: &Site, from: usize, topic: &str) -> bool {
    (site.broker.log()[from..].lines())
        .any(|line| line.contains(&format!("Sending PUBLISH to {CLIENT}")) && line.contains(topic))
}

#[test]
fn a_removed_stage_sensor_and_unit_leave_no_ghosts() {
    let site = Site::new(
        crate::support::Mosquitto::PERSISTENT,
        &format!("{COUNTED}{SECOND}"),
    );
    let (service, before) = run_once(
        &site,
        &[
            "permeated/gone/value/stage/carbon/age_d",
            // The ages are told at the start already, litres once the pulses have come.
            "permeated/u/value/stage/mixed-bed/treated_l",
            "permeated/u/value/stage/mixed-bed/age_d",
            // The last of the sums, which are told once they are on disk.
            "permeated/u/value/unmeasured_h",
        ],
    );
    assert!(before.contains_key("permeated/u/value/stage/mixed-bed/left_pct"));
    assert!(before.contains_key("permeated/gone/now"));
    service.terminate();

    // Without the second unit, and without the first one's last stage.
    let (head, tail) = COUNTED
        .split_once("[[unit.u.stage]]\nid = \"mixed-bed\"")
        .unwrap();
    let sensor = &tail[tail.find("[[unit.u.sensor]]").unwrap()..];
    site.configure(&format!("{head}{sensor}"));
    let service = site.start();
    let is_ghost =
        |topic: &String| topic.starts_with("permeated/gone/") || topic.contains("mixed-bed");
    until("no ghost is left", || {
        !site.broker.all_retained("permeated/#").keys().any(is_ghost)
    });
    let after = site.broker.all_retained("permeated/#");
    let expected: Vec<&String> = before.keys().filter(|topic| !is_ghost(topic)).collect();
    assert_eq!(after.keys().collect::<Vec<_>>(), expected, "the rest stays");

    // The broker's session holds the old filters no longer: nothing comes, live or queued.
    until("the old filter is given up", || {
        site.broker
            .log()
            .contains("Received UNSUBSCRIBE from under-test")
    });
    let from = site.broker.log().len();
    site.broker.publish("rig/temperature", "15", &[]);
    site.broker.publish("permeated/gone/do/dance", "", &[]);
    site.broker.publish("rig/pulses", "2000", &[]);
    until("what is wanted comes", || {
        sent_since(&site, from, "'rig/pulses'")
    });
    assert!(!sent_since(&site, from, "'rig/temperature'"));
    assert!(!sent_since(&site, from, "/do/dance'"));
    service.terminate();
    site.broker.publish("rig/temperature", "16", &[]);

    // Done once: the third start has nothing more to clean.
    let from = site.broker.log().len();
    let watch = site.broker.watch("permeated/#");
    let service = site.start();
    until("the session is caught up", || {
        sent_since(&site, from, "/status/session'")
    });
    assert!(!sent_since(&site, from, "'rig/temperature'"));
    assert!(!site.broker.log()[from..].contains("UNSUBSCRIBE"));
    service.terminate();
    let ghosts: Vec<_> = watch
        .seen()
        .into_iter()
        .filter(|seen| is_ghost(&seen.topic))
        .collect();
    assert!(ghosts.is_empty(), "{ghosts:?}");
    // A unit's figures are kept, in case it returns.
    assert!(!site.kept("gone").is_null());
}

#[test]
fn a_changed_prefix_leaves_nothing_under_the_old_one() {
    let site = Site::new("", COUNTED);
    let (service, _) = run_once(&site, &["permeated/u/value/stage/mixed-bed/age_d"]);
    service.terminate();
    site.configure_all(
        "",
        &format!("[publish]\nprefix = \"water\"\n[store]\ndirectory = \"state\"\n{COUNTED}"),
    );
    let service = site.start();
    until("the old prefix is empty", || {
        site.broker.all_retained("permeated/#").is_empty()
    });
    assert_eq!(
        site.broker.retained("water/status").as_deref(),
        Some("online")
    );
    service.terminate();
}

#[test]
fn the_environment_counts_more_than_the_file() {
    let site = Site::new("", COUNTED);
    let text = std::fs::read_to_string(site.file()).unwrap();
    let elsewhere = text.replace(
        &format!("mqtt://127.0.0.1:{}", site.broker.port()),
        "mqtt://127.0.0.1:1",
    );
    std::fs::write(site.file(), elsewhere).unwrap();
    let url = format!("mqtt://127.0.0.1:{}", site.broker.port());
    let service = site.launch_with(&[("PERMEATED__BROKER__URL", &url)]);
    site.hears(0);
    service.terminate();
}
