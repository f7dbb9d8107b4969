//! Samples and what becomes of them with age: as they came for three days, means of an hour for three
//! months, means of a day for ever. The database does the sums.

use std::path::Path;

use rusqlite::{Connection, Transaction, params};

use super::{SampleRow, StoreError, look};

const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;
/// How long the finer samples stay, milliseconds.
const AS_THEY_CAME: i64 = 3 * DAY;
const HOURS: i64 = 92 * DAY;
/// A clock is believed once so many of the last days have samples. One that stands years ahead for a moment
/// would make all of the past coarse, and what is coarse cannot be had again.
const DAYS_TO_BELIEVE: i64 = 3;
const LAST_DAYS: i64 = 7 * DAY;

/// Means, weighted by the time they stand for, and of ever-growing sums the last; of every slot that is
/// over and has none yet.
const GATHER: &str = "
    INSERT INTO sample (unit, span, start, seconds, document)
    WITH
    piece AS (
        SELECT unit, start / ?1 AS slot, seconds, document FROM sample
        WHERE span = ?2 AND start < ?3 AND NOT EXISTS (SELECT 1 FROM sample AS coarse
            WHERE coarse.unit = sample.unit AND coarse.span = ?1
                AND coarse.start = sample.start / ?1 * ?1)
    ),
    figure AS (
        SELECT unit, slot, 'mean' AS kind, key, seconds, value FROM piece, json_each(document, '$.mean')
        UNION ALL
        SELECT unit, slot, 'last', key, seconds, value FROM piece, json_each(document, '$.last')
    ),
    one AS (
        SELECT unit, slot, kind, key, CASE kind
            WHEN 'mean' THEN round(sum(value * seconds) / (sum(seconds) * 1.0), 4) ELSE max(value) END AS value
        FROM figure WHERE seconds > 0 GROUP BY unit, slot, kind, key
    ),
    span AS (SELECT unit, slot, sum(seconds) AS seconds FROM piece GROUP BY unit, slot)
    SELECT one.unit, ?1, one.slot * ?1, span.seconds, json_object(
        'mean', json_group_object(key, value) FILTER (WHERE kind = 'mean'),
        'last', json_group_object(key, value) FILTER (WHERE kind = 'last'))
    FROM one JOIN span USING (unit, slot) GROUP BY one.unit, one.slot";

/// Writes samples; when they are the first of an hour, gathers the hours and days that are over.
pub(super) fn write(
    transaction: &Transaction<'_>,
    samples: &[SampleRow],
    gathered: &mut i64,
) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO sample (unit, span, start, seconds, document) VALUES (?1, 0, ?2, ?3, ?4)
         ON CONFLICT DO NOTHING",
    )?;
    for row in samples {
        insert.execute(params![row.unit, row.start, row.seconds, row.document])?;
    }
    let Some(newest) = samples.iter().map(|row| row.start).max() else {
        return Ok(());
    };
    // A clock that was set back begins anew.
    if newest / HOUR != *gathered {
        if is_believed(transaction, newest)? {
            gather(transaction, newest)?;
        }
        *gathered = newest / HOUR;
    }
    Ok(())
}

fn is_believed(transaction: &Transaction<'_>, now: i64) -> rusqlite::Result<bool> {
    let days: i64 = transaction
        .prepare_cached(
            "SELECT count(DISTINCT start / ?1) FROM sample WHERE span = 0 AND start BETWEEN ?2 AND ?3",
        )?
        .query_row([DAY, now - LAST_DAYS, now], |row| row.get(0))?;
    Ok(days >= DAYS_TO_BELIEVE)
}

fn gather(transaction: &Transaction<'_>, now: i64) -> rusqlite::Result<()> {
    let mut gather = transaction.prepare_cached(GATHER)?;
    gather.execute([HOUR, 0, now / HOUR * HOUR])?;
    gather.execute([DAY, HOUR, now / DAY * DAY])?;
    let mut delete =
        transaction.prepare_cached("DELETE FROM sample WHERE span = ?1 AND start < ?2")?;
    // Whole hours and days only: of one that was half deleted the rest would hide the mean of all.
    delete.execute([0, (now - AS_THEY_CAME) / HOUR * HOUR])?;
    delete.execute([HOUR, (now - HOURS) / DAY * DAY])?;
    Ok(())
}

/// The samples of `unit` that began from `since` to `until` (milliseconds since 1970), in the order of
/// time, each as fine as it is still kept.
///
/// # Errors
/// As for [`look::look`].
pub fn samples(
    directory: &Path,
    unit: &str,
    since: i64,
    until: i64,
) -> Result<Vec<SampleRow>, StoreError> {
    look::reading(directory, |connection| read(connection, unit, since, until))
        .map(Option::unwrap_or_default)
}

pub(super) fn read(
    connection: &Connection,
    unit: &str,
    since: i64,
    until: i64,
) -> rusqlite::Result<Vec<SampleRow>> {
    // A coarse sample gives way to the finer ones that it was made of.
    connection
        .prepare(
            "SELECT unit, start, seconds, document FROM sample
             WHERE unit = ?1 AND start BETWEEN ?2 AND ?3 AND (span = 0
                 OR NOT EXISTS (SELECT 1 FROM sample AS fine
                     WHERE fine.unit = ?1 AND fine.span = iif(sample.span = ?5, ?4, 0)
                         AND fine.start >= sample.start AND fine.start < sample.start + sample.span))
             ORDER BY start",
        )?
        .query_map(params![unit, since, until, HOUR, DAY], |row| {
            Ok(SampleRow {
                unit: row.get(0)?,
                start: row.get(1)?,
                seconds: row.get(2)?,
                document: row.get(3)?,
            })
        })?
        .collect()
}
