//! What is told by the Homie convention, version 5: every message read by an independent reader (the `homie5`
//! crate) and held to rules of the convention written out here; values to the plain topics; commands to what
//! they bring about. From one sensor to everything, with hostile names.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "support/configurations.rs"]
mod configurations;
#[path = "homie/described.rs"]
mod described;
#[path = "homie/said.rs"]
mod said;
#[path = "homie/set.rs"]
mod set;

use std::collections::BTreeMap;

use permeated::{
    config::{self, Settings},
    core::{Arrival, UnitState},
    installation::{Incoming, Installation},
    time::{Mono, Now, Wall},
    wire::{Outgoing, homie},
};

const BASE: &str = "homie/5/";

/// The example has a `[homie]` of its own.
fn switched_on(text: &str) -> String {
    if text.contains("[homie]") {
        text.replace("enabled = false", "enabled = true")
    } else {
        format!("[homie]\nenabled = true\n{text}")
    }
}

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
    /// Started with Homie, and a minute later.
    fn new(text: &str) -> Self {
        Self::plain(&switched_on(text))
    }

    /// The same as configured; the session's word on how devices stand is with the broker.
    fn plain(text: &str) -> Self {
        let settings = load(text);
        let installation = Installation::new(&settings, |_| UnitState::default(), at(0));
        let states = (settings.homie.iter())
            .flat_map(|homie| homie::states(&settings, homie, homie::READY))
            .map(|message| (message.topic, message.payload))
            .collect();
        let mut site = Self {
            settings,
            installation,
            now: 0,
            retained: states,
            said: Vec::new(),
        };
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

    /// Every sensor says 1.
    fn hear_all(&mut self) {
        let topics = self.settings.topics().into_keys();
        for topic in topics.map(str::to_owned).collect::<Vec<_>>() {
            self.hear(&topic, "1", Arrival::Live);
        }
        self.pass(60_000);
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

    /// What a controller finds.
    fn found(&self) -> BTreeMap<&str, &str> {
        let retained = self.retained.iter();
        retained
            .filter(|(topic, _)| topic.starts_with(BASE))
            .map(|(topic, payload)| (topic.as_str(), payload.as_str()))
            .collect()
    }

    fn value(&self, rest: &str) -> Option<&str> {
        self.retained
            .get(&format!("{BASE}{rest}"))
            .map(String::as_str)
    }

    /// What was said by Homie since last asked.
    fn take_said(&mut self) -> Vec<Outgoing> {
        let said = std::mem::take(&mut self.said).into_iter();
        said.filter(|said| said.topic.starts_with(BASE)).collect()
    }
}

fn at(milliseconds: u64) -> Now {
    let start = Wall::from_rfc3339("2026-06-01T06:00:00Z").unwrap();
    Now {
        mono: Mono(milliseconds),
        wall: Wall(start.0 + i64::try_from(milliseconds).unwrap()),
    }
}
