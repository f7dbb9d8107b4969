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
#[path = "support/site.rs"]
mod site;
#[path = "hub/taken_back.rs"]
mod taken_back;
#[path = "hub/told.rs"]
mod told;

use std::collections::BTreeMap;

use permeated::config::{self, Settings};

use configurations::{ONE_SENSOR, everything, example};
use site::{Site, at};

fn load(text: &str) -> Settings {
    config::from_text("test.toml", text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"))
}

impl Site {
    /// Just started; nothing is told yet.
    fn fresh(text: &str) -> Self {
        Self::start(load(text))
    }

    /// Started, and a minute later.
    fn new(text: &str) -> Self {
        let mut site = Self::fresh(text);
        site.pass(60_000);
        site
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
