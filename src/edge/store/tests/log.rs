//! The maintenance log in the file: entries are only ever added, can be looked at while the store is open,
//! and a file of every earlier version gets a place for them without losing anything.

use super::*;

fn entry(unit: &str, number: u64, document: &str) -> EntryRow {
    EntryRow {
        unit: unit.to_owned(),
        number,
        document: document.to_owned(),
    }
}

fn entries(entries: Vec<EntryRow>) -> Checkpoint {
    Checkpoint {
        entries,
        ..Checkpoint::default()
    }
}

#[test]
fn entries_come_back_in_their_order_and_are_never_overwritten() {
    let folder = Folder::new();
    assert_eq!(look_at_log(&folder.state(), "rodi").unwrap(), None);
    let (store, _) = folder.open();
    assert_eq!(look_at_log(&folder.state(), "rodi").unwrap(), Some(vec![]));
    let first = vec![entry("rodi", 10, "ten"), entry("spare", 1, "other")];
    saved(&store, entries(first)).unwrap();
    let second = vec![entry("rodi", 9, "nine"), entry("rodi", 10, "another ten")];
    saved(&store, entries(second)).unwrap();
    let seen = look_at_log(&folder.state(), "rodi").unwrap().unwrap();
    assert_eq!(seen, ["nine", "ten"], "while the store is open");
    store.close().unwrap();
    let seen = look_at_log(&folder.state(), "spare").unwrap().unwrap();
    assert_eq!(seen, ["other"]);
}

/// A file as that version had it, with runs, a replaced stage, topics and two states in it.
fn of_version(version: usize) -> Folder {
    let folder = Folder::new();
    fs::create_dir(folder.state()).unwrap();
    let mut connection = folder.other_program();
    connection
        .pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))
        .unwrap();
    schema::migrate(&mut connection, 0, &schema::MIGRATIONS[..version]).unwrap();
    let states = if version == 1 {
        r#"INSERT INTO unit VALUES ('rodi', '{"totals":{"feed":0.1},"stages":{}}'), ('spare', '{"totals":{}}');"#
    } else {
        r#"INSERT INTO unit_part VALUES ('rodi', 'totals', '{"feed":0.1}'), ('rodi', 'stages', '{}'), ('spare', 'totals', '{}');"#
    };
    let rest = r#"
        INSERT INTO run (unit, started, document) VALUES ('rodi', '2026-11-25T09:00:00Z', '{"n":1}'), ('rodi', NULL, '{"n":2}');
        INSERT INTO stage_replaced (unit, stage, document) VALUES ('rodi', 'carbon', '{"stage":"carbon","replaced":null,"installed":1600000000000,"treated":812.5}');
        INSERT INTO topic VALUES ('subscription', 'home/tds'), ('retained', 'permeated/status');"#;
    connection
        .execute_batch(&format!("{states}{rest}"))
        .unwrap();
    connection.close().unwrap();
    folder
}

#[test]
fn a_file_of_every_earlier_version_is_taken_over_whole() {
    for version in 1..schema::MIGRATIONS.len() {
        let folder = of_version(version);
        look_at_log(&folder.state(), "rodi").unwrap_err();
        let (store, loaded) = folder.open();
        let part = |unit: &str, part: &str| loaded.units[unit].get(part).map(String::as_str);
        assert_eq!(part("rodi", "totals"), Some(r#"{"feed":0.1}"#), "{version}");
        assert_eq!(part("rodi", "stages"), Some("{}"), "{version}");
        assert_eq!(part("spare", "totals"), Some("{}"), "{version}");
        assert_eq!(loaded.units.len(), 2);
        assert_eq!(loaded.subscriptions, topics(&["home/tds"]));
        assert_eq!(loaded.retained, topics(&["permeated/status"]));
        saved(&store, entries(vec![entry("rodi", 1, "one")])).unwrap();
        store.close().unwrap();
        assert_eq!(
            (folder.count("run"), folder.count("stage_replaced")),
            (2, 1)
        );
        let header = header::read(&folder.file()).unwrap().unwrap();
        assert_eq!(header.version, schema::NEWEST);
        let seen = look_at_log(&folder.state(), "rodi").unwrap().unwrap();
        assert_eq!(seen, ["one"], "{version}");
        let document: String = (folder.other_program())
            .query_row("SELECT document FROM stage_replaced", [], |row| row.get(0))
            .unwrap();
        // What an earlier version wrote of a filling still reads.
        let record: crate::core::StageRecord = serde_json::from_str(&document).unwrap();
        assert_eq!((record.treated.litres(), record.entry), (812.5, None));
    }
}
