//! The keys of a document: values with their basis, and the reasons for gaps.

use serde_json::{Map, Value};

use crate::{
    core::{
        Finding, RunRecord,
        alert::{self, Alert},
    },
    metrics::{Description, Metric},
    time::Wall,
};

/// The keys of a document, with the basis of values and the reasons for gaps.
#[derive(Default)]
pub(super) struct Fields {
    pub body: Map<String, Value>,
    pub basis: Map<String, Value>,
    pub missing: Map<String, Value>,
}

impl Fields {
    pub fn put(&mut self, key: &str, value: impl Into<Value>) {
        self.body.insert(key.to_owned(), value.into());
    }

    pub fn finding(&mut self, description: &Description, finding: Finding<f64>) {
        match finding {
            Ok(known) => {
                self.put(description.name, published(description, known.value));
                self.basis
                    .insert(description.name.to_owned(), known.basis.key().into());
            }
            Err(lack) => {
                self.put(description.name, Value::Null);
                self.missing
                    .insert(description.name.to_owned(), lack.to_string().into());
            }
        }
    }

    pub fn text(mut self) -> String {
        for (key, map) in [("basis", self.basis), ("missing", self.missing)] {
            if !map.is_empty() {
                self.body.insert(key.to_owned(), map.into());
            }
        }
        Value::Object(self.body).to_string()
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
    fields
}

pub(super) fn run_fields(record: Option<&RunRecord>) -> Fields {
    let mut fields = Fields::default();
    let Some(record) = record else { return fields };
    let round = |value: f64, decimals: i32| {
        let factor = 10f64.powi(decimals);
        (value * factor).round() / factor
    };
    fields.put("started", record.started.map(Wall::to_rfc3339));
    fields.put("ended", record.ended.map(Wall::to_rfc3339));
    fields.put("seconds", round(record.seconds, 1));
    fields.put("permeate_l", round(record.volumes.permeate.litres(), 3));
    fields.put("feed_l", round(record.volumes.feed.litres(), 3));
    fields.put(
        "concentrate_l",
        round(record.volumes.concentrate.litres(), 3),
    );
    fields.put(
        "settled_after_s",
        record
            .settled_after_seconds
            .map(|seconds| round(seconds, 1)),
    );
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
            fields.basis.insert(name.clone(), known.basis.key().into());
        }
    }
    fields.put("no_figures", record.no_figures.clone());
    fields
}
