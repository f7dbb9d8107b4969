//! A person is told once, through kills and restarts, and may acknowledge with any MQTT client.

use serde_json::Value;

use crate::{
    site::{Site, until},
    support::Watch,
};

const NOTICE: &str = "permeated/u/notice";
const ALERT: &str = "permeated/u/alert/leak";

/// Critical, so that it is told at once.
const LEAKING: &str = r#"
[notices]
remind = "10 min"
[unit.u]
[[unit.u.sensor]]
at = "leak"
topic = "rig/leak"
"#;

fn notices(watch: &Watch) -> Vec<Value> {
    let texts = watch.on(NOTICE);
    texts
        .iter()
        .map(|text| serde_json::from_str(text).unwrap())
        .collect()
}

fn pending(site: &Site) -> usize {
    let kept = site.kept("u");
    kept["notices"]["pending"].as_array().map_or(0, Vec::len)
}

#[test]
fn a_leak_is_told_once_through_kills_and_acknowledged_by_any_client() {
    let site = Site::new("", LEAKING);
    let watch = site.broker.watch("permeated/u/#");
    let service = site.start();
    site.broker.publish("rig/leak", "on", &[]);
    until("it is told", || notices(&watch).len() == 1);
    let told = &notices(&watch)[0];
    assert_eq!(
        (&told["number"], &told["kind"], &told["severity"]),
        (&1.into(), &"raised".into(), &"critical".into()),
        "{told}"
    );
    assert!(told["title"].as_str().unwrap().chars().count() < 50);
    assert!(
        told["caution"]
            .as_str()
            .unwrap()
            .contains("no flood protection")
    );
    until("that it arrived is kept", || {
        site.kept("u")["notices"]["last"] == 1 && pending(&site) == 0
    });
    service.kill();

    let service = site.start();
    site.broker.publish("rig/leak", "on", &[]);
    until("it is active", || site.document(ALERT)["state"] == "active");
    site.broker.publish(
        "permeated/u/do/alert/leak/acknowledge",
        "{\"note\": \"mopped\"}",
        &["-q", "1"],
    );
    until("it is acknowledged", || {
        site.document(ALERT)["acknowledged"] == true
    });
    until("that is kept", || {
        site.kept("u")["alerts"]["leak"]["care"]["heed"].is_object()
    });
    service.kill();

    let service = site.start();
    until("it still is", || {
        let alert = site.document(ALERT);
        alert["acknowledged"] == true && alert["note"] == "mopped"
    });
    service.terminate();
    assert_eq!(notices(&watch).len(), 1, "told once");
}

/// Killed at any moment between the reading and the delivery: it is told, and what comes again has the
/// same number and words.
#[test]
fn a_kill_at_any_moment_loses_no_notice() {
    for wait in [0, 50, 150, 220, 300] {
        let site = Site::new("", LEAKING);
        let watch = site.broker.watch("permeated/u/#");
        let service = site.start();
        site.broker.publish("rig/leak", "on", &["-q", "1"]);
        std::thread::sleep(std::time::Duration::from_millis(wait));
        service.kill();
        let service = site.start();
        site.broker.publish("rig/leak", "on", &[]);
        until("it is told", || !notices(&watch).is_empty());
        until("that it arrived is kept", || {
            site.kept("u")["notices"]["last"] == 1 && pending(&site) == 0
        });
        service.terminate();
        let told = notices(&watch);
        assert!(told.len() <= 2, "{wait} ms: {told:?}");
        assert!(told.iter().all(|notice| notice["number"] == 1), "{told:?}");
    }
}
