//! Discovery at a real broker: retained, told again when a hub has started, and taken back when a stage
//! has left the configuration. The order is that in which a hub was seen to forget a component.

use rusqlite::{Connection, OpenFlags};
use serde_json::Value;

use crate::{
    COUNTED,
    site::{LIMIT, Site, until, until_within},
    support::Mosquitto,
};

const DEVICE: &str = "homeassistant/device/permeated/u/config";
const STATE: &str = "homeassistant/sensor/permeated_u/state/config";

fn without_mixed_bed() -> String {
    let (head, tail) = COUNTED
        .split_once("[[unit.u.stage]]\nid = \"mixed-bed\"")
        .unwrap();
    format!("{head}{}", &tail[tail.find("[[unit.u.sensor]]").unwrap()..])
}

fn components(payload: &str) -> Value {
    serde_json::from_str::<Value>(payload).unwrap()["components"].clone()
}

#[test]
fn discovery_is_retained_comes_back_on_birth_and_forgets_a_removed_stage() {
    let site = Site::new(Mosquitto::PERSISTENT, COUNTED);
    let service = site.start();
    until("it announces", || site.broker.retained(DEVICE).is_some());
    let first = site.broker.retained(DEVICE).unwrap();
    let key = "stage_mixed-bed_left_pct";
    assert_eq!(components(&first)[key]["platform"], "sensor");
    until("it is available", || {
        site.broker.publish("rig/pulses", "1000", &[]);
        site.broker.retained("permeated/u/available").as_deref() == Some("online")
    });

    // The hub starts: the same once more, and the states.
    let watch = site.broker.watch("#");
    let told = |topic: &str| watch.on(topic).len();
    until("the retained one is seen", || told(DEVICE) == 1);
    let states = told("permeated/u/value/permeate_l");
    site.broker.publish("homeassistant/status", "online", &[]);
    until("it is told again", || told(DEVICE) == 2);
    assert_eq!(watch.on(DEVICE)[1], first);
    until("states follow", || {
        told("permeated/u/value/permeate_l") > states
    });
    service.terminate();

    site.configure(&without_mixed_bed());
    let watch = site.broker.watch(DEVICE);
    until("the old one is seen", || watch.on(DEVICE).len() == 1);
    let service = site.start();
    until_within(2 * LIMIT, "it is forgotten", || watch.on(DEVICE).len() >= 3);
    let seen = watch.on(DEVICE);
    assert_eq!(
        components(&seen[1])[key],
        serde_json::json!({"platform": "sensor"})
    );
    assert_eq!(components(&seen[2])[key], Value::Null);
    let retained = site.broker.retained(DEVICE).unwrap();
    assert!(!retained.contains("mixed-bed"), "{retained}");
    // It is kept in mind until a hub has started, which may have been away.
    let before = watch.on(DEVICE).len();
    site.broker.publish("homeassistant/status", "online", &[]);
    let steps = before + 4;
    until_within(2 * LIMIT, "a hub that was away is told", || {
        watch.on(DEVICE).len() >= steps
    });
    let seen = watch.on(DEVICE);
    let least = &components(&seen[before + 1])[key];
    assert_eq!(least["unique_id"], "permeated_u.stage_mixed-bed_left_pct");
    assert_eq!(
        components(&seen[before + 2])[key],
        serde_json::json!({"platform": "sensor"})
    );
    assert_eq!(seen[before + 3], retained);
    until("that is kept in mind", || {
        let database =
            Connection::open_with_flags(site.database(), OpenFlags::SQLITE_OPEN_READ_ONLY);
        let kept = "SELECT group_concat(components) FROM announced";
        let kept = database
            .and_then(|database| database.query_row(kept, [], |row| row.get::<_, String>(0)));
        kept.is_ok_and(|kept| !kept.contains("mixed-bed"))
    });
    service.terminate();

    // Once that is done, a further start has nothing to take back.
    let watch = site.broker.watch(DEVICE);
    let service = site.start();
    until("it announces", || watch.on(DEVICE).len() >= 2);
    service.terminate();
    assert!(watch.on(DEVICE).iter().all(|payload| *payload == retained));
}

/// A kill before the hub had forgotten must not leave a ghost.
#[test]
fn a_kill_in_between_takes_it_back_again() {
    let site = Site::new(Mosquitto::PERSISTENT, COUNTED);
    let service = site.start();
    until("it announces", || site.broker.retained(DEVICE).is_some());
    service.terminate();
    site.configure(&without_mixed_bed());
    let stub = r#""stage_mixed-bed_left_pct":{"platform":"sensor"}"#;
    let service = site.start();
    until("the first step", || {
        site.broker.retained(DEVICE).unwrap().contains(stub)
    });
    service.kill();
    let watch = site.broker.watch(DEVICE);
    let service = site.start();
    let is_told = || {
        watch
            .on(DEVICE)
            .iter()
            .filter(|payload| payload.contains(stub))
            .count()
            > 1
    };
    until("the first step again", is_told);
    until_within(2 * LIMIT, "it is forgotten", || {
        !site.broker.retained(DEVICE).unwrap().contains("mixed-bed")
    });
    service.terminate();
}

#[test]
fn a_change_of_form_and_an_end_leave_no_message_of_the_old_one() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    until("it announces", || site.broker.retained(DEVICE).is_some());
    service.terminate();
    let watch = site.broker.watch(DEVICE);
    site.configure(&format!("[hub]\ndiscovery = \"components\"\n{COUNTED}"));
    let service = site.start();
    until_within(2 * LIMIT, "the old form is cleared away", || {
        site.broker.retained(DEVICE).is_none() && site.broker.retained(STATE).is_some()
    });
    assert!(watch.saw(DEVICE, r#"{"migrate_discovery":true}"#));
    service.terminate();
    site.configure(&format!("[hub]\ndiscovery = \"off\"\n{COUNTED}"));
    let service = site.start();
    until("nothing is left", || {
        site.broker.all_retained("homeassistant/#").is_empty()
    });
    service.terminate();
}
