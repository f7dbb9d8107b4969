//! `permeated check`: whether a configuration is right, what is suspicious in it, what it lets the
//! service compute and what one more sensor would add. What can be computed is asked of the core itself, on a clock of its
//! own. Connects to nothing.

mod additions;
mod alerts;
mod effort;
mod files;
mod odd;
mod odd_sensors;
mod probe;
mod rows;
mod sensors;
mod service;
mod stages;
mod usual;

use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
    process::ExitCode,
};

use super::paper;
use crate::{
    config::{
        Problems, Sensed, SensorSettings, Settings, StageSettings, Storage, Store, UnitSettings,
        load,
    },
    quantity::{Pressure, duration_text},
};

const RIGHT: u8 = 0;
/// Exit status when something is suspicious and the check is strict.
const SUSPICIOUS: u8 = 1;
/// Exit status when the configuration has problems.
const PROBLEMS: u8 = 2;

/// Checks the file at `path` with `environment` laid over it: the text of [`text`] to standard
/// output and status 0 (1 when it is suspicious and the check `is_strict`), or the problems to standard
/// error and status 2. `state_directory` is `$STATE_DIRECTORY`, if the service manager set it.
#[must_use]
pub fn run(
    path: &Path,
    environment: &BTreeMap<String, String>,
    state_directory: Option<&Path>,
    is_strict: bool,
) -> ExitCode {
    report(
        load(path, environment, state_directory),
        is_strict,
        &mut std::io::stdout().lock(),
        &mut std::io::stderr().lock(),
    )
    .into()
}

/// Writes what was found and returns the exit status.
fn report(
    found: Result<Settings, Problems>,
    is_strict: bool,
    out: &mut impl std::io::Write,
    errors: &mut impl std::io::Write,
) -> u8 {
    // A reader that went away (a closed pipe) is no failure of the check.
    match found {
        Ok(settings) => {
            let files = files::doubts(&settings);
            let folded = paper::folded(&text(&settings, &files), paper::width());
            let _ = write!(out, "{folded}");
            let mut tables = tables(&settings);
            let is_odd = !files.is_empty() || tables.any(|unit| !odd::suspicions(unit).is_empty());
            if is_strict && is_odd {
                SUSPICIOUS
            } else {
                RIGHT
            }
        }
        Err(problems) => {
            let _ = writeln!(errors, "{problems}");
            PROBLEMS
        }
    }
}

/// A unit of every table: what is said of one of a template holds of all.
fn tables(settings: &Settings) -> impl Iterator<Item = &UnitSettings> {
    let mut seen = BTreeSet::new();
    let units = settings.units.iter();
    units.filter(move |unit| seen.insert(&unit.table))
}

/// What the settings mean, in plain words: for every unit (one of each template) what is suspicious,
/// which sensor or key would add most, its train, its sensors, what is computed and how surely, what is
/// not and why, and the alerts. `files` is what is wrong with files that are named in it. Lines are as long as they are.
#[must_use]
pub fn text(settings: &Settings, files: &[String]) -> String {
    let suspicions = tables(settings).flat_map(odd::suspicions).count() + files.len();
    let again = match suspicions {
        0 => String::new(),
        1 => " One thing in it is suspicious (\"look again\").".to_owned(),
        _ => format!(" {suspicions} things in it are suspicious (\"look again\")."),
    };
    let mut lines = vec![format!("The configuration is right.{again}"), String::new()];
    let broker = &settings.broker;
    lines.push(format!(
        "Broker      {}, port {}, {}",
        broker.host,
        broker.port,
        if broker.tls.is_some() {
            "encrypted"
        } else {
            "not encrypted"
        }
    ));
    lines.push(format!(
        "Published   under {}/{}, each topic at most every {}, unchanged values every {}",
        settings.publish.prefix,
        settings
            .publish
            .instance
            .as_ref()
            .map_or_else(String::new, |instance| {
                format!(" as {instance}, one of several")
            }),
        duration_text(settings.publish.interval),
        duration_text(settings.publish.heartbeat)
    ));
    if settings.units.iter().any(|unit| !unit.takes_commands) {
        lines.push("Commands    none are taken".to_owned());
    }
    lines.push(state_line(&settings.store));
    lines.extend(files.iter().map(|doubt| format!("Look again  {doubt}")));
    for unit in tables(settings) {
        lines.push(String::new());
        lines.push(if unit.is_template {
            units_of(unit, settings)
        } else {
            called(unit)
        });
        describe(unit, &mut lines);
    }
    lines.push(String::new());
    lines.join("\n")
}

fn state_line(store: &Store) -> String {
    format!(
        "State       in {}, written every {}",
        store.directory.display(),
        duration_text(store.checkpoint)
    )
}

fn called(unit: &UnitSettings) -> String {
    if unit.name == unit.id {
        format!("Unit {}", unit.id)
    } else {
        format!("Unit {} ({})", unit.id, paper::printable(&unit.name))
    }
}

/// The units of a template, which are in the order of their ids.
fn units_of(one: &UnitSettings, settings: &Settings) -> String {
    let ids: Vec<&str> = settings
        .units
        .iter()
        .filter(|unit| unit.is_alike(one))
        .map(|unit| unit.id.as_str())
        .collect();
    let ids = match ids.as_slice() {
        [first, .., last] if ids.len() > 5 => format!("{first} to {last}"),
        few => few.join(", "),
    };
    let number = settings.units.iter().filter(|unit| unit.is_alike(one));
    format!("{} units of [unit.{}]: {ids}", number.count(), one.table)
}

fn describe(unit: &UnitSettings, lines: &mut Vec<String>) {
    let answer = probe::ask(unit);
    let suspicions = odd::suspicions(unit);
    lines.extend(
        suspicions
            .iter()
            .map(|odd| format!("  Look again  {}", ended(odd))),
    );
    let suggestions = additions::suggestions(unit, &answer);
    lines.extend(
        suggestions
            .iter()
            .map(|more| format!("  To add      {}", ended(more))),
    );
    lines.push(format!("  Train     {}", train(unit)));
    lines.push("  Sensors".to_owned());
    lines.extend(
        unit.sensors
            .iter()
            .map(|sensor| format!("    {}", sensors::line(sensor, &unit.stages))),
    );
    lines.push("  A run is seen by".to_owned());
    lines.extend(run_signs(unit).iter().map(|sign| format!("    {sign}")));
    let (found, lacking) = rows::metrics(unit, &answer);
    lines.extend(found);
    if !unit.stages.is_empty() {
        lines.push("  Left in the stages".to_owned());
        let stages = unit.stages.iter().zip(&answer.stages);
        lines.extend(
            stages.map(|(stage, found)| rows::row(&stage.id, &stages::words(stage, found))),
        );
    }
    lines.push("  Service".to_owned());
    lines.push(service::hold_test(unit));
    lines.extend(service::costs(unit));
    lines.push("  Alerts, by measurements unless they say otherwise".to_owned());
    lines.extend(alerts::lines(unit, &answer));
    if !lacking.is_empty() {
        lines.push("  Not to be had, and why".to_owned());
        lines.extend(lacking);
    }
}

/// With its full stop, unless it asks.
fn ended(sentence: &str) -> String {
    let stop = if sentence.ends_with('?') { "" } else { "." };
    format!("{sentence}{stop}")
}

/// The sensors each of which alone lets the core see a run.
fn run_signs(unit: &UnitSettings) -> Vec<String> {
    let tells = |sensor: &&SensorSettings| {
        let mut alone = unit.clone();
        alone.sensors = vec![(*sensor).clone()];
        !sensor.spare && probe::ask(&alone).runs()
    };
    let sign = |sensor: &SensorSettings| match (sensor.at.sensed(), unit.run.start_pressure) {
        (Sensed::Flow, _) => {
            let start = short(unit.run.start_flow.l_per_min());
            format!("{} from {start} L/min", sensor.id)
        }
        (Sensed::Pressure, Some(start)) => format!("{} from {}", sensor.id, pressure(start)),
        (
            Sensed::Pressure
            | Sensed::Contact
            | Sensed::Dissolved
            | Sensed::Temperature
            | Sensed::Volume,
            _,
        ) => sensor.id.clone(),
    };
    let signs: Vec<String> = unit.sensors.iter().filter(tells).map(sign).collect();
    if signs.is_empty() {
        return vec![format!(
            "nothing: it needs a flow, pump or inlet_valve sensor, or feed_pressure with \
             start_pressure in [unit.{}.run]",
            unit.table
        )];
    }
    signs
}

fn train(unit: &UnitSettings) -> String {
    let stage = |stage: &StageSettings| {
        if stage.id == stage.kind.key() {
            stage.id.clone()
        } else {
            format!("{} ({})", stage.id, stage.kind.key())
        }
    };
    let storage = match unit.storage {
        Storage::Unstated => "storage (not described; taken as open)",
        Storage::Open => "open storage",
        Storage::Pressurised(_) => "pressurised storage",
    };
    std::iter::once("supply".to_owned())
        .chain(unit.stages.iter().map(stage))
        .chain([storage.to_owned()])
        .collect::<Vec<_>>()
        .join(" → ")
}

fn pressure(pressure: Pressure) -> String {
    format!(
        "{} bar ({} psi)",
        short(pressure.bar()),
        short(pressure.psi())
    )
}

/// Three significant digits are enough to read.
fn short(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests;
