//! `permeated status`: how the units stand now, from what the service has left with the broker, or, where
//! the broker is away, from what the core makes of the state in the store. Changes nothing.

mod gathered;
mod text;

use std::process::ExitCode;

use clap::Args;
use serde_json::{Map, Value, json};

use super::{PROBLEMS, complain, paper, unit};
use crate::{
    config::{Settings, UnitSettings},
    edge::clock::Clock,
    time::Wall,
};
use gathered::{Gathered, Service, Source};

/// What is to be shown, and how.
#[derive(Debug, Args)]
pub struct StatusArguments {
    /// Only this unit; all when left out
    #[arg(long, value_name = "ID")]
    unit: Option<String>,
    /// As JSON, with the documents as they are published
    #[arg(long)]
    json: bool,
}

/// Nothing was found out.
const UNKNOWN: u8 = 1;
/// A notice or warning is active, or the state cannot be kept.
const ALERT: u8 = 3;
/// Something critical is active.
const CRITICAL: u8 = 4;
/// The service is away, or cannot be asked.
const AWAY: u8 = 5;

/// Shows it; for the exit status see the help.
#[must_use]
pub fn run(settings: &Settings, arguments: &StatusArguments) -> ExitCode {
    let units = match &arguments.unit {
        None => settings.units.iter().collect(),
        Some(id) => match unit::chosen(settings, Some(id)) {
            Ok(unit) => vec![unit],
            Err(error) => {
                complain(&format!("permeated: {error}"));
                return PROBLEMS.into();
            }
        },
    };
    let gathered = match gathered::gather(settings, &units) {
        Ok(gathered) => gathered,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            return UNKNOWN.into();
        }
    };
    let status = status(&gathered);
    if arguments.json {
        let document = document(settings, &gathered, status);
        paper::say(&format!("{document:#}\n"));
    } else {
        let now = Clock::real().now().wall;
        let text = text::text(settings, &gathered, now);
        paper::say(&paper::folded(&text, paper::width()));
    }
    status.into()
}

/// One unit: what it is configured to be, and what is known of it.
struct Seen<'s> {
    settings: &'s UnitSettings,
    /// Its retained documents and plain values, by the topic below the unit's own.
    documents: Map<String, Value>,
}

impl Seen<'_> {
    fn document(&self, name: &str) -> &Value {
        self.documents.get(name).unwrap_or(&Value::Null)
    }

    /// The active alerts, the worst first.
    fn alerts(&self) -> Vec<&Value> {
        let documents = self.documents.iter();
        let mut active: Vec<&Value> = documents
            .filter(|(name, alert)| name.starts_with("alert/") && alert["state"] == "active")
            .map(|(_, alert)| alert)
            .collect();
        active.sort_by_key(|alert| std::cmp::Reverse(rank(alert)));
        active
    }

    /// The ids of the sensors that are called silent.
    fn silent(&self) -> Vec<&str> {
        let alerts = self.alerts().into_iter();
        alerts
            .filter(|alert| alert["code"] == "sensor_silent")
            .filter_map(|alert| alert["about"].as_str())
            .collect()
    }
}

/// How bad an alert is: 0 a notice, 1 a warning, 2 critical.
fn rank(alert: &Value) -> u8 {
    match alert["severity"].as_str() {
        Some("critical") => 2,
        Some("warning") => 1,
        Some(_) | None => 0,
    }
}

fn status(gathered: &Gathered<'_>) -> u8 {
    if gathered.service == Service::Online && matches!(gathered.source, Source::Nowhere) {
        return UNKNOWN;
    }
    let alerts = gathered.units.iter().flat_map(Seen::alerts);
    let unkept = gathered.is_unkept().then_some(1);
    match (gathered.service, alerts.map(rank).chain(unkept).max()) {
        (Service::Offline | Service::Unknown | Service::Stuck, _) => AWAY,
        (Service::Online, Some(2..)) => CRITICAL,
        (Service::Online, Some(_)) => ALERT,
        (Service::Online, None) => 0,
    }
}

/// Everything as JSON. The keys are a public contract; README.md names them.
fn document(settings: &Settings, gathered: &Gathered<'_>, status: u8) -> Value {
    let broker = &settings.broker;
    let units: Vec<Value> = gathered.units.iter().map(unit_document).collect();
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "exit_status": status,
        "service": gathered.service.key(),
        "last_heard": gathered.last_heard.map(Wall::to_rfc3339),
        "source": gathered.source.key(),
        "store": gathered.store,
        "broker": format!("{}:{}", broker.host, broker.port),
        "problem": gathered.problem(),
        "units": units,
    })
}

fn unit_document(seen: &Seen<'_>) -> Value {
    let now = seen.document("now");
    let stages = seen.settings.stages.iter().map(|stage| {
        let mut document = seen.document(&format!("stage/{}", stage.id)).clone();
        if let Value::Object(fields) = &mut document {
            fields.insert("id".to_owned(), stage.id.as_str().into());
        }
        document
    });
    let stages: Vec<Value> = stages.filter(|stage| !stage.is_null()).collect();
    json!({
        "id": seen.settings.id,
        "name": seen.settings.name,
        "state": now.get("state"),
        "available": seen.document("available").as_str().map(|word| word == "online"),
        "alerts": seen.alerts(),
        "silent": seen.silent(),
        "now": now,
        "membrane": seen.document("membrane"),
        "run": seen.document("run"),
        "due": seen.document("due"),
        "stages": stages,
    })
}
