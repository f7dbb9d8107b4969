//! `permeated report`: a period of a unit as a page and as tables. Reads the store, also while the
//! service runs, and changes nothing.

mod period;
mod write;

use std::{path::PathBuf, process::ExitCode, sync::Arc};

use clap::Args;
use jiff::civil::Date;

use super::{DEFAULT_FILE, FAILED, PROBLEMS, complain, unit};
use crate::{
    config::{Settings, UnitSettings},
    core::{Unit, UnitState},
    edge::{
        clock::Clock,
        store::{self, StoreError},
    },
    keeper::state_of_parts,
    past::Past,
    report::{Material, tables},
    time::{Now, Wall},
};
use period::{Asked, PeriodWord};
use write::{Csv, Target, WriteError};

/// What was typed.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ReportArguments {
    /// The configuration file
    #[arg(long, default_value = DEFAULT_FILE)]
    pub config: PathBuf,
    /// The unit's id; not needed where there is only one
    #[arg(long, value_name = "ID")]
    unit: Option<String>,
    /// The first day; without it the first on which something was recorded
    #[arg(long, value_name = "DAY", conflicts_with = "period")]
    from: Option<Date>,
    /// The first day that is no longer part of it; without it everything up to now
    #[arg(long, value_name = "DAY", conflicts_with = "period")]
    to: Option<Date>,
    /// The last whole month (usual), quarter or year, or all that is kept
    #[arg(long, value_name = "WHICH")]
    period: Option<PeriodWord>,
    /// The page; "-" is standard output. Without it, and without --csv, a name made of unit and period
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Comma-separated values: runs or samples on standard output, or a folder for both ("./runs" where it
    /// is called so)
    #[arg(long, value_name = "runs|samples|FOLDER")]
    csv: Option<Csv>,
    /// Write over files that are there already
    #[arg(long)]
    force: bool,
}

const EXAMPLES: &str = "Examples:\n\
    \x20 permeated report                                       the last whole month\n\
    \x20 permeated report --period year --output 2026.html\n\
    \x20 permeated report --from 2026-01-01 --to 2026-07-01      half a year: July's first day is not in it\n\
    \x20 permeated report --period all --csv tables\n\
    \x20 permeated report --from 2026-05-01 --csv runs > runs.csv\n\n\
    Days are those of the unit's time zone. The page is one file that needs nothing else: open it in a \
    browser, print it from there. In the tables times are in UTC, names end in their units, and a text that a \
    spreadsheet would take for a formula has an apostrophe before it; one that begins with an apostrophe has \
    another.\n\
    Exit status: 0 written, 1 nothing recorded in the period or failed, 2 wrong arguments or configuration.";

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
enum ReportError {
    #[error("{0}")]
    Asked(String),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(
        "there is no state yet in {0}: the service has not run with this configuration, or keeps it in \
         another folder ($STATE_DIRECTORY, `store.directory`)"
    )]
    NoState(String),
    #[error("the state of unit {unit:?} in the store cannot be read: {source}")]
    State {
        unit: String,
        source: serde_json::Error,
    },
    #[error("{0}")]
    Nothing(String),
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Writes the report; see the exit statuses in the help.
#[must_use]
pub fn run(settings: &Settings, arguments: &ReportArguments) -> ExitCode {
    let now = Clock::real().now();
    let written = unit::chosen(settings, arguments.unit.as_deref())
        .map_err(ReportError::Asked)
        .and_then(|unit| report(settings, unit, arguments, now));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            match error {
                ReportError::Asked(_) => PROBLEMS.into(),
                ReportError::Store(_)
                | ReportError::NoState(_)
                | ReportError::State { .. }
                | ReportError::Nothing(_)
                | ReportError::Write(_) => FAILED.into(),
            }
        }
    }
}

/// The years that any clock of ours tells: before 1970 and after 9999 nothing is dated.
const EVER: (Wall, Wall) = (Wall(0), Wall(253_402_300_799_000));

fn report(
    settings: &Settings,
    unit: &UnitSettings,
    arguments: &ReportArguments,
    now: Now,
) -> Result<(), ReportError> {
    arguments.check().map_err(ReportError::Asked)?;
    let directory = &settings.store.directory;
    let none = || ReportError::NoState(directory.display().to_string());
    let past = store::past(directory, &unit.id, EVER.0, EVER.1)?.ok_or_else(none)?;
    let kept = store::look(directory, &unit.id)?.ok_or_else(none)?;
    let state: UnitState = state_of_parts(&kept.state).map_err(|source| ReportError::State {
        unit: unit.id.clone(),
        source,
    })?;
    let asked = Asked {
        from: arguments.from,
        to: arguments.to,
        word: arguments.period,
    };
    let recorded = period::recorded(&past, &unit.time_zone);
    let period = asked
        .period(recorded, now, &unit.time_zone)
        .map_err(ReportError::Asked)?;
    let unit = Unit::new(Arc::new(unit.clone()), state, now);
    let material = Material {
        unit: &unit,
        past: &past,
        period: &period,
        now,
    };
    if material.is_empty() {
        let id = &unit.settings().id;
        return Err(ReportError::Nothing(period::nothing(id, &period, recorded)));
    }
    let targets = targets(&material, arguments, &past);
    Ok(write::all(&targets, arguments.force)?)
}

impl ReportArguments {
    /// Standard output takes one thing.
    fn check(&self) -> Result<(), String> {
        let page = self
            .output
            .as_ref()
            .is_some_and(|path| path.as_os_str() == "-");
        let table = matches!(self.csv, Some(Csv::Runs | Csv::Samples));
        if page && table {
            return Err("--output -, --csv: only one of them can go to standard output".to_owned());
        }
        Ok(())
    }
}

/// What is to be written where.
fn targets(material: &Material, arguments: &ReportArguments, past: &Past) -> Vec<(Target, String)> {
    let mut targets = Vec::new();
    let page = || material.page().into_string();
    match (&arguments.output, &arguments.csv) {
        (Some(path), _) => targets.push((Target::of(path.clone()), page())),
        (None, Some(_)) => {}
        (None, None) => {
            let (id, period) = (&material.unit.settings().id, material.period);
            let name = format!("permeated-{id}-{}-{}.html", period.from, period.last_day());
            targets.push((Target::File(name.into()), page()));
        }
    }
    let runs = || tables::runs(past, material.period);
    let samples = || tables::samples(past, material.period);
    match &arguments.csv {
        Some(Csv::Runs) => targets.push((Target::Output, runs())),
        Some(Csv::Samples) => targets.push((Target::Output, samples())),
        Some(Csv::Folder(folder)) => {
            targets.push((Target::File(folder.join("runs.csv")), runs()));
            targets.push((Target::File(folder.join("samples.csv")), samples()));
        }
        None => {}
    }
    targets
}
