//! What is told when the configuration has changed, so that no ghost stays and no history is lost.

use std::collections::{BTreeMap, BTreeSet};

use permeated::{
    core::Arrival,
    wire::hub::plan::{Announced, Before, joined},
};
use serde_json::Value;

use super::{ONE_SENSOR, Site, at, told::in_form};

/// A life of the service after another with a different configuration: what is said of discovery, in
/// the order in which it reaches the broker.
fn change(from: &str, to: &str) -> Vec<(String, String)> {
    let before = Site::new(from);
    let announced = before.installation.announced();
    let mut site = Site::fresh(to);
    let kept = site.installation.retained_topics();
    let ghosts: BTreeSet<String> = before
        .installation
        .retained_topics()
        .difference(&kept)
        .cloned()
        .collect();
    let cleared = site.installation.announced_before(
        Before {
            announced: &announced,
            ghosts: &ghosts,
        },
        at(0),
    );
    site.retained = before.retained.clone();
    for ghost in ghosts.difference(&cleared) {
        assert!(!ghost.starts_with("homeassistant/"), "{ghost} is nobody's");
        site.retained.remove(ghost);
    }
    let mut steps = 0;
    while !site.installation.announcer().is_done() {
        site.pass(5000);
        assert!(
            steps == 0
                || site.installation.announcer().awaits_delivery()
                || site.installation.announcer().is_done()
        );
        site.installation.announcement_delivered(at(site.now));
        steps += 1;
        assert!(steps < 20);
    }
    // In the end it is as if there had been nothing before.
    assert_eq!(site.discovery(), Site::new(to).discovery());
    let discovery = site
        .said
        .iter()
        .filter(|said| said.topic.starts_with("homeassistant/"));
    discovery
        .map(|said| (said.topic.clone(), said.payload.clone()))
        .collect()
}

const STAGE: &str = "[[unit.u.stage]]\nid = \"s\"\nkind = \"sediment\"\nlife_time = \"1 d\"\n";
const DEVICE: &str = "homeassistant/device/permeated/u/config";

#[test]
fn a_removed_component_is_first_told_by_its_kind_alone() {
    let said = change(&format!("{STAGE}{ONE_SENSOR}"), ONE_SENSOR);
    let of_unit: Vec<&String> = said
        .iter()
        .filter(|(topic, _)| topic == DEVICE)
        .map(|(_, payload)| payload)
        .collect();
    assert_eq!(of_unit.len(), 2, "first without its body, then without it");
    let components =
        |payload: &str| serde_json::from_str::<Value>(payload).unwrap()["components"].clone();
    let (first, last) = (components(of_unit[0]), components(of_unit[1]));
    assert_eq!(
        first["stage_s_left_pct"],
        serde_json::json!({"platform": "sensor"})
    );
    assert_eq!(
        first["stage_s_replaced"],
        serde_json::json!({"platform": "button"})
    );
    assert_eq!(
        first["alert_stage_low_s"],
        serde_json::json!({"platform": "binary_sensor"})
    );
    assert!(
        first["state"]["unique_id"].is_string(),
        "the rest stays as it is"
    );
    assert!(
        last.as_object()
            .unwrap()
            .keys()
            .all(|key| !key.contains("_s") || !key.starts_with("stage"))
    );
    assert!(!last.as_object().unwrap().contains_key("alert_stage_low_s"));
    // Nothing is gone: nothing needs steps.
    let said = change(ONE_SENSOR, &format!("{STAGE}{ONE_SENSOR}"));
    assert_eq!(said.iter().filter(|(topic, _)| topic == DEVICE).count(), 1);
}

#[test]
fn a_removed_unit_and_another_prefix_or_instance_clear_the_old_messages_away() {
    let two = format!(
        "{ONE_SENSOR}{}",
        ONE_SENSOR.replace(".u.", ".v.").replace("\"t\"", "\"w\"")
    );
    let said = change(&two, ONE_SENSOR);
    assert_eq!(
        said[0],
        (
            "homeassistant/device/permeated/v/config".to_owned(),
            String::new()
        )
    );
    let said = change(
        ONE_SENSOR,
        &format!("[hub]\ninstance = \"attic\"\n{ONE_SENSOR}"),
    );
    assert!(said.contains(&(DEVICE.to_owned(), String::new())));
    let said = change(
        &in_form("components", &format!("{STAGE}{ONE_SENSOR}")),
        &in_form("components", ONE_SENSOR),
    );
    assert!(said.contains(&(
        "homeassistant/sensor/permeated_u/stage_s_left_pct/config".to_owned(),
        String::new()
    )));
    let said = change(ONE_SENSOR, &in_form("off", ONE_SENSOR));
    assert_eq!(said.len(), 2);
    assert!(said.iter().all(|(_, payload)| payload.is_empty()));
}

#[test]
fn a_change_of_form_hands_the_entities_over() {
    let part = "homeassistant/sensor/permeated_u/state/config";
    for (from, to, old, new) in [
        ("components", "device", part, DEVICE),
        ("device", "components", DEVICE, part),
    ] {
        let said = change(&in_form(from, ONE_SENSOR), &in_form(to, ONE_SENSOR));
        let at = |topic: &str, fits: fn(&str) -> bool| {
            said.iter()
                .position(|(other, payload)| other == topic && fits(payload))
                .unwrap()
        };
        let migrate = at(old, |payload| payload == r#"{"migrate_discovery":true}"#);
        let announced = at(new, |payload| payload.contains("unique_id"));
        let cleared = at(old, str::is_empty);
        assert!(migrate < announced && announced < cleared, "{from} to {to}");
    }
    // Hubs cannot hand triggers over (a real one warned of an unknown dispatcher when the unit went later):
    // they go before.
    let trigger = "homeassistant/device_automation/permeated_u/alert_raised/config";
    let said = change(
        &in_form("components", ONE_SENSOR),
        &in_form("device", ONE_SENSOR),
    );
    let told: Vec<&str> = (said.iter().filter(|(topic, _)| topic == trigger))
        .map(|(_, payload)| payload.as_str())
        .collect();
    assert_eq!(told, [""], "taken back, not handed over");
    let place = |fits: &dyn Fn(&(String, String)) -> bool| said.iter().position(fits).unwrap();
    let migrates = |(_, payload): &(String, String)| payload.contains("migrate_discovery");
    assert!(place(&|said| said.0 == trigger) < place(&migrates));
    let said = change(
        &in_form("device", ONE_SENSOR),
        &in_form("components", ONE_SENSOR),
    );
    let device: Vec<&String> = (said.iter().filter(|(topic, _)| topic == DEVICE))
        .map(|(_, payload)| payload)
        .collect();
    let stub = r#""alert_raised":{"platform":"device_automation"}"#;
    assert!(device[0].contains(stub) && device[0].contains("unique_id"));
    assert!(device[1].contains("migrate_discovery"));
    // A device that handed all over is empty, and a real hub warned of one that is cleared so.
    let held: Value = serde_json::from_str(device[2]).unwrap();
    assert_eq!(held["components"].as_object().unwrap().len(), 1);
    assert_eq!(device[3..], [""]);
    // A stage that goes at the same time is taken back first.
    let said = change(
        &in_form("device", &format!("{STAGE}{ONE_SENSOR}")),
        &in_form("components", ONE_SENSOR),
    );
    assert!(
        said[0].0 == DEVICE
            && said[0]
                .1
                .contains(r#""stage_s_left_pct":{"platform":"sensor"}"#),
        "{:?}",
        said[0]
    );
}

/// A hub that was away while something left keeps it as an orphan, unless it is told once more (seen at a
/// real hub: announced with the least that it takes, 3 s later by its kind alone, it is forgotten).
#[test]
fn a_hub_that_was_away_is_told_once_it_has_started() {
    let two = format!(
        "{ONE_SENSOR}{}",
        ONE_SENSOR.replace(".u.", ".v.").replace("\"t\"", "\"w\"")
    );
    let part = "homeassistant/sensor/permeated_u/stage_s_left_pct/config";
    for (form, stage_topic) in [("device", DEVICE), ("components", part)] {
        let before = Site::new(&in_form(form, &format!("{STAGE}{two}")));
        let announced = before.installation.announced();
        let mut site = Site::fresh(&in_form(form, ONE_SENSOR));
        let ghosts = BTreeSet::new();
        let before = Before {
            announced: &announced,
            ghosts: &ghosts,
        };
        site.installation.announced_before(before, at(0));
        let settle = |site: &mut Site| {
            for _ in 0..10 {
                site.pass(5000);
                site.installation.announcement_delivered(at(site.now));
            }
            assert!(site.installation.announcer().is_done());
        };
        settle(&mut site);
        assert!(site.installation.announcer().owes_farewell());
        let plain = site.discovery();
        site.said.clear();
        site.hear("homeassistant/status", "online", Arrival::Live);
        settle(&mut site);
        assert!(!site.installation.announcer().owes_farewell());
        let told = |topic: &str| -> Vec<String> {
            let said = site.said.iter().filter(|said| said.topic == topic);
            said.map(|said| said.payload.clone()).collect()
        };
        let stage = told(stage_topic);
        let least = r#""unique_id":"permeated_u.stage_s_left_pct""#;
        let at_birth = usize::from(form == "device");
        assert!(stage[at_birth].contains(least), "{form}: {stage:?}");
        assert!(!stage[at_birth + 1].contains(least));
        let unit = told("homeassistant/device/permeated/v/config");
        assert!(unit[0].contains(r#""unique_id":"permeated_v.state""#));
        assert!(unit[0].contains(r#""identifiers":["permeated_v"]"#));
        assert!(!unit[0].contains("device_automation"));
        assert_eq!(unit[1..], [""]);
        assert_eq!(site.discovery(), plain, "{form}: as before");
        // Told once is enough.
        site.pass(60_000);
        site.said.clear();
        site.hear("homeassistant/status", "online", Arrival::Live);
        settle(&mut site);
        assert!(
            site.said
                .iter()
                .all(|said| !said.payload.contains("stage_s_"))
        );
    }
}

/// Until the broker has everything, a further start must do it all again.
#[test]
fn what_is_not_surely_forgotten_is_kept_in_mind() {
    let (before, now) = (
        Site::new(&format!("{STAGE}{ONE_SENSOR}"))
            .installation
            .announced(),
        Site::new(ONE_SENSOR).installation.announced(),
    );
    let both = joined(&before, &now);
    assert_eq!(both[DEVICE], before[DEVICE]);
    assert_ne!(both, now);
    assert_eq!(joined(&now, &now), now);
    let garbage: Announced = BTreeMap::from([(DEVICE.to_owned(), "no JSON".to_owned())]);
    assert_eq!(joined(&garbage, &now)[DEVICE], now[DEVICE]);
}
