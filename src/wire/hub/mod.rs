//! Discovery: what hubs are told of the devices there are, so that they need no configuration. One device
//! for each unit, and one for the service itself. Pure: devices → retained messages.
//!
//! Unique ids and topics are made of configured ids alone; names are only text in JSON. Keys are written
//! long: they are read by people who look for a fault.

mod entities;
mod farewell;
pub mod plan;
pub mod shape;

use serde_json::{Map, Value, json};

use super::Outgoing;
use crate::{
    config::{Discovery, Hub, Settings},
    core::{
        Unit,
        alert::{Alert, Subject, title},
    },
    wire::document::{KEPT, OFFLINE, ONLINE, State, UNKEPT},
};

/// Something a hub shows as one.
#[derive(Clone, Debug, PartialEq)]
pub struct Device {
    instance: String,
    /// Its id among those of the instance: the unit's, or `status` (which no unit is called).
    id: String,
    /// What it is: the `device` of every message.
    about: Value,
    /// Topics that tell whether it is there; all must.
    availability: Vec<String>,
    components: Vec<Component>,
}

/// A value, an alert, a button: something of a device.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// Unique in its device; letters, digits, `_` and `-`.
    pub key: String,
    /// What kind of thing it is to the hub.
    pub platform: &'static str,
    body: Map<String, Value>,
}

/// The id of the service's own device; no unit may be called so.
const SERVICE: &str = "status";
/// What hubs call a trigger of automations.
const TRIGGER: &str = "device_automation";
/// Longer names are cut: no dashboard has room for them.
const LONGEST_NAME: usize = 60;
/// A device whose message would be larger is told component by component: it would not pass our own
/// limit of 256 KiB for a packet, nor many a broker's.
const LARGEST_MESSAGE: usize = 200_000;

/// The service's own device, which every unit hangs on.
#[must_use]
pub fn service(settings: &Settings) -> Device {
    let instance = &settings.hub.service;
    let component = |key: &str, name: &str, class: &str, topic: String, [on, off]: [&str; 2]| {
        let mut component = Component::new(key, "binary_sensor");
        component.put("unique_id", format!("{instance}.{key}"));
        component.put("name", name);
        component.put("device_class", class);
        component.put("entity_category", "diagnostic");
        component.put("state_topic", topic);
        component.put("payload_on", on);
        component.put("payload_off", off);
        component
    };
    let status = settings.publish.status_topic();
    let (kept, words) = (settings.publish.store_topic(), [UNKEPT, KEPT]);
    let mut store = component("store", "State on disk", "problem", kept, words);
    // What a service said of its disk is no longer true when it is away.
    store.put("availability", json!([{ "topic": status }]));
    let words = [ONLINE, OFFLINE];
    let connection = component("connection", "Connection", "connectivity", status, words);
    let mut about = json!({
        "identifiers": [instance],
        "name": short(instance),
        "manufacturer": "permeated",
        "model": "Service",
        "sw_version": env!("CARGO_PKG_VERSION"),
    });
    if let Some(url) = page_url(settings) {
        about["configuration_url"] = format!("{url}/").into();
    }
    Device {
        instance: instance.clone(),
        id: SERVICE.to_owned(),
        about,
        availability: Vec::new(),
        components: vec![connection, store],
    }
}

/// A unit's device; `states` are those it publishes.
#[must_use]
pub fn unit(settings: &Settings, unit: &Unit, states: &[State]) -> Device {
    let instance = &settings.hub.instance;
    let unit_settings = unit.settings();
    let id = &unit_settings.id;
    let mut about = json!({
        "identifiers": [format!("{instance}_{id}")],
        "name": short(&unit_settings.name),
        "manufacturer": "permeated",
        "model": "RO/DI unit",
        "sw_version": env!("CARGO_PKG_VERSION"),
        "via_device": settings.hub.service,
    });
    if let Some(area) = &unit_settings.suggested_area {
        about["suggested_area"] = short(area).into();
    }
    if let Some(url) = page_url(settings) {
        about["configuration_url"] = format!("{url}/unit/{id}").into();
    }
    let place = entities::Place {
        prefix: &settings.publish.prefix,
        unique: format!("{instance}_{id}"),
        status: settings.publish.status_topic(),
        unit,
    };
    Device {
        instance: instance.clone(),
        id: id.clone(),
        about,
        availability: vec![
            settings.publish.status_topic(),
            super::document::topic(&settings.publish.prefix, unit, State::Available),
        ],
        components: entities::of(&place, states),
    }
}

impl Device {
    /// Its components.
    #[must_use]
    pub fn components(&self) -> &[Component] {
        &self.components
    }

    /// What a hub is told of it, in the configured form.
    #[must_use]
    pub fn messages(&self, hub: &Hub) -> Vec<Outgoing> {
        match self.form(hub) {
            Discovery::Device => vec![self.complete(hub)],
            Discovery::Components => {
                let parts = self.components.iter();
                parts.map(|component| self.part(hub, component)).collect()
            }
            Discovery::Off => Vec::new(),
        }
    }

    /// The form in which it is told.
    fn form(&self, hub: &Hub) -> Discovery {
        match hub.discovery {
            Discovery::Device if self.complete(hub).payload.len() > LARGEST_MESSAGE => {
                Discovery::Components
            }
            form @ (Discovery::Device | Discovery::Components | Discovery::Off) => form,
        }
    }

    /// The topic of the message that holds the whole device.
    fn topic(&self, hub: &Hub) -> String {
        let Self { instance, id, .. } = self;
        format!("{}/device/{instance}/{id}/config", hub.prefix)
    }

    /// The topic of the message of one component.
    fn topic_of(&self, hub: &Hub, component: &Component) -> String {
        self.topic_of_part(hub, &component.key, component.platform)
    }

    fn topic_of_part(&self, hub: &Hub, key: &str, platform: &str) -> String {
        let Self { instance, id, .. } = self;
        format!("{}/{platform}/{instance}_{id}/{key}/config", hub.prefix)
    }

    /// How its unique ids begin.
    fn unique(&self) -> String {
        farewell::unique(&self.instance, &self.id)
    }

    /// The device with nothing but a trigger that nothing sets off.
    fn placeholder(&self, hub: &Hub) -> Outgoing {
        let mut gone = Component::new("gone", TRIGGER);
        gone.put("automation_type", "trigger");
        gone.put("type", "gone");
        gone.put("subtype", "any");
        gone.put("topic", format!("{}/gone", self.topic(hub)));
        self.whole(hub, &[gone], std::iter::empty())
    }

    fn complete(&self, hub: &Hub) -> Outgoing {
        self.whole(hub, &self.components, std::iter::empty())
    }

    /// The device in one message: these components, and some that are to be removed.
    fn whole(
        &self,
        hub: &Hub,
        components: &[Component],
        removed: impl Iterator<Item = (String, Value)>,
    ) -> Outgoing {
        let mut message = self.head();
        let there = components
            .iter()
            .map(|component| (component.key.clone(), component.whole()));
        let components: Map<String, Value> = there.chain(removed).collect();
        message.insert("components".to_owned(), components.into());
        told(self.topic(hub), message)
    }

    /// One component by itself.
    fn part(&self, hub: &Hub, component: &Component) -> Outgoing {
        let mut message = self.head();
        message.extend(component.body.clone());
        told(self.topic_of(hub, component), message)
    }

    /// What every message of it begins with.
    fn head(&self) -> Map<String, Value> {
        let mut head = Map::new();
        head.insert("device".to_owned(), self.about.clone());
        head.insert("origin".to_owned(), origin());
        if !self.availability.is_empty() {
            let topics = self.availability.iter();
            let topics: Vec<Value> = topics.map(|topic| json!({ "topic": topic })).collect();
            head.insert("availability".to_owned(), topics.into());
            head.insert("availability_mode".to_owned(), "all".into());
        }
        head
    }
}

impl Component {
    fn new(key: impl Into<String>, platform: &'static str) -> Self {
        Self {
            key: key.into(),
            platform,
            body: Map::new(),
        }
    }

    /// A component that is to be removed from its device: nothing but its kind.
    fn removed(key: &str, platform: &str) -> (String, Value) {
        (key.to_owned(), json!({ "platform": platform }))
    }

    fn put(&mut self, key: &str, value: impl Into<Value>) {
        self.body.insert(key.to_owned(), value.into());
    }

    fn whole(&self) -> Value {
        let mut whole = Map::new();
        whole.insert("platform".to_owned(), self.platform.into());
        whole.extend(self.body.clone());
        whole.into()
    }
}

fn origin() -> Value {
    json!({"name": "permeated", "sw_version": env!("CARGO_PKG_VERSION")})
}

/// Where the house reaches the page, if it does. A hub leads there from the device.
fn page_url(settings: &Settings) -> Option<&str> {
    settings.page.as_ref()?.url.as_deref()
}

fn told(topic: String, message: Map<String, Value>) -> Outgoing {
    Outgoing {
        topic,
        payload: Value::from(message).to_string(),
        retain: true,
    }
}

/// An alert's name for people: what it tells, and of which sensor or stage.
pub(in crate::wire) fn alert_name(unit: &Unit, alert: &Alert) -> String {
    let about = match alert.subject {
        Subject::Sensor(_) => Some(alert.subject_id.clone()),
        Subject::Stage(stage) => {
            let stage = unit.settings().stages.get(stage);
            stage.map(|stage| short(&stage.name))
        }
        Subject::Unit => None,
    };
    let title = title(alert.code);
    about.map_or_else(|| title.to_owned(), |about| format!("{title}: {about}"))
}

/// A name as hubs show it: on one line, and cut where it is longer than anybody reads.
pub(in crate::wire) fn short(name: &str) -> String {
    let words: Vec<&str> = name.split_whitespace().collect();
    let name = words.join(" ");
    if name.chars().count() <= LONGEST_NAME {
        return name;
    }
    let mut cut: String = name.chars().take(LONGEST_NAME - 1).collect();
    cut.truncate(cut.trim_end().len());
    cut.push('…');
    cut
}
