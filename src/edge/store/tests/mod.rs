//! What the store promises: what was acknowledged comes back, whatever it refuses stays as it was.
//! The database library itself, through connections of the tests' own, is the witness.

mod history;
mod kill;
mod log;
mod parts;
mod past;
mod refusals;

use std::{fs, os::unix::fs::PermissionsExt, path::PathBuf, time::Duration};

use rusqlite::Connection;
use tempfile::TempDir;

use super::{open::Tuning, *};

/// A state folder that vanishes with the test.
struct Folder(TempDir);

impl Folder {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn state(&self) -> PathBuf {
        self.0.path().join("state")
    }

    fn file(&self) -> PathBuf {
        self.state().join(FILE)
    }

    fn open(&self) -> (Store, Loaded) {
        Store::open(&self.state()).unwrap()
    }

    /// A connection that is not the store's.
    fn other_program(&self) -> Connection {
        Connection::open(self.file()).unwrap()
    }

    fn count(&self, table: &str) -> u32 {
        self.other_program()
            .query_row(&format!("SELECT count(*) FROM {table}"), [], |row| {
                row.get(0)
            })
            .unwrap()
    }

    fn names(&self) -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(self.state())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }
}

fn saved(store: &Store, checkpoint: Checkpoint) -> Result<(), StoreError> {
    store.save(checkpoint).blocking_recv().unwrap()
}

/// A state of one part.
fn whole(state: impl Into<String>) -> Parts {
    Parts::from([("whole".to_owned(), state.into())])
}

fn state_of(unit: &str, state: impl Into<String>) -> Checkpoint {
    Checkpoint {
        units: BTreeMap::from([(unit.to_owned(), whole(state))]),
        ..Checkpoint::default()
    }
}

fn run_number(number: u32) -> RunRow {
    RunRow {
        unit: "rodi".to_owned(),
        started: Some(format!("2026-11-25T09:00:00.{:03}Z", number % 1000)),
        ended: None,
        document: format!("{{\"number\":{number},\"notes\":\"{}\"}}", "x".repeat(400)),
    }
}

fn topics(names: &[&str]) -> BTreeSet<String> {
    names.iter().map(|&name| name.to_owned()).collect()
}

#[test]
fn what_was_saved_comes_back() {
    let folder = Folder::new();
    let (store, loaded) = folder.open();
    assert_eq!(loaded, Loaded::default());
    let first = Checkpoint {
        units: BTreeMap::from([
            ("rodi".to_owned(), whole(r#"{"litres":12.5}"#)),
            ("spare".to_owned(), whole("{}")),
        ]),
        subscriptions: Some(topics(&["home/flow", "home/tds"])),
        retained: Some(topics(&["permeated/status", "permeated/rodi/now"])),
        ..Checkpoint::default()
    };
    saved(&store, first).unwrap();
    let second = Checkpoint {
        subscriptions: Some(topics(&["home/tds", "home/ünïcode"])),
        ..state_of("rodi", r#"{"litres":13}"#)
    };
    saved(&store, second).unwrap();
    store.close().unwrap();

    let (_store, loaded) = folder.open();
    assert_eq!(loaded.units["rodi"], whole(r#"{"litres":13}"#));
    assert_eq!(loaded.units["spare"], whole("{}"));
    assert_eq!(loaded.subscriptions, topics(&["home/tds", "home/ünïcode"]));
    assert_eq!(
        loaded.retained,
        topics(&["permeated/status", "permeated/rodi/now"]),
        "a list that is not given is kept"
    );
}

#[test]
fn a_repeated_row_is_recorded_once_and_a_different_one_again() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let undated = RunRow {
        started: None,
        ..run_number(1)
    };
    let replaced = StageRow {
        unit: "rodi".to_owned(),
        stage: "carbon".to_owned(),
        replaced: None,
        document: "{}".to_owned(),
    };
    let mut later = replaced.clone();
    later.replaced = Some("2026-11-25T09:00:00Z".to_owned());
    let checkpoint = Checkpoint {
        runs: vec![run_number(1), run_number(2), undated],
        stages_replaced: vec![replaced, later],
        ..Checkpoint::default()
    };
    saved(&store, checkpoint.clone()).unwrap();
    saved(&store, checkpoint).unwrap();
    store.close().unwrap();
    assert_eq!(folder.count("run"), 3);
    assert_eq!(folder.count("stage_replaced"), 2);
}

#[test]
fn closing_and_dropping_write_everything_that_is_queued() {
    for close in [true, false] {
        let folder = Folder::new();
        let (store, _) = folder.open();
        let answers: Vec<_> = (1..=200)
            .map(|number| store.save(state_of("rodi", number.to_string())))
            .collect();
        if close {
            store.close().unwrap();
        } else {
            drop(store);
        }
        for answer in answers {
            answer.blocking_recv().unwrap().unwrap();
        }
        assert_eq!(folder.names(), [FILE, "permeated.lock"], "no log is left");
        let (_store, loaded) = folder.open();
        assert_eq!(loaded.units["rodi"], whole("200"));
    }
}

#[test]
fn only_the_owner_can_read_the_folder_and_the_file() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    saved(&store, state_of("rodi", "1")).unwrap();
    let mode = |path: PathBuf| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(folder.state()), 0o700);
    for name in folder.names() {
        assert_eq!(mode(folder.state().join(&name)), 0o600, "{name}");
    }
}

#[test]
fn the_file_is_marked_as_ours_and_kept_durable() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let header = header::read(&folder.file()).unwrap().unwrap();
    assert_eq!(header.application_id, schema::APPLICATION_ID);
    assert_eq!(header.version, schema::NEWEST);
    store.close().unwrap();

    let (opened, _) = open::open(&folder.state(), &Tuning::default()).unwrap();
    // Values and their meaning: https://www.sqlite.org/pragma.html (synchronous 2 = FULL,
    // temp_store 2 = MEMORY).
    for (name, value) in [
        ("synchronous", 2),
        ("wal_autocheckpoint", 200),
        ("temp_store", 2),
        ("busy_timeout", 5000),
    ] {
        let found = opened
            .connection
            .pragma_query_value(None, name, |row| row.get::<_, i64>(0));
        assert_eq!(found.unwrap(), value, "{name}");
    }
    let mode = opened
        .connection
        .pragma_query_value(None, "journal_mode", |row| row.get::<_, String>(0));
    assert_eq!(mode.unwrap(), "wal");
}

#[test]
fn a_full_disk_is_told_to_who_waits_and_the_next_checkpoint_is_tried() {
    let folder = Folder::new();
    let tuning = Tuning {
        room: Some(40),
        ..Tuning::default()
    };
    let (store, _) = Store::open_tuned(&folder.state(), &tuning).unwrap();
    saved(&store, state_of("rodi", "before")).unwrap();
    let too_much = Checkpoint {
        runs: vec![run_number(1)],
        ..state_of("rodi", "x".repeat(300_000))
    };
    let error = saved(&store, too_much).unwrap_err();
    assert!(matches!(error, StoreError::DiskFull { .. }), "{error}");
    assert!(error.to_string().contains(FILE), "{error}");
    saved(&store, state_of("spare", "after")).unwrap();
    store.close().unwrap();
    let (_store, loaded) = folder.open();
    assert_eq!(loaded.units["rodi"], whole("before"), "all or nothing");
    assert_eq!(loaded.units["spare"], whole("after"));
    assert_eq!(folder.count("run"), 0, "all or nothing");
}

#[test]
fn a_lock_of_another_program_fails_one_checkpoint_not_the_store() {
    let folder = Folder::new();
    let tuning = Tuning {
        patience: Duration::from_millis(30),
        ..Tuning::default()
    };
    let (store, _) = Store::open_tuned(&folder.state(), &tuning).unwrap();
    let other = folder.other_program();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error = saved(&store, state_of("rodi", "1")).unwrap_err();
    assert!(matches!(error, StoreError::Locked { .. }), "{error}");
    other.execute_batch("ROLLBACK").unwrap();
    saved(&store, state_of("rodi", "2")).unwrap();
}

#[test]
fn the_folder_is_free_at_once_even_while_a_new_process_still_has_a_copy_of_the_lock() {
    let folder = Folder::new();
    let (opened, _) = open::open(&folder.state(), &Tuning::default()).unwrap();
    let _copy = opened.lock.0.try_clone().unwrap();
    drop(opened);
    folder.open();
}

#[test]
fn a_failed_migration_leaves_the_version_before_it() {
    let folder = Folder::new();
    folder.open().0.close().unwrap();
    let mut connection = folder.other_program();
    let mut steps = schema::MIGRATIONS.to_vec();
    steps.extend([
        "ALTER TABLE run ADD COLUMN litres REAL",
        "CREATE TABLE half (done TEXT) STRICT; INSERT INTO nowhere VALUES (1)",
    ]);
    schema::migrate(&mut connection, schema::NEWEST, &steps).unwrap_err();
    connection.close().unwrap();
    let header = header::read(&folder.file()).unwrap().unwrap();
    assert_eq!(
        header.version,
        schema::NEWEST + 1,
        "the step before it stands"
    );
    let connection = folder.other_program();
    connection.prepare("SELECT litres FROM run").unwrap();
    connection.prepare("SELECT done FROM half").unwrap_err();
}

#[test]
fn saving_to_a_store_whose_writer_is_gone_says_so() {
    let store = Store {
        queue: Some(mpsc::channel().0),
        thread: None,
    };
    let error = saved(&store, Checkpoint::default()).unwrap_err();
    assert!(matches!(error, StoreError::Stopped), "{error}");
}
