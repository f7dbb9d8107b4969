//! What can go wrong with the state on disk, in words that say what was found and what to do.

use std::{io, path::Path, path::PathBuf};

use rusqlite::ErrorCode;

/// A refusal or a failure of the store. The text names the path, what was found and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Something else has the name of the state folder.
    #[error(
        "{} is not a folder, but state is to be kept there; move it away or name another folder \
         in `store.directory`",
        path.display()
    )]
    NotADirectory {
        /// What should be a folder.
        path: PathBuf,
    },
    /// The folder or a file in it cannot be made, read or written.
    #[error(
        "cannot {doing} {}: {source}; the state folder and its files must belong to the user \
         that runs permeated, on a disk that can be written (another folder can be named in \
         `store.directory`)",
        path.display()
    )]
    Files {
        /// What was tried, as a verb.
        doing: &'static str,
        /// With what.
        path: PathBuf,
        /// Why it failed.
        source: io::Error,
    },
    /// Another process has this folder.
    #[error(
        "the state folder {} is in use by another permeated process; stop that one, or give this \
         one its own folder in `store.directory`",
        directory.display()
    )]
    InUse {
        /// The state folder.
        directory: PathBuf,
    },
    /// The file has never been, or is no longer, a database.
    #[error(
        "{} is not a database: found {found}; it was left untouched. Restore a backup, or move \
         it away together with the -wal and -shm files beside it to start afresh",
        path.display()
    )]
    NotADatabase {
        /// The database file.
        path: PathBuf,
        /// What the file begins with.
        found: String,
    },
    /// The file was ours once.
    #[error(
        "{} is damaged: {found}; nothing was changed. Restore a backup, or move it away together \
         with the -wal and -shm files beside it to start afresh; if it happens again, test the \
         disk or memory card",
        path.display()
    )]
    Damaged {
        /// The database file.
        path: PathBuf,
        /// What is wrong with it.
        found: String,
    },
    /// A good database, but not ours.
    #[error(
        "{} was made by another program: its application id is {found:#010x}, permeated's is \
         {:#010x}; it was left untouched. Name another folder in `store.directory`, or move the \
         file away to start afresh",
        path.display(),
        super::schema::APPLICATION_ID
    )]
    Foreign {
        /// The database file.
        path: PathBuf,
        /// Application id in its header.
        found: u32,
    },
    /// A newer permeated has had this file.
    #[error(
        "{} was written by a newer permeated: its layout is version {found}, this program knows \
         up to {}; it was left untouched. Install the newer version again, restore a backup from \
         before the upgrade, or move the file away to start afresh",
        path.display(),
        super::schema::NEWEST
    )]
    Newer {
        /// The database file.
        path: PathBuf,
        /// Version of its layout.
        found: u32,
    },
    /// An older permeated has had this file, and the service of this one has not yet.
    #[error(
        "{} was written by an older permeated: its layout is version {found}, this program writes {}; \
         start the service once, which brings it up to date",
        path.display(),
        super::schema::NEWEST
    )]
    Older {
        /// The database file.
        path: PathBuf,
        /// Version of its layout.
        found: u32,
    },
    /// The database was moved away or deleted, its log was not.
    #[error(
        "{} is there, but the database it belongs to is not; it may hold the last changes. Put \
         the database back beside it, or move this file away as well to start afresh",
        path.display()
    )]
    OrphanedLog {
        /// The write-ahead log.
        path: PathBuf,
    },
    /// No room.
    #[error(
        "no room on the disk to write {}; make room: until then nothing is kept",
        path.display()
    )]
    DiskFull {
        /// The database file.
        path: PathBuf,
    },
    /// Another program is in the middle of something.
    #[error(
        "{} is locked by another program; end it (a database browser, a backup job), and copy the \
         file only with a tool that knows SQLite",
        path.display()
    )]
    Locked {
        /// The database file.
        path: PathBuf,
    },
    /// The file may be read but not written.
    #[error(
        "{} cannot be written; it must belong to the user that runs permeated, on a disk that is \
         not mounted read-only",
        path.display()
    )]
    ReadOnly {
        /// The database file.
        path: PathBuf,
    },
    /// Anything else the database library reports.
    #[error(
        "cannot {doing} {}: {source}; look at the disk and the system's log, and restore a backup \
         if it stays",
        path.display()
    )]
    Database {
        /// What was tried, as a verb.
        doing: &'static str,
        /// The database file.
        path: PathBuf,
        /// Why it failed.
        source: rusqlite::Error,
    },
    /// The writer thread is gone, which only a defect can bring about.
    #[error("the store's writer has stopped, so nothing is saved any more; start permeated again")]
    Stopped,
}

impl StoreError {
    /// The database library keeps to itself what the system answered. Where it could not open or write, a
    /// file of our own tells whether there is no room, or nothing may be written at all.
    pub(super) fn looked_into(self) -> Self {
        let Self::Database { path, .. } = &self else {
            return self;
        };
        let mut probe = path.clone();
        probe.as_mut_os_string().push(".probe");
        let written = std::fs::write(&probe, [0; 4096]);
        // It may never have been made.
        let _ = std::fs::remove_file(&probe);
        match written.map_err(|error| (error.kind(), error)) {
            Err((
                io::ErrorKind::StorageFull
                | io::ErrorKind::QuotaExceeded
                | io::ErrorKind::ReadOnlyFilesystem
                | io::ErrorKind::PermissionDenied,
                error,
            )) => Self::files("write", path, error),
            Ok(()) | Err(_) => self,
        }
    }

    /// Sorts an error of the file system.
    pub(super) fn files(doing: &'static str, path: &Path, source: io::Error) -> Self {
        let path = path.to_owned();
        match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::DiskFull { path },
            io::ErrorKind::NotADirectory => Self::NotADirectory { path },
            _ => Self::Files {
                doing,
                path,
                source,
            },
        }
    }

    /// Sorts an error of the database library.
    pub(super) fn database(doing: &'static str, path: &Path, source: rusqlite::Error) -> Self {
        let unreadable = matches!(
            source,
            rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::InvalidColumnType(..)
                | rusqlite::Error::Utf8Error(..)
        );
        // How SQLite reports that the index of the log found no room.
        let no_index = matches!(
            source,
            rusqlite::Error::SqliteFailure(error, _)
                if error.extended_code == rusqlite::ffi::SQLITE_IOERR_SHMSIZE
        );
        let path = path.to_owned();
        match source.sqlite_error_code() {
            _ if no_index => Self::DiskFull { path },
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Locked { path },
            Some(ErrorCode::DiskFull) => Self::DiskFull { path },
            Some(ErrorCode::ReadOnly) => Self::ReadOnly { path },
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged {
                path,
                found: source.to_string(),
            },
            None if unreadable => Self::Damaged {
                path,
                found: source.to_string(),
            },
            _ => Self::Database {
                doing,
                path,
                source,
            },
        }
    }
}
