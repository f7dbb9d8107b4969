//! The writer thread: takes checkpoints in their order, makes each durable in one transaction,
//! answers, and closes the file at the end. A failed checkpoint does not end it.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::mpsc,
};

use rusqlite::{Connection, Transaction, TransactionBehavior, params};
use tokio::sync::oneshot;

use super::{Checkpoint, NoticeKey, NoticeRow, StoreError, history, open::Opened, schema};
use crate::core::MAY_WAIT;

/// A checkpoint and where its outcome is awaited.
#[derive(Debug)]
pub(super) struct Request {
    pub(super) checkpoint: Checkpoint,
    pub(super) answer: oneshot::Sender<Result<(), StoreError>>,
}

/// Serves requests until every sender is gone, then folds the log in and closes.
pub(super) fn run(opened: Opened, requests: &mpsc::Receiver<Request>) -> Result<(), StoreError> {
    let Opened {
        mut connection,
        lock,
        path,
    } = opened;
    let mut gathered = 0;
    for Request { checkpoint, answer } in requests {
        let outcome = write(&mut connection, &checkpoint, &mut gathered)
            .map_err(|error| StoreError::database("save to", &path, error).looked_into());
        // Who asked may have stopped waiting; the checkpoint stands all the same.
        let _ = answer.send(outcome);
    }
    let folded = schema::fold_log_in(&connection);
    let closed = connection.close().map_err(|(_, error)| error);
    drop(lock);
    folded
        .and(closed)
        .map_err(|error| StoreError::database("close", &path, error))
}

/// `gathered` is the hour up to which samples were gathered.
fn write(
    connection: &mut Connection,
    checkpoint: &Checkpoint,
    gathered: &mut i64,
) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    write_units(&transaction, checkpoint)?;
    write_runs(&transaction, checkpoint)?;
    write_stages(&transaction, checkpoint)?;
    write_entries(&transaction, checkpoint)?;
    write_alerts(&transaction, checkpoint)?;
    history::write(&transaction, &checkpoint.samples, gathered)?;
    write_notices(&transaction, checkpoint)?;
    if let Some(topics) = &checkpoint.subscriptions {
        replace_topics(&transaction, "subscription", topics)?;
    }
    if let Some(topics) = &checkpoint.retained {
        replace_topics(&transaction, "retained", topics)?;
    }
    if let Some(announced) = &checkpoint.announced {
        replace_announced(&transaction, announced)?;
    }
    transaction.commit()
}

fn write_units(transaction: &Transaction<'_>, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    // A part that did not change costs a memory card nothing.
    let mut upsert = transaction.prepare_cached(
        "INSERT INTO unit_part (unit, part, state) VALUES (?1, ?2, ?3)
         ON CONFLICT DO UPDATE SET state = excluded.state WHERE state <> excluded.state",
    )?;
    let mut known = transaction.prepare_cached("SELECT part FROM unit_part WHERE unit = ?1")?;
    let mut delete =
        transaction.prepare_cached("DELETE FROM unit_part WHERE unit = ?1 AND part = ?2")?;
    for (unit, parts) in &checkpoint.units {
        for (part, state) in parts {
            upsert.execute([unit, part, state])?;
        }
        let known: Vec<String> = known
            .query_map([unit], |row| row.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        // What may wait is not in every checkpoint.
        let may_wait = |part: &String| MAY_WAIT.contains(&part.as_str());
        let gone = (known.iter()).filter(|part| !parts.contains_key(*part) && !may_wait(part));
        for part in gone {
            delete.execute([unit, part])?;
        }
    }
    Ok(())
}

fn write_runs(transaction: &Transaction<'_>, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO run (unit, started, ended, document) SELECT ?1, ?2, ?3, ?4
         WHERE NOT EXISTS (SELECT 1 FROM run
             WHERE unit = ?1 AND started IS ?2 AND ended IS ?3 AND document = ?4)",
    )?;
    for run in &checkpoint.runs {
        insert.execute(params![run.unit, run.started, run.ended, run.document])?;
    }
    Ok(())
}

fn write_stages(transaction: &Transaction<'_>, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO stage_replaced (unit, stage, replaced, document) SELECT ?1, ?2, ?3, ?4
         WHERE NOT EXISTS (SELECT 1 FROM stage_replaced
             WHERE unit = ?1 AND stage = ?2 AND replaced IS ?3 AND document = ?4)",
    )?;
    for row in &checkpoint.stages_replaced {
        insert.execute(params![row.unit, row.stage, row.replaced, row.document])?;
    }
    Ok(())
}

fn write_entries(transaction: &Transaction<'_>, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO log_entry (unit, number, document) VALUES (?1, ?2, ?3)
         ON CONFLICT DO NOTHING",
    )?;
    for row in &checkpoint.entries {
        insert.execute(params![
            row.unit,
            i64::try_from(row.number).unwrap_or(i64::MAX),
            row.document
        ])?;
    }
    Ok(())
}

/// Of a unit so many alerts are kept: decades, unless one comes and goes all day.
const MOST_ALERTS: i64 = 10_000;

fn write_alerts(transaction: &Transaction<'_>, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    let mut upsert = transaction.prepare_cached(
        "INSERT INTO alert (unit, number, since, until, document) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT DO UPDATE SET since = excluded.since, until = excluded.until,
             document = excluded.document",
    )?;
    let mut forget = transaction.prepare_cached(
        "DELETE FROM alert WHERE unit = ?1 AND number <= ?2 AND until IS NOT NULL",
    )?;
    for row in &checkpoint.alerts {
        let number = i64::try_from(row.number).unwrap_or(i64::MAX);
        upsert.execute(params![
            row.unit,
            number,
            row.since,
            row.until,
            row.document
        ])?;
        forget.execute(params![row.unit, number - MOST_ALERTS])?;
    }
    Ok(())
}

/// A change is rare: all go then, and all come.
fn replace_announced(
    transaction: &Transaction<'_>,
    announced: &BTreeMap<String, String>,
) -> rusqlite::Result<()> {
    let known: BTreeMap<String, String> = transaction
        .prepare_cached("SELECT topic, components FROM announced")?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<rusqlite::Result<_>>()?;
    if known == *announced {
        return Ok(());
    }
    transaction.execute("DELETE FROM announced", [])?;
    let mut insert =
        transaction.prepare_cached("INSERT INTO announced (topic, components) VALUES (?1, ?2)")?;
    for (topic, components) in announced {
        insert.execute([topic, components])?;
    }
    Ok(())
}

fn write_notices(transaction: &Transaction<'_>, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    let number = |key: &NoticeKey| i64::try_from(key.number).unwrap_or(i64::MAX);
    let mut insert = transaction.prepare_cached(
        "INSERT INTO notice (target, unit, number, document) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT DO NOTHING",
    )?;
    let mut mark = transaction.prepare_cached(
        "INSERT INTO notice_mark (target, unit, number) VALUES (?1, ?2, ?3)
         ON CONFLICT DO UPDATE SET number = max(number, excluded.number)",
    )?;
    for NoticeRow { key, document } in &checkpoint.notices {
        insert.execute(params![key.target, key.unit, number(key), document])?;
        mark.execute(params![key.target, key.unit, number(key)])?;
    }
    let mut delete = transaction
        .prepare_cached("DELETE FROM notice WHERE target = ?1 AND unit = ?2 AND number = ?3")?;
    for key in &checkpoint.notices_settled {
        delete.execute(params![key.target, key.unit, number(key)])?;
    }
    Ok(())
}

/// Makes the list in the file equal to `wanted`, touching only what differs.
fn replace_topics(
    transaction: &Transaction<'_>,
    role: &str,
    wanted: &BTreeSet<String>,
) -> rusqlite::Result<()> {
    let known: BTreeSet<String> = transaction
        .prepare_cached("SELECT name FROM topic WHERE role = ?1")?
        .query_map([role], |row| row.get::<_, String>(0))?
        .collect::<rusqlite::Result<_>>()?;
    let mut delete =
        transaction.prepare_cached("DELETE FROM topic WHERE role = ?1 AND name = ?2")?;
    for name in known.difference(wanted) {
        delete.execute([role, name])?;
    }
    let mut insert =
        transaction.prepare_cached("INSERT INTO topic (role, name) VALUES (?1, ?2)")?;
    for name in wanted.difference(&known) {
        insert.execute([role, name])?;
    }
    Ok(())
}
