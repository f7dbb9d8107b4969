//! What hubs are told: discovery messages held to rules written from a real hub's source (`hub/rules.rs`),
//! from one sensor to everything; what is published to what the hub was told of it; removal and change of
//! form to the order in which a real hub was seen to forget; the hub's birth; hostile names.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "support/configurations.rs"]
mod configurations;
#[path = "hub/frugal.rs"]
mod frugal;
#[path = "hub/limits.rs"]
mod limits;
#[path = "hub/rules.rs"]
mod rules;
#[path = "hub/taken_back.rs"]
mod taken_back;
#[path = "hub/told.rs"]
mod told;

use std::collections::BTreeMap;

use permeated::{
    config::{self, Settings},
    core::{Arrival, UnitState},
    installation::{Incoming, Installation},
    time::{Mono, Now, Wall},
    wire::Outgoing,
};

use configurations::{ONE_SENSOR, everything, example};

fn load(text: &str) -> Settings {
    config::from_text("test.toml", text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"))
}

/// An installation on a clock of its own, and a broker's retained messages.
struct Site {
    settings: Settings,
    installation: Installation,
    now: u64,
    retained: BTreeMap<String, String>,
    said: Vec<Outgoing>,
}

impl Site {
    /// Just started; nothing is told yet.
    fn fresh(text: &str) -> Self {
        let settings = load(text);
        let installation = Installation::new(&settings, |_| UnitState::default(), at(0));
        Self {
            settings,
            installation,
            now: 0,
            retained: BTreeMap::new(),
            said: Vec::new(),
        }
    }

    /// Started, and a minute later.
    fn new(text: &str) -> Self {
        let mut site = Self::fresh(text);
        site.pass(60_000);
        site
    }

    fn pass(&mut self, milliseconds: u64) {
        let end = self.now + milliseconds;
        while self.now < end {
            let due = self.installation.deadline().map_or(end, |due| due.0);
            self.now = due.clamp(self.now + 1, end);
            self.installation.advance(at(self.now));
            self.collect();
        }
    }

    fn hear(&mut self, topic: &str, payload: &str, arrival: Arrival) {
        let message = Incoming {
            topic,
            payload: payload.as_bytes(),
            arrival,
            packet: None,
        };
        self.installation.hear(at(self.now), message);
        self.collect();
    }

    fn collect(&mut self) {
        while let Some(message) = self.installation.drain() {
            if message.retain {
                let Outgoing { topic, payload, .. } = message.clone();
                if payload.is_empty() {
                    self.retained.remove(&topic);
                } else {
                    self.retained.insert(topic, payload);
                }
            }
            self.said.push(message);
        }
    }

    /// The retained messages that a hub looks for.
    fn discovery(&self) -> BTreeMap<String, String> {
        let prefix = format!("{}/", self.settings.hub.prefix);
        let retained = self.retained.iter();
        retained
            .filter(|(topic, _)| topic.starts_with(&prefix))
            .map(|(topic, payload)| (topic.clone(), payload.clone()))
            .collect()
    }

    fn entities(&self) -> Vec<rules::Entity> {
        rules::hub(&self.settings.hub.prefix, &self.discovery())
    }
}

fn at(milliseconds: u64) -> Now {
    let start = Wall::from_rfc3339("2026-06-01T06:00:00Z").unwrap();
    Now {
        mono: Mono(milliseconds),
        wall: Wall(start.0 + i64::try_from(milliseconds).unwrap()),
    }
}
