//! Descriptions: read by the `homie5` crate, and held to rules of the convention (homieiot.github.io,
//! version 5.0) as the project notes them.

use std::collections::{BTreeMap, BTreeSet};

use homie5::{
    Homie5Message, HomieValue, device_description::HomieDeviceDescription, parse_mqtt_message,
};

use super::{
    BASE, Site,
    configurations::{ONE_SENSOR, everything, example},
    load, switched_on,
};

const HOSTILE: &str = "[unit.u]\nname = \"  \\\"Unit\\\" {$state}/+#  \"\n[[unit.u.stage]]\nid = \"a_b\"\n\
                       kind = \"mixed_bed\"\nname = \"Bed, ,, \\\\ / ünï\"\nlife = \"10 L\"\n[[unit.u.sensor]]\n\
                       id = \"x__y\"\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";

/// What a controller that finds these messages makes of them: descriptions by device.
fn read(site: &Site) -> BTreeMap<String, HomieDeviceDescription> {
    let mut devices = BTreeMap::new();
    for (topic, payload) in site.found() {
        let message = parse_mqtt_message(topic, payload.as_bytes())
            .unwrap_or_else(|error| panic!("{topic} {payload}: {error}"));
        if let Homie5Message::DeviceDescription {
            device,
            description,
            issues,
        } = message
        {
            assert!(issues.is_empty(), "{topic}: {issues:?}");
            devices.insert(device.device_id().to_string(), description);
        }
    }
    devices
}

fn is_id(text: &str) -> bool {
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    !text.is_empty() && text.chars().all(allowed) && !text.starts_with('-') && !text.ends_with('-')
}

#[test]
fn every_message_is_what_a_controller_takes() {
    for text in [
        ONE_SENSOR.to_owned(),
        everything(),
        example(),
        HOSTILE.to_owned(),
    ] {
        let mut site = Site::new(&text);
        site.hear_all();
        let devices = read(&site);
        let root = &devices["permeated"];
        assert_eq!((root.root.as_ref(), root.parent.as_ref()), (None, None));
        let children: BTreeSet<String> = root.children.iter().map(ToString::to_string).collect();
        let others = devices.keys().filter(|id| *id != "permeated").cloned();
        assert_eq!(children, others.collect());
        assert_eq!(children.len(), site.settings.units.len());
        for (id, device) in &devices {
            assert!(is_id(id), "{id}");
            assert_eq!(device.homie, "5.0");
            assert!((1..=i64::from(i32::MAX)).contains(&device.version));
            assert_eq!(site.value(&format!("{id}/$state")), Some("ready"));
            if id != "permeated" {
                assert_eq!(device.root.as_ref().unwrap().to_string(), "permeated");
            }
            // Below our own limit for a packet (256 KiB).
            assert!(site.value(&format!("{id}/$description")).unwrap().len() < 200_000);
        }
        let values = check_values(&site, &devices);
        assert!(values > 5, "{values}");
    }
}

/// Each value is described, and what its description allows; each described one is remembered.
fn check_values(site: &Site, devices: &BTreeMap<String, HomieDeviceDescription>) -> usize {
    let mut topics = site.installation.retained_topics();
    let mut values = 0;
    for (id, device) in devices {
        topics.remove(&format!("{BASE}{id}/$state"));
        topics.remove(&format!("{BASE}{id}/$description"));
        for (node_id, node) in &device.nodes {
            assert!(is_id(&node_id.to_string()), "{node_id}");
            for (property_id, property) in &node.properties {
                let topic = format!("{BASE}{id}/{node_id}/{property_id}");
                property
                    .validate_strict()
                    .unwrap_or_else(|error| panic!("{topic}: {error}"));
                assert!(is_id(&property_id.to_string()), "{topic}");
                assert!(property.name.as_ref().is_some_and(|name| !name.is_empty()));
                assert_eq!(topics.remove(&topic), property.retained, "{topic}");
                if let Some(value) = site.retained.get(&topic) {
                    HomieValue::parse(value, property)
                        .unwrap_or_else(|error| panic!("{topic} {value}: {error}"));
                    values += 1;
                }
            }
        }
    }
    let rest: Vec<&String> = (topics.iter())
        .filter(|topic| topic.starts_with(BASE) && !topic.contains("/$alert/"))
        .collect();
    assert!(rest.is_empty(), "not described: {rest:?}");
    let known = site.installation.retained_topics();
    let unknown = site
        .found()
        .into_keys()
        .find(|topic| !known.contains(*topic));
    assert_eq!(unknown, None, "would stay for ever");
    values
}

/// The convention asks for another version when the content is another, and a restart is no change.
#[test]
fn the_version_follows_the_content() {
    let version = |text: &str| read(&Site::new(text))["permeated-u"].version;
    let first = version(ONE_SENSOR);
    assert_eq!(version(ONE_SENSOR), first);
    assert_ne!(
        version(&format!("[unit.u]\nname = \"Other\"\n{ONE_SENSOR}")),
        first
    );
    let stage = "[[unit.u.stage]]\nid = \"s\"\nkind = \"sediment\"\n";
    assert_ne!(version(&format!("{stage}{ONE_SENSOR}")), first);
}

#[test]
fn nothing_is_told_unless_it_is_switched_on() {
    let mut off = Site::plain(ONE_SENSOR);
    off.hear_all();
    assert!(off.found().is_empty() && off.take_said().is_empty());
    let topics = off.installation.retained_topics();
    let filters = off.installation.subscriptions();
    assert!(
        !topics
            .iter()
            .chain(&filters)
            .any(|topic| topic.starts_with("homie"))
    );
}

#[test]
fn domain_and_instance_begin_every_topic() {
    let text = format!("[hub]\ninstance = \"my_attic\"\n{ONE_SENSOR}");
    let text = switched_on(&text).replace("enabled = true", "enabled = true\ndomain = \"water\"");
    let site = Site::plain(&text);
    assert!(site.retained.contains_key("water/5/my-attic/$description"));
    assert!(
        site.retained
            .contains_key("water/5/my-attic-u/$description")
    );
    assert!(load(&text).homie.is_some());
}
