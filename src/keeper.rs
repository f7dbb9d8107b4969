//! What is to be kept when: gathers what changed, hands it to the store one checkpoint at a time,
//! and releases a message's receipt only once the change it made is durable.

mod parts;

use std::{
    collections::{BTreeMap, BTreeSet},
    time::Duration,
};

use tokio::{sync::oneshot, time::Instant};

use crate::{
    core::{
        Keep, MAY_WAIT,
        alert::{Episode, Notice},
    },
    edge::{
        mqtt::Receipt,
        store::{
            AlertRow, Checkpoint, EntryRow, NoticeKey, NoticeRow, RunRow, SampleRow, StageRow,
            Store, StoreError,
        },
    },
    installation::{Installation, Record},
    time::Wall,
    wire::{Outgoing, recorded},
};

use parts::readable_parts;
pub use parts::{state_of_parts, state_parts};

/// Urgent changes wait this long for others: a burst of increments needs one write, not twenty.
const GATHER: Duration = Duration::from_millis(200);
/// After a failed write the next is tried this much later.
const RETRY: Duration = Duration::from_secs(10);
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

    /// When [`Keeper::begin`] should be called; never while a write is under way.
    #[must_use]
    pub fn due(&self) -> Option<Instant> {
        self.due.filter(|_| self.writing.is_none())
    }

    /// Begins to write what changed.
    pub fn begin(&mut self, installation: &mut Installation) {
        if self.writing.is_some() {
            return;
        }
        let is_whole = self.sampled.elapsed() >= SAMPLES;
        self.gather(installation, is_whole);
        if is_whole {
            self.hand_over_samples(installation);
        }
        self.due = None;
        self.last = Instant::now();
        let checkpoint = std::mem::take(&mut self.waiting);
        let answer = self.store.save(checkpoint.clone());
        self.writing = Some(Writing {
            checkpoint,
            receipts: std::mem::take(&mut self.receipts),
            notices: std::mem::take(&mut self.notices),
            sums: std::mem::take(&mut self.sums),
            answer,
        });
    }

    /// Waits for the write under way (for ever when there is none); safe to cancel. Gives what
    /// may be released.
    pub async fn written(&mut self) -> Released {
        let Some(writing) = &mut self.writing else {
            return std::future::pending().await;
        };
        let answer = (&mut writing.answer)
            .await
            .unwrap_or(Err(StoreError::Stopped));
        let Some(mut writing) = self.writing.take() else {
            return Released::default();
        };
        match answer {
            Ok(()) => {
                self.tally.0 += 1;
                if self.problem.take().is_some() {
                    tracing::info!("state is written again");
                }
                let sent = std::mem::take(&mut self.sent_unwritten);
                let mut queued = writing.checkpoint.notices;
                queued.retain(|row| !sent.contains(&row.key));
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
                let mut queued = writing.checkpoint.notices.clone();
                queued.retain(|row| self.sent_unwritten.insert(row.key.clone()));
                let notices = std::mem::take(&mut writing.notices);
                self.put_back(writing);
                Released {
                    notices,
                    queued,
                    ..Released::default()
                }
            }
        }
    }

    /// Writes what is left and closes the store. Gives the receipts and sums that may be released.
    ///
    /// # Errors
    /// When the last write failed.
    pub async fn close(mut self, installation: &mut Installation) -> Result<Released, StoreError> {
        let mut released = Released::default();
        if self.writing.is_some() {
            released = self.written().await;
            // Notices wait in the state for the next start: what becomes of them on the way out could not
            // be kept any more.
            released.notices.clear();
            released.queued.clear();
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

/// What waits for others before it is kept or handed on.
#[derive(Debug, Default)]
pub struct Gathered {
    /// Samples, to be written together.
    pub samples: Vec<SampleRow>,
    /// Notices, for which the state has to be durable first, with their units.
    pub notices: Vec<(String, Box<Notice>)>,
}

/// Puts what changed since last asked into a checkpoint: unless `is_whole`, without what changes with every reading
/// and may wait, of units of which nothing is urgent.
pub fn gather(
    installation: &mut Installation,
    checkpoint: &mut Checkpoint,
    is_whole: bool,
) -> Gathered {
    for (keep, id, state) in installation.changed() {
        match readable_parts(&state) {
            Ok(mut parts) => {
                if keep < Keep::Now && !is_whole {
                    parts.retain(|part, _| !MAY_WAIT.contains(&part.as_str()));
                }
                checkpoint.units.entry(id).or_default().extend(parts);
            }
            // What was kept before stays as it is.
            Err(error) => tracing::error!("the state of {id} cannot be written down: {error}"),
        }
    }
    let mut gathered = Gathered::default();
    for record in installation.take_records() {
        match record {
            Record::Alert(unit, episode) => checkpoint.alerts.push(alert_row(unit, &episode)),
            Record::Entry(unit, entry) => checkpoint.entries.push(EntryRow {
                unit,
                number: entry.number,
                document: serde_json::to_string(&entry).unwrap_or_default(),
            }),
            Record::Notice(unit, notice) => gathered.notices.push((unit, notice)),
            Record::Run(unit, run) => checkpoint.runs.push(RunRow {
                unit,
                started: run.started.map(Wall::to_rfc3339),
                ended: run.ended.map(Wall::to_rfc3339),
                document: recorded::text(&run),
            }),
            Record::Sample(unit, sample) => gathered.samples.push(SampleRow {
                unit,
                start: sample.start.0,
                seconds: sample.seconds,
                document: serde_json::to_string(&sample.figures).unwrap_or_default(),
            }),
            Record::Stage(unit, stage) => checkpoint.stages_replaced.push(StageRow {
                unit,
                stage: stage.stage.clone(),
                replaced: stage.replaced.map(Wall::to_rfc3339),
                document: serde_json::to_string(&stage).unwrap_or_default(),
            }),
        }
    }
    gathered
}

/// An episode as it is stored: with the moments between which it is looked for.
#[must_use]
pub fn alert_row(unit: String, episode: &Episode) -> AlertRow {
    let ended = episode.end.and_then(|end| end.at);
    let since = episode.raised.or(ended);
    AlertRow {
        unit,
        number: episode.number,
        since: since.map(|since| since.0),
        // Of one that ended without a clock nothing is known but that it is over.
        until: episode.end.and(ended.or(since)).map(|until| until.0),
        document: serde_json::to_string(episode).unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{
        config,
        core::{Arrival, UnitState},
        installation::Incoming,
        time::{Mono, Now},
    };

    const CONFIGURATION: &str = r#"
[broker]
url = "mqtt://localhost"
[unit.u]
[unit.u.supply]
waste_ratio = "4:1"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "flow"
pulses_per_litre = 100
kind = "increments"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "temperature"
unit = "degC"
"#;

    /// The parts that a checkpoint holds after a message.
    fn kept(installation: &mut Installation, topic: &str, is_whole: bool) -> Vec<String> {
        let message = Incoming {
            topic,
            payload: b"7",
            arrival: Arrival::Live,
            packet: None,
        };
        let now = Now {
            mono: Mono(1000),
            wall: Wall(1_780_293_601_000),
        };
        installation.hear(now, message);
        let mut checkpoint = Checkpoint::default();
        gather(installation, &mut checkpoint, is_whole);
        let parts = checkpoint.units.remove("u").unwrap_or_default();
        parts.into_keys().collect()
    }

    #[test]
    fn what_changes_with_every_reading_waits_unless_something_is_urgent() {
        let settings = config::from_text("u.toml", CONFIGURATION, &BTreeMap::new(), None).unwrap();
        let now = Now {
            mono: Mono(0),
            wall: Wall(1_780_293_600_000),
        };
        let mut units = Installation::new(&settings, |_| UnitState::default(), now);
        gather(&mut units, &mut Checkpoint::default(), true);
        let waits = |parts: &[String]| MAY_WAIT.map(|part| !parts.iter().any(|own| own == part));
        let usual = kept(&mut units, "temperature", false);
        assert!(usual.iter().any(|part| part == "totals"));
        assert_eq!(waits(&usual), [true; 2]);
        assert_eq!(waits(&kept(&mut units, "temperature", true)), [false; 2]);
        // An increment cannot be had again.
        assert_eq!(waits(&kept(&mut units, "flow", false)), [false; 2]);
    }
}
