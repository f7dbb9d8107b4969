//! What is told, and what is published of it.

use std::collections::BTreeSet;

use permeated::{
    core::{Arrival, EventKind, HandTest, alert::Phase},
    metrics::{Metric, StageMetric},
    wire::{
        Outgoing,
        document::{NO_VALUE, OFF, ON},
    },
};
use serde_json::Value;

use super::{ONE_SENSOR, Site, everything, example, rules::Entity};

pub const FORMS: [&str; 2] = ["device", "components"];

pub fn in_form(form: &str, text: &str) -> String {
    format!("[hub]\ndiscovery = \"{form}\"\n{text}")
}

/// The example has its own `[hub]`.
fn cases() -> Vec<(String, String)> {
    let mut cases = Vec::new();
    for form in FORMS {
        let other = format!("discovery = \"{form}\"");
        for text in [
            in_form(form, ONE_SENSOR),
            in_form(form, &everything()),
            example().replace("discovery = \"device\"", &other),
        ] {
            cases.push((form.to_owned(), text));
        }
    }
    cases
}

#[test]
fn every_message_is_what_a_hub_accepts_without_a_warning() {
    for (_, text) in cases() {
        let site = Site::new(&text);
        let entities = site.entities();
        assert!(entities.len() > 15, "{}", entities.len());
        let units = site.settings.units.len();
        let devices: BTreeSet<&str> = entities
            .iter()
            .map(|entity| entity.device.as_str())
            .collect();
        assert_eq!(
            devices.len(),
            units + 1,
            "a device a unit, and the service's"
        );
        // Two units must not share an identity, nor a name within one device.
        let names = entities
            .iter()
            .filter(|entity| entity.body.contains_key("name"));
        let mut seen = BTreeSet::new();
        for entity in names {
            let name = (&entity.device, &entity.platform, entity.text("name"));
            assert!(seen.insert(name), "{name:?} twice");
        }
    }
}

/// What is told as a value's topic must be published, and in the words that were told.
#[test]
fn every_value_is_published_as_the_hub_was_told() {
    for (_, text) in cases() {
        let mut site = Site::new(&text);
        let topics: Vec<String> = site
            .settings
            .topics()
            .into_keys()
            .map(std::borrow::Cow::into_owned)
            .collect();
        for topic in topics {
            site.hear(&topic, "1", Arrival::Live);
        }
        site.pass(60_000);
        let own_topics = site.installation.retained_topics();
        let status = "permeated/status".to_owned();
        for entity in site.entities() {
            for entry in entity
                .body
                .get("availability")
                .and_then(Value::as_array)
                .into_iter()
                .flatten()
            {
                let topic = entry["topic"].as_str().unwrap().to_owned();
                let value = site.retained.get(&topic).map(String::as_str);
                assert!(
                    topic == status || value == Some("online"),
                    "{topic} {value:?}"
                );
            }
            let topic = entity.text("state_topic");
            let is_of_service = topic == status || topic == "permeated/status/store";
            if topic.is_empty() || is_of_service || entity.platform == "event" {
                continue;
            }
            assert!(own_topics.contains(topic), "{topic} is never published");
            let value = site
                .retained
                .get(topic)
                .unwrap_or_else(|| panic!("{topic}"));
            assert!(fits(&entity, value), "{topic}: {value}");
        }
    }
}

fn fits(entity: &Entity, value: &str) -> bool {
    if value == NO_VALUE {
        return true;
    }
    let options = entity.body.get("options").and_then(Value::as_array);
    match (entity.platform.as_str(), options) {
        ("sensor", Some(options)) => options.iter().any(|option| option == value),
        ("sensor" | "number", None) => value.parse::<f64>().is_ok_and(f64::is_finite),
        ("binary_sensor", _) if entity.body.contains_key("value_template") => {
            let document: Value = serde_json::from_str(value).unwrap();
            let state = document["state"].as_str().unwrap();
            entity
                .text("value_template")
                .contains(&format!("'{state}': '"))
        }
        ("binary_sensor", _) => [ON, OFF].contains(&value),
        _ => false,
    }
}

#[test]
fn every_metric_contact_alert_and_command_has_its_entity() {
    let site = Site::new(&everything());
    let entities = site.entities();
    let of = |key: &str| {
        let found = entities
            .iter()
            .find(|entity| entity.key == key && entity.device == "Unit a");
        found.unwrap_or_else(|| panic!("{key}"))
    };
    let unit = site.installation.units().next().unwrap();
    // What cannot be told from such a unit (no permanent lack) is a metric of other configurations.
    assert!(unit.possible().len() > Metric::ALL.len() - 5);
    for metric in unit.possible() {
        assert_eq!(of(metric.description().name).platform, "sensor");
    }
    for (id, metric) in [
        ("mixed_bed", StageMetric::Left),
        ("carbon", StageMetric::Tds),
        ("cation", StageMetric::CationLoad),
    ] {
        of(&format!("stage_{id}_{}", metric.description().name));
    }
    for alert in unit.alerts() {
        let entity = of(&format!("alert_{}", alert.key().replace('/', "_")));
        assert_eq!(entity.text("device_class"), "problem");
        let template = entity.text("value_template");
        for (phase, word) in [
            (Phase::Active, ON),
            (Phase::Clear, OFF),
            (Phase::Unknown, NO_VALUE),
        ] {
            let part = format!("'{}': '{word}'", phase.key());
            assert!(template.contains(&part), "{template}");
        }
        // An alert that tells of silence must not fall silent with the sensors.
        assert_eq!(entity.body["availability"].as_array().unwrap().len(), 1);
        assert!(!entity.text("json_attributes_template").contains("time"));
    }
    for contact in ["leak", "pump", "inlet_valve", "flush_valve"] {
        assert_eq!(of(contact).platform, "binary_sensor");
    }
    for test in HandTest::ALL {
        let entity = of(&format!("test_{}", test.key()));
        let command = format!("permeated/a/do/test/{}", test.key());
        assert_eq!(entity.text("command_topic"), command);
    }
    let kinds: Vec<&str> = of("event").body["event_types"]
        .as_array()
        .unwrap()
        .iter()
        .map(|kind| kind.as_str().unwrap())
        .collect();
    assert_eq!(kinds, EventKind::ALL.map(EventKind::key));
    // TDS has no class, and a total may lack after a crash what no checkpoint had.
    assert!(!of("feed_tds_mg_l").body.contains_key("device_class"));
    assert_eq!(of("permeate_l").text("state_class"), "total_increasing");
    assert_eq!(of("storage_level_l").text("device_class"), "volume_storage");
    assert_eq!(of("flow_response_k").body["enabled_by_default"], false);
}

#[test]
fn buttons_do_what_they_say_and_events_are_as_the_hub_was_told() {
    let mut site = Site::new(&everything());
    let entities = site.entities();
    let buttons: Vec<&Entity> = entities
        .iter()
        .filter(|entity| entity.platform == "button")
        .collect();
    assert_eq!(
        buttons.len(),
        2 * (8 + 1 + 2 + 2),
        "of two units: eight stages, the baseline, alerts and the hold test"
    );
    for button in buttons {
        site.said.clear();
        let (topic, press) = (button.text("command_topic"), button.text("payload_press"));
        site.hear(topic, press, Arrival::Live);
        let events: Vec<&Outgoing> = site.said.iter().filter(|said| !said.retain).collect();
        let kinds: Vec<String> = events.iter().map(|event| kind(event)).collect();
        // There is no alert to be acknowledged, and no gauge is heard.
        let is_in_vain = topic.contains("/alert/") || topic.contains("/hold_test/");
        let answer = if is_in_vain {
            "command_refused"
        } else {
            "command_done"
        };
        assert!(kinds.contains(&answer.to_owned()), "{topic}: {kinds:?}");
        let unknown = events
            .iter()
            .any(|event| event.payload.contains("there is no command"));
        assert!(!unknown, "{topic}");
        for kind in kinds {
            assert!(
                EventKind::ALL.iter().any(|known| known.key() == kind),
                "{kind}"
            );
        }
        site.said.clear();
        site.hear(topic, press, Arrival::Retained);
        assert_eq!(
            site.said
                .iter()
                .filter(|said| !said.retain)
                .map(kind)
                .collect::<Vec<_>>(),
            ["command_refused"]
        );
    }
}

fn kind(event: &Outgoing) -> String {
    let document: Value = serde_json::from_str(&event.payload).unwrap();
    assert_eq!(document["event"], document["event_type"]);
    document["event_type"].as_str().unwrap().to_owned()
}

#[test]
fn a_silent_unit_is_unavailable_until_it_speaks() {
    let mut site = Site::new(ONE_SENSOR);
    let available = |site: &Site| site.retained["permeated/u/available"].clone();
    assert_eq!(available(&site), "offline", "nothing heard yet");
    site.hear("t", "3", Arrival::Retained);
    site.pass(20_000);
    assert_eq!(
        available(&site),
        "offline",
        "a retained value is of unknown age"
    );
    site.hear("t", "3", Arrival::Live);
    site.pass(20_000);
    assert_eq!(available(&site), "online");
    site.hear("t", "99999999", Arrival::Live);
    site.pass(20_000);
    assert_eq!(available(&site), "online", "it speaks, if nonsense");
    // The default max_age is 10 minutes.
    site.pass(11 * 60_000);
    assert_eq!(available(&site), "offline");
}

fn count(site: &Site, prefix: &str) -> usize {
    site.said
        .iter()
        .filter(|said| said.topic.starts_with(prefix))
        .count()
}

#[test]
fn a_hub_that_has_started_is_told_again_after_a_moment() {
    let mut site = Site::new(&everything());
    site.said.clear();
    for (payload, arrival) in [
        ("offline", Arrival::Live),
        ("online", Arrival::Retained),
        ("online", Arrival::Late),
    ] {
        site.hear("homeassistant/status", payload, arrival);
        site.pass(5000);
        assert_eq!(count(&site, "homeassistant/"), 0, "{payload} {arrival:?}");
    }
    site.said.clear();
    site.hear("homeassistant/status", "online", Arrival::Live);
    site.pass(900);
    assert_eq!(count(&site, "homeassistant/"), 0, "too early is missed");
    site.pass(2100);
    assert_eq!(count(&site, "homeassistant/device/"), 3);
    site.pass(12_000);
    // Its states follow, changed or not.
    assert_eq!(count(&site, "permeated/a/value/feed_l"), 1);
    site.said.clear();
    for _ in 0..20 {
        site.hear("homeassistant/status", "online", Arrival::Live);
        site.pass(1000);
    }
    site.pass(60_000);
    // Of 20 births in 20 s the first are answered 30 s after the answer before, the later ones 30 s on.
    assert_eq!(
        count(&site, "homeassistant/device/"),
        2 * 3,
        "a storm of births"
    );
    assert!(
        site.installation
            .subscriptions()
            .contains("homeassistant/status")
    );
}

/// A hub leads from the device to its page, where the house reaches one.
#[test]
fn a_device_leads_to_its_page() {
    let about = |page: &str| -> BTreeSet<String> {
        let site = Site::new(&format!("{page}[unit.u]\n{ONE_SENSOR}"));
        assert!(site.entities().len() > 15);
        let messages = site.discovery().into_values();
        messages
            .filter_map(|payload| {
                let message: Value = serde_json::from_str(&payload).unwrap();
                Some(message["device"]["configuration_url"].as_str()?.to_owned())
            })
            .collect()
    };
    assert!(about("").is_empty() && about("[page]\n").is_empty());
    let told = about("[page]\nurl = \"http://rodi.lan:8600/\"\n");
    let wanted = ["http://rodi.lan:8600/", "http://rodi.lan:8600/unit/u"];
    assert_eq!(told, BTreeSet::from(wanted.map(str::to_owned)));
}

#[test]
fn names_are_only_text_and_never_part_of_an_id_or_topic() {
    let long = "x".repeat(300);
    for name in [
        "Kitchen / RO + DI #1",
        "\\\"quoted\\\" 'and' {{ braces }}",
        "💧 Wasser für den Fisch",
        "  much   space  ",
        "~ $SYS/# null",
        &long,
    ] {
        let text = format!(
            "[unit.u]\nname = \"{name}\"\nsuggested_area = \"{name}\"\n[[unit.u.stage]]\nid = \"s\"\n\
             kind = \"sediment\"\nlife_time = \"1 d\"\nname = \"Stage {name}\"\n{ONE_SENSOR}"
        );
        let (hostile, tame) = (Site::new(&text), Site::new(&text.replace(name, "tame")));
        let ids = |site: &Site| -> Vec<(String, String)> {
            let entities = site.entities();
            entities
                .iter()
                .map(|entity| (entity.key.clone(), entity.text("unique_id").to_owned()))
                .collect()
        };
        assert_eq!(ids(&hostile), ids(&tame), "{name}");
        let topics = |site: &Site| site.retained.keys().cloned().collect::<Vec<_>>();
        assert_eq!(topics(&hostile), topics(&tame), "{name}");
    }
    // A hub shows such a name on one line, and cut.
    let site = Site::new(&format!("[unit.u]\nname = \"{long}\"\n{ONE_SENSOR}"));
    let device = site
        .entities()
        .into_iter()
        .find(|entity| entity.key == "state")
        .unwrap()
        .device;
    assert!(
        device.chars().count() <= 60 && device.ends_with('…'),
        "{device}"
    );
}
