//! The layout of the file and its history. A migration, once released, is never edited: a change
//! is a new entry at the end.

use rusqlite::{Connection, TransactionBehavior};

/// Marks our files, in the header field SQLite has for this: "perm".
pub(super) const APPLICATION_ID: u32 = 0x7065_726D;

/// The step to each version, from version 1 on. Documents and states are JSON of the core.
pub(super) const MIGRATIONS: &[&str] = &[
    WHOLE_STATES,
    STATES_IN_PARTS,
    MAINTENANCE_LOG,
    SAMPLES,
    ANNOUNCED,
    NOTICES,
    ALERTS,
];

const WHOLE_STATES: &str = "
    CREATE TABLE unit (
        id    TEXT PRIMARY KEY,
        state TEXT NOT NULL
    ) STRICT;

    CREATE TABLE run (
        number   INTEGER PRIMARY KEY,
        unit     TEXT NOT NULL,
        started  TEXT,
        ended    TEXT,
        document TEXT NOT NULL
    ) STRICT;
    CREATE INDEX run_by_start ON run (unit, started);

    CREATE TABLE stage_replaced (
        number   INTEGER PRIMARY KEY,
        unit     TEXT NOT NULL,
        stage    TEXT NOT NULL,
        replaced TEXT,
        document TEXT NOT NULL
    ) STRICT;
    CREATE INDEX stage_replaced_by_time ON stage_replaced (unit, stage, replaced);

    -- What the broker holds for us: role 'subscription' or 'retained'.
    CREATE TABLE topic (
        role TEXT NOT NULL CHECK (role IN ('subscription', 'retained')),
        name TEXT NOT NULL,
        PRIMARY KEY (role, name)
    ) STRICT, WITHOUT ROWID;
";

/// A row for each top-level key of a state, so that a checkpoint writes only what changed. Without row
/// ids the small parts, which change most, share a page, and a large one has pages of its own.
const STATES_IN_PARTS: &str = "
    CREATE TABLE unit_part (
        unit  TEXT NOT NULL,
        part  TEXT NOT NULL,
        state TEXT NOT NULL,
        PRIMARY KEY (unit, part)
    ) STRICT, WITHOUT ROWID;
    INSERT INTO unit_part (unit, part, state)
        SELECT unit.id, json_each.key, unit.state -> json_each.fullkey
        FROM unit, json_each(unit.state);
    DROP TABLE unit;
";

/// Every entry of the maintenance log, numbered within its unit. Rows are only ever added.
const MAINTENANCE_LOG: &str = "
    CREATE TABLE log_entry (
        unit     TEXT NOT NULL,
        number   INTEGER NOT NULL,
        document TEXT NOT NULL,
        PRIMARY KEY (unit, number)
    ) STRICT, WITHOUT ROWID;
";

/// Figures over time. `span` is 0 for a sample as it came, else the milliseconds of the slot that it was
/// gathered into; `start` is in milliseconds since 1970.
const SAMPLES: &str = "
    CREATE TABLE sample (
        unit     TEXT NOT NULL,
        span     INTEGER NOT NULL,
        start    INTEGER NOT NULL,
        seconds  INTEGER NOT NULL,
        document TEXT NOT NULL,
        PRIMARY KEY (unit, span, start)
    ) STRICT, WITHOUT ROWID;
";

/// What hubs were told of whole devices, by topic: a hub forgets only what is removed from them in
/// steps.
const ANNOUNCED: &str = "
    CREATE TABLE announced (
        topic      TEXT PRIMARY KEY,
        components TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;
";

/// Notices that wait to be sent by HTTP, and the highest number ever queued for each target and unit, by
/// which one that comes again is known.
const NOTICES: &str = "
    CREATE TABLE notice (
        target   TEXT NOT NULL,
        unit     TEXT NOT NULL,
        number   INTEGER NOT NULL,
        document TEXT NOT NULL,
        PRIMARY KEY (target, unit, number)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE notice_mark (
        target TEXT NOT NULL,
        unit   TEXT NOT NULL,
        number INTEGER NOT NULL,
        PRIMARY KEY (target, unit)
    ) STRICT, WITHOUT ROWID;
";

/// Every alert from its raising to its end, numbered within its unit; the times are in milliseconds since
/// 1970. A row is written again when its episode goes on.
const ALERTS: &str = "
    CREATE TABLE alert (
        unit     TEXT NOT NULL,
        number   INTEGER NOT NULL,
        since    INTEGER,
        until    INTEGER,
        document TEXT NOT NULL,
        PRIMARY KEY (unit, number)
    ) STRICT, WITHOUT ROWID;
";

/// The version this program writes.
#[allow(
    clippy::cast_possible_truncation,
    reason = "a handful, counted when compiled"
)]
pub(super) const NEWEST: u32 = MIGRATIONS.len() as u32;

/// Takes a file of `version` (0: a new one) through the remaining steps, each in a transaction,
/// and folds the log in, so that the header on disk tells the truth.
pub(super) fn migrate(
    connection: &mut Connection,
    version: u32,
    migrations: &[&str],
) -> rusqlite::Result<()> {
    for (step, number) in migrations.iter().zip(1_u32..).skip(version as usize) {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        transaction.execute_batch(step)?;
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.pragma_update(None, "user_version", number)?;
        transaction.commit()?;
    }
    fold_log_in(connection)
}

/// Copies the write-ahead log into the file and empties it. Another program that is reading the
/// file may prevent the emptying, which harms nothing.
pub(super) fn fold_log_in(connection: &Connection) -> rusqlite::Result<()> {
    connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
}
