//! The configuration as a small tree whose every node knows where it was written. Owns the step
//! from TOML text to the tree; knows no key.

use std::{collections::BTreeMap, ops::Range};

use toml::de::{DeInteger, DeTable, DeValue};
use toml::value::Datetime;

use super::report::Report;

/// Where something was written.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Origin {
    /// At these bytes of the file.
    Text(Range<usize>),
    /// In the file as a whole.
    File,
    /// In this environment variable.
    Variable(String),
}

/// A table, by key.
pub(super) type Table = BTreeMap<String, Node>;

/// A value, where it is and where its key is.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) value: Value,
    pub(super) origin: Origin,
    pub(super) key: Origin,
}

/// What a key may hold.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    Integer(i64),
    Float(f64),
    Flag(bool),
    Date(Datetime),
    List(Vec<Node>),
    Table(Table),
}

impl Value {
    /// What people call it.
    pub(super) fn name(&self) -> &'static str {
        match self {
            Self::Text(_) => "a text",
            Self::Integer(_) => "a whole number",
            Self::Float(_) => "a number",
            Self::Flag(_) => "true or false",
            Self::Date(_) => "a date or time",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// The tree of a text. What is no TOML is reported; the rest is read as well as it can be.
pub(super) fn parse(text: &str, report: &Report<'_>) -> Node {
    let (table, errors) = DeTable::parse_recoverable(text);
    let errors = errors
        .iter()
        .map(|error| SyntaxError {
            span: error.span().unwrap_or(0..0),
            message: error.message().to_owned(),
        })
        .collect();
    for error in one_a_line(errors, report) {
        report.syntax(error.span.clone(), error.misleads(), error.sentence());
    }
    Node {
        value: Value::Table(entries(table.get_ref())),
        origin: Origin::File,
        key: Origin::File,
    }
}

fn entries(table: &DeTable<'_>) -> Table {
    table
        .iter()
        .map(|(key, value)| {
            let key_origin = Origin::Text(key.span());
            let node = node(value.get_ref(), value.span(), key_origin);
            (key.get_ref().to_string(), node)
        })
        .collect()
}

/// Nesting is bounded by the parser.
fn node(value: &DeValue<'_>, span: Range<usize>, key: Origin) -> Node {
    let value = match value {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => integer(number),
        DeValue::Float(number) => Value::Float(number.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(date) => Value::Date(*date),
        DeValue::Array(values) => Value::List(
            values
                .iter()
                .map(|value| node(value.get_ref(), value.span(), Origin::Text(value.span())))
                .collect(),
        ),
        DeValue::Table(table) => Value::Table(entries(table)),
    };
    Node {
        value,
        origin: Origin::Text(span),
        key,
    }
}

/// A whole number too large for 64 bits is kept as the nearest number: the range check refuses it.
fn integer(number: &DeInteger<'_>) -> Value {
    i64::from_str_radix(number.as_str(), number.radix()).map_or_else(
        |_| Value::Float(number.as_str().parse().unwrap_or(f64::INFINITY)),
        Value::Integer,
    )
}

struct SyntaxError {
    span: Range<usize>,
    message: String,
}

impl SyntaxError {
    fn unquoted(&self) -> bool {
        self.message.starts_with("string values must be quoted")
    }

    /// Whether the parser may have misread what follows.
    fn misleads(&self) -> bool {
        !(self.unquoted()
            || self.message.starts_with("duplicate key")
            || self.message.starts_with("invalid basic string")
            || self.message.starts_with("invalid literal string"))
    }

    fn inside_list(&self) -> bool {
        self.message
            .starts_with("missing comma between array elements")
            || self.message.contains(" in array")
    }

    fn sentence(&self) -> String {
        if self.unquoted() {
            "a text stands in quotes, and so does a number with a unit: \"60 psi\"".to_owned()
        } else if self.message.starts_with("duplicate key") {
            "this key is written twice; keep one of them".to_owned()
        } else {
            format!("this is not TOML: {}", self.message)
        }
    }
}

/// The first error of each line, and one for a list that was never closed instead of one for
/// every line after it.
fn one_a_line(mut errors: Vec<SyntaxError>, report: &Report<'_>) -> Vec<SyntaxError> {
    errors.sort_by_key(|error| error.span.start);
    let unclosed = errors
        .iter()
        .any(|error| error.message.starts_with("unclosed array"));
    let mut kept: Vec<SyntaxError> = Vec::new();
    for mut error in errors {
        if unclosed && error.inside_list() {
            "a list before this is not closed, expected `]`".clone_into(&mut error.message);
            kept.push(error);
            break;
        }
        let line = report.line(error.span.start);
        if kept
            .last()
            .is_none_or(|before| report.line(before.span.start) != line)
        {
            kept.push(error);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn syntax_lines(text: &str) -> Vec<usize> {
        let report = Report::new("x.toml", text);
        parse(text, &report);
        report
            .into_problems()
            .iter()
            .filter_map(super::super::problem::Problem::line)
            .collect()
    }

    #[test]
    fn every_line_that_is_no_toml_is_found() {
        assert_eq!(
            syntax_lines("a = 1 mg/L\nb = \"x\nc = 3\nc = 4\nd = yes\n"),
            [1, 2, 4, 5]
        );
    }

    #[test]
    fn a_list_that_is_not_closed_is_told_once() {
        assert_eq!(
            syntax_lines("a = [1, 2\nb = 2\nc = 3\n[d]\ne = 1\n").len(),
            1
        );
    }

    #[test]
    fn numbers_keep_their_kind_and_radix() {
        let text = "a = 0x1_F\nb = 99999999999999999999\nc = 1.5\nd = inf\n";
        let report = Report::new("x.toml", text);
        let Value::Table(table) = parse(text, &report).value else {
            panic!("a document is a table")
        };
        assert!(matches!(table["a"].value, Value::Integer(31)));
        assert!(matches!(table["b"].value, Value::Float(number) if number == 1e20));
        assert!(matches!(table["c"].value, Value::Float(1.5)));
        assert!(matches!(table["d"].value, Value::Float(number) if number.is_infinite()));
    }
}
