//! Every single value of a JSON document with its pointer (RFC 6901) and what the objects around say
//! of it.

use serde_json::Value;

use super::{
    configuration::can_be_written,
    heard::{self, Limits},
    series::{Sample, short},
};

/// A single value in a document.
pub(super) struct Found {
    /// `None` for the payload itself.
    pub(super) pointer: Option<String>,
    pub(super) sample: Sample,
    /// What the object around it says of it.
    pub(super) name: Option<String>,
    pub(super) unit: Option<String>,
}

/// What an object says of the value in it.
#[derive(Clone, Copy, Default)]
struct Said<'v> {
    name: Option<&'v str>,
    unit: Option<&'v str>,
}

impl<'v> Said<'v> {
    fn of(object: &'v serde_json::Map<String, Value>) -> Self {
        let text = |keys: &[&str]| {
            (object.iter())
                .find(|(key, _)| keys.iter().any(|name| key.eq_ignore_ascii_case(name)))
                .and_then(|(_, value)| value.as_str())
        };
        Self {
            name: text(&[
                "name",
                "sensor",
                "label",
                "channel",
                "point",
                "type",
                "measurement",
                "quantity",
            ]),
            unit: text(&["unit", "units", "unit_of_measurement", "uom"]),
        }
    }
}

/// Every value of a document.
pub(super) fn through(document: &Value, limits: Limits) -> Walk {
    let mut walk = Walk {
        found: Vec::new(),
        too_deep: false,
        too_many: 0,
        limits,
    };
    walk.descend(document, String::new(), 0, None);
    walk
}

/// A payload that is no document.
pub(super) fn of_text(text: &str) -> Walk {
    Walk {
        found: vec![Found {
            pointer: None,
            sample: Sample::of_text(text),
            name: None,
            unit: None,
        }],
        too_deep: false,
        too_many: 0,
        limits: heard::LIMITS,
    }
}

/// What a walk found, and what it left out.
pub(super) struct Walk {
    pub(super) found: Vec<Found>,
    pub(super) too_deep: bool,
    pub(super) too_many: u64,
    limits: Limits,
}

impl Walk {
    fn descend(&mut self, value: &Value, pointer: String, depth: usize, said: Option<Said<'_>>) {
        if depth > self.limits.depth {
            self.too_deep = true;
            return;
        }
        match value {
            Value::Object(object) => {
                let said = Said::of(object);
                for (key, value) in object {
                    self.descend(
                        value,
                        format!("{pointer}/{}", escaped(key)),
                        depth + 1,
                        Some(said),
                    );
                }
            }
            Value::Array(list) => {
                for (at, value) in list.iter().enumerate() {
                    self.descend(value, format!("{pointer}/{at}"), depth + 1, said);
                }
            }
            Value::Null => self.add(pointer, Sample::NoValue("null".to_owned()), said),
            Value::Bool(state) => self.add(pointer, Sample::Word(state.to_string()), said),
            Value::Number(number) => {
                let number = number.as_f64().filter(|number| number.is_finite());
                let sample = number.map_or(Sample::Word("too large".to_owned()), |number| {
                    Sample::Number(number, None)
                });
                self.add(pointer, sample, said);
            }
            Value::String(text) => self.add(pointer, Sample::of_text(text), said),
        }
    }

    fn add(&mut self, pointer: String, sample: Sample, said: Option<Said<'_>>) {
        if self.found.len() >= self.limits.values_of_a_topic
            || pointer.len() > self.limits.name_bytes
            || !can_be_written(&pointer)
        {
            self.too_many += 1;
            return;
        }
        let said = said.unwrap_or_default();
        self.found.push(Found {
            pointer: Some(pointer),
            sample,
            name: said.name.map(short),
            unit: said.unit.map(short),
        });
    }
}

/// A key as a reference token (RFC 6901, 3).
pub(super) fn escaped(key: &str) -> String {
    key.replace('~', "~0").replace('/', "~1")
}
