//! A recorded log: JSON Lines, one message a line:
//! `{"time": RFC 3339, "topic": …, "payload": text, "retain": bool}`; `"late": true` marks a
//! message the broker had queued while the recorder was away.

use serde::{Deserialize, Serialize};

use super::Outgoing;
use crate::time::Wall;

/// One line of a log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// When the message came, RFC 3339.
    pub time: String,
    /// Its topic.
    pub topic: String,
    /// Its payload.
    pub payload: String,
    /// Whether the broker had retained it.
    #[serde(default)]
    pub retain: bool,
    /// Whether the broker had queued it while the recorder was away.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub late: bool,
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

impl Line {
    /// Reads a line and its time.
    ///
    /// # Errors
    /// When it is not of the form above; the caller adds file and line number.
    pub fn read(text: &str) -> Result<(Wall, Self), LineError> {
        let line: Self =
            serde_json::from_str(text).map_err(|error| LineError::Form(error.to_string()))?;
        let time =
            Wall::from_rfc3339(&line.time).ok_or_else(|| LineError::Time(line.time.clone()))?;
        Ok((time, line))
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

    /// The line as text, without its end.
    #[must_use]
    pub fn text(&self) -> String {
        // A struct of strings and booleans always serialises.
        serde_json::to_string(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_go_there_and_back() {
        let text = r#"{"time":"2026-11-25T09:00:00.000Z","topic":"rodi/flow","payload":"1.5","retain":false}"#;
        let (time, line) = Line::read(text).unwrap();
        assert_eq!(time.to_rfc3339(), "2026-11-25T09:00:00.000Z");
        assert_eq!(line.text(), text);
    }

    #[test]
    fn wrong_lines_say_why() {
        assert!(
            Line::read("{}")
                .unwrap_err()
                .to_string()
                .contains("missing field")
        );
        let wrong = r#"{"time":"noon","topic":"a","payload":"1"}"#;
        assert!(Line::read(wrong).unwrap_err().to_string().contains("noon"));
    }
}
