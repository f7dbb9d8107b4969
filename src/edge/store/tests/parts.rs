//! States in parts: only what changed is written, what is gone is forgotten, and a file from before is
//! taken over. SQLite's own triggers and JSON functions are the witness.

use super::*;

fn parts(parts: &[(&str, &str)]) -> Parts {
    let owned = |&(name, text): &(&str, &str)| (name.to_owned(), text.to_owned());
    parts.iter().map(owned).collect()
}

fn checkpoint(unit: &str, state: Parts) -> Checkpoint {
    Checkpoint {
        units: BTreeMap::from([(unit.to_owned(), state)]),
        ..Checkpoint::default()
    }
}

#[test]
fn only_the_parts_that_changed_are_written() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let other = folder.other_program();
    other
        .execute_batch(
            "CREATE TABLE written (what TEXT);
             CREATE TRIGGER made AFTER INSERT ON unit_part
                 BEGIN INSERT INTO written VALUES ('+' || new.unit || '.' || new.part); END;
             CREATE TRIGGER changed AFTER UPDATE ON unit_part
                 BEGIN INSERT INTO written VALUES ('=' || new.unit || '.' || new.part); END;
             CREATE TRIGGER gone AFTER DELETE ON unit_part
                 BEGIN INSERT INTO written VALUES ('-' || old.unit || '.' || old.part); END;",
        )
        .unwrap();
    let mut states = checkpoint("rodi", parts(&[("meters", "1"), ("totals", "1")]));
    states
        .units
        .insert("spare".to_owned(), parts(&[("totals", "7")]));
    saved(&store, states).unwrap();
    for state in [
        parts(&[("meters", "1"), ("totals", "2")]),
        parts(&[("meters", "1"), ("totals", "2")]),
        parts(&[("runs", "9"), ("totals", "2")]),
    ] {
        saved(&store, checkpoint("rodi", state)).unwrap();
    }
    store.close().unwrap();
    let written: String = other
        .query_row("SELECT group_concat(what, ' ') FROM written", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(
        written,
        "+rodi.meters +rodi.totals +spare.totals =rodi.totals +rodi.runs -rodi.meters"
    );
    let (_store, loaded) = folder.open();
    assert_eq!(
        loaded.units["rodi"],
        parts(&[("runs", "9"), ("totals", "2")])
    );
    assert_eq!(loaded.units["spare"], parts(&[("totals", "7")]));
}

/// A file as the first version of the layout had it, with whole states.
fn of_version_one(states: &[(&str, &str)]) -> Folder {
    let folder = Folder::new();
    fs::create_dir(folder.state()).unwrap();
    let mut connection = folder.other_program();
    connection
        .pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))
        .unwrap();
    schema::migrate(&mut connection, 0, &schema::MIGRATIONS[..1]).unwrap();
    for (unit, state) in states {
        connection
            .execute("INSERT INTO unit VALUES (?1, ?2)", [unit, state])
            .unwrap();
    }
    connection
        .execute("INSERT INTO run (unit, document) VALUES ('rodi', '{}')", [])
        .unwrap();
    connection.close().unwrap();
    folder
}

#[test]
fn a_file_with_whole_states_is_taken_over() {
    let folder = of_version_one(&[
        (
            "rodi",
            r#"{"totals":{"feed":0.1,"runs":792},"waiting":[0.0,1e-7,31654.76000000008],"open_run":null,"a \"b\".c":"ü \"x\"","on":true}"#,
        ),
        ("spare", "{}"),
    ]);
    let expected = parts(&[
        (r#"a "b".c"#, r#""ü \"x\"""#),
        ("on", "true"),
        ("open_run", "null"),
        ("totals", r#"{"feed":0.1,"runs":792}"#),
        ("waiting", "[0.0,1e-7,31654.76000000008]"),
    ]);
    for _ in 0..2 {
        let (store, loaded) = folder.open();
        assert_eq!(loaded.units.get("rodi"), Some(&expected));
        assert_eq!(loaded.units.get("spare"), None, "nothing was kept of it");
        store.close().unwrap();
        let header = header::read(&folder.file()).unwrap().unwrap();
        assert_eq!(header.version, schema::NEWEST);
        assert_eq!(folder.count("run"), 1);
    }
}

#[test]
fn a_look_sees_what_is_kept_while_the_store_is_open_and_changes_nothing() {
    let folder = Folder::new();
    assert_eq!(look(&folder.state(), "rodi").unwrap(), None);
    assert!(!folder.state().exists(), "a look makes nothing");
    let (store, _) = folder.open();
    let mut first = checkpoint("rodi", parts(&[("totals", "1")]));
    first.runs = vec![run_number(1), run_number(2)];
    saved(&store, first).unwrap();
    saved(&store, checkpoint("rodi", parts(&[("totals", "2")]))).unwrap();
    let seen = look(&folder.state(), "rodi").unwrap().unwrap();
    assert_eq!(seen.state, parts(&[("totals", "2")]));
    let newest_first = [2, 1].map(|number| run_number(number).document);
    assert_eq!(seen.runs, newest_first);
    assert_eq!(
        look(&folder.state(), "spare").unwrap(),
        Some(Look::default())
    );
    store.close().unwrap();
    let before = fs::read(folder.file()).unwrap();
    assert_eq!(look(&folder.state(), "rodi").unwrap(), Some(seen));
    assert!(fs::read(folder.file()).unwrap() == before);
    assert_eq!(folder.names(), [FILE, "permeated.lock"], "leftovers");
}

#[test]
fn a_look_refuses_what_it_does_not_know() {
    let older = of_version_one(&[("rodi", "{}")]);
    let error = look(&older.state(), "rodi").unwrap_err();
    assert!(
        error.to_string().contains("start the service once"),
        "{error}"
    );
    let folder = Folder::new();
    fs::create_dir(folder.state()).unwrap();
    fs::write(folder.file(), "notes on the cellar").unwrap();
    let error = look(&folder.state(), "rodi").unwrap_err();
    assert!(matches!(error, StoreError::NotADatabase { .. }), "{error}");
}

#[test]
fn a_whole_state_that_is_no_document_is_refused_and_left() {
    for state in ["7", "{\"totals\":", ""] {
        let folder = of_version_one(&[("rodi", state)]);
        let before = fs::read(folder.file()).unwrap();
        let error = Store::open(&folder.state()).unwrap_err();
        assert!(error.to_string().contains("restore a backup"), "{error}");
        assert!(fs::read(folder.file()).unwrap() == before, "changed");
    }
}

#[test]
fn what_may_wait_stays_when_a_checkpoint_leaves_it_out() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let all = [
        ("cycling", "1"),
        ("episodes", "1"),
        ("totals", "1"),
        ("watch", "1"),
    ];
    saved(&store, checkpoint("u", parts(&all))).unwrap();
    let some = [("totals", "2")];
    saved(&store, checkpoint("u", parts(&some))).unwrap();
    store.close().unwrap();
    let (_store, loaded) = folder.open();
    let left = [("cycling", "1"), ("totals", "2"), ("watch", "1")];
    assert_eq!(loaded.units["u"], parts(&left));
}
