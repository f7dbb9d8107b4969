//! What is to be kept when: gathers what changed, hands it to the store one checkpoint at a time,
//! and releases a message's receipt only once the change it made is durable.

mod gather;
mod parts;

use std::{
    collections::{BTreeMap, BTreeSet},
    time::Duration,
};

use tokio::{sync::oneshot, time::Instant};

use crate::{
    core::{Keep, alert::Notice},
    edge::{
        clock::sleep_until,
        mqtt::Receipt,
        store::{Checkpoint, NoticeKey, NoticeRow, SampleRow, Store, StoreError},
    },
    installation::Installation,
    wire::Outgoing,
};

pub use gather::{Gathered, alert_row, gather};
pub use parts::{state_of_parts, state_parts};

/// Urgent changes wait this long for others: a burst of increments needs one write, not twenty.
const GATHER: Duration = Duration::from_millis(200);
/// After a failed write the next is tried this much later.
const RETRY: Duration = Duration::from_secs(10);
/// A write that takes longer counts as refused, though it may yet succeed: a memory card that dies may hang for ever.
const PATIENCE: Duration = Duration::from_secs(20);
/// Samples are for graphs: they wait this long for each other, to spare a memory card; with them what may wait of
/// the states …
const SAMPLES: Duration = Duration::from_secs(600);
/// … and while nothing can be written only so many wait of each unit, or of all together where few units
/// are.
const MOST_SAMPLES_OF_A_UNIT: usize = 20;
const MOST_SAMPLES: usize = 2000;

/// The keeper of state.
pub struct Keeper {
    store: Store,
    interval: Duration,
    due: Option<Instant>,
    last: Instant,
    /// Changes that wait to be written: the newest state of each unit, all records.
    waiting: Checkpoint,
    /// Samples that wait for others, and since when.
    samples: Vec<SampleRow>,
    sampled: Instant,
    receipts: Vec<Receipt>,
    notices: Vec<(String, Box<Notice>)>,
    /// States that tell of sums, by topic.
    sums: BTreeMap<String, Outgoing>,
    writing: Option<Writing>,
    problem: Option<String>,
    /// Notices that were sent by HTTP though their rows could not be written yet.
    sent_unwritten: BTreeSet<NoticeKey>,
    /// Whether notices came that need not wait for a write that hangs.
    has_freed: bool,
    /// Writes that succeeded and that failed.
    tally: (u64, u64),
}

/// What waited for a checkpoint and may go on now that it is durable. When the disk refuses it, notices go all
/// the same: one told twice after a crash is better than none while the disk is broken.
#[derive(Debug, Default)]
pub struct Released {
    /// Messages the broker may forget.
    pub receipts: Vec<Receipt>,
    /// Notices that may be told, with their units.
    pub notices: Vec<(String, Box<Notice>)>,
    /// Notices that may be sent by HTTP.
    pub queued: Vec<NoticeRow>,
    /// States whose sums are on disk: after a crash none of them falls.
    pub sums: Vec<Outgoing>,
    /// Whether the write succeeded.
    pub is_durable: bool,
}

struct Writing {
    checkpoint: Checkpoint,
    receipts: Vec<Receipt>,
    notices: Vec<(String, Box<Notice>)>,
    sums: BTreeMap<String, Outgoing>,
    answer: oneshot::Receiver<Result<(), StoreError>>,
    /// When it counts as refused; `None` once it does.
    patience: Option<Instant>,
}

impl Writing {
    fn hangs(&self) -> bool {
        self.patience.is_none()
    }
}

impl Keeper {
    /// Keeps state in `store`, at least every `interval` while something changes.
    #[must_use]
    pub fn new(store: Store, interval: Duration) -> Self {
        Self {
            store,
            interval,
            due: None,
            last: Instant::now(),
            waiting: Checkpoint::default(),
            samples: Vec::new(),
            sampled: Instant::now(),
            receipts: Vec::new(),
            notices: Vec::new(),
            sums: BTreeMap::new(),
            writing: None,
            problem: None,
            sent_unwritten: BTreeSet::new(),
            has_freed: false,
            tally: (0, 0),
        }
    }

    /// Notes that something changed, and its receipt. A disk that takes nothing is not tried more often.
    pub fn note(&mut self, keep: Keep, receipt: Option<Receipt>) {
        self.receipts.extend(receipt);
        if self.problem.is_some() && self.writing.is_none() {
            return;
        }
        let at = match keep {
            Keep::Nothing => return,
            Keep::Soon => self.last + self.interval,
            Keep::Now => Instant::now() + GATHER,
        };
        self.due = Some(self.due.map_or(at, |due| due.min(at)));
    }

    /// Remembers the filters the broker's session holds for us.
    pub fn note_subscriptions(&mut self, filters: BTreeSet<String>) {
        self.waiting.subscriptions = Some(filters);
        self.note(Keep::Now, None);
    }

    /// Remembers the topics on which the broker retains a message of ours.
    pub fn note_retained(&mut self, topics: BTreeSet<String>) {
        self.waiting.retained = Some(topics);
        self.note(Keep::Now, None);
    }

    /// Remembers what hubs were told of whole devices.
    pub fn note_announced(&mut self, announced: BTreeMap<String, String>) {
        self.waiting.announced = Some(announced);
        self.note(Keep::Now, None);
    }

    /// Keeps notices until they are sent; [`Keeper::written`] gives them back once they are safe.
    pub fn note_queued(&mut self, notices: Vec<NoticeRow>) {
        if !notices.is_empty() {
            self.waiting.notices.extend(notices);
            self.note(Keep::Now, None);
        }
    }

    /// Holds a state that tells of sums until they are on disk; the newest of a topic waits. `keep` tells
    /// how soon that should be.
    pub fn hold(&mut self, state: Outgoing, keep: Keep) {
        self.sums.insert(state.topic.clone(), state);
        self.note(keep, None);
    }

    /// Forgets a notice that was sent or given up.
    pub fn note_settled(&mut self, notice: NoticeKey) {
        self.waiting.notices_settled.push(notice);
        self.note(Keep::Now, None);
    }

    /// Writes that succeeded and that failed, since the start.
    #[must_use]
    pub fn tally(&self) -> (u64, u64) {
        self.tally
    }

    /// Why the last write failed, if it did.
    #[must_use]
    pub fn problem(&self) -> Option<&str> {
        self.problem.as_deref()
    }

    /// When [`Keeper::begin`] should be called; never while a write is under way that may be waited for.
    #[must_use]
    pub fn due(&self) -> Option<Instant> {
        self.due
            .filter(|_| self.writing.as_ref().is_none_or(Writing::hangs))
    }

    /// Begins to write what changed, and tells whether it could; beside a write that hangs it only frees notices.
    pub fn begin(&mut self, installation: &mut Installation) -> bool {
        if self.writing.as_ref().is_some_and(|write| !write.hangs()) {
            return false;
        }
        let is_whole = self.sampled.elapsed() >= SAMPLES;
        self.gather(installation, is_whole);
        if is_whole {
            self.hand_over_samples(installation);
        }
        self.due = None;
        self.last = Instant::now();
        if self.writing.is_some() {
            self.has_freed = true;
            return false;
        }
        let checkpoint = std::mem::take(&mut self.waiting);
        let answer = self.store.save(checkpoint.clone());
        self.writing = Some(Writing {
            checkpoint,
            receipts: std::mem::take(&mut self.receipts),
            notices: std::mem::take(&mut self.notices),
            sums: std::mem::take(&mut self.sums),
            answer,
            patience: Some(Instant::now() + PATIENCE),
        });
        true
    }

    /// Waits for the write under way (for ever when there is none); safe to cancel. Gives what
    /// may be released.
    pub async fn written(&mut self) -> Released {
        if std::mem::take(&mut self.has_freed) {
            return self.free();
        }
        let Some(writing) = &mut self.writing else {
            return std::future::pending().await;
        };
        let patience = writing.patience;
        let answer = tokio::select! {
            answer = &mut writing.answer => answer.unwrap_or(Err(StoreError::Stopped)),
            () = sleep_until(patience) => {
                writing.patience = None;
                let seconds = PATIENCE.as_secs();
                let problem = format!("the disk has not answered for {seconds} s: look at it");
                tracing::error!("state could not be written yet: {problem}");
                self.problem = Some(problem);
                return self.free();
            }
        };
        let Some(writing) = self.writing.take() else {
            return Released::default();
        };
        match answer {
            Ok(()) => {
                self.tally.0 += 1;
                if self.problem.take().is_some() {
                    tracing::info!("state is written again");
                }
                if writing.hangs() {
                    self.due = Some(Instant::now());
                }
                let mut queued = writing.checkpoint.notices;
                queued.retain(|row| !self.sent_unwritten.remove(&row.key));
                Released {
                    receipts: writing.receipts,
                    notices: writing.notices,
                    queued,
                    sums: writing.sums.into_values().collect(),
                    is_durable: true,
                }
            }
            Err(error) => {
                self.tally.1 += 1;
                let told = self.problem.replace(error.to_string());
                if told != self.problem {
                    tracing::error!("state could not be written, trying again: {error}");
                }
                self.put_back(writing);
                self.free()
            }
        }
    }

    /// Notices go though the disk does not take what tells of them.
    fn free(&mut self) -> Released {
        let mut released = Released::default();
        let mut rows = Vec::new();
        if let Some(writing) = &mut self.writing {
            released.notices.append(&mut writing.notices);
            rows.extend(&writing.checkpoint.notices);
        }
        released.notices.append(&mut self.notices);
        rows.extend(&self.waiting.notices);
        let unsent = |row: &&NoticeRow| self.sent_unwritten.insert(row.key.clone());
        released.queued = rows.into_iter().filter(unsent).cloned().collect();
        released
    }

    /// Writes what is left and closes the store. Gives the receipts and sums that may be released.
    ///
    /// # Errors
    /// When the last write failed.
    pub async fn close(mut self, installation: &mut Installation) -> Result<Released, StoreError> {
        let mut released = Released::default();
        while self.writing.is_some() {
            // Notices wait in the state for the next start: what becomes of them on the way out could not
            // be kept any more.
            let written = self.written().await;
            released.receipts.extend(written.receipts);
            released.sums.extend(written.sums);
        }
        self.gather(installation, true);
        self.hand_over_samples(installation);
        self.begin(installation);
        let Some(writing) = self.writing.take() else {
            return Ok(released);
        };
        writing.answer.await.unwrap_or(Err(StoreError::Stopped))?;
        released.receipts.extend(writing.receipts);
        released.sums.extend(writing.sums.into_values());
        self.store.close()?;
        Ok(released)
    }

    fn gather(&mut self, installation: &mut Installation, is_whole: bool) {
        let gathered = gather(installation, &mut self.waiting, is_whole);
        self.samples.extend(gathered.samples);
        self.notices.extend(gathered.notices);
    }

    fn hand_over_samples(&mut self, installation: &Installation) {
        self.waiting.samples.append(&mut self.samples);
        let most = (MOST_SAMPLES_OF_A_UNIT * installation.units().len()).max(MOST_SAMPLES);
        let too_many = self.waiting.samples.len().saturating_sub(most);
        self.waiting.samples.drain(..too_many);
        self.sampled = Instant::now();
    }

    /// A failed write waits with what came since; newer states win.
    fn put_back(&mut self, failed: Writing) {
        let newer = std::mem::replace(&mut self.waiting, failed.checkpoint);
        for (unit, parts) in newer.units {
            self.waiting.units.entry(unit).or_default().extend(parts);
        }
        self.waiting.runs.extend(newer.runs);
        self.waiting.stages_replaced.extend(newer.stages_replaced);
        self.waiting.entries.extend(newer.entries);
        self.waiting.alerts.extend(newer.alerts);
        self.waiting.samples.extend(newer.samples);
        self.waiting.notices.extend(newer.notices);
        self.waiting.notices_settled.extend(newer.notices_settled);
        self.waiting.subscriptions = newer.subscriptions.or(self.waiting.subscriptions.take());
        self.waiting.retained = newer.retained.or(self.waiting.retained.take());
        self.waiting.announced = newer.announced.or(self.waiting.announced.take());
        self.receipts.splice(0..0, failed.receipts);
        self.notices.splice(0..0, failed.notices);
        let newer = std::mem::replace(&mut self.sums, failed.sums);
        self.sums.extend(newer);
        self.due = Some(Instant::now() + RETRY);
    }
}
