//! The keys of a document: values with their basis, and the reasons for gaps. They are written down
//! as they come: documents are made far more often than they change.

use serde::Serialize;
use serde_json::{Map, Value};

use crate::{
    core::{
        Basis, Finding, Lack, RunRecord, SettledBy,
        alert::{self, Alert},
    },
    metrics::{Description, Metric, rounded},
    time::Wall,
};

/// The keys of a document, with the basis of values and the reasons for gaps; each key once.
#[derive(Default)]
pub(super) struct Fields {
    body: Members,
    basis: Members,
    missing: Members,
}

impl Fields {
    pub fn put(&mut self, key: &str, value: impl Serialize) {
        self.body.put(key, value);
    }

    /// Tells how the value of a key was got.
    pub fn based(&mut self, key: &str, basis: Basis) {
        self.basis.put(key, basis.key());
    }

    /// Tells why a key has no value.
    pub fn missing(&mut self, key: &str, lack: Lack) {
        self.missing.put(key, lack.to_string());
    }

    pub fn finding(&mut self, description: &Description, finding: Finding<f64>) {
        match finding {
            Ok(known) => {
                self.put(description.name, published(description, known.value));
                self.based(description.name, known.basis);
            }
            Err(lack) => {
                self.put(description.name, Value::Null);
                self.missing(description.name, lack);
            }
        }
    }

    /// Appends the document to `text`.
    pub fn write(mut self, text: &mut Text) {
        for (key, part) in [("basis", self.basis), ("missing", self.missing)] {
            if !part.is_empty() {
                self.body.key(key);
                part.write(&mut self.body.0);
            }
        }
        self.body.write(text);
    }

    pub fn text(self) -> String {
        let mut text = Text::default();
        self.write(&mut text);
        text.into_string()
    }
}

/// JSON as it is written down.
#[derive(Clone, Debug, Default)]
pub struct Text(Vec<u8>);

impl Text {
    pub(super) fn put(&mut self, value: impl Serialize) {
        // What goes into a document always serialises, and memory takes whatever is written.
        let _ = serde_json::to_writer(&mut self.0, &value);
    }

    pub(super) fn add(&mut self, text: &str) {
        self.append(text.as_bytes());
    }

    /// Takes over what was written elsewhere.
    pub(super) fn append(&mut self, written: &[u8]) {
        self.0.extend_from_slice(written);
    }

    /// Empties it; its room stays.
    pub fn clear(&mut self) {
        self.0.clear();
    }

    /// What was written.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }

    /// What was written, as text.
    #[must_use]
    pub fn into_string(self) -> String {
        // JSON is UTF-8.
        String::from_utf8(self.0).unwrap_or_default()
    }
}

/// Members of an object, without its braces.
#[derive(Default)]
struct Members(Text);

impl Members {
    fn is_empty(&self) -> bool {
        self.0.bytes().is_empty()
    }

    fn key(&mut self, key: &str) {
        if !self.is_empty() {
            self.0.add(",");
        }
        self.0.put(key);
        self.0.add(":");
    }

    fn put(&mut self, key: &str, value: impl Serialize) {
        self.key(key);
        self.0.put(value);
    }

    fn write(&self, text: &mut Text) {
        text.add("{");
        text.append(self.0.bytes());
        text.add("}");
    }
}

/// A value as published: rounded, and without a point where the metric counts things.
pub(super) fn published(description: &Description, value: f64) -> Value {
    let rounded = description.round(value);
    #[allow(clippy::cast_possible_truncation)] // `as` saturates; counts are far below that.
    if description.decimals == 0 {
        (rounded as i64).into()
    } else {
        rounded.into()
    }
}

pub(super) fn alert_fields(alert: &Alert) -> Fields {
    let mut fields = Fields::default();
    let told = alert.told();
    fields.put("code", alert.code.key());
    fields.put(
        "about",
        Some(&alert.subject_id).filter(|id| !id.is_empty()).cloned(),
    );
    fields.put("state", alert.life.phase().key());
    fields.put("severity", alert.code.severity().key());
    fields.put("title", alert::title(alert.code));
    fields.put(
        "since",
        alert
            .since()
            .filter(|_| alert.is_active())
            .map(Wall::to_rfc3339),
    );
    fields.put("text", told.map(|seen| seen.sentence.clone()));
    fields.put("value", told.and_then(|seen| seen.value));
    fields.put("limit", told.and_then(|seen| seen.limit));
    fields.put(
        "unit",
        told.map(|seen| seen.unit.clone())
            .filter(|unit| !unit.is_empty()),
    );
    fields.put("check_first", alert::check_first(alert.code));
    fields.put("caution", alert::caution(alert.code));
    care_fields(alert, &mut fields);
    fields
}

/// What people know of it and said to it.
fn care_fields(alert: &Alert, fields: &mut Fields) {
    let active = alert.is_active();
    let care = &alert.care;
    let acknowledged = care.acknowledged().filter(|_| active);
    fields.put("acknowledged", acknowledged.is_some());
    let at = acknowledged.and_then(|(at, _)| at);
    fields.put("acknowledged_at", at.map(Wall::to_rfc3339));
    fields.put("note", acknowledged.and_then(|(_, note)| note));
    fields.put("snoozed", active && care.is_snoozed());
    let until = care.snoozed_until().filter(|_| active);
    fields.put("snoozed_until", until.map(Wall::to_rfc3339));
    fields.put("because", alert.because.as_deref().filter(|_| active));
    let told = care.told_at().filter(|_| active);
    fields.put("told", told.map(Wall::to_rfc3339));
    fields.put("reminded", if active { care.reminded() } else { 0 });
}

pub(super) fn run_fields(record: Option<&RunRecord>) -> Fields {
    let mut fields = Fields::default();
    let Some(record) = record else { return fields };
    fields.put("started", record.started.map(Wall::to_rfc3339));
    fields.put("ended", record.ended.map(Wall::to_rfc3339));
    fields.put("seconds", rounded(record.seconds, 1));
    fields.put("permeate_l", rounded(record.volumes.permeate.litres(), 3));
    fields.put("feed_l", rounded(record.volumes.feed.litres(), 3));
    fields.put(
        "concentrate_l",
        rounded(record.volumes.concentrate.litres(), 3),
    );
    fields.put(
        "settled_after_s",
        record
            .settled_after_seconds
            .map(|seconds| rounded(seconds, 1)),
    );
    fields.put(
        "settled_after_l",
        record
            .settled_after
            .map(|volume| rounded(volume.litres(), 3)),
    );
    fields.put("settled_by", record.settled_by.map(SettledBy::key));
    if let Some(creep) = &record.creep {
        fields.put("creep_peak_mg_l", rounded(creep.peak_tds.mg_per_l(), 1));
        fields.put("creep_peak_us_cm", rounded(creep.peak.us_per_cm(), 1));
        fields.put("creep_salt_mg", rounded(creep.salt_mg, 2));
        fields.put("creep_salt_meq", rounded(creep.salt_meq(), 4));
        fields.based("creep_salt_mg", creep.basis);
    }
    fields.put("no_creep", record.no_creep.clone());
    fields.put("flushed", record.flushed);
    fields.put("interrupted", record.interrupted);
    for metric in Metric::ALL {
        let description = metric.description();
        if let Some((name, known)) = record
            .steady
            .iter()
            .find(|(name, _)| name == description.name)
        {
            fields.put(name, published(description, known.value));
            fields.based(name, known.basis);
        }
    }
    fields.put("samples", record.samples);
    let coverage = record.coverage.map(|share| rounded(share * 100.0, 1));
    fields.put("coverage_pct", coverage);
    let scatter: Map<String, Value> = record
        .scatter
        .iter()
        .map(|(name, scatter)| (name.clone(), (*scatter).into()))
        .collect();
    if !scatter.is_empty() {
        fields.put("scatter", scatter);
    }
    fields.put("no_figures", record.no_figures.clone());
    fields
}
