//! From a folder to an open, checked, current database. Every check that may end in a refusal
//! comes before the first connection that can write.

use std::{
    collections::BTreeMap,
    ffi::OsString,
    fs::{DirBuilder, File, OpenOptions, TryLockError},
    io,
    os::unix::{
        ffi::OsStrExt,
        fs::{DirBuilderExt, OpenOptionsExt},
    },
    path::{Path, PathBuf},
    time::Duration,
};

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::{FILE, Loaded, NoticeKey, NoticeRow, Parts, StoreError, header, schema};

const LOCK: &str = "permeated.lock";

/// What tests set differently.
pub(super) struct Tuning {
    /// How long a lock held by another program is waited for.
    pub(super) patience: Duration,
    /// Pages after which the file counts as out of room.
    pub(super) room: Option<u32>,
}

impl Default for Tuning {
    fn default() -> Self {
        Self {
            patience: Duration::from_secs(5),
            room: None,
        }
    }
}

/// An open database and the lock on its folder, which must outlive it.
pub(super) struct Opened {
    pub(super) connection: Connection,
    pub(super) lock: FolderLock,
    pub(super) path: PathBuf,
}

/// Opens the database in `directory`, or makes it.
pub(super) fn open(directory: &Path, tuning: &Tuning) -> Result<(Opened, Loaded), StoreError> {
    let directory = std::path::absolute(directory)
        .map_err(|error| StoreError::files("use", directory, error))?;
    make_directory(&directory)?;
    let lock = FolderLock::take(&directory)?;
    let path = directory.join(FILE);
    let (version, read) = match header::read(&path)? {
        Some(header) => {
            accept(&path, header.application_id, header.version)?;
            verify(&path, tuning)?
        }
        None => (create(&directory, &path, tuning)?, None),
    };
    let failed = |error| StoreError::database("open", &path, error).looked_into();
    let mut connection = connect(&path, tuning).map_err(failed)?;
    if version < schema::NEWEST {
        schema::migrate(&mut connection, version, schema::MIGRATIONS).map_err(failed)?;
    }
    // Learn now, not at the first checkpoint, that the file is locked or read-only.
    connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .and_then(rusqlite::Transaction::rollback)
        .map_err(failed)?;
    let loaded = match read {
        Some(loaded) => loaded,
        None => load(&connection).map_err(failed)?,
    };
    let opened = Opened {
        connection,
        lock,
        path,
    };
    Ok((opened, loaded))
}

fn make_directory(directory: &Path) -> Result<(), StoreError> {
    if directory.exists() && !directory.is_dir() {
        return Err(StoreError::NotADirectory {
            path: directory.to_owned(),
        });
    }
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(directory)
        .map_err(|error| StoreError::files("make the state folder", directory, error))
}

/// The state folder is ours while this lives. The system drops the lock with the process, so no
/// crash leaves it behind; the empty file stays.
pub(super) struct FolderLock(pub(super) File);

impl FolderLock {
    fn take(directory: &Path) -> Result<Self, StoreError> {
        let path = directory.join(LOCK);
        let file = private()
            .create(true)
            .open(&path)
            .map_err(|error| StoreError::files("write", &path, error))?;
        match file.try_lock() {
            Ok(()) => Ok(Self(file)),
            Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
                directory: directory.to_owned(),
            }),
            Err(TryLockError::Error(error)) => Err(StoreError::files("lock", &path, error)),
        }
    }
}

impl Drop for FolderLock {
    fn drop(&mut self) {
        // Closing is not enough: a process being started at this moment has a copy of the open
        // file until it runs its own program, and the lock would live on in the copy.
        let _ = self.0.unlock();
    }
}

fn private() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.read(true).write(true).mode(0o600);
    options
}

pub(super) fn accept(path: &Path, application_id: u32, version: u32) -> Result<(), StoreError> {
    let path = path.to_owned();
    if application_id != schema::APPLICATION_ID {
        return Err(StoreError::Foreign {
            path,
            found: application_id,
        });
    }
    if version > schema::NEWEST {
        return Err(StoreError::Newer {
            path,
            found: version,
        });
    }
    if version == 0 {
        return Err(StoreError::Damaged {
            path,
            found: "its layout has no version".to_owned(),
        });
    }
    Ok(())
}

/// Reads the whole file without being able to change it. Returns its version as the write-ahead
/// log has it, which may be newer than the header's, and what it holds unless its layout is old.
fn verify(path: &Path, tuning: &Tuning) -> Result<(u32, Option<Loaded>), StoreError> {
    let failed = |error| StoreError::database("check", path, error);
    let connection = read_only(path).map_err(failed)?;
    connection.busy_timeout(tuning.patience).map_err(failed)?;
    let complaint: String = connection
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(failed)?;
    if complaint != "ok" {
        return Err(StoreError::Damaged {
            path: path.to_owned(),
            found: complaint.replace('\n', " "),
        });
    }
    let field = |name| connection.pragma_query_value(None, name, |row| row.get::<_, u32>(0));
    let version = field("user_version").map_err(failed)?;
    accept(path, field("application_id").map_err(failed)?, version)?;
    if version < schema::NEWEST {
        return Ok((version, None));
    }
    let loaded = load(&connection).map_err(failed)?;
    Ok((version, Some(loaded)))
}

/// Without a log beside it the file can be read as immutable, which makes no -wal and no -shm.
pub(super) fn read_only(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    if beside(path, "-wal").exists() {
        return Connection::open_with_flags(path, flags);
    }
    let mut uri = String::from("file:");
    for &byte in path.as_os_str().as_bytes() {
        if byte.is_ascii_alphanumeric() || b"/-_.~".contains(&byte) {
            uri.push(char::from(byte));
        } else {
            uri.push_str(&format!("%{byte:02X}"));
        }
    }
    uri.push_str("?immutable=1");
    Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI)
}

/// Makes the database under another name, complete and on disk, before it gets its own: a crash
/// leaves a whole file or none.
fn create(directory: &Path, path: &Path, tuning: &Tuning) -> Result<u32, StoreError> {
    let log = beside(path, "-wal");
    if log.metadata().is_ok_and(|log| log.len() > 0) {
        return Err(StoreError::OrphanedLog { path: log });
    }
    let draft = beside(path, ".new");
    remove(&[&log, &beside(path, "-shm")])?;
    remove_draft(&draft)?;
    let made = make_draft(&draft, path, tuning).and_then(|()| {
        std::fs::rename(&draft, path)
            .and_then(|()| File::open(directory)?.sync_all())
            .map_err(|error| StoreError::files("make", path, error))
    });
    if made.is_err() {
        // What made it fail is worth more than why the rest could not be removed.
        let _ = remove_draft(&draft);
    }
    made.map(|()| schema::NEWEST)
}

fn make_draft(draft: &Path, path: &Path, tuning: &Tuning) -> Result<(), StoreError> {
    let unmade = |error| StoreError::files("make", draft, error);
    let failed = |error| StoreError::database("make", path, error);
    // Made here rather than by SQLite for its mode, which the log's files take over.
    private().create_new(true).open(draft).map_err(unmade)?;
    let mut connection = connect(draft, tuning).map_err(failed)?;
    schema::migrate(&mut connection, 0, schema::MIGRATIONS).map_err(failed)?;
    connection.close().map_err(|(_, error)| failed(error))?;
    File::open(draft)
        .and_then(|file| file.sync_all())
        .map_err(unmade)
}

fn remove_draft(draft: &Path) -> Result<(), StoreError> {
    let [log, index, journal] = ["-wal", "-shm", "-journal"].map(|end| beside(draft, end));
    remove(&[draft, &log, &index, &journal])
}

fn remove(leftovers: &[&Path]) -> Result<(), StoreError> {
    for leftover in leftovers {
        match std::fs::remove_file(leftover) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                return Err(StoreError::files("remove", leftover, error));
            }
            _ => {}
        }
    }
    Ok(())
}

fn connect(path: &Path, tuning: &Tuning) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(tuning.patience)?;
    connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update_and_check(None, "wal_autocheckpoint", 200, |_| Ok(()))?;
    connection.pragma_update(None, "temp_store", "MEMORY")?;
    if let Some(pages) = tuning.room {
        connection.pragma_update_and_check(None, "max_page_count", pages, |_| Ok(()))?;
    }
    Ok(connection)
}

fn load(connection: &Connection) -> rusqlite::Result<Loaded> {
    let topics = |role: &str| {
        connection
            .prepare("SELECT name FROM topic WHERE role = ?1")?
            .query_map([role], |row| row.get::<_, String>(0))?
            .collect::<rusqlite::Result<_>>()
    };
    let mut units: BTreeMap<String, Parts> = BTreeMap::new();
    let mut parts = connection.prepare("SELECT unit, part, state FROM unit_part")?;
    let mut rows = parts.query([])?;
    while let Some(row) = rows.next()? {
        let unit = units.entry(row.get(0)?).or_default();
        unit.insert(row.get(1)?, row.get(2)?);
    }
    Ok(Loaded {
        units,
        subscriptions: topics("subscription")?,
        retained: topics("retained")?,
        announced: connection
            .prepare("SELECT topic, components FROM announced")?
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect::<rusqlite::Result<_>>()?,
        notices: notices(connection)?,
        notice_marks: connection
            .prepare("SELECT target, unit, number FROM notice_mark")?
            .query_map([], |row| Ok(((row.get(0)?, row.get(1)?), number(row, 2)?)))?
            .collect::<rusqlite::Result<_>>()?,
    })
}

fn notices(connection: &Connection) -> rusqlite::Result<Vec<NoticeRow>> {
    connection
        .prepare("SELECT target, unit, number, document FROM notice ORDER BY target, unit, number")?
        .query_map([], |row| {
            let key = NoticeKey {
                target: row.get(0)?,
                unit: row.get(1)?,
                number: number(row, 2)?,
            };
            Ok(NoticeRow {
                key,
                document: row.get(3)?,
            })
        })?
        .collect()
}

fn number(row: &rusqlite::Row<'_>, column: usize) -> rusqlite::Result<u64> {
    Ok(u64::try_from(row.get::<_, i64>(column)?).unwrap_or_default())
}

/// The path with something appended to its last name.
fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(suffix);
    PathBuf::from(name)
}
