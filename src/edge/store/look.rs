//! A look at what is kept, without being able to change it, also while the service runs: no lock is
//! taken, nothing is made, nothing brought up to date.

use std::{path::Path, time::SystemTime};

use rusqlite::Connection;

use super::{FILE, Parts, StoreError, header, open, schema};

/// Runs that are looked back on.
const RUNS: u32 = 200;

/// What is kept of one unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Look {
    /// Its state; empty when nothing was kept of it.
    pub state: Parts,
    /// The documents of its last runs, the newest first.
    pub runs: Vec<String>,
}

/// Reads what is kept of `unit`; `None` when there is no file.
///
/// # Errors
/// When the file cannot be read, is damaged, another program's, or of a layout this program does not
/// write.
pub fn look(directory: &Path, unit: &str) -> Result<Option<Look>, StoreError> {
    reading(directory, |connection| read(connection, unit))
}

/// Reads the documents of all entries of a unit's maintenance log, in the order of their numbers; `None`
/// when there is no file.
///
/// # Errors
/// As for [`look`].
pub fn look_at_log(directory: &Path, unit: &str) -> Result<Option<Vec<String>>, StoreError> {
    reading(directory, |connection| {
        connection
            .prepare("SELECT document FROM log_entry WHERE unit = ?1 ORDER BY number")?
            .query_map([unit], |row| row.get(0))?
            .collect()
    })
}

/// When the file, or the log beside it, was last written; `None` when there is none.
#[must_use]
pub fn written(directory: &Path) -> Option<SystemTime> {
    let files = [FILE.to_owned(), format!("{FILE}-wal")];
    let times = files.iter().filter_map(|name| {
        let about = std::fs::metadata(directory.join(name)).ok()?;
        about.modified().ok()
    });
    times.max()
}

/// Reads in one transaction, so that everything is as it was at one moment; `None` when there is no
/// file. Errors as for [`look`].
pub(super) fn reading<T>(
    directory: &Path,
    read: impl FnOnce(&Connection) -> rusqlite::Result<T>,
) -> Result<Option<T>, StoreError> {
    let path = directory.join(FILE);
    let Some(header) = header::read(&path)? else {
        return Ok(None);
    };
    open::accept(&path, header.application_id, header.version)?;
    let failed = |error| StoreError::database("read", &path, error);
    let mut connection = open::read_only(&path).map_err(failed)?;
    connection
        .busy_timeout(open::Tuning::default().patience)
        .map_err(failed)?;
    let transaction = connection.transaction().map_err(failed)?;
    let version = transaction
        .pragma_query_value(None, "user_version", |row| row.get::<_, u32>(0))
        .map_err(failed)?;
    open::accept(&path, schema::APPLICATION_ID, version)?;
    if version < schema::NEWEST {
        return Err(StoreError::Older {
            path: path.clone(),
            found: version,
        });
    }
    read(&transaction).map(Some).map_err(failed)
}

fn read(connection: &Connection, unit: &str) -> rusqlite::Result<Look> {
    let state = connection
        .prepare("SELECT part, state FROM unit_part WHERE unit = ?1")?
        .query_map([unit], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<rusqlite::Result<Parts>>()?;
    let runs = connection
        .prepare("SELECT document FROM run WHERE unit = ?1 ORDER BY number DESC LIMIT ?2")?
        .query_map(rusqlite::params![unit, RUNS], |row| row.get(0))?
        .collect::<rusqlite::Result<Vec<String>>>()?;
    Ok(Look { state, runs })
}
