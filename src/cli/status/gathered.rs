//! What is known of the units, and from where: the broker's retained messages, else the store.

use std::{
    collections::{BTreeMap, HashMap},
    time::{Duration, SystemTime, UNIX_EPOCH},
};

use serde_json::{Map, Value};

use super::Seen;
use crate::{
    config::{Settings, UnitSettings},
    core::UnitState,
    edge::{
        clock::Clock,
        mqtt,
        store::{self, StoreError},
    },
    installation::Installation,
    keeper::state_of_parts,
    time::Wall,
    wire::{
        Text,
        document::{self, KEPT, Snapshot, UNKEPT, states, topic},
    },
};

/// How long the broker is waited for; the store answers at once.
const PATIENCE: Duration = Duration::from_secs(4);
/// A service that has said nothing for so many heartbeats does not work.
const HEARTBEATS: u32 = 3;

/// Whether the service runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Service {
    /// It says so, and was heard lately.
    Online,
    /// It said goodbye, or the broker has lost it.
    Offline,
    /// It is connected and says nothing.
    Stuck,
    /// Nobody tells.
    Unknown,
}

impl Service {
    pub(super) fn key(self) -> &'static str {
        match self {
            Self::Online => "online",
            Self::Offline => "offline",
            Self::Stuck => "stuck",
            Self::Unknown => "unknown",
        }
    }
}

/// Where the documents come from.
#[derive(Debug)]
pub(super) enum Source {
    /// The broker retains them.
    Broker,
    /// The core made them of the state in the store, because the broker has none: why.
    Store(String),
    /// There are none, neither there nor here: the service has never run.
    Nowhere,
}

impl Source {
    pub(super) fn key(&self) -> Option<&'static str> {
        match self {
            Self::Broker => Some("broker"),
            Self::Store(_) => Some("store"),
            Self::Nowhere => None,
        }
    }
}

/// Everything that was found.
pub(super) struct Gathered<'s> {
    pub(super) service: Service,
    pub(super) source: Source,
    /// Whether it can keep its state, as it said last.
    pub(super) store: Option<&'static str>,
    /// The newest word of the service: what it published, or wrote down.
    pub(super) last_heard: Option<Wall>,
    pub(super) units: Vec<Seen<'s>>,
}

impl Gathered<'_> {
    /// Whether the service runs and its disk refuses the state.
    pub(super) fn is_unkept(&self) -> bool {
        self.service == Service::Online && self.store == Some(UNKEPT)
    }

    /// Why the broker did not tell.
    pub(super) fn problem(&self) -> Option<&str> {
        match &self.source {
            Source::Store(why) => Some(why),
            Source::Broker | Source::Nowhere => None,
        }
    }
}

/// Why nothing could be found out.
#[derive(Debug, thiserror::Error)]
pub(super) enum GatherError {
    #[error("cannot talk to the broker: {0}")]
    Runtime(#[from] std::io::Error),
    #[error("neither the broker nor the store tells\n  the broker: {broker}\n  the store: {store}")]
    Nothing { broker: String, store: String },
}

/// Asks the broker, then the store.
pub(super) fn gather<'s>(
    settings: &Settings,
    units: &[&'s UnitSettings],
) -> Result<Gathered<'s>, GatherError> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let sign = settings.publish.status_topic();
    let told_of_store = settings.publish.store_topic();
    let filters = filters(&settings.publish.prefix, &[&sign, &told_of_store], units);
    let asked = mqtt::retained(&settings.broker, &filters, &sign, PATIENCE);
    let heard = runtime.block_on(asked);
    // A name server that does not answer would hold us up.
    runtime.shutdown_background();
    match heard {
        Ok(heard)
            if !heard
                .keys()
                .all(|topic| *topic == sign || *topic == told_of_store) =>
        {
            Ok(of_broker(settings, units, &heard))
        }
        Ok(heard) => {
            let why = format!(
                "it retains nothing of these units under {}/",
                settings.publish.prefix
            );
            let service = service(heard.get(&sign).map(Vec::as_slice));
            match of_store(settings) {
                Ok(Some(kept)) => Ok(told_by_store(settings, units, &kept, service, why)),
                Err(store) => Err(GatherError::Nothing { broker: why, store }),
                Ok(None) => Ok(Gathered {
                    service,
                    source: Source::Nowhere,
                    store: None,
                    last_heard: None,
                    units: Vec::new(),
                }),
            }
        }
        Err(error) => {
            let broker = error.to_string();
            match of_store(settings) {
                Ok(Some(kept)) => Ok(told_by_store(
                    settings,
                    units,
                    &kept,
                    Service::Unknown,
                    broker,
                )),
                Ok(None) => Err(GatherError::Nothing {
                    broker,
                    store: format!(
                        "there is no state in {}: the service has not run with this configuration, or \
                         keeps it in another folder ($STATE_DIRECTORY, `store.directory`)",
                        settings.store.directory.display()
                    ),
                }),
                Err(store) => Err(GatherError::Nothing { broker, store }),
            }
        }
    }
}

/// The documents; not the plain values, which are many and say the same.
fn filters(prefix: &str, signs: &[&str], units: &[&UnitSettings]) -> Vec<String> {
    let of_unit = |unit: &&UnitSettings| {
        let id = &unit.id;
        ["+", "stage/+", "alert/#"].map(|below| format!("{prefix}/{id}/{below}"))
    };
    let units = units.iter().flat_map(of_unit);
    let signs = signs.iter().map(|&sign| sign.to_owned());
    units.chain(signs).collect()
}

fn store_word(word: Option<&[u8]>) -> Option<&'static str> {
    let words = [KEPT, UNKEPT];
    words.into_iter().find(|own| word == Some(own.as_bytes()))
}

fn service(word: Option<&[u8]>) -> Service {
    match word {
        Some(b"online") => Service::Online,
        Some(b"offline") => Service::Offline,
        Some(_) | None => Service::Unknown,
    }
}

fn of_broker<'s>(
    settings: &Settings,
    units: &[&'s UnitSettings],
    heard: &BTreeMap<String, Vec<u8>>,
) -> Gathered<'s> {
    let documents: BTreeMap<String, Value> = heard
        .iter()
        .map(|(topic, payload)| (topic.clone(), read(payload)))
        .collect();
    let times = documents.values().filter_map(|document| {
        let time = document.get("time")?.as_str()?;
        Wall::from_rfc3339(time)
    });
    let last_heard = times.max();
    let longest = settings.publish.heartbeat.max(settings.publish.interval) * HEARTBEATS;
    let now = Clock::real().now().wall;
    let is_late = last_heard
        .and_then(|last| now.since(last))
        .is_some_and(|ago| ago > longest);
    let sign = settings.publish.status_topic();
    let told_of_store = settings.publish.store_topic();
    let service = match service(heard.get(&sign).map(Vec::as_slice)) {
        Service::Online if is_late => Service::Stuck,
        other @ (Service::Online | Service::Offline | Service::Stuck | Service::Unknown) => other,
    };
    Gathered {
        service,
        source: Source::Broker,
        store: store_word(heard.get(&told_of_store).map(Vec::as_slice)),
        last_heard,
        units: seen(settings, units, &documents),
    }
}

/// A document, or a plain value as text.
fn read(payload: &[u8]) -> Value {
    let text = || Value::String(String::from_utf8_lossy(payload).into_owned());
    match serde_json::from_slice(payload) {
        Ok(document @ Value::Object(_)) => document,
        Ok(_) | Err(_) => text(),
    }
}

fn seen<'s>(
    settings: &Settings,
    units: &[&'s UnitSettings],
    documents: &BTreeMap<String, Value>,
) -> Vec<Seen<'s>> {
    let of_unit = |unit: &&'s UnitSettings| {
        let below = format!("{}/{}/", settings.publish.prefix, unit.id);
        let documents = documents.iter().filter_map(|(topic, document)| {
            let name = topic.strip_prefix(&below)?;
            Some((name.to_owned(), document.clone()))
        });
        Seen {
            settings: unit,
            documents: documents.collect::<Map<_, _>>(),
        }
    };
    units.iter().map(of_unit).collect()
}

fn told_by_store<'s>(
    settings: &Settings,
    units: &[&'s UnitSettings],
    documents: &BTreeMap<String, Value>,
    service: Service,
    why: String,
) -> Gathered<'s> {
    let written = store::written(&settings.store.directory).and_then(wall);
    Gathered {
        service,
        source: Source::Store(why),
        store: None,
        last_heard: written,
        units: seen(settings, units, documents),
    }
}

fn wall(time: SystemTime) -> Option<Wall> {
    let since = time.duration_since(UNIX_EPOCH).ok()?;
    i64::try_from(since.as_millis()).ok().map(Wall)
}

/// What the service would publish if it started now; `None` where no unit has a state.
fn of_store(settings: &Settings) -> Result<Option<BTreeMap<String, Value>>, String> {
    let mut kept = kept(settings)?;
    if kept.is_empty() {
        return Ok(None);
    }
    let now = Clock::real().now();
    let units = Installation::new(settings, |id| kept.remove(id).unwrap_or_default(), now);
    let mut documents = BTreeMap::new();
    for unit in units.units() {
        let snapshot = Snapshot::of(unit, now);
        for state in states(unit, now) {
            let mut body = Text::default();
            snapshot.write(state, &mut body);
            let topic = topic(&settings.publish.prefix, unit, state);
            let message = document::message(topic, &body, now);
            documents.insert(message.topic, read(message.payload.as_bytes()));
        }
    }
    Ok(Some(documents))
}

fn kept(settings: &Settings) -> Result<HashMap<String, UnitState>, String> {
    let mut states = HashMap::new();
    for unit in &settings.units {
        let look = store::look(&settings.store.directory, &unit.id)
            .map_err(|error: StoreError| error.to_string())?;
        let Some(look) = look.filter(|look| !look.state.is_empty()) else {
            continue;
        };
        let state = state_of_parts(&look.state)
            .map_err(|error| format!("the state of unit {:?} cannot be read: {error}", unit.id))?;
        states.insert(unit.id.clone(), state);
    }
    Ok(states)
}
