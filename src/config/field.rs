//! One value of the configuration: read as what its key wants, or reported. Every reading method
//! returns `None` when it has reported a problem.

use std::{ops::RangeInclusive, time::Duration};

use jiff::civil::Date;

use super::{
    nearest::hint,
    report::Report,
    secret,
    tree::{Node, Origin, Value},
};
use crate::quantity::{Quantity, Unit, duration_from_text, duration_text};

/// A value that is there.
pub(super) struct Field<'r> {
    pub(super) report: &'r Report<'r>,
    pub(super) node: &'r Node,
    pub(super) path: String,
}

impl<'r> Field<'r> {
    /// Reports the value.
    pub(super) fn wrong(&self, sentence: impl Into<String>) {
        if secret::is_secret(&self.path) {
            self.wrong_hidden(self.without_value(sentence.into()));
        } else {
            self.report.wrong(&self.node.origin, &self.path, sentence);
        }
    }

    fn without_value(&self, sentence: String) -> String {
        match &self.node.value {
            Value::Text(text) if !text.is_empty() => sentence.replace(&format!("{text:?}"), "it"),
            _ => sentence,
        }
    }

    /// Reports the value without showing it.
    pub(super) fn wrong_hidden(&self, sentence: impl Into<String>) {
        self.report
            .wrong_hidden(&self.node.origin, &self.path, sentence);
    }

    /// Reports that the value is of another kind than `wanted`.
    pub(super) fn wrong_kind(&self, wanted: &str) {
        let found = match (&self.node.value, &self.node.origin) {
            _ if secret::is_secret(&self.path) => self.node.value.name().to_owned(),
            (Value::Text(text), _) => format!("the text {text:?}"),
            (Value::List(_) | Value::Table(_) | Value::Flag(_), _) => {
                self.node.value.name().to_owned()
            }
            (_, Origin::Text(span)) => {
                format!("{} ({})", self.report.typed(span), self.node.value.name())
            }
            _ => self.node.value.name().to_owned(),
        };
        self.wrong(format!("{wanted} is wanted here, not {found}"));
    }

    /// A text that is not empty and has no control characters.
    pub(super) fn text(&self) -> Option<&'r str> {
        let Value::Text(text) = &self.node.value else {
            self.wrong_kind("a text in quotes");
            return None;
        };
        if text.trim().is_empty() {
            self.wrong("the text is empty; leave the key out instead");
            return None;
        }
        if let Some(control) = text.chars().find(|c| c.is_control()) {
            let name = match control {
                '\0' => "NUL".to_owned(),
                other => other.escape_default().to_string(),
            };
            self.wrong(format!("the text holds the control character {name}"));
            return None;
        }
        Some(text)
    }

    /// One of `names`.
    pub(super) fn one_of<T: Copy>(&self, what: &str, names: &[(&'static str, T)]) -> Option<T> {
        let text = self.text()?;
        let found = names.iter().find(|(name, _)| *name == text);
        if found.is_none() {
            let names: Vec<&str> = names.iter().map(|(name, _)| *name).collect();
            self.wrong(format!(
                "{text:?} is no {what}{}; known are {}",
                hint(text, &names),
                names.join(", ")
            ));
        }
        found.map(|(_, value)| *value)
    }

    /// A name that may stand in topics: lower-case letters, digits, `_` and `-`.
    pub(super) fn id(&self) -> Option<&'r str> {
        let text = self.text()?;
        if let Some(sentence) = id_problem(text) {
            self.wrong(sentence);
            return None;
        }
        Some(text)
    }

    pub(super) fn flag(&self) -> Option<bool> {
        match (&self.node.value, &self.node.origin) {
            (Value::Flag(flag), _) => Some(*flag),
            (Value::Text(text), Origin::Variable(_)) if text == "true" => Some(true),
            (Value::Text(text), Origin::Variable(_)) if text == "false" => Some(false),
            _ => {
                self.wrong_kind("true or false (without quotes)");
                None
            }
        }
    }

    /// Any finite number.
    pub(super) fn number(&self) -> Option<f64> {
        let number = match (&self.node.value, &self.node.origin) {
            #[allow(clippy::cast_precision_loss)]
            (Value::Integer(number), _) => Some(*number as f64),
            (Value::Float(number), _) => Some(*number),
            (Value::Text(text), Origin::Variable(_)) => text.trim().parse().ok(),
            _ => None,
        };
        match number {
            Some(number) if number.is_finite() => Some(number),
            _ => {
                self.wrong_kind("a number (without quotes)");
                None
            }
        }
    }

    pub(super) fn number_in(&self, range: RangeInclusive<f64>) -> Option<f64> {
        let number = self.number()?;
        if range.contains(&number) {
            return Some(number);
        }
        self.wrong(format!(
            "{number} is out of range; allowed is {} to {}",
            range.start(),
            range.end()
        ));
        None
    }

    pub(super) fn whole(&self, range: RangeInclusive<u32>) -> Option<u32> {
        let number = self.number_in(f64::from(*range.start())..=f64::from(*range.end()))?;
        if number.fract() != 0.0 {
            self.wrong(format!("{number} is no whole number"));
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        Some(number as u32)
    }

    /// A share, written `"90 %"` or `0.9`.
    pub(super) fn share(&self, range: RangeInclusive<f64>) -> Option<f64> {
        let share = match &self.node.value {
            Value::Text(text) if text.trim_end().ends_with('%') => {
                match text.trim_end().trim_end_matches('%').trim().parse::<f64>() {
                    Ok(percent) if percent.is_finite() => percent / 100.0,
                    _ => {
                        self.wrong_kind("a share such as \"90 %\" or 0.9");
                        return None;
                    }
                }
            }
            Value::Text(_) if !matches!(self.node.origin, Origin::Variable(_)) => {
                self.wrong_kind("a share such as \"90 %\" or 0.9");
                return None;
            }
            _ => self.number()?,
        };
        if range.contains(&share) {
            return Some(share);
        }
        self.wrong(format!(
            "{} is out of range; allowed is {} to {} (in per cent: \"{} %\" to \"{} %\")",
            self.typed(),
            range.start(),
            range.end(),
            percent(*range.start()),
            percent(*range.end()),
        ));
        None
    }

    /// A quantity with its unit.
    pub(super) fn quantity<Q: Quantity>(&self) -> Option<Q> {
        match Q::parse(&self.typed_number_or_text("a text with a number and a unit")?) {
            Ok(quantity) => Some(quantity),
            Err(error) => {
                self.wrong(error.to_string());
                None
            }
        }
    }

    pub(super) fn quantity_in<Q: Quantity>(&self, range: RangeInclusive<Q>) -> Option<Q> {
        let quantity: Q = self.quantity()?;
        let (low, high) = (range.start().base(), range.end().base());
        if (low..=high).contains(&quantity.base()) {
            return Some(quantity);
        }
        let unit = self.unit_written::<Q>();
        self.wrong(format!(
            "{} is out of range; allowed is {} to {} {}",
            self.typed(),
            rounded(unit.from_base(low)),
            rounded(unit.from_base(high)),
            unit.symbol()
        ));
        None
    }

    pub(super) fn duration_in(&self, range: RangeInclusive<Duration>) -> Option<Duration> {
        let text = self.typed_number_or_text("a duration such as \"10 min\"")?;
        let duration = if text.trim_start().starts_with('-') {
            None
        } else {
            match duration_from_text(&text) {
                Ok(duration) => Some(duration),
                Err(error) => {
                    self.wrong(error.to_string());
                    return None;
                }
            }
        };
        let allowed = duration.filter(|duration| range.contains(duration));
        if allowed.is_none() {
            self.wrong(format!(
                "{} is out of range; allowed is {} to {}",
                self.typed(),
                duration_text(*range.start()),
                duration_text(*range.end())
            ));
        }
        allowed
    }

    /// A day, as a TOML date or as text.
    pub(super) fn date(&self) -> Option<Date> {
        let text = match &self.node.value {
            Value::Date(date) => date.to_string(),
            Value::Text(text) => text.clone(),
            _ => {
                self.wrong_kind("a day such as 2026-05-01");
                return None;
            }
        };
        let date = text.trim().parse::<Date>().ok();
        if text.trim().len() != "2026-05-01".len() || date.is_none() {
            self.wrong(format!("{text:?} is no day; write it as 2026-05-01"));
            return None;
        }
        date
    }

    /// The entries of a list.
    pub(super) fn list(&self, wanted: &str) -> Option<Vec<Self>> {
        let Value::List(nodes) = &self.node.value else {
            self.wrong_kind(wanted);
            return None;
        };
        Some(
            (1..)
                .zip(nodes)
                .map(|(number, node)| Self {
                    report: self.report,
                    node,
                    path: format!("{}[{number}]", self.path),
                })
                .collect(),
        )
    }

    /// The value as people wrote it, for sentences.
    pub(super) fn typed(&self) -> String {
        match (&self.node.value, &self.node.origin) {
            (Value::Text(text), _) => format!("{text:?}"),
            (_, Origin::Text(span)) => self.report.typed(span).to_owned(),
            _ => self.node.value.name().to_owned(),
        }
    }

    fn typed_number_or_text(&self, wanted: &str) -> Option<String> {
        match &self.node.value {
            Value::Text(text) => Some(text.clone()),
            Value::Integer(number) => Some(number.to_string()),
            Value::Float(number) => Some(number.to_string()),
            _ => {
                self.wrong_kind(wanted);
                None
            }
        }
    }

    fn unit_written<Q: Quantity>(&self) -> &'static Unit {
        let typed = match &self.node.value {
            Value::Text(text) => text.trim(),
            _ => "",
        };
        let symbol = typed.trim_start_matches(|c: char| c.is_ascii_digit() || "+-.eE ".contains(c));
        Q::unit(symbol).unwrap_or(&Q::UNITS[0])
    }
}

/// Characters of the longest id.
pub(super) const LONGEST_ID: usize = 64;

/// Why a text may not be an id, if so.
pub(super) fn id_problem(text: &str) -> Option<String> {
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_' || c == '-';
    if text.is_empty() || text.len() > LONGEST_ID || !text.chars().all(allowed) {
        return Some(format!(
            "{text:?} is no id; an id is 1 to {LONGEST_ID} of the characters a-z, 0-9, _ and -"
        ));
    }
    None
}

fn percent(share: f64) -> f64 {
    rounded(share * 100.0)
}

/// To four significant digits: range ends are told, not computed with.
fn rounded(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}
