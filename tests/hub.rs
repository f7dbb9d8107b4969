//! What hubs are told: discovery messages held to rules written from a real hub's source (`hub/rules.rs`),
//! from one sensor to everything; what is published to what the hub was told of it; removal and change of
//! form to the order in which a real hub was seen to forget; the hub's birth; hostile names.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

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

use std::{collections::BTreeMap, path::Path};

use permeated::{
    config::{self, Settings},
    core::{Arrival, UnitState},
    installation::{Incoming, Installation},
    time::{Mono, Now, Wall},
    wire::Outgoing,
};

const ONE_SENSOR: &str = "[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";

fn load(text: &str) -> Settings {
    config::from_text("test.toml", text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"))
}

fn example() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/permeated.toml");
    std::fs::read_to_string(path).unwrap()
}

/// Two units with a sensor at every point, every kind of stage with all that can be said of it.
fn everything() -> String {
    let mut text = String::new();
    for unit in ["a", "a_b"] {
        text += &format!(
            "[unit.{unit}]\nname = \"Unit {unit}\"\nsuggested_area = \"Cellar\"\n\
             [unit.{unit}.membrane]\nrated_flow = \"75 gal/d\"\nrated_pressure = \"60 psi\"\n\
             rated_tds = \"250 mg/L\"\nrated_recovery = \"15 %\"\n[unit.{unit}.supply]\n\
             alkalinity = \"100 mg/L CaCO3\"\nph = 7.6\ndisinfectant = \"chlorine\"\n\
             disinfectant_level = \"1 mg/L\"\n"
        );
        for (id, more) in [
            ("sediment", "life = \"1000 L\""),
            ("carbon", "life = \"1000 L\"\ncapacity = \"20 g\""),
            ("catalytic_carbon", "life_time = \"90 d\""),
            ("booster_pump", ""),
            ("membrane", "life_time = \"700 d\""),
            ("cation", "resin = \"1 L\""),
            ("anion", "resin = \"1 L\""),
            ("mixed_bed", "resin = \"1 L\"\nlife = \"400 L\""),
        ] {
            text += &format!("[[unit.{unit}.stage]]\nid = \"{id}\"\nkind = \"{id}\"\n{more}\n");
        }
        for (at, rest) in [
            ("supply_pressure", "unit = \"psi\""),
            ("feed_pressure", "unit = \"psi\""),
            ("concentrate_pressure", "unit = \"psi\""),
            ("permeate_pressure", "unit = \"psi\""),
            ("feed_temperature", "unit = \"degC\""),
            ("feed_tds", "unit = \"ppm\""),
            ("permeate_tds", "unit = \"ppm\""),
            ("product_tds", "unit = \"ppm\""),
            ("stage_tds", "unit = \"ppm\"\nstage = \"carbon\""),
            ("concentrate_tds", "unit = \"ppm\""),
            ("feed_flow", "unit = \"L/min\""),
            ("permeate_flow", "unit = \"L/min\""),
            ("concentrate_flow", "unit = \"L/min\""),
            ("inlet_valve", ""),
            ("flush_valve", ""),
            ("pump", ""),
            ("leak", ""),
            ("storage_level", "unit = \"L\""),
        ] {
            text += &format!(
                "[[unit.{unit}.sensor]]\nat = \"{at}\"\ntopic = \"{unit}/{at}\"\n{rest}\n"
            );
        }
    }
    text
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
