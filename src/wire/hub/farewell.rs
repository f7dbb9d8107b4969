//! What left the configuration while a hub was away: it keeps such entities as orphans, for nobody tells it
//! of them any more. Once it has started they are announced with the least that it takes, and then removed
//! as if it had been there all the time. Pure: what was announced, what is there → messages in steps.

use std::collections::HashMap;

use serde_json::{Map, Value, json};

use super::{
    Component, Device, SERVICE, TRIGGER, origin,
    plan::{Announced, Kinds, gone, message, read, staying},
};
use crate::{
    config::{Discovery, Hub},
    wire::Outgoing,
};

/// The steps; none when nothing is gone.
pub(super) fn farewell(devices: &[Device], hub: &Hub, before: &Announced) -> Vec<Vec<Outgoing>> {
    let mut steps = vec![Vec::new(); 3];
    if hub.discovery == Discovery::Off {
        return Vec::new();
    }
    let there = devices.iter().map(|device| (device.topic(hub), device));
    let there: HashMap<String, &Device> = there.collect();
    for (topic, kinds) in before {
        let kinds = read(kinds);
        let messages = match there.get(topic) {
            Some(device) => of_device(device, hub, gone(device, &kinds)),
            None => of_gone_device(topic, &kinds),
        };
        for (step, messages) in steps.iter_mut().zip(messages) {
            step.extend(messages);
        }
    }
    steps.retain(|step| !step.is_empty());
    steps
}

/// Components of a device that is still there: announced, removed, and left out.
fn of_device(device: &Device, hub: &Hub, mut gone: Kinds) -> [Vec<Outgoing>; 3] {
    // Hubs do not keep them.
    gone.retain(|_, platform| platform != TRIGGER);
    if gone.is_empty() {
        return Default::default();
    }
    let unique = device.unique();
    let gone_parts = gone.iter();
    let least = gone_parts.map(|(key, platform)| {
        let topic = device.topic(hub);
        (
            key.clone(),
            Value::from(least(&unique, key, platform, &topic)),
        )
    });
    match device.form(hub) {
        Discovery::Device => {
            let rest = staying(device, &gone);
            let removed = gone.iter();
            let removed = removed.map(|(key, platform)| Component::removed(key, platform));
            [
                vec![device.whole(hub, &rest, least)],
                vec![device.whole(hub, &rest, removed)],
                device.messages(hub),
            ]
        }
        Discovery::Components => {
            let topics = gone.iter();
            let topics = topics.map(|(key, platform)| device.topic_of_part(hub, key, platform));
            let topics: Vec<String> = topics.collect();
            let told = topics.iter().zip(least).map(|(topic, (_, least))| {
                let mut payload = device.head();
                payload.extend(least.as_object().cloned().unwrap_or_default());
                payload.remove("platform");
                message(topic, Value::from(payload).to_string())
            });
            let told = told.collect();
            let removed = topics.iter().map(|topic| message(topic, String::new()));
            [told, removed.collect(), Vec::new()]
        }
        Discovery::Off => Default::default(),
    }
}

/// A device that is gone: announced and removed.
fn of_gone_device(topic: &str, kinds: &Kinds) -> [Vec<Outgoing>; 3] {
    let mut levels = topic.rsplit('/').skip(1);
    let (Some(id), Some(instance)) = (levels.next(), levels.next()) else {
        return Default::default();
    };
    let unique = unique(instance, id);
    let lasting = kinds.iter().filter(|(_, platform)| *platform != TRIGGER);
    let components: Map<String, Value> = lasting
        .map(|(key, platform)| (key.clone(), least(&unique, key, platform, topic).into()))
        .collect();
    let told = json!({
        "device": {"identifiers": [unique], "name": id},
        "origin": origin(),
        "components": components,
    });
    [
        vec![message(topic, told.to_string())],
        vec![message(topic, String::new())],
        Vec::new(),
    ]
}

/// How the unique ids of a device begin.
pub(super) fn unique(instance: &str, id: &str) -> String {
    if id == SERVICE {
        instance.to_owned()
    } else {
        format!("{instance}_{id}")
    }
}

/// The least that a hub takes for a component. Nothing is ever said on its topic.
fn least(unique: &str, key: &str, platform: &str, topic: &str) -> Map<String, Value> {
    let mut least = Map::new();
    let silent = format!("{topic}/gone");
    least.insert("platform".to_owned(), platform.into());
    least.insert("unique_id".to_owned(), format!("{unique}.{key}").into());
    let is_told = matches!(platform, "button" | "number");
    let topic = if is_told {
        "command_topic"
    } else {
        "state_topic"
    };
    least.insert(topic.to_owned(), silent.into());
    if platform == "event" {
        least.insert("event_types".to_owned(), json!(["gone"]));
    }
    least
}
