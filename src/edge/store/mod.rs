//! State on disk: one SQLite file, one writer thread, one transaction per checkpoint. The only
//! place that uses the database library. It keeps texts it does not understand: what the parts of a
//! unit's state mean is the core's business. Of a state only the parts that changed are written.
//!
//! A file that is damaged, newer or another program's is refused and left as it was found.

mod error;
mod header;
mod history;
mod look;
mod open;
mod past;
mod schema;
mod writer;

use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
    sync::mpsc,
    thread::JoinHandle,
};

use tokio::sync::oneshot;

pub use error::StoreError;
pub use history::samples;
pub use look::{Look, look, look_at_log, written};
pub use past::{past, units};

/// Name of the database in the state folder.
pub const FILE: &str = "permeated.db";

/// A unit's state: the name of each part and its text.
pub type Parts = BTreeMap<String, String>;

/// The state folder, opened for this process alone: the handle of the writer thread.
///
/// Dropping it writes what is queued, like [`Store::close`], but cannot report an error.
#[derive(Debug)]
pub struct Store {
    queue: Option<mpsc::Sender<writer::Request>>,
    thread: Option<JoinHandle<Result<(), StoreError>>>,
}

/// What the file held when it was opened.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Loaded {
    /// The state by unit id, units that are no longer configured included.
    pub units: BTreeMap<String, Parts>,
    /// Topic filters the broker's session holds for us.
    pub subscriptions: BTreeSet<String>,
    /// Topics on which the broker retains a message of ours.
    pub retained: BTreeSet<String>,
    /// Devices as hubs were told of them: the components by the topic.
    pub announced: BTreeMap<String, String>,
    /// Notices that wait to be sent, in the order of their numbers within each target and unit.
    pub notices: Vec<NoticeRow>,
    /// The highest number ever queued, by target and unit.
    pub notice_marks: BTreeMap<(String, String), u64>,
}

/// What changed since the last checkpoint. All of it becomes durable, or nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checkpoint {
    /// The whole state by unit id: a part not in it is forgotten, one with the same text as before is
    /// not written. Units not named keep theirs.
    pub units: BTreeMap<String, Parts>,
    /// Runs that ended. One that is already recorded, word for word, is not recorded twice, so a
    /// failed checkpoint may be offered again.
    pub runs: Vec<RunRow>,
    /// Stages that were replaced, with their last figures; repeated ones as in `runs`.
    pub stages_replaced: Vec<StageRow>,
    /// Entries of the maintenance log; one with the number of a kept one is not written.
    pub entries: Vec<EntryRow>,
    /// Episodes of alerts, each in place of what was kept of its number.
    pub alerts: Vec<AlertRow>,
    /// Samples; one that began with a kept one is not written.
    pub samples: Vec<SampleRow>,
    /// The whole new list of subscriptions; `None` keeps the old one.
    pub subscriptions: Option<BTreeSet<String>>,
    /// The whole new list of retained topics; `None` keeps the old one.
    pub retained: Option<BTreeSet<String>>,
    /// The whole new list of announced devices; `None` keeps the old one.
    pub announced: Option<BTreeMap<String, String>>,
    /// Notices to be sent; one that is there already is not written again.
    pub notices: Vec<NoticeRow>,
    /// Notices that are done with: sent, or given up.
    pub notices_settled: Vec<NoticeKey>,
}

/// A run that ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunRow {
    /// Unit id.
    pub unit: String,
    /// RFC 3339; `None` when the wall clock was not set.
    pub started: Option<String>,
    /// RFC 3339; `None` when the wall clock was not set.
    pub ended: Option<String>,
    /// JSON of the run.
    pub document: String,
}

/// An entry of a unit's maintenance log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryRow {
    /// Unit id.
    pub unit: String,
    /// Its number in the unit.
    pub number: u64,
    /// JSON of the entry.
    pub document: String,
}

/// An alert from its raising to its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlertRow {
    /// Unit id.
    pub unit: String,
    /// Its number in the unit.
    pub number: u64,
    /// When it was raised, milliseconds since 1970, if that is known.
    pub since: Option<i64>,
    /// When it was over; `None` while it lasts.
    pub until: Option<i64>,
    /// JSON of the episode.
    pub document: String,
}

/// Figures of a unit over a while.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SampleRow {
    /// Unit id.
    pub unit: String,
    /// When it began, milliseconds since 1970.
    pub start: i64,
    /// How long it lasted.
    pub seconds: u32,
    /// JSON: `mean` and `last` with figures by name.
    pub document: String,
}

/// A notice that waits to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoticeRow {
    /// Which, for whom.
    pub key: NoticeKey,
    /// JSON of the notice.
    pub document: String,
}

/// What a waiting notice is known by.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct NoticeKey {
    /// Name of the target.
    pub target: String,
    /// Unit id.
    pub unit: String,
    /// Its number in the unit.
    pub number: u64,
}

/// A stage's filling or cartridge that was replaced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageRow {
    /// Unit id.
    pub unit: String,
    /// Stage id.
    pub stage: String,
    /// RFC 3339; `None` when the wall clock was not set.
    pub replaced: Option<String>,
    /// JSON of the stage's last figures.
    pub document: String,
}

impl Store {
    /// Opens the state folder, making it (for its owner only) and the file in it when missing,
    /// brings an older file up to date and reads what it holds. Blocks while it reads the file.
    ///
    /// # Errors
    /// When the folder cannot be used or another process uses it, or the file is damaged, another
    /// program's, newer than this program or locked. In all these cases the file is left untouched.
    pub fn open(directory: &Path) -> Result<(Self, Loaded), StoreError> {
        Self::open_tuned(directory, &open::Tuning::default())
    }

    /// Queues a checkpoint without waiting. The receiver resolves once it is durable.
    ///
    /// # Errors
    /// Through the receiver: when the disk is full, the file is locked or writing fails. Nothing
    /// of the checkpoint is kept then, and the next one is tried afresh.
    #[must_use = "the checkpoint is durable only once this says so"]
    pub fn save(&self, checkpoint: Checkpoint) -> oneshot::Receiver<Result<(), StoreError>> {
        let (answer, receiver) = oneshot::channel();
        let request = writer::Request { checkpoint, answer };
        let refused = match &self.queue {
            Some(queue) => queue.send(request).err().map(|unsent| unsent.0),
            None => Some(request),
        };
        if let Some(request) = refused {
            // Nobody else holds the receiver, so this cannot go astray.
            let _ = request.answer.send(Err(StoreError::Stopped));
        }
        receiver
    }

    /// Writes everything queued, folds the write-ahead log into the file and ends the thread.
    /// Blocks until that is done.
    ///
    /// # Errors
    /// When the log could not be folded in (what was acknowledged is safe in it nevertheless) or
    /// the thread had died.
    pub fn close(mut self) -> Result<(), StoreError> {
        self.finish()
    }

    fn open_tuned(directory: &Path, tuning: &open::Tuning) -> Result<(Self, Loaded), StoreError> {
        let (opened, loaded) = open::open(directory, tuning)?;
        let (queue, requests) = mpsc::channel();
        let path = opened.path.clone();
        let thread = std::thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || writer::run(opened, &requests))
            .map_err(|source| StoreError::Files {
                doing: "start the writer thread of",
                path,
                source,
            })?;
        let store = Self {
            queue: Some(queue),
            thread: Some(thread),
        };
        Ok((store, loaded))
    }

    fn finish(&mut self) -> Result<(), StoreError> {
        self.queue = None;
        match self.thread.take() {
            Some(thread) => thread.join().unwrap_or(Err(StoreError::Stopped)),
            None => Ok(()),
        }
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        // An error has no reader any more; every save was answered by itself.
        let _ = self.finish();
    }
}

#[cfg(test)]
mod tests;
