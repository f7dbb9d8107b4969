//! What others tell hubs of their topics, in the widely used MQTT discovery format: class, unit, name,
//! how the value is taken out, and where the board says that it is there. Other people's documents:
//! evidence, never a reading. Keys are those of the format's documentation, long and short.

use serde_json::{Map, Value};

use super::{configuration::can_be_written, walk};

/// A firmware's own word on whether it is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Presence {
    pub(super) topic: String,
    pub(super) pointer: Option<String>,
    pub(super) up: String,
    pub(super) down: String,
}

/// What was told of one topic.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Announced {
    pub(super) topic: String,
    /// Where in its JSON; `None` for a plain payload.
    pub(super) pointer: Option<String>,
    /// More is done with the value than to take it out: unit and class are those of the result.
    pub(super) computed: bool,
    pub(super) name: Option<String>,
    pub(super) device: Option<String>,
    pub(super) class: Option<String>,
    pub(super) unit: Option<String>,
    /// It only grows.
    pub(super) is_total: bool,
    /// Words of a contact for on and off.
    pub(super) words: Option<(String, String)>,
    pub(super) presence: Option<Presence>,
}

/// Whether a topic is one on which hubs are told: `<prefix>/<kind>/…/config`.
pub(super) fn is_place(topic: &str) -> bool {
    let levels: Vec<&str> = topic.split('/').collect();
    levels.len() >= 4
        && levels.last() == Some(&"config")
        && levels.iter().any(|level| KINDS.contains(level))
}

const KINDS: &[&str] = &[
    "sensor",
    "binary_sensor",
    "device",
    "switch",
    "number",
    "valve",
    "event",
    "button",
    "select",
    "text",
    "update",
    "light",
    "climate",
    "fan",
    "cover",
    "device_automation",
    "tag",
    "camera",
    "lock",
    "siren",
    "scene",
    "image",
    "water_heater",
    "humidifier",
    "device_tracker",
    "vacuum",
    "notify",
    "alarm_control_panel",
    "lawn_mower",
];

/// Everything that a document says of topics that carry values.
pub(super) fn read(document: &Value) -> Vec<Announced> {
    let Some(whole) = document.as_object() else {
        return Vec::new();
    };
    let device = get(whole, &["device", "dev"]).and_then(Value::as_object);
    let device = device.and_then(|device| text(device, &["name"]));
    match get(whole, &["components", "cmps"]).and_then(Value::as_object) {
        Some(components) => (components.values().filter_map(Value::as_object))
            .filter_map(|component| one(component, whole, device.as_deref()))
            .collect(),
        None => one(whole, whole, device.as_deref()).into_iter().collect(),
    }
}

fn get<'v>(object: &'v Map<String, Value>, keys: &[&str]) -> Option<&'v Value> {
    keys.iter().find_map(|key| object.get(*key))
}

/// The text under one of `keys`; a length that no name needs is cut.
fn text(object: &Map<String, Value>, keys: &[&str]) -> Option<String> {
    const LONGEST: usize = 1000;
    let text = get(object, keys)?.as_str()?;
    (text.len() <= LONGEST).then(|| text.to_owned())
}

fn one(
    component: &Map<String, Value>,
    whole: &Map<String, Value>,
    device: Option<&str>,
) -> Option<Announced> {
    let own = |keys: &[&str]| text(component, keys);
    let shared = |keys: &[&str]| own(keys).or_else(|| text(whole, keys));
    let base = shared(&["~"]);
    let topic = topic(&shared(&["state_topic", "stat_t"])?, base.as_deref());
    let template = own(&["value_template", "val_tpl"]);
    let taken = template.as_deref().map_or(Taken::WHOLE, taken_out);
    let on = own(&["payload_on", "pl_on"]).or_else(|| own(&["state_on", "stat_on"]));
    let off = own(&["payload_off", "pl_off"]).or_else(|| own(&["state_off", "stat_off"]));
    let state_class = own(&["state_class", "stat_cla"]);
    Some(Announced {
        topic,
        pointer: taken.pointer,
        computed: taken.computed,
        name: own(&["name"]),
        device: device.map(str::to_owned),
        class: own(&["device_class", "dev_cla"]),
        unit: own(&["unit_of_measurement", "unit_of_meas"]),
        is_total: state_class.is_some_and(|class| class.starts_with("total")),
        words: (on.zip(off)).filter(|(on, off)| are_words(on, off)),
        presence: presence(component, base.as_deref()).or_else(|| presence(whole, base.as_deref())),
    })
}

/// The base topic stands for `~` at either end.
fn topic(text: &str, base: Option<&str>) -> String {
    let Some(base) = base else {
        return text.to_owned();
    };
    match (text.strip_prefix('~'), text.strip_suffix('~')) {
        (Some(rest), _) => format!("{base}{rest}"),
        (None, Some(rest)) => format!("{rest}{base}"),
        (None, None) => text.to_owned(),
    }
}

fn presence(object: &Map<String, Value>, base: Option<&str>) -> Option<Presence> {
    let listed = get(object, &["availability", "avty"]).map(|list| match list {
        Value::Array(list) => list.last().and_then(Value::as_object),
        Value::Object(one) => Some(one),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => None,
    });
    let (place, topic_text) = match listed.flatten() {
        Some(one) => (one, text(one, &["topic", "t"])),
        None => (object, text(object, &["availability_topic", "avty_t"])),
    };
    let template = text(
        place,
        &[
            "value_template",
            "val_tpl",
            "availability_template",
            "avty_tpl",
        ],
    );
    let taken = template.as_deref().map_or(Taken::WHOLE, taken_out);
    let word = |keys: &[&str], usual: &str| text(place, keys).unwrap_or_else(|| usual.to_owned());
    let presence = Presence {
        topic: topic(&topic_text?, base),
        pointer: taken.pointer,
        up: word(&["payload_available", "pl_avail"], "online"),
        down: word(&["payload_not_available", "pl_not_avail"], "offline"),
    };
    // Words that a person could not tell apart, or a topic nobody can hear, are of no use.
    let pointer = presence.pointer.as_ref().unwrap_or(&presence.topic);
    let texts = [&presence.topic, pointer, &presence.up, &presence.down];
    let is_of_use = are_words(&presence.up, &presence.down)
        && !presence.topic.is_empty()
        && !presence.topic.contains(['+', '#'])
        && !presence.topic.starts_with('$')
        && texts.iter().all(|text| can_be_written(text));
    (is_of_use && !taken.computed).then_some(presence)
}

/// Whether two texts are words that can be told apart without case.
fn are_words(one: &str, other: &str) -> bool {
    let (one, other) = (one.trim().to_lowercase(), other.trim().to_lowercase());
    let is_word = |word: &str| !word.is_empty() && can_be_written(word);
    is_word(&one) && is_word(&other) && one != other
}

/// How a template takes the value out of a payload.
#[derive(Debug, PartialEq)]
struct Taken {
    pointer: Option<String>,
    computed: bool,
}

impl Taken {
    const WHOLE: Self = Self {
        pointer: None,
        computed: false,
    };
}

/// Reads `{{ value_json.a['b'][0] | filter }}` as the pointer `/a/b/0`.
fn taken_out(template: &str) -> Taken {
    const COMPUTED: Taken = Taken {
        pointer: None,
        computed: true,
    };
    let Some(inner) = (template.trim().strip_prefix("{{")).and_then(|rest| rest.strip_suffix("}}"))
    else {
        return COMPUTED;
    };
    let (path, filters) = inner.split_once('|').unwrap_or((inner, ""));
    // Only filters that leave the value as it is.
    let is_plain = |filter: &str| {
        let name = filter.trim().split('(').next().unwrap_or_default();
        [
            "",
            "float",
            "int",
            "round",
            "default",
            "string",
            "is_defined",
        ]
        .contains(&name.trim())
    };
    let path = path.trim();
    if !filters.split('|').all(is_plain) {
        return COMPUTED;
    }
    match path.strip_prefix("value_json") {
        Some(steps) => pointer_of(steps).map_or(COMPUTED, |pointer| Taken {
            pointer: (!pointer.is_empty()).then_some(pointer),
            computed: false,
        }),
        None if path == "value" => Taken::WHOLE,
        None => COMPUTED,
    }
}

fn pointer_of(steps: &str) -> Option<String> {
    let mut pointer = String::new();
    let mut rest = steps;
    while !rest.is_empty() {
        let key;
        if let Some(after) = rest.strip_prefix('.') {
            let end = after.find(['.', '[']).unwrap_or(after.len());
            (key, rest) = after.split_at(end);
            if key.is_empty() || !key.chars().all(|c| c.is_alphanumeric() || c == '_') {
                return None;
            }
        } else {
            let (inside, after) = rest.strip_prefix('[')?.split_once(']')?;
            rest = after;
            let inside = inside.trim();
            let quoted = ['\'', '"']
                .iter()
                .find_map(|quote| inside.strip_prefix(*quote)?.strip_suffix(*quote));
            key = match quoted {
                Some(key) => key,
                None if !inside.is_empty() && inside.chars().all(|c| c.is_ascii_digit()) => inside,
                None => return None,
            };
        }
        pointer.push('/');
        pointer.push_str(&walk::escaped(key));
    }
    Some(pointer)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn templates_become_pointers() {
        for (template, pointer, computed) in [
            ("{{ value_json.tds }}", Some("/tds"), false),
            (
                "{{value_json['DS18B20-1'].Temperature|float}}",
                Some("/DS18B20-1/Temperature"),
                false,
            ),
            (
                "{{ value_json.a[0][\"b/c\"] | round(1) }}",
                Some("/a/0/b~1c"),
                false,
            ),
            ("{{ value }}", None, false),
            ("{{ value_json.tds * 0.5 }}", None, true),
            ("{{ value_json.tds | multiply(2) }}", None, true),
            ("{% if value_json.x %}1{% endif %}", None, true),
        ] {
            let taken = taken_out(template);
            assert_eq!(
                (taken.pointer.as_deref(), taken.computed),
                (pointer, computed),
                "{template}"
            );
        }
    }

    /// Forms of the format as its documentation and common firmware have them.
    #[test]
    fn single_and_device_messages_are_read() {
        let single = json!({"~": "rodi", "stat_t": "~/sensor/feed_tds/state", "name": "Feed TDS",
            "unit_of_meas": "ppm", "avty_t": "~/status", "dev": {"name": "RO/DI"}});
        let found = read(&single);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].topic, "rodi/sensor/feed_tds/state");
        assert_eq!(found[0].device.as_deref(), Some("RO/DI"));
        let presence = found[0].presence.clone().unwrap();
        assert_eq!(
            (presence.topic.as_str(), presence.up.as_str()),
            ("rodi/status", "online")
        );

        let device = json!({"device": {"identifiers": ["a"]}, "origin": {"name": "x"}, "state_topic": "a/b",
            "availability": [{"topic": "bridge"}, {"topic": "a/up", "payload_available": "yes", "payload_not_available": "no"}],
            "components": {"t": {"platform": "sensor", "value_template": "{{ value_json.t }}", "device_class": "temperature"},
                "gone": {"platform": "sensor"}, "l": {"platform": "binary_sensor", "state_topic": "a/l", "payload_on": "wet", "payload_off": "dry"}}});
        let found = read(&device);
        assert_eq!(found.len(), 3);
        assert_eq!(
            (found[0].topic.as_str(), found[0].pointer.as_deref()),
            ("a/b", Some("/t"))
        );
        assert_eq!(found[2].words, Some(("wet".into(), "dry".into())));
        assert_eq!(found[2].presence.as_ref().unwrap().up, "yes");
        assert_eq!(read(&json!([1])), []);
    }

    #[test]
    fn only_config_topics_are_announcements() {
        assert!(is_place("homeassistant/sensor/rodi/tds/config"));
        assert!(is_place("homeassistant/device/rodi/config"));
        assert!(!is_place("rodi/config"));
        assert!(!is_place("homeassistant/sensor/tds/state"));
    }
}
