//! What was heard of a broker, by topic and by place in its JSON. Takes every message once, keeps no
//! payload, and stays within its limits whatever comes; what had no room is counted.

use std::{collections::BTreeMap, time::Duration};

use serde_json::Value;

use super::{
    announced::{self, Announced},
    configuration::can_be_written,
    series::{Sample, Series, short},
    walk::{self, Found},
    words,
};
use crate::{
    time::Wall,
    wire::payload::{self, LARGEST_BYTES, Payload},
};

/// How much is kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    pub(super) topics: usize,
    pub(super) values: usize,
    pub(super) values_of_a_topic: usize,
    pub(super) name_bytes: usize,
    pub(super) depth: usize,
    pub(super) announced: usize,
    pub(super) announcement_bytes: usize,
}

/// A large household has some hundred topics and some thousand values.
pub(super) const LIMITS: Limits = Limits {
    topics: 5000,
    values: 20_000,
    values_of_a_topic: 200,
    name_bytes: 1000,
    depth: 12,
    announced: 5000,
    announcement_bytes: 1024 * 1024,
};

/// A message as it came.
#[derive(Clone, Copy, Debug)]
pub struct Message<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// Its payload.
    pub payload: &'a [u8],
    /// The broker had kept it.
    pub retained: bool,
    /// When it came, from the begin of the listening.
    pub after: Duration,
    /// The same by the wall clock, by which times in payloads are known.
    pub at: Wall,
}

/// What had no room or could not be read, in messages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Of topics beyond the limit.
    pub topics: u64,
    /// Values beyond the limits.
    pub values: u64,
    /// Larger than any sensor's.
    pub too_large: u64,
    /// Not UTF-8.
    pub not_text: u64,
    /// With values too deep in their JSON.
    pub too_deep: u64,
    /// With a topic that is too long, or holds what no configuration may.
    pub long_names: u64,
}

/// A topic and its values.
#[derive(Clone, Debug, Default)]
pub(super) struct Topic {
    /// By JSON pointer; `None` is the payload itself.
    pub(super) values: BTreeMap<Option<String>, Series>,
    /// Pointers to times that were those of the messages.
    pub(super) times: Vec<String>,
    /// A payload of several numbers, as it came.
    pub(super) list: Option<String>,
    /// Words of units that stand beside the values, such as `TempUnit`.
    pub(super) units: BTreeMap<String, String>,
}

/// Everything that was heard.
#[derive(Debug)]
pub struct Heard {
    limits: Limits,
    own_prefix: String,
    pub(super) topics: BTreeMap<String, Topic>,
    pub(super) announced: Vec<Announced>,
    values: usize,
    /// Messages so far.
    pub(super) messages: u64,
    /// Of them our own.
    pub(super) ours: u64,
    pub(super) left_out: LeftOut,
}

impl Heard {
    /// Nothing yet. `own_prefix` is where we publish ourselves: that is passed over.
    #[must_use]
    pub fn new(own_prefix: &str) -> Self {
        Self::within(LIMITS, own_prefix)
    }

    pub(super) fn within(limits: Limits, own_prefix: &str) -> Self {
        Self {
            limits,
            own_prefix: own_prefix.to_owned(),
            topics: BTreeMap::new(),
            announced: Vec::new(),
            values: 0,
            messages: 0,
            ours: 0,
            left_out: LeftOut::default(),
        }
    }

    /// Messages, topics and values so far.
    #[must_use]
    pub fn counts(&self) -> (u64, usize, usize) {
        (self.messages, self.topics.len(), self.values)
    }

    /// One more message.
    pub fn take(&mut self, message: Message<'_>) {
        self.messages += 1;
        let topic = message.topic;
        if topic.starts_with('$') || self.is_ours(topic) {
            self.ours += 1;
        } else if topic.len() > self.limits.name_bytes || !can_be_written(topic) {
            self.left_out.long_names += 1;
        } else if announced::is_place(topic) {
            self.announcement(message);
        } else if message.payload.len() > LARGEST_BYTES {
            self.left_out.too_large += 1;
        } else {
            self.reading(message);
        }
    }

    /// Whether it lies where we publish ourselves, by default or as told.
    pub(super) fn is_ours(&self, topic: &str) -> bool {
        ["permeated", self.own_prefix.as_str()]
            .iter()
            .any(|prefix| {
                (topic.strip_prefix(prefix))
                    .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
            })
    }

    /// What a hub is told: no reading, but it may say what a topic carries.
    fn announcement(&mut self, message: Message<'_>) {
        if message.payload.len() > self.limits.announcement_bytes {
            self.left_out.too_large += 1;
            return;
        }
        let Ok(document) = serde_json::from_slice::<Value>(message.payload) else {
            // An empty one takes an announcement back.
            return;
        };
        let room = self.limits.announced.saturating_sub(self.announced.len());
        self.announced
            .extend(announced::read(&document).into_iter().take(room));
    }

    fn reading(&mut self, message: Message<'_>) {
        let Ok(text) = std::str::from_utf8(message.payload) else {
            self.left_out.not_text += 1;
            return;
        };
        if !self.topics.contains_key(message.topic) {
            if self.topics.len() >= self.limits.topics {
                self.left_out.topics += 1;
                return;
            }
            self.topics
                .insert(message.topic.to_owned(), Topic::default());
        }
        let text = payload::clean(text);
        let document = (text.starts_with(['{', '[']))
            .then(|| serde_json::from_str(text).ok())
            .flatten();
        let walk = match &document {
            Some(document) => walk::through(document, self.limits),
            None => walk::of_text(text),
        };
        self.left_out.too_deep += u64::from(walk.too_deep);
        self.left_out.values += walk.too_many;
        let Some(topic) = self.topics.get_mut(message.topic) else {
            return;
        };
        if document.is_none() && is_list(text) {
            topic.list = Some(short(text));
        }
        let payload = Payload::new(message.payload);
        for found in walk.found {
            if let Some(pointer) = found
                .pointer
                .as_deref()
                .filter(|pointer| is_time_name(pointer))
            {
                topic.remember_time(pointer, &payload, message.at);
            }
            topic.remember_unit(&found);
            let series = match topic.values.get_mut(&found.pointer) {
                Some(series) => series,
                None if self.values < self.limits.values => {
                    self.values += 1;
                    topic.values.entry(found.pointer).or_default()
                }
                None => {
                    self.left_out.values += 1;
                    continue;
                }
            };
            series.name = found.name.or(series.name.take());
            series.stated_unit = found.unit.or(series.stated_unit.take());
            series.take(found.sample, message.retained, message.after);
        }
    }
}

impl Topic {
    /// A time in the payload is the message's if it is nearly now: a clock that is wrong is no help.
    fn remember_time(&mut self, pointer: &str, payload: &Payload<'_>, now: Wall) {
        const MOST: usize = 4;
        const NEAR_MS: i64 = 5 * 60 * 1000;
        let is_near = (payload.time(pointer)).is_some_and(|time| (time.0 - now.0).abs() < NEAR_MS);
        if is_near && self.times.len() < MOST && !self.times.iter().any(|known| known == pointer) {
            self.times.push(pointer.to_owned());
        }
    }

    fn remember_unit(&mut self, found: &Found) {
        const MOST: usize = 8;
        let Some(key) = found
            .pointer
            .as_deref()
            .and_then(|pointer| pointer.rsplit('/').next())
        else {
            return;
        };
        let lower = key.to_lowercase();
        if let Sample::Word(word) = &found.sample
            && lower.ends_with("unit")
            && self.units.len() < MOST
        {
            self.units.insert(lower, word.clone());
        }
    }
}

/// A payload of at least two numbers with commas, semicolons or spaces between.
fn is_list(text: &str) -> bool {
    let parts: Vec<&str> = text
        .split([',', ';', ' ', '\t'])
        .filter(|part| !part.is_empty())
        .collect();
    let numbers = parts.iter().filter(|part| part.parse::<f64>().is_ok());
    parts.len() > 1
        && numbers.count() == parts.len()
        && payload::leading_number(text).is_none_or(|(_, rest)| !rest.is_empty())
}

fn is_time_name(pointer: &str) -> bool {
    const NAMES: &str = "time ts timestamp seen received at date utc";
    let key = pointer.rsplit('/').next().unwrap_or_default();
    words::any(&words::words(key), NAMES).is_some()
}
