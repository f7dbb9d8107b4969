//! `permeated expect`: what the present element would give under other conditions, from the last
//! settled run and what the membrane's runs have taught. Reads what the service keeps, also while it
//! runs, and changes nothing.

mod question;
mod table;

use std::process::ExitCode;

use super::{FAILED, PROBLEMS, complain};
use crate::{
    config::{Settings, UnitSettings},
    core::{
        MembraneState, RunRecord, UnitState,
        expect::{Figures, NoAnswer, expect},
    },
    edge::store::{self, Look, StoreError},
    keeper::state_of_parts,
    metrics::Metric,
    time::Wall,
    wire::recorded,
};
pub use question::Question;

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
enum ExpectError {
    #[error("{0}")]
    Question(String),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(
        "there is no state yet in {directory}: the service has not run with this configuration, or \
         keeps it in another folder ($STATE_DIRECTORY, `store.directory`)"
    )]
    NoState { directory: String },
    #[error(
        "the state of unit {unit:?} in the store cannot be read: {source}; is this the permeated that the service runs?"
    )]
    State {
        unit: String,
        source: serde_json::Error,
    },
    #[error(
        "no run of unit {unit:?} has had figures yet{}; they come with the first run that lasts \
         until the water has settled",
        last_run.as_ref().map(|why| format!(" (the last one: {why})")).unwrap_or_default()
    )]
    NoFigures {
        unit: String,
        last_run: Option<String>,
    },
    #[error("{0}; `permeated check` says which sensor or key would tell it")]
    Unknown(NoAnswer),
    #[error("{0}")]
    NoAnswer(NoAnswer),
}

/// Answers the question on standard output; status 2 for a question that is wrong, 1 when there is
/// no answer.
#[must_use]
pub fn run(settings: &Settings, question: &Question) -> ExitCode {
    match answer(settings, question) {
        Ok(text) => {
            use std::io::Write as _;
            // A reader that went away is no failure.
            let _ = write!(std::io::stdout(), "{text}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            complain(&format!("permeated: {error}"));
            match error {
                ExpectError::Question(_) => PROBLEMS.into(),
                _ => FAILED.into(),
            }
        }
    }
}

fn answer(settings: &Settings, question: &Question) -> Result<String, ExpectError> {
    let unit = question.unit(settings).map_err(ExpectError::Question)?;
    let asked = question.asked(unit).map_err(ExpectError::Question)?;
    let directory = &settings.store.directory;
    let kept = store::look(directory, &unit.id)?.filter(|look| !look.state.is_empty());
    let kept = kept.ok_or_else(|| ExpectError::NoState {
        directory: directory.display().to_string(),
    })?;
    let (run, membrane) = last_figures(unit, &kept)?;
    let expectation =
        expect(unit, &run.figures, &membrane, &asked).map_err(|error| match error {
            NoAnswer::Unknown(_) => ExpectError::Unknown(error),
            NoAnswer::PresentNotPhysical | NoAnswer::NoDrivingPressure => {
                ExpectError::NoAnswer(error)
            }
        })?;
    Ok(table::text(unit, &run, &membrane, &expectation))
}

/// The medians of a run and when it ended.
struct Run {
    ended: Option<String>,
    figures: Figures,
}

impl Run {
    fn of(record: &RunRecord) -> Self {
        Self {
            ended: record.ended.map(Wall::to_rfc3339),
            figures: record.steady.iter().cloned().collect(),
        }
    }
}

/// The last run that has figures: the last one of all, or else one of those before it.
fn last_figures(unit: &UnitSettings, kept: &Look) -> Result<(Run, MembraneState), ExpectError> {
    let state: UnitState = state_of_parts(&kept.state).map_err(|source| ExpectError::State {
        unit: unit.id.clone(),
        source,
    })?;
    let none = || ExpectError::NoFigures {
        unit: unit.id.clone(),
        last_run: (state.last_run.as_ref()).and_then(|run| run.no_figures.clone()),
    };
    let exact = state.last_run.as_ref().map(Run::of);
    let has_flow = |run: &Run| (run.figures).contains_key(Metric::PermeateFlow.description().name);
    let run = exact
        .into_iter()
        .chain(kept.runs.iter().filter_map(|document| recorded(document)))
        .find(has_flow)
        .ok_or_else(none)?;
    Ok((run, state.membrane))
}

/// A run as it was recorded.
fn recorded(document: &str) -> Option<Run> {
    recorded::read(document).ok().map(|run| Run::of(&run))
}
