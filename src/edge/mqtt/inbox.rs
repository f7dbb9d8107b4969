//! Hand-over to the application: bounded, without waiting, never losing the newest value of a
//! topic. Knows nothing of the protocol.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap, VecDeque},
    sync::{Mutex, MutexGuard, PoisonError},
    time::Instant,
};

use tokio::sync::Notify;

use super::{
    Limits,
    pace::{Held, Pace},
};

/// What comes from the broker, in order.
#[derive(Debug, PartialEq, Eq)]
pub enum FromBroker {
    /// A connection stands; everything has been asked for again.
    Connected {
        /// The broker kept our session: what it queued meanwhile follows.
        session_present: bool,
    },
    /// The connection is gone; it is being made again, unless the session was dropped.
    Disconnected {
        /// What happened, and what to do where a person can do something.
        reason: String,
    },
    /// The broker's session no longer holds this unwanted filter.
    Unsubscribed {
        /// As given in [`super::SessionOptions::unsubscribe`].
        filter: String,
    },
    /// The broker has a message that was posted.
    Delivered {
        /// As [`super::Session::post`] numbered it.
        letter: u64,
    },
    /// A message.
    Message(Message),
}

/// A message from the broker.
#[derive(Debug, PartialEq, Eq)]
pub struct Message {
    /// Full topic.
    pub topic: String,
    /// Payload as it came.
    pub payload: Vec<u8>,
    /// Kept by the broker from before we subscribed; its age is unknown.
    pub retained: bool,
    /// Queued by the broker while we were away; its age is unknown.
    pub late: bool,
    /// The broker sent it before and does not know whether we had it.
    pub duplicate: bool,
    /// The broker's number, the same when it is sent again; 0 when it is sent but once (QoS 0).
    pub packet_id: u16,
    /// Present when the broker keeps the message until [`super::Session::acknowledge`]: precious
    /// messages that were published with QoS 1. The others are acknowledged on arrival, lest the
    /// broker's small queue fill and drop the newest.
    pub receipt: Option<Receipt>,
}

/// To be given back once the message is safe. Dropping it makes the broker send the message again
/// over the next connection.
#[derive(Debug, PartialEq, Eq)]
pub struct Receipt {
    /// The connection it came over.
    pub(super) epoch: u64,
    /// The broker's number.
    pub(super) packet_id: u16,
}

/// What became of a message that was offered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum HandOver {
    /// It waits for the application.
    Waiting,
    /// Its topic sends too often: it waits for its turn.
    Held(Held),
    /// It waits; an older value of its topic, or of another that has a newer one, gave way.
    Overwrote,
    /// It could not be kept: too many messages that may not be overwritten.
    Rejected,
}

/// Where messages wait for the application.
#[derive(Debug)]
pub(super) struct Queue {
    waiting: Mutex<Waiting>,
    arrived: Notify,
}

#[derive(Debug)]
struct Waiting {
    limit: usize,
    pace: Option<Pace>,
    items: BTreeMap<u64, FromBroker>,
    /// Numbers of the replaceable messages of each topic, oldest first.
    replaceable: HashMap<String, VecDeque<u64>>,
    /// Those of them that have a newer one of the same topic behind them.
    outdated: BTreeSet<u64>,
    messages: usize,
    next: u64,
}

impl Queue {
    pub(super) fn new(limits: &Limits) -> Self {
        Self {
            waiting: Mutex::new(Waiting {
                limit: limits.inbox,
                pace: limits.rate.map(Pace::new),
                items: BTreeMap::new(),
                replaceable: HashMap::new(),
                outdated: BTreeSet::new(),
                messages: 0,
                next: 0,
            }),
            arrived: Notify::new(),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tells something that is not a message; always kept.
    pub(super) fn tell(&self, news: FromBroker) {
        self.lock().push(news);
        self.arrived.notify_one();
    }

    /// Hands a message over.
    pub(super) fn offer(&self, message: Message, precious: bool) -> HandOver {
        let outcome = self.lock().take_in(Instant::now(), message, precious);
        self.arrived.notify_one();
        outcome
    }

    /// Messages waiting.
    pub(super) fn len(&self) -> usize {
        self.lock().messages
    }

    /// The next item; may be cancelled at any moment without losing one.
    pub(super) async fn receive(&self) -> FromBroker {
        loop {
            let due = {
                let mut waiting = self.lock();
                waiting.release(Instant::now());
                if let Some(item) = waiting.pop() {
                    return item;
                }
                waiting.pace.as_ref().and_then(Pace::due)
            };
            let arrived = self.arrived.notified();
            match due {
                Some(due) => {
                    // Either may come first: what is due is looked for again.
                    let _ = tokio::time::timeout_at(due.into(), arrived).await;
                }
                None => arrived.await,
            }
        }
    }
}

impl Waiting {
    fn push(&mut self, item: FromBroker) -> u64 {
        let number = self.next;
        self.next += 1;
        self.items.insert(number, item);
        number
    }

    /// Takes a message in, unless its topic's turn has not come. Where every message counts none is held, nor of
    /// what the broker had queued: that has an end.
    fn take_in(&mut self, now: Instant, message: Message, precious: bool) -> HandOver {
        self.release(now);
        let message = match &mut self.pace {
            Some(pace) if !precious && !message.late => match pace.offer(now, message) {
                Ok(message) => message,
                Err(held) => return HandOver::Held(held),
            },
            Some(_) | None => message,
        };
        self.offer(message, precious)
    }

    /// Takes in what waited for its turn.
    fn release(&mut self, now: Instant) {
        while let Some(message) = self.pace.as_mut().and_then(|pace| pace.release(now)) {
            self.offer(message, false);
        }
    }

    fn offer(&mut self, message: Message, precious: bool) -> HandOver {
        let mut outcome = HandOver::Waiting;
        if self.messages >= self.limit {
            if self.give_way(&message.topic, precious) {
                outcome = HandOver::Overwrote;
            } else if precious && message.receipt.is_none() && self.messages >= 2 * self.limit {
                // Nothing holds back who sends these (QoS 0): memory must be bounded.
                return HandOver::Rejected;
            }
        }
        self.messages += 1;
        let topic = (!precious).then(|| message.topic.clone());
        let number = self.push(FromBroker::Message(message));
        if let Some(topic) = topic {
            let numbers = self.replaceable.entry(topic).or_default();
            if let Some(before) = numbers.back() {
                self.outdated.insert(*before);
            }
            numbers.push_back(number);
        }
        outcome
    }

    /// Makes room: the oldest of the same topic, else the oldest that has a newer one behind it.
    /// The newest of a topic never gives way, so the queue may grow past its limit by the number
    /// of topics.
    fn give_way(&mut self, topic: &str, precious: bool) -> bool {
        let same = (!precious)
            .then(|| self.replaceable.get(topic)?.front().copied())
            .flatten();
        let Some(number) = same.or_else(|| self.outdated.first().copied()) else {
            return false;
        };
        self.remove(number).is_some()
    }

    fn pop(&mut self) -> Option<FromBroker> {
        let number = *self.items.keys().next()?;
        self.remove(number)
    }

    fn remove(&mut self, number: u64) -> Option<FromBroker> {
        let item = self.items.remove(&number)?;
        if let FromBroker::Message(message) = &item {
            self.messages -= 1;
            self.outdated.remove(&number);
            if let Some(numbers) = self.replaceable.get_mut(&message.topic) {
                if numbers.front() == Some(&number) {
                    numbers.pop_front();
                } else {
                    numbers.retain(|other| *other != number);
                }
                if numbers.is_empty() {
                    self.replaceable.remove(&message.topic);
                }
            }
        }
        Some(item)
    }
}

#[cfg(test)]
mod tests {
    use super::{super::Rate, *};

    fn queue(inbox: usize) -> Queue {
        Queue::new(&Limits {
            inbox,
            rate: None,
            ..Limits::default()
        })
    }

    fn message(topic: &str, payload: usize) -> Message {
        Message {
            topic: topic.to_owned(),
            payload: payload.to_string().into_bytes(),
            retained: false,
            late: false,
            duplicate: false,
            packet_id: 0,
            receipt: None,
        }
    }

    fn drain(queue: &Queue) -> Vec<(String, String)> {
        std::iter::from_fn(|| queue.lock().pop())
            .map(|item| match item {
                FromBroker::Message(message) => (
                    message.topic,
                    String::from_utf8(message.payload).unwrap_or_default(),
                ),
                other => (format!("{other:?}"), String::new()),
            })
            .collect()
    }

    #[test]
    fn the_newest_of_each_topic_survives_any_flood() {
        let queue = queue(10);
        queue.offer(message("quiet", 7), false);
        for n in 0..1000 {
            queue.offer(message(if n % 2 == 0 { "a" } else { "b" }, n), false);
            assert!(queue.len() <= 10);
        }
        let left = drain(&queue);
        for newest in [("quiet", "7"), ("a", "998"), ("b", "999")] {
            assert!(
                left.iter().any(|(t, p)| (t.as_str(), p.as_str()) == newest),
                "{newest:?} in {left:?}"
            );
        }
        let of_a: Vec<u32> = (left.iter().filter(|(t, _)| t == "a"))
            .map(|(_, p)| p.parse().unwrap())
            .collect();
        assert!(of_a.is_sorted(), "{of_a:?}");
    }

    #[test]
    fn a_new_topic_takes_the_place_of_what_is_outdated() {
        let queue = queue(3);
        for n in 0..3 {
            queue.offer(message("a", n), false);
        }
        assert_eq!(queue.offer(message("b", 9), false), HandOver::Overwrote);
        let left = drain(&queue);
        let expected = [("a", "1"), ("a", "2"), ("b", "9")];
        assert_eq!(left, expected.map(|(t, p)| (t.to_owned(), p.to_owned())));
    }

    #[test]
    fn precious_messages_all_arrive_and_readings_give_way_to_them() {
        let queue = queue(4);
        for n in 0..4 {
            queue.offer(message("reading", n), false);
        }
        for n in 0..6 {
            let outcome = queue.offer(message("count", n), true);
            assert_ne!(outcome, HandOver::Rejected, "{n}");
        }
        queue.offer(message("reading", 4), false);
        let left = drain(&queue);
        let counts: Vec<&str> = (left.iter().filter(|(t, _)| t == "count"))
            .map(|(_, p)| p.as_str())
            .collect();
        assert_eq!(counts, ["0", "1", "2", "3", "4", "5"]);
        assert_eq!(left.last().unwrap().1, "4", "the newest reading");
        assert_eq!(left.len(), 7, "one reading only: {left:?}");
    }

    #[test]
    fn unbounded_precious_messages_are_rejected_only_where_nobody_else_holds_them() {
        let queue = queue(2);
        for n in 0..4 {
            assert_eq!(
                queue.offer(message("count", n), true),
                HandOver::Waiting,
                "{n}"
            );
        }
        assert_eq!(queue.offer(message("count", 4), true), HandOver::Rejected);
        let mut held = message("count", 5);
        held.receipt = Some(Receipt {
            epoch: 1,
            packet_id: 5,
        });
        assert_eq!(queue.offer(held, true), HandOver::Waiting);
    }

    #[test]
    fn news_keeps_its_place_among_the_messages() {
        let queue = queue(2);
        queue.offer(message("a", 1), false);
        queue.tell(FromBroker::Unsubscribed {
            filter: "x".to_owned(),
        });
        queue.offer(message("a", 2), false);
        queue.offer(message("a", 3), false);
        let order: Vec<String> = drain(&queue).into_iter().map(|(t, _)| t).collect();
        assert_eq!(order.len(), 3);
        assert!(order[0].starts_with("Unsubscribed"), "{order:?}");
    }

    #[tokio::test]
    async fn a_cancelled_receive_loses_nothing() {
        let queue = std::sync::Arc::new(queue(8));
        for n in 0..3 {
            let short = std::time::Duration::from_millis(1);
            assert!(tokio::time::timeout(short, queue.receive()).await.is_err());
            queue.offer(message("a", n), false);
            let FromBroker::Message(got) = queue.receive().await else {
                panic!("a message was offered");
            };
            assert_eq!(got.payload, n.to_string().into_bytes());
        }
    }

    #[tokio::test]
    async fn the_last_value_of_a_flood_arrives_and_what_counts_is_never_held() {
        let queue = Queue::new(&Limits {
            rate: Some(Rate {
                per_second: 100,
                at_once: 2,
            }),
            ..Limits::default()
        });
        for n in 0..50 {
            queue.offer(message("reading", n), false);
            queue.offer(message("count", n), true);
        }
        let (mut readings, mut counts) = (Vec::new(), Vec::new());
        while readings.last() != Some(&49) {
            let FromBroker::Message(message) = queue.receive().await else {
                panic!("messages were offered");
            };
            let number: usize = String::from_utf8(message.payload).unwrap().parse().unwrap();
            match message.topic.as_str() {
                "reading" => readings.push(number),
                _ => counts.push(number),
            }
        }
        assert_eq!(counts, (0..50).collect::<Vec<_>>());
        assert!(
            readings.starts_with(&[0, 1]) && readings.len() < 50,
            "{readings:?}"
        );
    }
}
