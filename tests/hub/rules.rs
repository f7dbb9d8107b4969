//! What a hub accepts of discovery messages, written from the source of the widely read format's own
//! hub (release 2026.11.0, and 2025.4.4 where an older one is stricter) and tries on it: a message that
//! breaks one of these is dropped there, wholly or in part, or logged as a warning.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value};

/// Classes of sensors with the units that every release accepts, and the statistics that go with them.
/// Units are exact to the character.
const CLASSES: &[(&str, &[&str], &[&str])] = &[
    ("pressure", &["kPa", "bar", "mbar", "psi"], &["measurement"]),
    (
        "volume_flow_rate",
        &["L/min", "mL/s", "m³/h", "ft³/min", "gal/min"],
        &["measurement"],
    ),
    ("water", &["L", "m³", "gal"], &["total", "total_increasing"]),
    (
        "volume",
        &["L", "m³", "gal"],
        &["total", "total_increasing"],
    ),
    ("volume_storage", &["L", "m³", "gal"], &["measurement"]),
    // Any ISO 4217 code.
    ("monetary", &["EUR"], &["total"]),
    ("temperature", &["°C", "°F"], &["measurement"]),
    ("conductivity", &["\u{b5}S/cm", "mS/cm"], &["measurement"]),
    (
        "duration",
        &["d", "h", "min", "s"],
        &["measurement", "total", "total_increasing"],
    ),
];
/// Keys of a device message; any other and the whole device is dropped.
const TOP: &[&str] = &[
    "device",
    "origin",
    "components",
    "availability",
    "availability_mode",
];
const DEVICE: &[&str] = &[
    "identifiers",
    "connections",
    "name",
    "manufacturer",
    "model",
    "model_id",
    "hw_version",
    "sw_version",
    "serial_number",
    "suggested_area",
    "configuration_url",
    "via_device",
];
const BINARY: &[&str] = &[
    "problem",
    "moisture",
    "running",
    "opening",
    "connectivity",
    "safety",
];
/// An entity's id is made of both names and has at most 255 characters in all.
const LONGEST_NAME: usize = 125;

/// An entity as a hub would have it.
pub struct Entity {
    pub key: String,
    pub platform: String,
    pub device: String,
    pub body: Map<String, Value>,
}

impl Entity {
    pub fn text(&self, key: &str) -> &str {
        self.body.get(key).and_then(Value::as_str).unwrap_or("")
    }
}

/// A hub that has heard these retained messages; panics where a real one would complain.
pub fn hub(prefix: &str, messages: &BTreeMap<String, String>) -> Vec<Entity> {
    let mut entities = Vec::new();
    let mut seen = BTreeSet::new();
    for (topic, payload) in messages {
        let levels: Vec<&str> = topic
            .strip_prefix(&format!("{prefix}/"))
            .unwrap_or_else(|| panic!("{topic}"))
            .split('/')
            .collect();
        let [component, node, object, "config"] = levels.as_slice() else {
            panic!("{topic}");
        };
        for id in [node, object] {
            assert!(is_id(id), "{topic}");
        }
        let Ok(Value::Object(message)) = serde_json::from_str(payload) else {
            panic!("{topic}: no JSON object");
        };
        let device = about(topic, &message);
        if *component == "device" {
            for key in message.keys() {
                assert!(TOP.contains(&key.as_str()), "{topic}: {key}");
            }
            availability(topic, &message);
            for (key, body) in message["components"].as_object().unwrap() {
                assert!(is_id(key), "{key}");
                let mut body = body.as_object().unwrap().clone();
                let platform = body.remove("platform").unwrap_or_else(|| panic!("{key}"));
                for inherited in ["availability", "availability_mode"] {
                    if let Some(value) = message.get(inherited) {
                        body.entry(inherited).or_insert_with(|| value.clone());
                    }
                }
                entities.push(Entity {
                    key: key.clone(),
                    platform: platform.as_str().unwrap().to_owned(),
                    device: device.clone(),
                    body,
                });
            }
        } else {
            entities.push(Entity {
                key: (*object).to_owned(),
                platform: (*component).to_owned(),
                device,
                body: message,
            });
        }
    }
    for entity in &entities {
        check(entity, &mut seen);
    }
    entities
}

fn is_id(text: &str) -> bool {
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    !text.is_empty() && text.chars().all(fits)
}

/// The device's name.
fn about(topic: &str, message: &Map<String, Value>) -> String {
    assert!(message["origin"]["name"].is_string(), "{topic}");
    let device = message["device"].as_object().unwrap();
    for key in device.keys() {
        assert!(DEVICE.contains(&key.as_str()), "{topic}: {key}");
    }
    let identifiers = device["identifiers"].as_array().unwrap();
    assert!(!identifiers.is_empty() && identifiers.iter().all(Value::is_string));
    if let Some(url) = device.get("configuration_url") {
        let url = url.as_str().unwrap();
        let schemes = ["http://", "https://", "homeassistant://"];
        assert!(
            schemes.iter().any(|scheme| url.starts_with(scheme)),
            "{url}"
        );
    }
    let name = device["name"].as_str().unwrap();
    assert!(
        !name.is_empty() && name.chars().count() <= LONGEST_NAME,
        "{name}"
    );
    name.to_owned()
}

fn availability(of: &str, body: &Map<String, Value>) {
    let Some(list) = body.get("availability") else {
        return;
    };
    let list = list.as_array().unwrap();
    assert!(!list.is_empty(), "{of}");
    for entry in list {
        assert!(is_plain_topic(entry["topic"].as_str().unwrap()), "{of}");
    }
    // Otherwise the last word on any of the topics would win.
    assert!(
        list.len() == 1 || body["availability_mode"] == "all",
        "{of}"
    );
}

fn is_plain_topic(topic: &str) -> bool {
    !topic.is_empty() && !topic.contains(['+', '#', '\0']) && !topic.starts_with(['/', '$'])
}

fn check(entity: &Entity, seen: &mut BTreeSet<String>) {
    let (key, body) = (&entity.key, &entity.body);
    availability(key, body);
    for (name, value) in body.iter().filter(|(name, _)| name.ends_with("topic")) {
        let topic = value.as_str().unwrap();
        assert!(is_plain_topic(topic), "{key}: {name} {topic}");
        assert!(!topic.starts_with('~') && !topic.ends_with('~'), "{topic}");
    }
    assert!(
        !body.contains_key("object_id"),
        "{key}: ignored, once warned of"
    );
    if entity.platform == "device_automation" {
        assert_eq!(entity.text("automation_type"), "trigger");
        for wanted in ["topic", "type", "subtype"] {
            assert!(!entity.text(wanted).is_empty(), "{key}: {wanted}");
        }
        return;
    }
    let unique = entity.text("unique_id");
    assert!(!unique.is_empty() && unique.len() <= 255, "{key}: {unique}");
    assert!(seen.insert(unique.to_owned()), "{unique} twice");
    let name = entity.text("name");
    assert!(
        !name.is_empty() && name.chars().count() <= LONGEST_NAME,
        "{key}: {name}"
    );
    assert!(!name.contains(char::is_control), "{name:?}");
    assert!(
        !name.starts_with(&entity.device),
        "{name} repeats the device"
    );
    let category = entity.text("entity_category");
    let class = body
        .get("device_class")
        .map(|class| class.as_str().unwrap());
    match entity.platform.as_str() {
        "sensor" => {
            assert!(["", "diagnostic"].contains(&category), "{key}: {category}");
            assert!(!entity.text("state_topic").is_empty(), "{key}");
            sensor(entity, class);
        }
        "binary_sensor" => {
            assert!(["", "diagnostic"].contains(&category), "{key}: {category}");
            assert!(!entity.text("state_topic").is_empty(), "{key}");
            assert!(BINARY.contains(&class.unwrap()), "{key}: {class:?}");
        }
        "button" => {
            assert!(["", "config", "diagnostic"].contains(&category), "{key}");
            assert!(!entity.text("command_topic").is_empty(), "{key}");
        }
        "number" => {
            assert!(["", "config", "diagnostic"].contains(&category), "{key}");
            assert!(!entity.text("command_topic").is_empty(), "{key}");
            assert!(
                !entity.text("state_topic").is_empty(),
                "{key} would be optimistic"
            );
            let number = |name: &str| body[name].as_f64().unwrap();
            assert!(
                number("min") <= number("max") && number("step") >= 0.001,
                "{key}"
            );
            assert_eq!(entity.text("mode"), "box");
        }
        "event" => {
            let kinds = body["event_types"].as_array().unwrap();
            assert!(!kinds.is_empty() && kinds.iter().all(Value::is_string));
            assert!(!entity.text("state_topic").is_empty(), "{key}");
        }
        other => panic!("{key}: {other} is no platform this writes"),
    }
    // Never retained: a command would be carried out at every start.
    assert!(
        body.get("retain").is_none_or(|retain| retain == false),
        "{key}"
    );
}

fn sensor(entity: &Entity, class: Option<&str>) {
    let (key, body) = (&entity.key, &entity.body);
    let unit = body
        .get("unit_of_measurement")
        .map(|unit| unit.as_str().unwrap());
    let statistics = body.get("state_class").map(|class| class.as_str().unwrap());
    if let Some(precision) = body.get("suggested_display_precision") {
        assert!(precision.is_u64(), "{key}");
    }
    match class {
        Some("enum") => {
            assert!(unit.is_none() && statistics.is_none(), "{key}");
            assert!(!body["options"].as_array().unwrap().is_empty(), "{key}");
        }
        Some(class) => {
            let known = CLASSES.iter().find(|(name, ..)| *name == class);
            let (_, units, allowed) = known.unwrap_or_else(|| panic!("{key}: {class}"));
            assert!(units.contains(&unit.unwrap()), "{key}: {class} in {unit:?}");
            assert!(
                allowed.contains(&statistics.unwrap()),
                "{key}: {class} {statistics:?}"
            );
        }
        None => {
            assert_ne!(unit, Some(""), "{key}");
            let any = ["measurement", "total", "total_increasing"];
            assert!(any.contains(&statistics.unwrap()), "{key}");
        }
    }
}
