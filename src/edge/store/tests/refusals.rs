//! Every file and folder the store must refuse: with which words, and that nothing was changed.

use rusqlite::config::DbConfig;

use super::*;

/// Name and content of everything in the folder but the lock file.
fn content(folder: &Folder) -> Vec<(String, Vec<u8>)> {
    folder
        .names()
        .into_iter()
        // The index beside a log is rebuilt by whoever reads it; it holds no data.
        .filter(|name| name != "permeated.lock" && !name.ends_with("-shm"))
        .map(|name| (name.clone(), fs::read(folder.state().join(name)).unwrap()))
        .collect()
}

/// Opens what must be refused and returns the refusal, having seen that nothing changed.
fn refusal(folder: &Folder) -> StoreError {
    let before = content(folder);
    let tuning = Tuning {
        patience: Duration::from_millis(30),
        ..Tuning::default()
    };
    let error = Store::open_tuned(&folder.state(), &tuning).unwrap_err();
    let after = content(folder);
    let names = |files: &[(String, Vec<u8>)]| -> Vec<String> {
        files.iter().map(|(name, _)| name.clone()).collect()
    };
    assert_eq!(names(&before), names(&after), "files came or went");
    assert!(before == after, "a file was changed");
    assert!(error.to_string().contains(folder.state().to_str().unwrap()));
    error
}

/// A state folder with some fifty pages in its file.
fn filled() -> Folder {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let checkpoint = Checkpoint {
        runs: (0..300).map(run_number).collect(),
        ..state_of("rodi", "x".repeat(20_000))
    };
    saved(&store, checkpoint).unwrap();
    store.close().unwrap();
    folder
}

fn with_file(bytes: &[u8]) -> Folder {
    let folder = Folder::new();
    fs::create_dir(folder.state()).unwrap();
    fs::write(folder.file(), bytes).unwrap();
    folder
}

/// Pseudo-random bytes (xorshift64), the same at every run.
fn noise(seed: u64, length: usize) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    std::iter::repeat_with(|| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.to_le_bytes()[3]
    })
    .take(length)
    .collect()
}

#[test]
fn a_file_that_is_no_database() {
    let whole = fs::read(filled().file()).unwrap();
    for (bytes, found) in [
        (
            &b"[broker]\nhost = 1"[..],
            r#"begins with "[broker]\nhost = ""#,
        ),
        (&b""[..], "an empty file"),
        (&whole[..99], "only 99 of the header's 100 bytes"),
        (&noise(1, 8192), "begins with"),
    ] {
        let error = refusal(&with_file(bytes));
        assert!(matches!(error, StoreError::NotADatabase { .. }), "{error}");
        let text = error.to_string();
        assert!(text.contains(found), "{text}");
        assert!(text.contains("to start afresh"), "{text}");
    }
}

#[test]
fn random_bytes_over_any_page() {
    const PAGE: usize = 4096;
    let whole = fs::read(filled().file()).unwrap();
    let pages = whole.len() / PAGE;
    assert!(pages > 30, "{pages} pages are too few to damage");
    for page in 1..pages {
        let mut bytes = whole.clone();
        bytes[page * PAGE..][..PAGE].copy_from_slice(&noise(page as u64, PAGE));
        let error = refusal(&with_file(&bytes));
        assert!(
            matches!(error, StoreError::Damaged { .. }),
            "page {page}: {error}"
        );
        assert!(error.to_string().contains("Restore a backup"), "{error}");
    }
}

#[test]
fn a_file_cut_short() {
    let whole = fs::read(filled().file()).unwrap();
    for length in [100, 4096, 5000, whole.len() / 2, whole.len() - 4096] {
        let error = refusal(&with_file(&whole[..length]));
        assert!(
            matches!(error, StoreError::Damaged { .. }),
            "{length}: {error}"
        );
    }
}

#[test]
fn text_that_is_no_text() {
    let folder = filled();
    let other = folder.other_program();
    other
        .execute_batch("UPDATE unit_part SET state = CAST(x'ff00fe' AS TEXT)")
        .unwrap();
    other.close().unwrap();
    let error = refusal(&folder);
    assert!(matches!(error, StoreError::Damaged { .. }), "{error}");
}

#[test]
fn another_programs_database() {
    for id in ["", "PRAGMA application_id = 0x0f055111;"] {
        let folder = with_file(b"");
        let other = folder.other_program();
        other
            .execute_batch(&format!("{id} CREATE TABLE photo (name TEXT)"))
            .unwrap();
        other.close().unwrap();
        let error = refusal(&folder);
        assert!(matches!(error, StoreError::Foreign { .. }), "{error}");
    }
}

#[test]
fn a_newer_file_whether_the_header_or_only_the_log_says_so() {
    for in_log in [false, true] {
        let folder = filled();
        let other = folder.other_program();
        other
            .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, in_log)
            .unwrap();
        other.pragma_update(None, "user_version", 99).unwrap();
        other.close().unwrap();
        let header = header::read(&folder.file()).unwrap().unwrap();
        assert_eq!(header.version, if in_log { schema::NEWEST } else { 99 });
        let error = refusal(&folder);
        assert!(
            matches!(error, StoreError::Newer { found: 99, .. }),
            "{error}"
        );
        assert!(
            error.to_string().contains("Install the newer version"),
            "{error}"
        );
    }
}

#[test]
fn a_log_whose_database_was_moved_away() {
    let folder = filled();
    fs::rename(folder.file(), folder.state().join("old.db")).unwrap();
    fs::write(folder.state().join("permeated.db-wal"), b"the last changes").unwrap();
    let error = refusal(&folder);
    assert!(matches!(error, StoreError::OrphanedLog { .. }), "{error}");
}

#[test]
fn a_locked_file() {
    let folder = filled();
    let other = folder.other_program();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error = refusal(&folder);
    assert!(matches!(error, StoreError::Locked { .. }), "{error}");
}

#[test]
fn a_folder_in_use() {
    let folder = filled();
    let (_store, _) = folder.open();
    let error = refusal(&folder);
    assert!(matches!(error, StoreError::InUse { .. }), "{error}");
}

#[test]
fn a_file_where_the_folder_or_its_parent_should_be() {
    let folder = Folder::new();
    fs::write(folder.state(), b"a file").unwrap();
    for path in [folder.state(), folder.state().join("deeper")] {
        let error = Store::open(&path).unwrap_err();
        assert!(matches!(error, StoreError::NotADirectory { .. }), "{error}");
        assert!(error.to_string().contains("store.directory"), "{error}");
    }
    assert_eq!(fs::read(folder.state()).unwrap(), b"a file");
}

/// `/proc` takes no new files from anybody, the superuser included.
#[test]
#[cfg(target_os = "linux")]
fn a_folder_that_cannot_be_written() {
    for path in ["/proc", "/proc/permeated"] {
        let error = Store::open(std::path::Path::new(path)).unwrap_err();
        assert!(matches!(error, StoreError::Files { .. }), "{error}");
        assert!(error.to_string().contains("/proc/permeated"), "{error}");
    }
}

#[test]
fn a_folder_where_the_file_should_be() {
    let folder = Folder::new();
    fs::create_dir_all(folder.file()).unwrap();
    let error = Store::open(&folder.state()).unwrap_err();
    assert!(matches!(error, StoreError::Files { .. }), "{error}");
}

#[test]
fn a_path_with_every_awkward_character_is_no_reason() {
    let folder = Folder::new();
    let state = folder.0.path().join("a b%20?#&=:ü'\"\\");
    let (store, _) = Store::open(&state).unwrap();
    saved(&store, state_of("rodi", "1")).unwrap();
    store.close().unwrap();
    let (_store, loaded) = Store::open(&state).unwrap();
    assert_eq!(loaded.units["rodi"], whole("1"));
}
