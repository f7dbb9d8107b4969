//! How many rows a hub's database gets in a day: one for each state message whose value is another.

use std::collections::BTreeMap;

use permeated::{
    core::Arrival,
    simulation::{DemoUnit, demo_configuration},
};

use super::Site;

/// A day of the simulated unit as its boards report it (one reading every other second), as the hub
/// sees it: only entities that are switched on from the start count.
#[test]
fn a_day_of_the_simulated_unit_gives_a_hub_few_rows() {
    let text = demo_configuration("mqtt://localhost", std::path::Path::new("/nowhere"));
    let mut site = Site::fresh(&text);
    let mut plant = DemoUnit::new(1, "2026-06-01T06:00:00".parse().unwrap());
    let mut messages = 0_u32;
    let mut heard = 0_u32;
    let mut rows: BTreeMap<String, u32> = BTreeMap::new();
    let mut last: BTreeMap<String, String> = BTreeMap::new();
    let mut times: BTreeMap<String, u64> = BTreeMap::new();
    for _ in 0..86_400 {
        site.pass(1000);
        for message in plant.step(1.0) {
            site.hear(&message.topic, &message.payload, Arrival::Live);
            heard += 1;
        }
        let now = site.now;
        for said in site.said.drain(..).filter(|said| said.retain) {
            messages += 1;
            let is_value = said.topic.contains("/value/");
            if let Some(before) = times.insert(said.topic.clone(), now).filter(|_| is_value) {
                assert!(now - before >= 9000, "{}: {} ms", said.topic, now - before);
            }
            if last.get(&said.topic) != Some(&said.payload) {
                *rows.entry(said.topic.clone()).or_default() += 1;
                last.insert(said.topic, said.payload);
            }
        }
    }
    let entities = site.entities();
    let on = entities
        .iter()
        .filter(|entity| entity.body.get("enabled_by_default").is_none());
    let mut busiest: Vec<(u32, String)> = on
        .filter(|entity| entity.platform == "sensor" || entity.platform == "binary_sensor")
        .filter_map(|entity| {
            let topic = entity.text("state_topic");
            // An alert's document changes with each heartbeat's time; its entity does not.
            let is_alert = topic.contains("/alert/");
            (!is_alert).then(|| (rows.get(topic).copied().unwrap_or(0), entity.key.clone()))
        })
        .collect();
    busiest.sort();
    let total: u32 = busiest.iter().map(|(rows, _)| rows).sum();
    println!(
        "{heard} readings a day give {messages} messages and {total} rows of {} entities",
        busiest.len()
    );
    for (rows, key) in busiest.iter().rev().take(25) {
        println!("{rows:6} {key}");
    }
    // The figure told in the README, with room for a change of the simulated unit.
    assert!(total < 60_000, "{total}");
    assert!(
        busiest.iter().all(|(rows, _)| *rows <= 8640),
        "one in ten seconds at most"
    );
}
