//! Resolved settings: what the rest of the program works with. A value of these types cannot be
//! wrong in itself; everything a person may mistype was found by `config::resolve` before.

use std::{borrow::Cow, collections::BTreeMap, path::PathBuf, time::Duration};

use jiff::civil::Date;

use super::{
    chemistry::{Capacity, FeedChemistry},
    homie::Homie,
    hub::Hub,
    outlets::{NotifyTarget, PageServer, WebServer},
    sensor::SensorSettings,
    unit::UnitSettings,
};
use crate::quantity::{Conductivity, Flow, Pressure, Temperature, Volume};

/// Everything that was configured.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Where the readings come from and the results go.
    pub broker: Broker,
    /// What is published and how often.
    pub publish: Publish,
    /// How hubs are told what there is.
    pub hub: Hub,
    /// What is published by the Homie convention; nothing unless asked for.
    pub homie: Option<Homie>,
    /// Where state is kept.
    pub store: Store,
    /// Where scrapers read metrics; none unless asked for.
    pub metrics: Option<WebServer>,
    /// Where people read the status page; nowhere unless asked for.
    pub page: Option<PageServer>,
    /// Where notices are sent by HTTP, in the order written.
    pub notify: Vec<NotifyTarget>,
    /// One or more units, in the order of their ids.
    pub units: Vec<UnitSettings>,
}

/// The MQTT session.
#[derive(Clone, Debug, PartialEq)]
pub struct Broker {
    /// Host name or address.
    pub host: String,
    /// TCP port; 1883 for `mqtt://`, 8883 for `mqtts://` unless written.
    pub port: u16,
    /// Present for `mqtts://`.
    pub tls: Option<Tls>,
    /// User name, if the broker asks for one.
    pub user: Option<String>,
    /// File whose first line is the password.
    pub password_file: Option<PathBuf>,
    /// Client id; the default is made of the prefix and the machine or instance by the MQTT edge.
    pub client_id: Option<String>,
    /// MQTT keep-alive, 5 s or more.
    pub keep_alive: Duration,
}

/// TLS of the MQTT session.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tls {
    /// PEM file with the certificate authority; the system's own are used when absent.
    pub ca_file: Option<PathBuf>,
    /// PEM file with our certificate chain, with [`Tls::client_key`].
    pub client_certificate: Option<PathBuf>,
    /// PEM file with our private key.
    pub client_key: Option<PathBuf>,
}

/// What is published.
#[derive(Clone, Debug, PartialEq)]
pub struct Publish {
    /// First level(s) of every topic we publish; `permeated` by default. No `+`, `#`, no slash at
    /// either end.
    pub prefix: String,
    /// Which of several processes that publish under this prefix we are; `None` for the only one. An
    /// id, never `session` nor `store`.
    pub instance: Option<String>,
    /// At most one message per topic in this time; zero publishes every change at once.
    pub interval: Duration,
    /// Unchanged values are repeated this often.
    pub heartbeat: Duration,
}

impl Publish {
    /// Where the service tells whether it is there: `<prefix>/status`, and below it by its name where
    /// several share the prefix.
    #[must_use]
    pub fn status_topic(&self) -> String {
        format!("{}/{}", self.prefix, self.name_of_service())
    }

    /// What stands for the service where others have the id of a unit, which no unit can have.
    #[must_use]
    pub fn name_of_service(&self) -> String {
        let own = self.instance.iter().map(|instance| format!("/{instance}"));
        format!("status{}", own.collect::<String>())
    }

    /// Where the service tells whether it can keep its state.
    #[must_use]
    pub fn store_topic(&self) -> String {
        format!("{}/store", self.status_topic())
    }
}

/// Where state is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Store {
    /// Folder of the database; made when missing.
    pub directory: PathBuf,
    /// At most this much of what rate sensors measured is lost by a crash.
    pub checkpoint: Duration,
}

/// What is known of the supply. Each is used only where no sensor measures it, and makes what
/// depends on it `assumed`.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Line pressure while the unit runs.
    pub pressure: Option<Pressure>,
    /// Feed temperature.
    pub temperature: Option<Temperature>,
    /// Feed conductivity (typed as TDS or conductivity).
    pub conductivity: Option<Conductivity>,
    /// Parts of concentrate to one part of permeate, as in "4:1 waste".
    pub waste_ratio: Option<f64>,
    /// What is dissolved in it.
    pub chemistry: FeedChemistry,
    /// The feed pressure at which it is asked what the present element would give, as with a booster
    /// pump.
    pub boost_pressure: Pressure,
}

impl Default for Supply {
    fn default() -> Self {
        Self {
            pressure: None,
            temperature: None,
            conductivity: None,
            waste_ratio: None,
            chemistry: FeedChemistry::default(),
            boost_pressure: Pressure::from_psi(super::defaults::BOOST_PSI),
        }
    }
}

/// The membrane's rating and its maker's test conditions, which differ between makers.
#[derive(Clone, Debug, PartialEq)]
pub struct Membrane {
    /// Rated permeate flow of all elements together.
    pub flow: Flow,
    /// Feed pressure of the rating test.
    pub pressure: Pressure,
    /// Feed temperature of the rating test.
    pub temperature: Temperature,
    /// Feed conductivity of the rating test.
    pub conductivity: Conductivity,
    /// Recovery of the rating test, 0–1 (exclusive).
    pub recovery: f64,
    /// Rated rejection, 0–1 (exclusive); a stated figure for people, not used in equations.
    pub rejection: Option<f64>,
    /// Settled runs that make the baseline, 1–50.
    pub baseline_runs: usize,
    /// A new element's figures do not count for this long …
    pub break_in_time: Duration,
    /// … nor before this much permeate.
    pub break_in_volume: Volume,
}

/// What the product water runs into: its back-pressure lowers flow and rejection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Storage {
    /// Not said; taken as open, and what depends on it is `assumed`.
    Unstated,
    /// An open container or a free outlet: no back-pressure.
    Open,
    /// A pressure tank. Its usual pressure, for when no `permeate_pressure` sensor tells.
    Pressurised(Option<Pressure>),
}

/// When a run begins, has settled and ends.
#[derive(Clone, Debug, PartialEq)]
pub struct RunSettings {
    /// Permeate flow above which the unit is producing.
    pub start_flow: Flow,
    /// Feed pressure above which the unit is running, for units where nothing better tells.
    pub start_pressure: Option<Pressure>,
    /// A run ends when its flow has been away this long.
    pub stop_after: Duration,
    /// Permeate that must have passed before quality counts (where volume is known) …
    pub settle_volume: Volume,
    /// … and the time that must have passed where it is not.
    pub settle_time: Duration,
    /// Whether a flush should follow runs.
    pub flush_expected: bool,
}

/// What a stage is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StageKind {
    /// Anion resin.
    Anion,
    /// Booster pump.
    BoosterPump,
    /// Carbon block or loose carbon.
    Carbon,
    /// Catalytic carbon, for chloramine.
    CatalyticCarbon,
    /// Cation resin.
    Cation,
    /// RO membrane element(s).
    Membrane,
    /// Mixed-bed resin.
    MixedBed,
    /// Sediment filter.
    Sediment,
}

impl StageKind {
    /// Every kind, in the order of the usual train.
    pub const ALL: [Self; 8] = [
        Self::Sediment,
        Self::Carbon,
        Self::CatalyticCarbon,
        Self::BoosterPump,
        Self::Membrane,
        Self::Cation,
        Self::Anion,
        Self::MixedBed,
    ];

    /// As written in the configuration and in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Anion => "anion",
            Self::BoosterPump => "booster_pump",
            Self::Carbon => "carbon",
            Self::CatalyticCarbon => "catalytic_carbon",
            Self::Cation => "cation",
            Self::Membrane => "membrane",
            Self::MixedBed => "mixed_bed",
            Self::Sediment => "sediment",
        }
    }
}

/// The water a stage really sees: what stands before the membrane sees the whole feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StageWater {
    /// The whole feed: permeate and concentrate together.
    Feed,
    /// The permeate only (the membrane's own life is counted in permeate, too).
    Permeate,
}

/// One stage of the train.
#[derive(Clone, Debug, PartialEq)]
pub struct StageSettings {
    /// Lower-case letters, digits, `_` and `-`; unique in its unit.
    pub id: String,
    /// What people call it.
    pub name: String,
    /// What it is.
    pub kind: StageKind,
    /// The water it sees, from its place in the train.
    pub water: StageWater,
    /// Life in litres of the water it sees.
    pub life_volume: Option<Volume>,
    /// What it can take until it is spent.
    pub capacity: Option<Capacity>,
    /// Life in time since it was installed.
    pub life_time: Option<Duration>,
    /// Day it was installed; a replacement told later counts more.
    pub installed: Option<Date>,
    /// How long an order of a new one takes; the alert's days when left out.
    pub lead_time: Option<Duration>,
    /// What a filling costs, in the unit's currency; a price told at a replacement counts more.
    pub price: Option<f64>,
    /// Volume of the carbon in it, for the contact time.
    pub media: Option<Volume>,
    /// Water that is to wash a new filling's fines to the drain before its data count.
    pub rinse: Option<Volume>,
}

impl Settings {
    /// The unit of that id.
    #[must_use]
    pub fn unit(&self, id: &str) -> Option<&UnitSettings> {
        self.units.iter().find(|unit| unit.id == id)
    }

    /// Every topic a sensor or its availability is heard on, with the number of listeners.
    #[must_use]
    pub fn topics(&self) -> BTreeMap<Cow<'_, str>, usize> {
        let mut topics = BTreeMap::new();
        for unit in &self.units {
            for topic in unit.sensors.iter().flat_map(SensorSettings::topics) {
                *topics.entry(topic.of(&unit.id)).or_insert(0) += 1;
            }
        }
        topics
    }
}
