//! Commands: what a keeper tells a unit on `<prefix>/<unit>/do/…`.

use serde_json::Value;

use super::hold_test;
use crate::{
    config::UnitSettings,
    core::{Command, HandResult, HandTest},
    time::{Now, Wall},
};

/// Larger commands are refused unread.
pub const LARGEST_BYTES: usize = 4096;

/// Reads a command; `path` is what stands behind `do/`.
///
/// # Errors
/// A sentence that says what was wrong and what is allowed; nothing may change then.
pub fn read(
    settings: &UnitSettings,
    now: Now,
    path: &str,
    payload: &[u8],
) -> Result<Command, String> {
    if payload.len() > LARGEST_BYTES {
        return Err(format!(
            "the message has {} bytes; a command has at most {LARGEST_BYTES}",
            payload.len()
        ));
    }
    let levels: Vec<&str> = path.split('/').collect();
    match levels.as_slice() {
        ["stage", id, "replaced"] => {
            let stage = settings
                .stages
                .iter()
                .position(|stage| stage.id == *id)
                .ok_or_else(|| {
                    let known: Vec<&str> = settings
                        .stages
                        .iter()
                        .map(|stage| stage.id.as_str())
                        .collect();
                    format!(
                        "there is no stage {id:?}; the stages are {}",
                        known.join(", ")
                    )
                })?;
            Ok(Command::Replaced {
                stage,
                date: date(now, payload)?,
            })
        }
        ["test", name] => {
            let mut tests = HandTest::ALL.into_iter();
            let test = tests.find(|test| test.key() == *name);
            let test = test.ok_or_else(|| format!("there is no test {name:?}"))?;
            let text = String::from_utf8_lossy(payload);
            let value = text.trim().parse::<f64>().ok();
            let value = value.filter(|value| value.is_finite() && *value >= 0.0);
            let result = HandResult {
                value: value.ok_or_else(|| format!("{text:?} is no number of zero or more"))?,
                date: now.date(),
                entry: 0,
                after: None,
            };
            Ok(Command::Test { test, result })
        }
        ["membrane", "rebaseline"] => {
            if is_bare(payload) {
                Ok(Command::Rebaseline)
            } else {
                Err("it takes no payload".to_owned())
            }
        }
        ["hold_test", "start"] => Ok(Command::StartHoldTest(hold_test::request(payload)?)),
        ["hold_test", "stop"] if is_bare(payload) => Ok(Command::StopHoldTest),
        ["hold_test", "stop"] => Err("it takes no payload".to_owned()),
        _ => Err(format!(
            "there is no command {path:?}; the commands are stage/<id>/replaced, membrane/rebaseline, hold_test/start and hold_test/stop"
        )),
    }
}

/// Nothing, or the word a hub's button sends.
pub(super) fn is_bare(payload: &[u8]) -> bool {
    let payload = payload.trim_ascii();
    payload.is_empty() || payload == b"PRESS"
}

const DATE_ALLOWED: &str = "send nothing for now, or {\"date\": \"2026-05-01\"} (or an RFC 3339 time) for a day in the past";

/// The day a replacement was made, if the payload names one.
fn date(now: Now, payload: &[u8]) -> Result<Option<Wall>, String> {
    if is_bare(payload) {
        return Ok(None);
    }
    let found = String::from_utf8_lossy(payload);
    let wrong = |what: &str| format!("{what} in {found:?}; {DATE_ALLOWED}");
    let Ok(Value::Object(fields)) = serde_json::from_slice(payload) else {
        return Err(wrong("no JSON object"));
    };
    if let Some(unknown) = fields.keys().find(|key| *key != "date") {
        return Err(wrong(&format!("unknown key {unknown:?}")));
    }
    let Some(text) = fields.get("date").and_then(Value::as_str) else {
        return Err(wrong("no date"));
    };
    let day = || {
        text.parse::<jiff::civil::Date>()
            .ok()
            .and_then(Wall::from_date)
    };
    Wall::from_rfc3339(text)
        .or_else(day)
        .filter(|date| date.is_set() && now.date().is_none_or(|today| *date <= today))
        .map(Some)
        .ok_or_else(|| wrong("no day in the past"))
}
