//! The pressure hold test in messages: what a keeper may ask, and its document.

use std::time::Duration;

use serde_json::{Map, Value, json};

use super::fields::Fields;
use crate::{
    config::HOLD_TEST_MINUTES_RANGE,
    core::{Unit, hold_test},
    metrics::rounded,
    time::{Now, Wall},
};

const ALLOWED: &str =
    "send nothing for the configured time, or {\"minutes\": 30, \"note\": \"new fittings\"}";
/// A note is a sentence or two.
const LONGEST_NOTE: usize = 500;

/// Reads the payload of `hold_test/start`.
///
/// # Errors
/// A sentence that says what was wrong and what is allowed.
pub(super) fn request(payload: &[u8]) -> Result<hold_test::HoldTestRequest, String> {
    let mut request = hold_test::HoldTestRequest::default();
    if super::command::is_bare(payload) {
        return Ok(request);
    }
    let found = String::from_utf8_lossy(payload);
    let wrong = |what: &str| format!("{what} in {found:?}; {ALLOWED}");
    let Ok(Value::Object(fields)) = serde_json::from_slice(payload) else {
        return Err(wrong("no JSON object"));
    };
    for (key, value) in &fields {
        match key.as_str() {
            "minutes" => {
                let range = HOLD_TEST_MINUTES_RANGE;
                let minutes = value.as_f64().filter(|minutes| range.contains(minutes));
                let minutes = minutes.ok_or_else(|| {
                    let (least, most) = (range.start(), range.end());
                    wrong(&format!("no number of minutes from {least} to {most}"))
                })?;
                request.time = Some(Duration::from_secs_f64(minutes * 60.0));
            }
            "note" => {
                let is_fit = |text: &&str| {
                    let text = text.trim();
                    !text.is_empty()
                        && text.chars().count() <= LONGEST_NOTE
                        && !text.chars().any(char::is_control)
                };
                let note = value.as_str().filter(is_fit).ok_or_else(|| {
                    wrong(&format!(
                        "no note of one line and up to {LONGEST_NOTE} characters"
                    ))
                })?;
                request.note = Some(note.trim().to_owned());
            }
            unknown => return Err(wrong(&format!("unknown key {unknown:?}"))),
        }
    }
    Ok(request)
}

/// What the test does, and what the last one came to.
pub(super) fn document(unit: &Unit, now: Now) -> Fields {
    let mut fields = Fields::default();
    let state = unit.hold_test();
    fields.put("state", unit.hold_test_phase(now.mono).key());
    let open = state.open.as_ref();
    fields.put("gauge", open.map(|test| test.gauge.as_str()));
    fields.put("minutes", open.map(|test| test.minutes));
    let started = open.and_then(|test| test.started);
    fields.put("started", started.map(Wall::to_rfc3339));
    fields.put("note", open.and_then(|test| test.note.as_deref()));
    fields.put("last", state.last.as_ref().map(result));
    fields.put("cautions", hold_test::CAUTIONS);
    fields
}

fn result(result: &hold_test::HoldResult) -> Value {
    let figures = &result.figures;
    let round = |value: Option<f64>, decimals| value.map(|value| rounded(value, decimals));
    let percent = figures
        .drop_bar
        .zip(figures.start_bar)
        .map(|(drop, start)| drop / start * 100.0);
    let mut told = Map::new();
    for (key, value) in [
        ("result", json!(result.outcome.key())),
        ("why", json!(result.why)),
        ("gauge", json!(result.test.gauge)),
        ("minutes", json!(result.test.minutes)),
        ("started", json!(result.test.started.map(Wall::to_rfc3339))),
        ("ended", json!(result.ended.map(Wall::to_rfc3339))),
        ("note", json!(result.test.note)),
        ("start_bar", json!(round(figures.start_bar, 3))),
        ("end_bar", json!(round(figures.end_bar, 3))),
        ("drop_bar", json!(round(figures.drop_bar, 3))),
        ("drop_pct", json!(round(percent, 1))),
        ("allowed_bar", json!(round(figures.allowed_bar, 3))),
        ("drop_least_bar", json!(round(figures.drop_least_bar, 3))),
        ("drop_most_bar", json!(round(figures.drop_most_bar, 3))),
        ("gauge_step_bar", json!(round(figures.gauge_step_bar, 4))),
        ("warmer_k", json!(round(figures.warmer_k, 1))),
        ("readings", json!(figures.readings)),
    ] {
        told.insert(key.to_owned(), value);
    }
    Value::Object(told)
}
