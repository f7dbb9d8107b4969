//! What a keeper says to an alert: `do/alert/<code>[/<stage or sensor>]/acknowledge` and `…/snooze`.

use std::time::Duration;

use jiff::{Span, SpanRelativeTo};
use serde_json::Value;

use crate::{core::alert::Answer, quantity::duration_text};

/// Shorter is no silence, longer is forgotten.
const SNOOZE: std::ops::RangeInclusive<Duration> =
    Duration::from_secs(300)..=Duration::from_secs(30 * 86_400);

const SNOOZE_ALLOWED: &str =
    "send an ISO 8601 duration from \"PT5M\" to \"P30D\", or {\"for\": \"PT24H\"}";
const ACKNOWLEDGE_ALLOWED: &str = "send nothing, or {\"note\": \"…\"}";

/// Notes longer than this are refused: they are shown in the alert's document.
const LONGEST_NOTE: usize = 500;

/// Reads the last level of the command and its payload; `None` when it is no such command.
///
/// # Errors
/// A sentence that says what was wrong and what is allowed.
pub(super) fn read(level: &str, payload: &[u8]) -> Option<Result<Answer, String>> {
    match level {
        "acknowledge" => Some(acknowledge(payload)),
        "snooze" => Some(snooze(payload)),
        _ => None,
    }
}

fn acknowledge(payload: &[u8]) -> Result<Answer, String> {
    if super::command::is_bare(payload) {
        return Ok(Answer::Acknowledge { note: None });
    }
    let note = field(payload, "note", ACKNOWLEDGE_ALLOWED)?;
    let note = note.trim();
    if note.chars().count() > LONGEST_NOTE {
        return Err(format!(
            "the note has {} characters; a note has at most {LONGEST_NOTE}",
            note.chars().count()
        ));
    }
    let note = Some(note.to_owned()).filter(|note| !note.is_empty());
    Ok(Answer::Acknowledge { note })
}

fn snooze(payload: &[u8]) -> Result<Answer, String> {
    let sent = String::from_utf8_lossy(payload);
    let text = match sent.trim() {
        "" => return Err(format!("it does not say for how long; {SNOOZE_ALLOWED}")),
        object if object.starts_with('{') => field(payload, "for", SNOOZE_ALLOWED)?,
        text => text.trim_matches('"').to_owned(),
    };
    let wrong = |what: &str| format!("{what}: {text:?}; {SNOOZE_ALLOWED}");
    // Other ways to write a span are read by the library, too; one way is enough to know.
    let is_iso = text.starts_with(['P', 'p']);
    let span = text.parse::<Span>().ok().filter(|_| is_iso);
    let span = span.ok_or_else(|| wrong("no ISO 8601 duration"))?;
    let length = span
        .to_duration(SpanRelativeTo::days_are_24_hours())
        .map_err(|_| wrong("months and years have no certain length"))?;
    let length = Duration::try_from(length).unwrap_or(Duration::ZERO);
    if !SNOOZE.contains(&length) {
        return Err(wrong(&format!(
            "a snooze lasts {} to {}",
            duration_text(*SNOOZE.start()),
            duration_text(*SNOOZE.end())
        )));
    }
    Ok(Answer::Snooze { length })
}

/// The text under the only key of a JSON object.
fn field(payload: &[u8], key: &str, allowed: &str) -> Result<String, String> {
    let found = String::from_utf8_lossy(payload);
    let wrong = |what: &str| format!("{what} in {found:?}; {allowed}");
    let Ok(Value::Object(fields)) = serde_json::from_slice(payload) else {
        return Err(wrong("no JSON object"));
    };
    if let Some(unknown) = fields.keys().find(|other| *other != key) {
        return Err(wrong(&format!("unknown key {unknown:?}")));
    }
    let text = fields.get(key).and_then(Value::as_str);
    text.map(str::to_owned)
        .ok_or_else(|| wrong(&format!("no text under {key:?}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Durations as ISO 8601 has them (4.4.3.2, "PnDTnHnMnS").
    #[test]
    fn a_snooze_is_an_iso_duration_within_its_bounds() {
        let hours = |payload: &str| match read("snooze", payload.as_bytes()) {
            Some(Ok(Answer::Snooze { length })) => Ok(length.as_secs_f64() / 3600.0),
            other => Err(format!("{other:?}")),
        };
        for (payload, expected) in [
            ("PT24H", 24.0),
            ("P1D", 24.0),
            ("P1DT12H", 36.0),
            (" PT5M ", 1.0 / 12.0),
            ("\"PT1H\"", 1.0),
            ("P4W", 672.0),
            ("P30D", 720.0),
            ("{\"for\": \"PT90M\"}", 1.5),
        ] {
            assert_eq!(hours(payload), Ok(expected), "{payload}");
        }
        for (payload, reason) in [
            ("", "does not say for how long"),
            ("PRESS", "no ISO 8601 duration"),
            ("1 day", "no ISO 8601 duration"),
            ("24", "no ISO 8601 duration"),
            ("PT4M59S", "lasts 5 min to 30 d"),
            ("P31D", "lasts 5 min to 30 d"),
            ("-PT1H", "no ISO 8601 duration"),
            ("P1M", "months and years"),
            ("{\"for\": 5}", "no text under"),
            ("{\"until\": \"P1D\"}", "unknown key"),
            ("{", "no JSON object"),
        ] {
            let found = hours(payload).unwrap_err();
            assert!(found.contains(reason), "{payload}: {found}");
        }
    }

    #[test]
    fn an_acknowledgement_may_carry_a_note() {
        let note = |payload: &str| match read("acknowledge", payload.as_bytes()) {
            Some(Ok(Answer::Acknowledge { note })) => note.ok_or_else(String::new),
            other => Err(format!("{other:?}")),
        };
        assert_eq!(note("{\"note\": \" ordered \"}"), Ok("ordered".to_owned()));
        for bare in ["", "PRESS", "{\"note\": \"\"}"] {
            assert_eq!(note(bare), Err(String::new()), "{bare}");
        }
        assert!(note("yes").unwrap_err().contains("no JSON object"));
        let long = format!("{{\"note\": \"{}\"}}", "x".repeat(501));
        assert!(note(&long).unwrap_err().contains("at most 500"));
        assert!(read("dance", b"").is_none());
    }
}
