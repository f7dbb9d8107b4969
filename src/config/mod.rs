//! Configuration: the file as typed → resolved settings that cannot be wrong. All problems are
//! found at once, each pointing at its file, line and key.
//!
//! The way of a value: text → tree that knows where everything was written (`tree`) → single
//! values from the environment laid over it (`environment`) → read key by key (`reader`, `field`)
//! → settings (`resolve`). Reads the file and the lists of units that it names, no environment and
//! no clock.

mod alerting;
mod chemistry;
mod costs;
mod defaults;
mod environment;
mod field;
mod hold_test;
mod homie;
mod hub;
mod limits;
mod nearest;
mod notices;
mod outlets;
mod problem;
mod ranges;
mod reader;
mod report;
mod resolve;
mod secret;
mod sensor;
mod settings;
mod template;
mod topic;
mod tree;
mod unit;

#[cfg(test)]
mod tests;

pub use alerting::{AlertSettings, Limit};
pub use chemistry::{Capacity, Disinfectant, FeedChemistry, IonCapacity};
pub use costs::Costs;
pub(crate) use defaults::{
    EARLIEST_INSTALLED_YEAR, HOLD_TEST_MINUTES_RANGE, NORMALIZED_FLOW, PH_RANGE, RECOVERY_RANGE,
    REJECTION, SALT_RISING,
};
pub use hold_test::HoldTestSettings;
pub use homie::{Homie, homie_id};
pub use hub::{Discovery, Hub};
pub use limits::{
    BalanceLimits, Band, CareLimits, DoubtLimits, HydraulicLimits, ImplausibleLimits,
};
pub use notices::{Display, NoticeSettings, QuietHours};
pub use outlets::{NotifyTarget, PageServer, Server, WebServer};
pub use problem::{Place, Problem, Problems};
pub(crate) use ranges::{
    alkalinity_range, disinfectant_level_range, feed_conductivity_range, hardness_range,
    pressure_range, silica_range, temperature_range, total_chlorine_range,
};
pub use sensor::{
    Availability, Conversion, CountConversion, Curve, Measure, Point, Probe, RateConversion,
    Sensed, SensorSettings,
};
pub use settings::{
    Broker, Membrane, Publish, RunSettings, Settings, StageKind, StageSettings, StageWater,
    Storage, Store, Supply, Tls,
};
pub use template::{Placeholder, Template};
pub use topic::Topic;
pub use unit::{CommonSettings, SharedSensor, UnitSettings};

use std::{collections::BTreeMap, io, path::Path};

use report::Report;

/// Reads the file at `path`, lays the variables of `environment` that begin with `PERMEATED__`
/// over it and resolves the settings. `state_directory` is where state is kept when the file does
/// not say (`$STATE_DIRECTORY` of a service). Relative paths start at the file's folder.
///
/// # Errors
/// Every problem found, or that the file cannot be read.
pub fn load(
    path: &Path,
    environment: &BTreeMap<String, String>,
    state_directory: Option<&Path>,
) -> Result<Settings, Problems> {
    let text = read(path)?;
    from_text(
        &path.display().to_string(),
        &text,
        environment,
        state_directory,
    )
}

fn read(path: &Path) -> Result<String, Problems> {
    text_of(path).map_err(|error| Problems::unreadable(path, &error))
}

fn text_of(path: &Path) -> io::Result<String> {
    String::from_utf8(std::fs::read(path)?).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = good.iter().filter(|byte| **byte == b'\n').count() + 1;
        io::Error::new(
            io::ErrorKind::InvalidData,
            format!("line {line} is not UTF-8 text"),
        )
    })
}

/// Of the file at `path` only what is needed to hear its broker: where that is, and the prefix under
/// which we publish. The rest of the file may be wrong or not yet written.
///
/// # Errors
/// Every problem of these parts, or that the file cannot be read.
pub fn load_broker(
    path: &Path,
    environment: &BTreeMap<String, String>,
) -> Result<(Broker, Publish), Problems> {
    let ours = |name: &str| {
        ["BROKER", "PUBLISH"]
            .map(|table| format!("PERMEATED__{table}__"))
            .iter()
            .any(|start| name.starts_with(start))
    };
    let environment = environment.iter().filter(|(name, _)| ours(name));
    let environment = environment.map(|(name, text)| (name.clone(), text.clone()));
    broker_from_text(
        &path.display().to_string(),
        &read(path)?,
        &environment.collect(),
    )
}

/// A broker that lets everybody in, by its address alone (`mqtt://host:port`, `mqtts://host`), read as
/// the `url` of a file is.
///
/// # Errors
/// What is wrong with the address, and what is allowed.
pub fn broker_at(url: &str) -> Result<Broker, String> {
    let table = format!("[broker]\nurl = {}\n", toml::Value::from(url));
    let read = broker_from_text("", &table, &BTreeMap::new());
    read.map(|(broker, _)| broker).map_err(|problems| {
        let sentences: Vec<&str> = problems.iter().map(|one| one.sentence.as_str()).collect();
        sentences.join("; ")
    })
}

/// As [`load_broker`], from a text.
///
/// # Errors
/// Every problem of these parts.
pub fn broker_from_text(
    file_name: &str,
    text: &str,
    environment: &BTreeMap<String, String>,
) -> Result<(Broker, Publish), Problems> {
    let report = Report::new(file_name, text);
    let mut root = tree::parse(text, &report);
    environment::overlay(&mut root, environment, &report);
    let folder = Path::new(file_name).parent().unwrap_or(Path::new(""));
    let found = resolve::broker_alone(&root, &report, folder);
    let problems = report.into_problems();
    match found {
        Some(found) if problems.is_empty() => Ok(found),
        _ => Err(Problems::sorted(problems, file_name)),
    }
}

/// As [`load`], from a text; `file_name` is what problems call it.
///
/// # Errors
/// Every problem found.
pub fn from_text(
    file_name: &str,
    text: &str,
    environment: &BTreeMap<String, String>,
    state_directory: Option<&Path>,
) -> Result<Settings, Problems> {
    let report = Report::new(file_name, text);
    let mut root = tree::parse(text, &report);
    environment::overlay(&mut root, environment, &report);
    let folder = Path::new(file_name).parent().unwrap_or(Path::new(""));
    let settings = resolve::settings(&root, &report, folder, state_directory);
    let problems = report.into_problems();
    match settings {
        Some(settings) if problems.is_empty() => Ok(settings),
        _ => Err(Problems::sorted(problems, file_name)),
    }
}
