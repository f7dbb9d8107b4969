//! Notices by HTTP, without a hub: a queue for each target, one request at a time, tried until it is
//! taken. What waits is in the store; this decides when it is sent and when it is done with.
//!
//! A notice is sent only once its row is durable, and its row goes once the target has answered 2xx.
//! Killed between the two, it is sent again: its `Idempotency-Key` is the same then.

mod attempt;

use std::{
    collections::{BTreeMap, VecDeque},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use tokio::{sync::mpsc, task::JoinHandle, time::Instant};

pub use attempt::{Courier, NotifyError, Outcome};

use crate::{
    config::NotifyTarget,
    core::alert::{NoticeKind, Severity},
    edge::store::{NoticeKey, NoticeRow},
    wire::notice::Notice,
};

/// So many wait at most for a target; one that is away for months costs no more.
pub const MOST: usize = 100;

/// When a notice is tried again.
#[derive(Clone, Copy, Debug)]
pub struct Pauses {
    /// After the first failure; doubled after each further one, …
    pub first: Duration,
    /// … up to this.
    pub longest: Duration,
    /// A target may ask for as much.
    pub asked: Duration,
}

impl Default for Pauses {
    fn default() -> Self {
        Self {
            first: Duration::from_secs(2),
            longest: Duration::from_secs(600),
            asked: Duration::from_secs(6 * 3600),
        }
    }
}

/// All targets.
pub struct Notifier {
    lanes: Vec<Lane>,
    marks: BTreeMap<(String, String), u64>,
    settled: mpsc::UnboundedReceiver<NoticeKey>,
    settle: mpsc::UnboundedSender<NoticeKey>,
}

/// The queue of one target and the task that empties it.
struct Lane {
    target: NotifyTarget,
    shared: Arc<Shared>,
    task: JoinHandle<()>,
}

struct Shared {
    queue: Mutex<Queue>,
    stirred: tokio::sync::Notify,
}

#[derive(Default)]
struct Queue {
    waiting: VecDeque<(NoticeKey, Notice)>,
    /// The first is on its way.
    travelling: bool,
    closing: bool,
}

impl Shared {
    fn queue(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The first is not on its way any more, and done with or not.
    fn came_back(&self, key: &NoticeKey, done: bool) {
        let mut queue = self.queue();
        queue.travelling = false;
        if done {
            queue.waiting.retain(|(waiting, _)| waiting != key);
        }
    }
}

impl Notifier {
    /// Opens the targets with what waited for them; must be called inside a tokio runtime. What waited
    /// for a target that is no more is done with.
    ///
    /// # Errors
    /// When a file that a target needs cannot be used.
    pub fn open(
        targets: &[NotifyTarget],
        waiting: Vec<NoticeRow>,
        marks: BTreeMap<(String, String), u64>,
        pauses: Pauses,
    ) -> Result<Self, NotifyError> {
        let (settle, settled) = mpsc::unbounded_channel();
        let mut lanes = Vec::with_capacity(targets.len());
        for target in targets {
            let courier = Courier::new(target)?;
            let shared = Arc::new(Shared {
                queue: Mutex::default(),
                stirred: tokio::sync::Notify::new(),
            });
            let task = run(courier, Arc::clone(&shared), settle.clone(), pauses);
            lanes.push(Lane {
                target: target.clone(),
                shared,
                task: tokio::spawn(task),
            });
        }
        let mut notifier = Self {
            lanes,
            marks,
            settled,
            settle,
        };
        for row in waiting {
            notifier.send(row);
        }
        Ok(notifier)
    }

    /// Takes a notice for every target that wants it and did not get it already. The rows are to be made
    /// durable, and then given to [`Notifier::send`].
    #[must_use = "what is not made durable and sent is lost"]
    pub fn queue(&mut self, notice: &Notice) -> Vec<NoticeRow> {
        let mut rows = Vec::new();
        for lane in &self.lanes {
            let whose = (lane.target.name.clone(), notice.unit.clone());
            let mark = self.marks.entry(whose).or_default();
            if notice.number <= *mark || !notice.is_for(&lane.target) {
                continue;
            }
            *mark = notice.number;
            rows.push(NoticeRow {
                key: NoticeKey {
                    target: lane.target.name.clone(),
                    unit: notice.unit.clone(),
                    number: notice.number,
                },
                document: serde_json::to_string(notice).unwrap_or_default(),
            });
        }
        rows
    }

    /// Sends a notice whose row is durable.
    pub fn send(&mut self, row: NoticeRow) {
        let NoticeRow { key, document } = row;
        let lane = self
            .lanes
            .iter()
            .find(|lane| lane.target.name == key.target);
        let (lane, notice) = match (lane, serde_json::from_str::<Notice>(&document)) {
            (Some(lane), Ok(notice)) => (lane, notice),
            (None, _) => {
                let NoticeKey { target, .. } = &key;
                tracing::info!(
                    "a notice for {target:?} is dropped: there is no such target any more"
                );
                self.done(key);
                return;
            }
            (Some(_), Err(error)) => {
                tracing::error!("a notice in the store cannot be read and is dropped: {error}");
                self.done(key);
                return;
            }
        };
        let mut queue = lane.shared.queue();
        queue.waiting.push_back((key, notice));
        let dropped = queue.make_room();
        drop(queue);
        lane.shared.stirred.notify_one();
        if let Some(key) = dropped {
            let NoticeKey { target, number, .. } = &key;
            tracing::warn!("too many notices wait for {target:?}: number {number} is dropped");
            self.done(key);
        }
    }

    fn done(&self, key: NoticeKey) {
        // We hold the receiver.
        let _ = self.settle.send(key);
    }

    /// The next notice that is done with: its row may go. Safe to cancel.
    pub async fn settled(&mut self) -> NoticeKey {
        match self.settled.recv().await {
            Some(key) => key,
            // We hold a sender.
            None => std::future::pending().await,
        }
    }

    /// Begins no further request, waits at most `limit` for those on their way, and gives what is done
    /// with.
    pub async fn close(mut self, limit: Duration) -> Vec<NoticeKey> {
        let until = Instant::now() + limit;
        for lane in &self.lanes {
            lane.shared.queue().closing = true;
            lane.shared.stirred.notify_one();
        }
        for lane in &mut self.lanes {
            // Who does not come to an end is cut off below.
            let _ = tokio::time::timeout_at(until, &mut lane.task).await;
        }
        let mut keys = Vec::new();
        while let Ok(key) = self.settled.try_recv() {
            keys.push(key);
        }
        keys
    }
}

impl Drop for Lane {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Queue {
    /// Drops what is least missed when too many wait: the oldest reminder, else the oldest that is not
    /// critical.
    fn make_room(&mut self) -> Option<NoticeKey> {
        if self.waiting.len() <= MOST {
            return None;
        }
        let from = usize::from(self.travelling);
        let first = |fits: fn(&Notice) -> bool| {
            let mut waiting = self.waiting.iter().skip(from);
            waiting.position(|(_, notice)| fits(notice))
        };
        let reminder = first(|notice| notice.kind == NoticeKind::Reminder);
        let least = reminder.or_else(|| first(|notice| notice.severity < Severity::Critical));
        let place = from + least.unwrap_or(0);
        self.waiting.remove(place).map(|(key, _)| key)
    }
}

/// Empties one queue, one notice after the other, so that they arrive in their order.
async fn run(
    courier: Courier,
    shared: Arc<Shared>,
    settle: mpsc::UnboundedSender<NoticeKey>,
    pauses: Pauses,
) {
    let mut failures = 0_u32;
    loop {
        let next = {
            let mut queue = shared.queue();
            if queue.closing {
                return;
            }
            queue.travelling = !queue.waiting.is_empty();
            queue.waiting.front().cloned()
        };
        let Some((key, notice)) = next else {
            shared.stirred.notified().await;
            continue;
        };
        let pause = match courier.deliver(&notice).await {
            Outcome::Taken { .. } => {
                if failures > 0 {
                    tracing::info!("notices reach {:?} again", key.target);
                }
                None
            }
            Outcome::Refused { why } => {
                tracing::error!("notice {} is given up: {why}", notice.idempotency_key());
                None
            }
            Outcome::Later { why, asked } => {
                if failures == 0 {
                    let number = notice.idempotency_key();
                    tracing::warn!("notice {number} is not delivered yet, trying again: {why}");
                }
                let own = pauses.first * 2_u32.pow(failures.min(16));
                let asked = asked.unwrap_or_default().min(pauses.asked);
                Some(own.min(pauses.longest).max(asked))
            }
        };
        shared.came_back(&key, pause.is_none());
        if let Some(pause) = pause {
            failures += 1;
            rest(&shared, pause).await;
        } else {
            failures = 0;
            // The application may have gone meanwhile.
            let _ = settle.send(key);
        }
    }
}

/// Waits, but not longer than until the end is asked for; further notices do not shorten it.
async fn rest(shared: &Shared, pause: Duration) {
    let until = Instant::now() + pause;
    loop {
        tokio::select! {
            () = tokio::time::sleep_until(until) => return,
            () = shared.stirred.notified() => {
                if shared.queue().closing {
                    return;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_critical_gives_way_last() {
        let mut queue = Queue::default();
        let number = |number: u64, severity| {
            let key = NoticeKey {
                target: "phone".to_owned(),
                unit: "kitchen".to_owned(),
                number,
            };
            let notice = Notice {
                number,
                severity,
                ..Notice::test()
            };
            (key, notice)
        };
        queue.waiting.push_back(number(1, Severity::Critical));
        for next in 2..=MOST as u64 {
            queue.waiting.push_back(number(next, Severity::Warning));
        }
        assert!(queue.make_room().is_none());
        queue.waiting.push_back(number(101, Severity::Notice));
        assert_eq!(queue.make_room().unwrap().number, 2);
        assert_eq!(queue.waiting.len(), MOST);
    }
}
