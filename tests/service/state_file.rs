//! The state folder: a file that is not what it should be is refused in plain words and left exactly
//! as it was; two services do not share one.

use std::{collections::BTreeMap, fs, path::Path};

use rusqlite::Connection;

use crate::{
    COUNTED,
    site::{LIMIT, Site, until},
};

/// Every file of a folder with its bytes; the empty one that only carries the lock is no state.
fn bytes_of(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = fs::read_dir(folder).unwrap().map(|entry| {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        (name, fs::read(path).unwrap())
    });
    files.filter(|(name, _)| name != "permeated.lock").collect()
}

/// A site whose service ran once and left its state.
fn with_state() -> Site {
    let site = Site::new("", COUNTED);
    let service = site.start();
    site.broker.publish("rig/pulses", "1000", &[]);
    until("the state is kept", || site.kept_count("u").is_number());
    service.terminate();
    site
}

/// The service must end with status 1, say all of `words`, and change nothing.
fn refused(site: &Site, words: &[&str]) {
    let before = bytes_of(&site.state());
    let mut service = site.launch();
    let status = service.ended(LIMIT);
    assert_eq!(status.code(), Some(1), "{}", service.log());
    let log = service.log();
    let said = log.lines().last().unwrap_or_default();
    for word in words {
        assert!(said.contains(word), "{word:?} is not in {said:?}");
    }
    assert!(
        said.contains(&site.database().display().to_string()),
        "{said}"
    );
    assert!(bytes_of(&site.state()) == before, "the folder was changed");
}

#[test]
fn a_damaged_file_is_refused_and_left_alone() {
    let site = with_state();
    let mut bytes = fs::read(site.database()).unwrap();
    // The header stays; the pages behind it do not.
    let length = bytes.len();
    bytes[100..length].fill(0xA5);
    fs::write(site.database(), bytes).unwrap();
    refused(&site, &["damaged", "nothing was changed", "backup"]);
}

#[test]
fn a_file_that_is_no_database_is_refused_and_left_alone() {
    let site = with_state();
    fs::write(site.database(), "these are my notes on the cellar\n").unwrap();
    refused(&site, &["is not a database", "left untouched"]);
}

#[test]
fn a_newer_file_is_refused_and_left_alone() {
    let site = with_state();
    let database = Connection::open(site.database()).unwrap();
    database.pragma_update(None, "user_version", 99).unwrap();
    database.close().unwrap();
    refused(&site, &["newer permeated", "99", "left untouched"]);
}

#[test]
fn another_programs_file_is_refused_and_left_alone() {
    let site = Site::new("", COUNTED);
    fs::create_dir(site.state()).unwrap();
    let database = Connection::open(site.database()).unwrap();
    database.execute_batch("CREATE TABLE notes (t)").unwrap();
    database
        .pragma_update(None, "application_id", 0x1234)
        .unwrap();
    database.close().unwrap();
    refused(&site, &["another program", "left untouched"]);
}

#[test]
fn a_state_that_cannot_be_read_is_refused_and_left_alone() {
    let site = with_state();
    let database = Connection::open(site.database()).unwrap();
    database
        .execute("UPDATE unit_part SET state = '7' WHERE part = 'totals'", [])
        .unwrap();
    database.close().unwrap();
    let before = bytes_of(&site.state());
    let mut service = site.launch();
    assert_eq!(service.ended(LIMIT).code(), Some(1), "{}", service.log());
    let log = service.log();
    let said = log.lines().last().unwrap_or_default();
    assert!(
        said.contains("the state of unit \"u\"") && said.contains("backup"),
        "{log}"
    );
    let after = bytes_of(&site.state());
    assert!(
        after["permeated.db"] == before["permeated.db"],
        "the file was changed"
    );
}

#[test]
fn a_second_service_on_the_same_state_is_refused() {
    let site = Site::new("", COUNTED);
    let mut first = site.start();
    let mut second = site.launch();
    let status = second.ended(LIMIT);
    assert_eq!(status.code(), Some(1));
    let log = second.log();
    assert!(
        log.contains("is in use by another permeated process")
            && log.contains(&site.state().display().to_string()),
        "{log}"
    );
    assert!(first.is_running());
    first.terminate();
}
