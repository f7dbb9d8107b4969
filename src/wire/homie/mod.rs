//! The Homie convention, version 5: what controllers are told of the devices there are. The service is
//! one device, whose `$state` is told by the broker when the service is lost; units hang on it and are
//! lost with it. Pure: settings and units → retained messages.
//!
//! Ids are made of configured ids alone; names are only text in JSON. A value that is not there has no
//! retained message: an empty payload takes it from the broker, whereas an empty text would be a zero byte.

pub mod commands;
mod properties;
pub mod values;

use serde_json::{Map, Value, json};

use super::{
    Outgoing,
    document::{self, State},
    hub::short,
};
use crate::{
    config::{Homie, Settings, homie_id},
    core::Unit,
    digest::digest,
};
use properties::property;

/// A device that does not say everything yet …
pub const INIT: &str = "init";
/// … that is there …
pub const READY: &str = "ready";
/// … that left by itself …
pub const DISCONNECTED: &str = "disconnected";
/// … and that is gone.
pub const LOST: &str = "lost";

/// The convention's major version, a level of every topic.
const MAJOR: &str = "5";

/// Where the topics of all devices begin.
#[must_use]
pub fn base(homie: &Homie) -> String {
    format!("{}/{MAJOR}/", homie.domain)
}

/// The id of a unit's device.
#[must_use]
pub fn device_id(homie: &Homie, unit: &str) -> String {
    format!("{}-{}", homie.instance, homie_id(unit))
}

/// Whether a topic tells how a device stands: a device is removed by clearing it first.
#[must_use]
pub fn is_state(topic: &str) -> bool {
    topic.ends_with("/$state")
}

/// Where the service tells how it stands; the broker says [`LOST`] there for it.
#[must_use]
pub fn status_topic(homie: &Homie) -> String {
    state_topic(homie, &homie.service)
}

fn state_topic(homie: &Homie, device: &str) -> String {
    format!("{}{device}/$state", base(homie))
}

/// All devices stand so: units first, for the service's own word completes it.
#[must_use]
pub fn states(settings: &Settings, homie: &Homie, word: &str) -> Vec<Outgoing> {
    let units = settings.units.iter();
    let units = units.map(|unit| device_id(homie, &unit.id));
    units
        .chain([homie.service.clone()])
        .map(|device| told(state_topic(homie, &device), word.to_owned()))
        .collect()
}

/// What the service is: the device on which all units hang.
#[must_use]
pub fn service(settings: &Settings, homie: &Homie) -> Outgoing {
    let units = settings.units.iter();
    let children: Vec<String> = units.map(|unit| device_id(homie, &unit.id)).collect();
    let mut body = Map::new();
    body.insert("name".to_owned(), short(&settings.hub.service).into());
    body.insert("children".to_owned(), children.into());
    description(homie, &homie.service, body)
}

/// What a unit is that publishes these states.
#[must_use]
pub fn unit(homie: &Homie, unit: &Unit, states: &[State]) -> Outgoing {
    let settings = unit.settings();
    let mut nodes = Map::new();
    let found = states.iter().filter_map(|state| property(unit, *state));
    for property in found.chain(commands::buttons(settings)) {
        let node = nodes
            .entry(property.node)
            .or_insert_with(|| json!({"name": property.node_name, "properties": {}}));
        node["properties"][property.id] = property.about.into();
    }
    let mut body = Map::new();
    body.insert("name".to_owned(), short(&settings.name).into());
    body.insert("root".to_owned(), homie.service.as_str().into());
    body.insert("nodes".to_owned(), nodes.into());
    description(homie, &device_id(homie, &settings.id), body)
}

fn description(homie: &Homie, device: &str, body: Map<String, Value>) -> Outgoing {
    let mut whole = Map::new();
    whole.insert("homie".to_owned(), "5.0".into());
    whole.insert("version".to_owned(), version(&body).into());
    whole.extend(body);
    let topic = format!("{}{device}/$description", base(homie));
    told(topic, Value::from(whole).to_string())
}

/// A number from 1 that is another one whenever the description is, and the same after a restart. It
/// fits into 31 bits, which every reader has.
fn version(body: &Map<String, Value>) -> u64 {
    let digest = digest(Value::from(body.clone()).to_string().as_bytes());
    ((digest ^ (digest >> 32)) & 0x7fff_ffff).max(1)
}

fn told(topic: String, payload: String) -> Outgoing {
    Outgoing {
        topic,
        payload,
        retain: true,
    }
}
