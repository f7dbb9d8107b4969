//! The maintenance log as a table or as comma-separated values: what holds now, and what was.

use std::process::ExitCode;

use jiff::civil;

use crate::{
    cli::{FAILED, complain, paper::printable},
    config::{Settings, UnitSettings},
    core::{Deed, Entry, Holding, as_it_holds, moment},
    edge::store::{self, StoreError},
    time::Wall,
    wire::csv::{self, Field},
};

#[derive(Debug, thiserror::Error)]
enum ShowError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(
        "there is no state yet in {0}: the service has not run with this configuration, or keeps it in \
         another folder ($STATE_DIRECTORY, `store.directory`)"
    )]
    NoState(String),
    #[error(
        "an entry of unit {unit:?} in the store cannot be read: {source}; is this the permeated that the service runs?"
    )]
    Entry {
        unit: String,
        source: serde_json::Error,
    },
}

/// Prints it on standard output; status 1 when it cannot be read.
pub(super) fn run(
    settings: &Settings,
    unit: &UnitSettings,
    csv: bool,
    since: Option<civil::Date>,
) -> ExitCode {
    match read(settings, unit) {
        Ok(entries) => {
            let mut holding = as_it_holds(&entries);
            holding.retain(|held| is_since(&held.entry, unit, since));
            let text = if csv {
                as_csv(&holding, unit)
            } else {
                as_table(&holding, unit)
            };
            use std::io::Write as _;
            // A reader that went away is no failure.
            let _ = write!(std::io::stdout(), "{text}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

fn read(settings: &Settings, unit: &UnitSettings) -> Result<Vec<Entry>, ShowError> {
    let directory = &settings.store.directory;
    let documents = store::look_at_log(directory, &unit.id)?
        .ok_or_else(|| ShowError::NoState(directory.display().to_string()))?;
    documents
        .iter()
        .map(|document| serde_json::from_str(document))
        .collect::<Result<_, _>>()
        .map_err(|source| ShowError::Entry {
            unit: unit.id.clone(),
            source,
        })
}

/// Whether it was done on that day or later; what has no date may have been.
fn is_since(entry: &Entry, unit: &UnitSettings, since: Option<civil::Date>) -> bool {
    let date = entry.date.or(entry.entered);
    match (date, since) {
        (Some(date), Some(since)) => jiff::Timestamp::from_millisecond(date.0)
            .is_ok_and(|at| unit.time_zone.to_datetime(at).date() >= since),
        (None, _) | (_, None) => true,
    }
}

const TITLES: [&str; 7] = ["No", "Date", "What", "Lot", "Price", "Note", ""];

fn as_table(holding: &[Holding], unit: &UnitSettings) -> String {
    if holding.is_empty() {
        return "No entries.\n".to_owned();
    }
    let mut rows = vec![TITLES.map(str::to_owned)];
    rows.extend(holding.iter().map(|held| row(held, unit)));
    let width = |column: usize| {
        let widths = rows.iter().map(|row| row[column].chars().count());
        widths.max().unwrap_or(0)
    };
    let widths: [usize; TITLES.len()] = std::array::from_fn(width);
    let mut text = String::new();
    for row in &rows {
        let cells = row.iter().zip(widths);
        let cells: Vec<String> = cells
            // A column in which nothing stands is left out.
            .filter(|(_, width)| *width > 0)
            .map(|(cell, width)| format!("{cell:width$}"))
            .collect();
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text
}

fn row(held: &Holding, unit: &UnitSettings) -> [String; TITLES.len()] {
    let entry = &held.entry;
    let particulars = entry.particulars();
    let date = entry.date.map(|date| moment(date, &unit.time_zone));
    let numbers = |numbers: &[u64]| {
        let numbers: Vec<String> = numbers.iter().map(u64::to_string).collect();
        numbers.join(", ")
    };
    let state = match (held.withdrawn_by, held.corrected_by.as_slice()) {
        (Some(by), _) => format!("withdrawn by {by}"),
        (None, []) => String::new(),
        (None, by) => format!("corrected by {}", numbers(by)),
    };
    [
        entry.number.to_string(),
        date.unwrap_or_else(|| "unknown".to_owned()),
        printable(&entry.deed.in_words(&unit.time_zone)),
        printable(&particulars.lot.unwrap_or_default()),
        (particulars.price).map_or_else(String::new, |price| price.to_string()),
        printable(&particulars.note.unwrap_or_default()),
        state,
    ]
}

const HEADER: [&str; 16] = [
    "number",
    "date",
    "entered",
    "kind",
    "stage",
    "test",
    "value",
    "unit",
    "treated_l",
    "lot",
    "price",
    "note",
    "entry",
    "change",
    "state",
    "by",
];

/// RFC 4180; what people wrote is marked where a spreadsheet would take it for a formula.
fn as_csv(holding: &[Holding], unit: &UnitSettings) -> String {
    let records = holding.iter().map(|held| record(held, unit).into());
    csv::table(HEADER, records)
}

fn record(held: &Holding, unit: &UnitSettings) -> [Field; HEADER.len()] {
    let entry = &held.entry;
    let particulars = entry.particulars();
    let when = |at: Option<Wall>| at.map_or(Field::Empty, |at| Field::ours(at.to_rfc3339()));
    let (mut stage, mut test, mut unit_of) = (Field::Empty, Field::Empty, Field::Empty);
    let (mut treated, mut about, mut change) = (Field::Empty, Field::Empty, Field::Empty);
    let kind = match &entry.deed {
        Deed::HoldTest { .. } => {
            change = Field::ours(entry.deed.in_words(&unit.time_zone));
            "hold_test"
        }
        Deed::Note => "note",
        Deed::Replaced {
            stage: id,
            treated_l,
            ..
        } => {
            stage = Field::text(Some(id.clone()));
            treated = Field::number(Some(*treated_l));
            "replaced"
        }
        Deed::Sanitised => "sanitised",
        Deed::Test {
            test: which, after, ..
        } => {
            stage = Field::text(after.clone());
            test = Field::ours(which.key());
            unit_of = Field::ours(which.unit());
            "test"
        }
        Deed::Corrected { entry: of, .. } => {
            about = Field::ours(of.to_string());
            // What was and what is now are a person's words.
            change = Field::text(Some(entry.deed.in_words(&unit.time_zone)));
            "corrected"
        }
        Deed::Withdrawn { entry: of } => {
            about = Field::ours(of.to_string());
            "withdrawn"
        }
    };
    let (state, by) = match (held.withdrawn_by, held.corrected_by.as_slice()) {
        (Some(by), _) => ("withdrawn", vec![by]),
        (None, []) => ("holds", Vec::new()),
        (None, by) => ("corrected", by.to_vec()),
    };
    let by: Vec<String> = by.iter().map(u64::to_string).collect();
    [
        Field::ours(entry.number.to_string()),
        when(entry.date),
        when(entry.entered),
        Field::ours(kind),
        stage,
        test,
        Field::number(particulars.value),
        unit_of,
        treated,
        Field::text(particulars.lot),
        Field::number(particulars.price),
        Field::text(particulars.note),
        about,
        change,
        Field::ours(state),
        Field::ours(by.join(" ")),
    ]
}
