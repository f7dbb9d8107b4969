//! An installation on a clock of its own, and a broker's retained messages.

use std::collections::BTreeMap;

use permeated::{
    config::Settings,
    core::{Arrival, UnitState},
    installation::{Incoming, Installation},
    time::{Mono, Now, Wall},
    wire::Outgoing,
};

pub struct Site {
    pub settings: Settings,
    pub installation: Installation,
    pub now: u64,
    pub retained: BTreeMap<String, String>,
    pub said: Vec<Outgoing>,
}

impl Site {
    /// Just started; nothing is told yet.
    pub fn start(settings: Settings) -> Self {
        let installation = Installation::new(&settings, |_| UnitState::default(), at(0));
        Self {
            settings,
            installation,
            now: 0,
            retained: BTreeMap::new(),
            said: Vec::new(),
        }
    }

    pub fn pass(&mut self, milliseconds: u64) {
        let end = self.now + milliseconds;
        while self.now < end {
            let due = self.installation.deadline().map_or(end, |due| due.0);
            self.now = due.clamp(self.now + 1, end);
            self.installation.advance(at(self.now));
            self.collect();
        }
    }

    pub fn hear(&mut self, topic: &str, payload: &str, arrival: Arrival) {
        let message = Incoming {
            topic,
            payload: payload.as_bytes(),
            arrival,
            packet: None,
        };
        self.installation.hear(at(self.now), message);
        self.collect();
    }

    pub fn collect(&mut self) {
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
}

pub fn at(milliseconds: u64) -> Now {
    let start = Wall::from_rfc3339("2026-06-01T06:00:00Z").unwrap();
    Now {
        mono: Mono(milliseconds),
        wall: Wall(start.0 + i64::try_from(milliseconds).unwrap()),
    }
}
