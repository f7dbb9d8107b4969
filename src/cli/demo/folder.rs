//! The demo's folder: state, configuration, and what the simulated household is to go on from, where the
//! folder is kept.

use std::{
    fs, io,
    path::{Path, PathBuf},
};

use jiff::{
    civil::{Date, DateTime},
    tz::TimeZone,
};
use serde::{Deserialize, Serialize};

use crate::{
    simulation::{DemoUnit, Household, KeptHousehold},
    time::Wall,
};

const HOUSEHOLD: &str = "household.json";
const DAY_MILLISECONDS: i64 = 86_400_000;
/// A month of the past, days.
const MONTH: f64 = 30.44;

/// Why the folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub(super) enum FolderError {
    #[error("the demo's folder {folder}: {source}")]
    Files { folder: String, source: io::Error },
    #[error(
        "{folder} holds a state that no demo has finished; empty it, or name another folder with --keep"
    )]
    Occupied { folder: String },
    #[error(
        "{file} cannot be read ({source}); remove the whole folder to begin anew, or name another with --keep"
    )]
    Unreadable {
        file: String,
        source: serde_json::Error,
    },
}

/// Where the service keeps its state.
pub(super) fn state(folder: &Path) -> PathBuf {
    folder.join("state")
}

/// Writes the configuration; gives the file's name.
pub(super) fn write_configuration(folder: &Path, text: &str) -> Result<String, FolderError> {
    let file = folder.join("permeated.toml");
    fs::write(&file, text).map_err(|source| files(folder, source))?;
    Ok(file.display().to_string())
}

/// Removes the state of a past that was not played to its end.
pub(super) fn forget(folder: &Path) {
    // What cannot be removed is refused at the next start.
    let _ = fs::remove_dir_all(state(folder));
}

fn files(folder: &Path, source: io::Error) -> FolderError {
    FolderError::Files {
        folder: folder.display().to_string(),
        source,
    }
}

/// A household's time, begun now or in an earlier start.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Begun {
    seed: u64,
    began: Wall,
    days: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    household: Option<KeptHousehold>,
    /// How far its time has come, ms since it began.
    passed: i64,
}

impl Begun {
    /// Goes on from what the folder keeps, or begins so many months before `now`.
    pub(super) fn find_or_begin(
        folder: &Path,
        seed: u64,
        months: u8,
        now: Wall,
    ) -> Result<Self, FolderError> {
        let file = folder.join(HOUSEHOLD);
        match fs::read_to_string(&file) {
            Ok(text) => serde_json::from_str(&text).map_err(|source| FolderError::Unreadable {
                file: file.display().to_string(),
                source,
            }),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                if state(folder).exists() {
                    return Err(FolderError::Occupied {
                        folder: folder.display().to_string(),
                    });
                }
                fs::create_dir_all(folder).map_err(|source| files(folder, source))?;
                Ok(Self::begin(seed, months, now))
            }
            Err(source) => Err(files(folder, source)),
        }
    }

    fn begin(seed: u64, months: u8, now: Wall) -> Self {
        let days = (f64::from(months) * MONTH).round() as u32;
        let passed = i64::from(days) * DAY_MILLISECONDS;
        Self {
            seed,
            began: Wall(now.0 - passed),
            days,
            household: None,
            passed,
        }
    }

    pub(super) fn began(&self) -> Wall {
        self.began
    }

    /// Days of the past.
    pub(super) fn days(&self) -> u32 {
        self.days
    }

    /// What time it is in the household.
    pub(super) fn now(&self) -> Wall {
        Wall(self.began.0 + self.passed)
    }

    fn start(&self) -> DateTime {
        jiff::Timestamp::from_millisecond(self.began.0)
            .map_or(DateTime::MIN, |time| TimeZone::UTC.to_datetime(time))
    }

    /// The day on which it began.
    pub(super) fn first_day(&self) -> Date {
        self.start().date()
    }

    /// The household at its beginning.
    pub(super) fn new_household(&self) -> Household {
        Household::new(self.seed, self.start(), self.days)
    }

    /// The household as it was kept, and has lived on until `now` with nobody listening; `None` when it
    /// only begins.
    pub(super) fn household(&mut self, now: Wall) -> Option<Household> {
        let mut household = Household::again(self.seed, self.start(), self.household.take()?);
        let away = now.0 - self.now().0;
        if away > 0 {
            household.unit.hurry();
            // What its boards say meanwhile is heard by nobody.
            household.unit.step(away as f64 / 1000.0);
            household.unit.take_time();
            self.passed += away;
        }
        Some(household)
    }

    /// Keeps the unit as it is now.
    pub(super) fn keep(&mut self, folder: &Path, unit: &DemoUnit) -> Result<(), FolderError> {
        self.passed = (unit.plant.seconds() * 1000.0).round() as i64;
        self.household = Some(Household::kept(unit));
        let text = serde_json::to_string(self).map_err(io::Error::from);
        self.household = None;
        let file = folder.join(HOUSEHOLD);
        text.and_then(|text| fs::write(file, text))
            .map_err(|source| files(folder, source))
    }
}
