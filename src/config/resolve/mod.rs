//! From the tree to settings that cannot be wrong. One file per part of the configuration; what
//! concerns the document as a whole is here.

mod alert;
mod broker;
mod capacity;
mod care;
mod chemistry;
mod conversion;
mod costs;
mod hold_test;
mod homie;
mod hub;
mod ids;
mod measure;
mod notices;
mod notify;
mod sensor;
mod stage;
mod supply;
mod topic;
mod unit;
mod watch;
mod web;

use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
};

use jiff::tz::TimeZone;

use super::{
    defaults,
    field::Field,
    notices::{Display, NoticeSettings},
    reader::{self, Reader},
    report::Report,
    settings::{Broker, Publish, Settings, Store},
    tree::Node,
    unit::UnitSettings,
};

const KEYS: &[&str] = &[
    "time_zone",
    "display",
    "commands",
    "broker",
    "publish",
    "hub",
    "homie",
    "store",
    "notices",
    "metrics",
    "page",
    "notify",
    "unit",
];
const PUBLISH_KEYS: &[&str] = &["prefix", "instance", "interval", "heartbeat"];
const STORE_KEYS: &[&str] = &["directory", "checkpoint"];

/// Every table of the configuration with its keys, `*` for a name the owner chooses and `[]` for
/// a list of tables.
#[cfg(test)]
pub(super) const EVERY_TABLE: &[(&str, &[&str])] = &[
    ("broker", broker::KEYS),
    ("publish", PUBLISH_KEYS),
    ("hub", hub::HUB_KEYS),
    ("homie", homie::KEYS),
    ("store", STORE_KEYS),
    ("notices", notices::KEYS),
    ("metrics", web::METRICS_KEYS),
    ("page", web::PAGE_KEYS),
    ("notify[]", notify::KEYS),
    ("unit.*.supply", supply::SUPPLY_KEYS),
    ("unit.*.membrane", supply::MEMBRANE_KEYS),
    ("unit.*.storage", supply::STORAGE_KEYS),
    ("unit.*.run", unit::RUN_KEYS),
    ("unit.*.costs", costs::KEYS),
    ("unit.*.hold_test", hold_test::KEYS),
    ("unit.*.stage[]", stage::KEYS),
    ("unit.*.sensor[]", sensor::KEYS),
];
#[cfg(test)]
pub(super) use {alert::TABLES as ALERT_TABLES, sensor::AVAILABILITY_KEYS};

/// What the parts need to know of the whole.
struct Context<'c> {
    /// Relative paths start here.
    folder: &'c Path,
    /// Our own topics, which no sensor may use.
    prefix: &'c str,
    time_zone: TimeZone,
    display: Display,
    takes_commands: bool,
    notices: NoticeSettings,
}

/// The settings; of no worth when `report` holds a problem.
pub(super) fn settings(
    root: &Node,
    report: &Report<'_>,
    folder: &Path,
    state_directory: Option<&Path>,
) -> Option<Settings> {
    let document = reader::document(root, report, KEYS)?;
    let publish = publish(document.table("publish", PUBLISH_KEYS));
    let context = Context {
        folder,
        prefix: &publish.prefix,
        time_zone: document
            .field("time_zone")
            .map_or_else(|| Some(TimeZone::system()), |field| time_zone(&field))
            .unwrap_or(TimeZone::UTC),
        display: document
            .field("display")
            .and_then(|field| notices::display(&field))
            .unwrap_or_default(),
        takes_commands: document
            .field("commands")
            .and_then(|field| field.flag())
            .unwrap_or(true),
        notices: notices::notices(document.table("notices", notices::KEYS).as_ref()),
    };
    let broker = broker::broker(document.table("broker", broker::KEYS), &context);
    let store = store(
        document.table("store", STORE_KEYS),
        &context,
        state_directory,
    );
    let hub = hub::hub(document.table("hub", hub::HUB_KEYS).as_ref(), &publish);
    let metrics = document.table("metrics", web::METRICS_KEYS);
    let page = document.table("page", web::PAGE_KEYS);
    let notify = notify::targets(&document, &context);
    let units = units(&document, &context);
    let homie = homie::homie(
        document.table("homie", homie::KEYS).as_ref(),
        &publish,
        &hub.instance,
        &units,
    );
    Some(Settings {
        broker: broker?,
        publish,
        hub,
        homie,
        store,
        metrics: metrics.map(|reader| web::metrics(&reader)),
        page: page.map(|reader| web::page(&reader)),
        notify,
        units,
    })
}

/// Where the broker is and where we publish, whatever the rest says.
pub(super) fn broker_alone(
    root: &Node,
    report: &Report<'_>,
    folder: &Path,
) -> Option<(Broker, Publish)> {
    let document = reader::document(root, report, KEYS)?;
    let publish = publish(document.table("publish", PUBLISH_KEYS));
    let context = Context {
        folder,
        prefix: &publish.prefix,
        time_zone: TimeZone::UTC,
        display: Display::default(),
        takes_commands: true,
        notices: notices::notices(None),
    };
    let broker = broker::broker(document.table("broker", broker::KEYS), &context)?;
    Some((broker, publish))
}

fn units(document: &Reader<'_>, context: &Context<'_>) -> Vec<UnitSettings> {
    const NONE: &str = "no unit is configured; one begins with [unit.kitchen] (the id is yours \
                        to choose) and needs at least one [[unit.kitchen.sensor]]";
    let Some(field) = document.field("unit") else {
        document.missing(NONE);
        return Vec::new();
    };
    let Some(units) = Reader::open_any(&field) else {
        return Vec::new();
    };
    if units.fields().next().is_none() {
        units.missing(NONE);
    }
    let mut found: Vec<UnitSettings> = Vec::new();
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for (table, field) in units.fields() {
        for unit in unit::units(table, &field, context) {
            if let Some(before) = seen.insert(unit.id.clone(), table)
                && before != table
            {
                field.wrong(format!(
                    "the unit {:?} is one of [unit.{before}] already",
                    unit.id
                ));
                break;
            }
            found.push(unit);
        }
    }
    found.sort_by(|one, other| one.id.cmp(&other.id));
    found
}

fn time_zone(field: &Field<'_>) -> Option<TimeZone> {
    let name = field.text()?;
    // A small machine may have no database of zones: a rule needs none.
    let zone = match name {
        "UTC" => Some(TimeZone::UTC),
        name => TimeZone::get(name).or_else(|_| TimeZone::posix(name)).ok(),
    };
    if zone.is_none() {
        field.wrong(format!(
            "{name:?} is no time zone of this machine's database; write it as in \
             \"Europe/Berlin\", or as a rule (\"CET-1CEST,M3.5.0,M10.5.0/3\"), or leave it out for the \
             machine's own"
        ));
    }
    zone
}

fn publish(reader: Option<Reader<'_>>) -> Publish {
    let reader = reader.as_ref();
    let prefix = reader
        .and_then(|reader| reader.field("prefix"))
        .and_then(|field| topic::prefix(&field));
    let instance = reader
        .and_then(|reader| reader.field("instance"))
        .and_then(|field| instance(&field));
    let interval = reader
        .and_then(|reader| reader.field("interval"))
        .and_then(|field| field.duration_in(defaults::INTERVAL_RANGE));
    let heartbeat_field = reader.and_then(|reader| reader.field("heartbeat"));
    let heartbeat = heartbeat_field
        .as_ref()
        .and_then(|field| field.duration_in(defaults::HEARTBEAT_RANGE));
    let interval = interval.unwrap_or(defaults::INTERVAL);
    if let (Some(heartbeat), Some(field)) = (heartbeat, &heartbeat_field)
        && heartbeat < interval
    {
        field.wrong("the heartbeat cannot be shorter than the interval");
    }
    Publish {
        prefix: prefix.unwrap_or(defaults::PREFIX).to_owned(),
        instance,
        interval,
        // A long interval alone is no mistake: the heartbeat follows it.
        heartbeat: heartbeat.unwrap_or(defaults::HEARTBEAT).max(interval),
    }
}

/// Where no instance is named, a session's message to itself goes to `<prefix>/status/session`, and whether the
/// state can be kept is told on `<prefix>/status/store`.
fn instance(field: &Field<'_>) -> Option<String> {
    let id = field.id()?;
    if matches!(id, "session" | "store") {
        field.wrong(format!(
            "an instance cannot be called {id:?}: the service itself publishes under that name"
        ));
        return None;
    }
    Some(id.to_owned())
}

fn store(reader: Option<Reader<'_>>, context: &Context<'_>, state: Option<&Path>) -> Store {
    let field = |key| reader.as_ref().and_then(|reader| reader.field(key));
    Store {
        directory: field("directory")
            .and_then(|field| file(&field, context))
            .or_else(|| state.map(Path::to_owned))
            .unwrap_or_else(|| PathBuf::from(defaults::STATE_DIRECTORY)),
        checkpoint: field("checkpoint")
            .and_then(|field| field.duration_in(defaults::CHECKPOINT_RANGE))
            .unwrap_or(defaults::CHECKPOINT),
    }
}

/// A path, taken from the configuration's folder when it is relative.
fn file(field: &Field<'_>, context: &Context<'_>) -> Option<PathBuf> {
    field.text().map(|text| context.folder.join(text))
}
