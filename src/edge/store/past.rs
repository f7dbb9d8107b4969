//! What was kept of a unit over a span of time, read back whole, also while the service runs.

use std::{collections::BTreeSet, path::Path};

use rusqlite::{Connection, named_params};
use serde::de::DeserializeOwned;

use super::{StoreError, history, look};
use crate::{past::Past, sampler::Sample, time::Wall, wire::recorded};

/// Reads what was kept of `unit` from `from` to before `to`; `None` when there is no file. A unit that is not
/// configured (any more) is as good as another; one that never was has an empty past.
///
/// # Errors
/// As for [`look::look`].
pub fn past(
    directory: &Path,
    unit: &str,
    from: Wall,
    to: Wall,
) -> Result<Option<Past>, StoreError> {
    look::reading(directory, |connection| read(connection, unit, from, to))
}

/// The ids of all units of which anything was ever kept; `None` when there is no file.
///
/// # Errors
/// As for [`look::look`].
pub fn units(directory: &Path) -> Result<Option<BTreeSet<String>>, StoreError> {
    look::reading(directory, |connection| {
        connection
            .prepare(
                "SELECT unit FROM unit_part UNION SELECT unit FROM run
                 UNION SELECT unit FROM log_entry UNION SELECT unit FROM alert",
            )?
            .query_map([], |row| row.get(0))?
            .collect()
    })
}

/// A run counts by its start, one without by its end.
const RUNS: &str = "
    SELECT document FROM run WHERE unit = :unit AND (
        (started >= :from AND started < :to)
        OR (started IS NULL AND ended >= :from AND ended < :to))
    ORDER BY coalesce(started, ended), number";
/// All of them: when one was replaced may have been put right later.
const REPLACED: &str = "SELECT document FROM stage_replaced WHERE unit = :unit ORDER BY number";
const ENTRIES: &str = "SELECT document FROM log_entry WHERE unit = :unit ORDER BY number";
/// One that lasts has no end yet.
const ALERTS: &str = "
    SELECT document FROM alert
    WHERE unit = :unit AND since < :to AND (until IS NULL OR until >= :from)
    ORDER BY since, number";

fn read(connection: &Connection, unit: &str, from: Wall, to: Wall) -> rusqlite::Result<Past> {
    let mut unread = Vec::new();
    let (first, end) = (from.to_rfc3339(), to.to_rfc3339());
    let runs = connection
        .prepare(RUNS)?
        .query_map(
            named_params! {":unit": unit, ":from": first, ":to": end},
            |row| row.get(0),
        )?
        .collect::<rusqlite::Result<Vec<String>>>()?;
    let of_unit = |sql: &str| -> rusqlite::Result<Vec<String>> {
        connection
            .prepare(sql)?
            .query_map(named_params! {":unit": unit}, |row| row.get(0))?
            .collect()
    };
    let (replaced, entries) = (of_unit(REPLACED)?, of_unit(ENTRIES)?);
    let alerts = connection
        .prepare(ALERTS)?
        .query_map(
            named_params! {":unit": unit, ":from": from.0, ":to": to.0},
            |row| row.get(0),
        )?
        .collect::<rusqlite::Result<Vec<String>>>()?;
    let mut samples = Vec::new();
    for row in history::read(connection, unit, from.0, to.0.saturating_sub(1))? {
        match serde_json::from_str(&row.document) {
            Ok(figures) => samples.push(Sample {
                start: Wall(row.start),
                seconds: row.seconds,
                figures,
            }),
            Err(error) => unread.push(format!(
                "a sample of {}: {error}",
                Wall(row.start).to_rfc3339()
            )),
        }
    }
    let mut past = Past {
        from,
        to,
        samples,
        runs: each("a run", &runs, recorded::read, &mut unread),
        replaced: each("a replaced stage", &replaced, json, &mut unread),
        entries: each("an entry of the log", &entries, json, &mut unread),
        alerts: each("an alert", &alerts, json, &mut unread),
        unread,
    };
    past.settle_replacements();
    Ok(past)
}

fn json<T: DeserializeOwned>(text: &str) -> Result<T, serde_json::Error> {
    serde_json::from_str(text)
}

/// Reads each document; of those that cannot be read it notes why.
fn each<T>(
    what: &str,
    documents: &[String],
    read: impl Fn(&str) -> Result<T, serde_json::Error>,
    unread: &mut Vec<String>,
) -> Vec<T> {
    let mut whole = Vec::with_capacity(documents.len());
    for document in documents {
        match read(document) {
            Ok(one) => whole.push(one),
            Err(error) => unread.push(format!("{what}: {error}")),
        }
    }
    whole
}
