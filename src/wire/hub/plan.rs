//! What must be told to a hub before the announcements when the configuration has changed, so that
//! nothing is left behind in it and nothing loses its history. A hub forgets a component only after it was
//! told with its kind alone, and hands one over from one form of message to the other only after
//! `migrate_discovery`. Pure: what was announced, what shall be → messages in steps.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;

use super::{Component, Device, TRIGGER, farewell::farewell};
use crate::{
    config::{Discovery, Hub},
    wire::Outgoing,
};

/// Devices as they were announced, in either form: by the topic of the whole device, a JSON object of the
/// components' keys and kinds.
pub type Announced = BTreeMap<String, String>;

/// What was told before, in this life or an earlier one.
#[derive(Clone, Copy, Debug)]
pub struct Before<'a> {
    /// Devices.
    pub announced: &'a Announced,
    /// Topics with a retained message that the configuration no longer has.
    pub ghosts: &'a BTreeSet<String>,
}

/// What must be told before the announcements and after; each part must have reached the hub before the
/// next.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// First: components that are gone, and messages that are gone.
    pub remove: Vec<Outgoing>,
    /// Then: messages in the other form, which hand their entities over.
    pub hand_over: Vec<Outgoing>,
    /// After the announcements: devices that handed everything over hold something again, for a hub complains
    /// of an empty one that is cleared away.
    pub hold: Vec<Outgoing>,
    /// Last: the messages that handed over are cleared away.
    pub clear: Vec<Outgoing>,
    /// Once a hub has started: what it may not have heard of because it was not there.
    pub farewell: Vec<Vec<Outgoing>>,
}

impl Plan {
    /// The topics that are cleared away.
    pub fn removed_topics(&self) -> impl Iterator<Item = &str> {
        let removed = self.remove.iter().chain(&self.clear);
        removed
            .filter(|message| message.payload.is_empty())
            .map(|message| message.topic.as_str())
    }
}

/// The devices as they are announced now.
#[must_use]
pub fn announced(devices: &[Device], hub: &Hub) -> Announced {
    let told = devices
        .iter()
        .filter(|device| device.form(hub) != Discovery::Off);
    told.map(|device| {
        let components = device.components.iter();
        let kinds = components
            .map(|component| (component.key.clone(), component.platform.to_owned()))
            .collect();
        (device.topic(hub), write(&kinds))
    })
    .collect()
}

/// Both together, while it is not sure that the hub has forgotten what is gone.
#[must_use]
pub fn joined(before: &Announced, now: &Announced) -> Announced {
    let mut all = now.clone();
    for (topic, kinds) in before {
        let mut kinds_now = all.get(topic).map(|text| read(text)).unwrap_or_default();
        kinds_now.extend(read(kinds));
        all.insert(topic.clone(), write(&kinds_now));
    }
    all
}

/// What the change from `before` asks for.
#[must_use]
pub fn plan(devices: &[Device], hub: &Hub, own_prefix: &str, before: Before<'_>) -> Plan {
    let mut plan = Plan::default();
    let mut handed_over = BTreeSet::new();
    for device in devices {
        let topic = device.topic(hub);
        let kinds = before.announced.get(&topic);
        let parts: Vec<String> = device
            .components
            .iter()
            .map(|it| device.topic_of(hub, it))
            .collect();
        let (was_whole, other_form) = match device.form(hub) {
            Discovery::Device => (
                !parts.iter().any(|part| before.ghosts.contains(part)),
                parts,
            ),
            Discovery::Components => (before.ghosts.contains(&topic), vec![topic]),
            // A device that is switched off goes as a whole.
            Discovery::Off => (false, Vec::new()),
        };
        if let Some(kinds) = kinds.filter(|_| was_whole) {
            plan.remove.extend(without(device, hub, &read(kinds)));
        }
        if device.form(hub) == Discovery::Components && was_whole {
            plan.hold.push(device.placeholder(hub));
        }
        handed_over.extend(other_form);
    }
    plan.farewell = farewell(devices, hub, before.announced);
    let own = format!("{own_prefix}/");
    for ghost in before.ghosts {
        if handed_over.contains(ghost) && !ghost.contains(&format!("/{TRIGGER}/")) {
            let migrate = json!({"migrate_discovery": true}).to_string();
            plan.hand_over.push(message(ghost, migrate));
            plan.clear.push(message(ghost, String::new()));
        } else if ghost.ends_with("/config") && !ghost.starts_with(&own) {
            plan.remove.push(message(ghost, String::new()));
        }
    }
    plan
}

/// The device with those components that are gone (or are of another kind now) as nothing but their kind;
/// `None` when all are still there. A device that will be told in parts is without its triggers, too: hubs
/// cannot hand them over.
fn without(device: &Device, hub: &Hub, before: &Kinds) -> Option<Outgoing> {
    let mut leaving = gone(device, before);
    if device.form(hub) == Discovery::Components {
        let triggers = before.iter().filter(|(_, platform)| *platform == TRIGGER);
        leaving.extend(triggers.map(|(key, platform)| (key.clone(), platform.clone())));
    }
    if leaving.is_empty() {
        return None;
    }
    let removed = leaving
        .iter()
        .map(|(key, platform)| Component::removed(key, platform));
    Some(device.whole(hub, &staying(device, &leaving), removed))
}

/// Components by their keys: of what kind each is.
pub(super) type Kinds = BTreeMap<String, String>;

/// Those that the device does not have any more, or of another kind.
pub(super) fn gone(device: &Device, before: &Kinds) -> Kinds {
    let stays = |key: &str, platform: &str| {
        let mut components = device.components.iter();
        components.any(|component| component.key == key && component.platform == platform)
    };
    let before = before.iter();
    let gone = before.filter(|(key, platform)| !stays(key, platform));
    gone.map(|(key, platform)| (key.clone(), platform.clone()))
        .collect()
}

/// The device's components without those of these keys.
pub(super) fn staying(device: &Device, leaving: &Kinds) -> Vec<Component> {
    let components = device.components.iter();
    let stay = components.filter(|component| !leaving.contains_key(&component.key));
    stay.cloned().collect()
}

/// The kinds by key; a text that is none of ours tells of nothing.
pub(super) fn read(kinds: &str) -> BTreeMap<String, String> {
    serde_json::from_str(kinds).unwrap_or_default()
}

fn write(kinds: &BTreeMap<String, String>) -> String {
    // Texts by texts always serialise.
    serde_json::to_string(kinds).unwrap_or_default()
}

pub(super) fn message(topic: &str, payload: String) -> Outgoing {
    Outgoing {
        topic: topic.to_owned(),
        payload,
        retain: true,
    }
}
