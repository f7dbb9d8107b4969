//! A recorded log: JSON Lines, one message a line:
//! `{"time": RFC 3339, "topic": …, "payload": text, "retain": bool}`. A payload that is not UTF-8
//! stands as `payload_base64`; `"late": true` marks a message the broker had queued while the
//! recorder was away. Besides messages a log may hold marks (`{"time": …, "mark": …}`): where a
//! recording began and ended, and where something may be missing. `table` reads the same from
//! comma-separated values.

mod table;
mod topics;

use std::{borrow::Cow, io};

use base64::{Engine as _, prelude::BASE64_STANDARD};
use serde::{Deserialize, Serialize};
use serde_json::Value;

pub use table::{CellError, HeaderError, Table, delimiter};
pub use topics::{not_covered, pointed};

use super::Outgoing;
use crate::{
    core::{Arrival, Packet},
    time::{Mono, Wall},
};

/// One message of a log, as text.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// When the message came, RFC 3339.
    pub time: String,
    /// Its topic.
    pub topic: String,
    /// Its payload.
    pub payload: String,
    /// Whether the broker had retained it.
    pub retain: bool,
    /// Whether the broker had queued it while the recorder was away.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub late: bool,
}

/// A hundred years: a clock that says more is none, and its time would never have passed.
const LARGEST_MONO: u64 = 3_155_760_000_000;

/// A [`Line`] of ours that is only written: nothing of it is copied.
#[derive(Serialize)]
struct Said<'a> {
    time: &'a str,
    topic: &'a str,
    payload: &'a str,
    retain: bool,
}

/// What a line of a log says.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry<'a> {
    /// When, by the wall clock.
    pub time: Wall,
    /// When, by the recorder's clock that cannot be set; begins anew with each recording.
    pub mono: Option<Mono>,
    /// What.
    pub what: What<'a>,
}

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum What<'a> {
    /// A message came.
    Message(Message<'a>),
    /// Sensors read something, from a table: by unit and sensor, the plain value.
    Readings(Vec<Reading>),
    /// Something about the recording itself.
    Mark(Mark<'a>),
}

/// A message that came.
#[derive(Clone, Debug, PartialEq)]
pub struct Message<'a> {
    /// Its topic.
    pub topic: Cow<'a, str>,
    /// Its payload.
    pub payload: Cow<'a, [u8]>,
    /// How it came.
    pub arrival: Arrival,
    /// The packet it came in, where the recorder tells.
    pub packet: Option<Packet>,
}

/// What one sensor read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// The unit, by its place in the settings.
    pub unit: usize,
    /// The sensor, by its place in the unit.
    pub sensor: usize,
    /// The value as it stands in the table.
    pub text: String,
}

/// Something about the recording itself.
#[derive(Clone, Debug, PartialEq)]
pub enum Mark<'a> {
    /// A recording begins, with what made it.
    Began(Cow<'a, str>),
    /// The service that records began, with the state it had kept: an object, by unit.
    ServiceBegan(Value),
    /// The service did what was due by then.
    Looked,
    /// From then on until now messages may be missing, and why.
    Gap(Wall, Cow<'a, str>),
    /// The recording, or the service that recorded, was ended in good order.
    Ended,
}

/// Why a line is none.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LineError {
    /// Not a JSON object of the form above.
    #[error("{0}; a line is {{\"time\": …, \"topic\": …, \"payload\": …, \"retain\": …}}")]
    Form(String),
    /// The time is not RFC 3339.
    #[error("the time {0:?} is not RFC 3339 with Z or an offset, as in 2026-11-25T09:00:00Z")]
    Time(String),
}

/// A line as it is written, message or mark.
#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written<'a> {
    #[serde(borrow)]
    time: Cow<'a, str>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    topic: Option<Text<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    payload: Option<Text<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    payload_base64: Option<Text<'a>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    retain: Option<bool>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    late: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    mark: Option<Kind>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    since: Option<Text<'a>>,
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    text: Option<Text<'a>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    mono: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    packet: Option<u16>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    duplicate: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    state: Option<Value>,
}

/// A text that is borrowed where nothing in it is escaped.
#[derive(Serialize, Deserialize)]
#[serde(transparent)]
struct Text<'a>(#[serde(borrow)] Cow<'a, str>);

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Began,
    ServiceBegan,
    Looked,
    Gap,
    Ended,
}

impl<'a> Entry<'a> {
    /// Reads a line.
    ///
    /// # Errors
    /// When it is not of the form above; the caller adds file and line number.
    pub fn read(text: &'a str) -> Result<Self, LineError> {
        let line: Written =
            serde_json::from_str(text).map_err(|error| LineError::Form(error.to_string()))?;
        let time = wall(&line.time)?;
        let mono = line.mono.map(Mono);
        if let Some(Mono(over)) = mono.filter(|mono| mono.0 > LARGEST_MONO) {
            let wrong = format!("`mono` is {over}; it counts milliseconds, {LARGEST_MONO} at most");
            return Err(LineError::Form(wrong));
        }
        let what = match line.mark {
            None => What::Message(line.message()?),
            Some(kind) => What::Mark(line.mark(kind)?),
        };
        Ok(Self { time, mono, what })
    }

    /// Writes it as a line, without its end; what came from a table has none.
    ///
    /// # Errors
    /// When `out` fails.
    pub fn write(&self, out: impl io::Write) -> io::Result<()> {
        let mut line = Written {
            time: self.time.to_rfc3339().into(),
            mono: self.mono.map(|mono| mono.0),
            ..Written::default()
        };
        let encoded;
        match &self.what {
            What::Message(message) => {
                line.topic = Some(Text(Cow::Borrowed(&message.topic)));
                match std::str::from_utf8(&message.payload) {
                    Ok(text) => line.payload = Some(Text(text.into())),
                    Err(_) => {
                        encoded = BASE64_STANDARD.encode(&message.payload);
                        line.payload_base64 = Some(Text(Cow::Borrowed(&encoded)));
                    }
                }
                line.retain = Some(message.arrival == Arrival::Retained);
                line.late = message.arrival == Arrival::Late;
                line.packet = message.packet.map(|packet| packet.id);
                line.duplicate = message.packet.is_some_and(|packet| packet.duplicate);
            }
            What::Readings(_) => return Ok(()),
            What::Mark(mark) => line.put(mark),
        }
        Ok(serde_json::to_writer(out, &line)?)
    }
}

impl<'a> Written<'a> {
    fn message(self) -> Result<Message<'a>, LineError> {
        let wrong = |what: &str| Err(LineError::Form(what.to_owned()));
        if self.since.is_some() || self.text.is_some() || self.state.is_some() {
            return wrong("`since`, `text` and `state` belong to a `mark`");
        }
        let Some(Text(topic)) = self.topic else {
            return wrong("missing field `topic`");
        };
        let payload = match (self.payload, self.payload_base64) {
            (Some(Text(Cow::Borrowed(text))), None) => Cow::Borrowed(text.as_bytes()),
            (Some(Text(Cow::Owned(text))), None) => Cow::Owned(text.into_bytes()),
            (None, Some(Text(text))) => match BASE64_STANDARD.decode(text.as_bytes()) {
                Ok(bytes) => Cow::Owned(bytes),
                Err(error) => return wrong(&format!("`payload_base64` is no base64: {error}")),
            },
            (None, None) => return wrong("missing field `payload` (or `payload_base64`)"),
            (Some(_), Some(_)) => {
                return wrong("`payload` and `payload_base64` exclude each other");
            }
        };
        let arrival = match (self.retain.unwrap_or_default(), self.late) {
            (true, _) => Arrival::Retained,
            (false, true) => Arrival::Late,
            (false, false) => Arrival::Live,
        };
        let duplicate = self.duplicate;
        Ok(Message {
            topic,
            payload,
            arrival,
            packet: self.packet.map(|id| Packet { id, duplicate }),
        })
    }

    fn mark(self, kind: Kind) -> Result<Mark<'a>, LineError> {
        if self.topic.is_some() || self.payload.is_some() || self.payload_base64.is_some() {
            let wrong = "a line is a message or a `mark`, not both";
            return Err(LineError::Form(wrong.to_owned()));
        }
        let text = self.text.map_or_else(Cow::default, |text| text.0);
        Ok(match kind {
            Kind::Began => Mark::Began(text),
            Kind::ServiceBegan => Mark::ServiceBegan(self.state.unwrap_or_default()),
            Kind::Looked => Mark::Looked,
            Kind::Gap => {
                let since = self
                    .since
                    .map_or_else(|| self.time.clone(), |since| since.0);
                Mark::Gap(wall(&since)?, text)
            }
            Kind::Ended => Mark::Ended,
        })
    }

    fn put(&mut self, mark: &'a Mark) {
        let (kind, text) = match mark {
            Mark::Began(by) => (Kind::Began, Some(by)),
            Mark::ServiceBegan(state) => {
                self.state = Some(state.clone());
                (Kind::ServiceBegan, None)
            }
            Mark::Looked => (Kind::Looked, None),
            Mark::Gap(since, why) => {
                self.since = Some(Text(since.to_rfc3339().into()));
                (Kind::Gap, Some(why))
            }
            Mark::Ended => (Kind::Ended, None),
        };
        self.mark = Some(kind);
        self.text = text.map(|text| Text(Cow::Borrowed(text)));
    }
}

fn wall(text: &str) -> Result<Wall, LineError> {
    Wall::from_rfc3339(text).ok_or_else(|| LineError::Time(text.to_owned()))
}

impl Line {
    /// Reads a message with a payload of text, and its time.
    ///
    /// # Errors
    /// When the line is none.
    pub fn read(text: &str) -> Result<(Wall, Self), LineError> {
        let entry = Entry::read(text)?;
        let What::Message(message) = entry.what else {
            return Err(LineError::Form("this is no message".to_owned()));
        };
        let payload = String::from_utf8(message.payload.into_owned())
            .map_err(|_| LineError::Form("the payload is no text".to_owned()))?;
        let line = Self {
            time: entry.time.to_rfc3339(),
            topic: message.topic.into_owned(),
            payload,
            retain: message.arrival == Arrival::Retained,
            late: message.arrival == Arrival::Late,
        };
        Ok((entry.time, line))
    }

    /// A message we published, as a line.
    #[must_use]
    pub fn of(time: Wall, message: Outgoing) -> Self {
        Self {
            time: time.to_rfc3339(),
            topic: message.topic,
            payload: message.payload,
            retain: message.retain,
            late: false,
        }
    }

    /// Writes a message we published as a line, without its end; `time` as RFC 3339.
    pub fn write(time: &str, message: &Outgoing, out: &mut Vec<u8>) {
        let said = Said {
            time,
            topic: &message.topic,
            payload: &message.payload,
            retain: message.retain,
        };
        // A struct of strings and booleans always serialises, and memory takes whatever is written.
        let _ = serde_json::to_writer(out, &said);
    }

    /// The line as text, without its end.
    #[must_use]
    pub fn text(&self) -> String {
        // A struct of strings and booleans always serialises.
        serde_json::to_string(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests;
