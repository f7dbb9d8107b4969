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
#[path = "support/site.rs"]
mod site;

use std::collections::BTreeMap;

use permeated::{
    config::{self, Settings},
    core::Arrival,
    wire::{Outgoing, homie},
};

use site::Site;

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

impl Site {
    /// Started with Homie, and a minute later.
    fn new(text: &str) -> Self {
        Self::plain(&switched_on(text))
    }

    /// The same as configured; the session's word on how devices stand is with the broker.
    fn plain(text: &str) -> Self {
        let settings = load(text);
        let states = (settings.homie.iter())
            .flat_map(|homie| homie::states(&settings, homie, homie::READY))
            .map(|message| (message.topic, message.payload))
            .collect();
        let mut site = Self::start(settings);
        site.retained = states;
        site.pass(60_000);
        site
    }

    /// Every sensor says 1.
    fn hear_all(&mut self) {
        let topics = self.settings.topics().into_keys();
        for topic in topics.map(std::borrow::Cow::into_owned).collect::<Vec<_>>() {
            self.hear(&topic, "1", Arrival::Live);
        }
        self.pass(60_000);
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
