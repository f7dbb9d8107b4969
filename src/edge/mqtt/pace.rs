//! How often a topic is heard: beyond a largest rate the newest message waits for its turn, and what it
//! takes the place of is passed over. So a sensor that floods fills no memory and holds nobody back, and its
//! last value is never lost. Pure: times are given.

use std::{
    collections::{BTreeSet, HashMap},
    time::{Duration, Instant},
};

use super::{Message, Rate};

/// A message that must wait for its turn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Held {
    /// Another had waited, which is passed over.
    pub(super) passed_over: bool,
    /// The topic, if it never was too fast before.
    pub(super) first: Option<String>,
}

/// When each topic may be heard again, and what waits.
#[derive(Debug)]
pub(super) struct Pace {
    /// Between two messages of a topic, in the long run.
    gap: Duration,
    /// So much may a topic be ahead of that.
    leeway: Duration,
    topics: HashMap<String, Turn>,
    due: BTreeSet<(Instant, String)>,
}

#[derive(Debug)]
struct Turn {
    /// When the messages heard so far would all have come at the largest rate.
    paid_until: Instant,
    waiting: Option<Message>,
    was_too_fast: bool,
}

impl Pace {
    pub(super) fn new(rate: Rate) -> Self {
        let gap = Duration::from_secs(1) / rate.per_second.max(1);
        Self {
            gap,
            leeway: gap * rate.at_once.saturating_sub(1),
            topics: HashMap::new(),
            due: BTreeSet::new(),
        }
    }

    /// The message back if it is its turn, once what was due has been released; else it is kept.
    pub(super) fn offer(&mut self, now: Instant, message: Message) -> Result<Message, Held> {
        if !self.topics.contains_key(&message.topic) {
            let turn = Turn {
                paid_until: now,
                waiting: None,
                was_too_fast: false,
            };
            self.topics.insert(message.topic.clone(), turn);
        }
        let Some(turn) = self.topics.get_mut(&message.topic) else {
            return Ok(message);
        };
        let turn_comes = turn.paid_until.checked_sub(self.leeway);
        let turn_comes = turn_comes.filter(|at| turn.waiting.is_some() || *at > now);
        let Some(at) = turn_comes else {
            turn.paid_until = turn.paid_until.max(now) + self.gap;
            return Ok(message);
        };
        let is_first = !std::mem::replace(&mut turn.was_too_fast, true);
        let first = is_first.then(|| message.topic.clone());
        if turn.waiting.is_none() {
            self.due.insert((at, message.topic.clone()));
        }
        let passed_over = turn.waiting.replace(message).is_some();
        Err(Held { passed_over, first })
    }

    /// The next message whose turn has come.
    pub(super) fn release(&mut self, now: Instant) -> Option<Message> {
        if self.due()? > now {
            return None;
        }
        let (_, topic) = self.due.pop_first()?;
        let turn = self.topics.get_mut(&topic)?;
        turn.paid_until = turn.paid_until.max(now) + self.gap;
        turn.waiting.take()
    }

    /// When the next turn comes, if anything waits.
    pub(super) fn due(&self) -> Option<Instant> {
        self.due.first().map(|(at, _)| *at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: Rate = Rate {
        per_second: 10,
        at_once: 3,
    };

    fn message(topic: &str, number: u32) -> Message {
        Message {
            topic: topic.to_owned(),
            payload: number.to_string().into_bytes(),
            retained: false,
            late: false,
            duplicate: false,
            packet_id: 0,
            receipt: None,
        }
    }

    fn number(message: &Message) -> u32 {
        String::from_utf8_lossy(&message.payload).parse().unwrap()
    }

    /// What is heard when, in milliseconds, of messages that come at these.
    fn heard(pace: &mut Pace, start: Instant, comes: &[(u64, &str, u32)]) -> Vec<(u64, u32)> {
        let mut heard = Vec::new();
        let end = comes.last().map_or(0, |(at, ..)| at + 1000);
        for millisecond in 0..=end {
            let now = start + Duration::from_millis(millisecond);
            while let Some(message) = pace.release(now) {
                heard.push((millisecond, number(&message)));
            }
            for (_, topic, n) in comes.iter().filter(|(at, ..)| *at == millisecond) {
                if let Ok(message) = pace.offer(now, message(topic, *n)) {
                    heard.push((millisecond, number(&message)));
                }
            }
        }
        heard
    }

    #[test]
    fn a_burst_passes_and_then_the_newest_at_the_rate() {
        let mut pace = Pace::new(RATE);
        let start = Instant::now();
        let flood: Vec<(u64, &str, u32)> = (0..500)
            .map(|n| (u64::from(n), "a", n))
            .chain([(500, "b", 9000)])
            .collect();
        let heard = heard(&mut pace, start, &flood);
        let of_a: Vec<(u64, u32)> = (heard.iter().copied()).filter(|(_, n)| *n < 9000).collect();
        // Three at once, then one each 100 ms: the one that came last before its turn.
        let expected = [
            (0, 0),
            (1, 1),
            (2, 2),
            (100, 99),
            (200, 199),
            (300, 299),
            (400, 399),
            (500, 499),
        ];
        assert_eq!(of_a, expected);
        assert!(
            heard.contains(&(500, 9000)),
            "another topic waits for nobody"
        );
        assert_eq!(pace.due(), None);
    }

    #[test]
    fn who_keeps_to_the_rate_is_never_held() {
        let mut pace = Pace::new(RATE);
        let steady: Vec<(u64, &str, u32)> = (0..50).map(|n| (u64::from(n) * 100, "a", n)).collect();
        let heard = heard(&mut pace, Instant::now(), &steady);
        let expected: Vec<(u64, u32)> = steady.iter().map(|(at, _, n)| (*at, *n)).collect();
        assert_eq!(heard, expected);
    }

    #[test]
    fn it_is_told_once_and_each_message_passed_over_is_counted() {
        let mut pace = Pace::new(RATE);
        let now = Instant::now();
        let outcomes: Vec<Result<Message, Held>> =
            (0..6).map(|n| pace.offer(now, message("a", n))).collect();
        let held: Vec<Held> = outcomes.into_iter().filter_map(Result::err).collect();
        let told: Vec<(bool, bool)> = (held.iter())
            .map(|held| (held.passed_over, held.first.is_some()))
            .collect();
        assert_eq!(told, [(false, true), (true, false), (true, false)]);
        let later = now + Duration::from_secs(60);
        assert_eq!(pace.release(later).map(|last| number(&last)), Some(5));
        assert_eq!(pace.release(later), None);
    }
}
