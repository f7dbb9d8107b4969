//! Lays single values from the environment over the file: `PERMEATED__BROKER__URL` sets `url` in
//! `[broker]`. Reads no environment itself; it is handed one.
//!
//! Only single values can be set this way. Tables of the known shape are made when the file lacks
//! them, a unit is not; entries of a list (stages, sensors) have no name a variable could use.

use std::collections::BTreeMap;

use ::config::{Environment, Source};

use super::{
    report::Report,
    tree::{Node, Origin, Table, Value},
};

const PREFIX: &str = "PERMEATED";
const SEPARATOR: &str = "__";

/// Sets every value the environment has. A variable that cannot be placed is reported.
pub(super) fn overlay(
    root: &mut Node,
    environment: &BTreeMap<String, String>,
    report: &Report<'_>,
) {
    let start = format!("{PREFIX}{SEPARATOR}");
    let mut variables: BTreeMap<String, Vec<&String>> = BTreeMap::new();
    for variable in environment.keys().filter(|name| name.starts_with(&start)) {
        let path = variable[start.len()..]
            .to_lowercase()
            .replace(SEPARATOR, ".");
        variables.entry(path).or_default().push(variable);
    }
    let ours = variables
        .values()
        .flatten()
        .map(|name| ((*name).clone(), environment[*name].clone()))
        .collect();
    // Texts are kept as texts: the reader knows which key wants a number, and a client id of
    // "007" must not become 7. An empty variable counts as not set.
    let source = Environment::with_prefix(PREFIX)
        .separator(SEPARATOR)
        .ignore_empty(true)
        .source(Some(ours));
    let values = match source.collect() {
        Ok(values) => values.into_iter().collect::<BTreeMap<_, _>>(),
        Err(error) => return report.wrong(&Origin::Variable(start), "", error.to_string()),
    };
    for (path, value) in values {
        let names = variables.get(&path).map_or(&[][..], Vec::as_slice);
        let origin = Origin::Variable(names.first().map_or_else(|| path.clone(), |n| (*n).clone()));
        if let [_, second, ..] = names {
            let sentence = format!("{second} sets the same key; keep one of them");
            report.wrong(&origin, &path, sentence);
            continue;
        }
        let text = value.into_string().unwrap_or_default();
        if let Err(sentence) = set(root, &path, text, &origin) {
            report.wrong(&origin, &path, sentence);
        }
    }
}

fn set(root: &mut Node, path: &str, text: String, origin: &Origin) -> Result<(), String> {
    let names: Vec<&str> = path.split('.').collect();
    let mut table = match &mut root.value {
        Value::Table(table) => table,
        _ => return Ok(()),
    };
    let (last, parents) = names.split_last().ok_or("names no key")?;
    if names.iter().any(|name| name.is_empty()) {
        return Err(format!(
            "names no key; it is written {PREFIX}{SEPARATOR}TABLE{SEPARATOR}KEY"
        ));
    }
    for (depth, name) in parents.iter().enumerate() {
        let key = written_as(table, name);
        if !table.contains_key(&key) && depth == 1 && parents[0] == "unit" {
            let units: Vec<&str> = table.keys().map(String::as_str).collect();
            return Err(format!(
                "the file has no unit {name:?}; it has {}",
                if units.is_empty() {
                    "none".to_owned()
                } else {
                    units.join(", ")
                }
            ));
        }
        let next = table.entry(key).or_insert_with(|| Node {
            value: Value::Table(Table::new()),
            origin: origin.clone(),
            key: origin.clone(),
        });
        table = match &mut next.value {
            Value::Table(table) => table,
            Value::List(_) => {
                return Err(format!(
                    "{name} is a list, and the environment can only set single values outside lists"
                ));
            }
            other => return Err(format!("{name} is {}, not a table", other.name())),
        };
    }
    let key = written_as(table, last);
    if let Some(Value::Table(_) | Value::List(_)) = table.get(&key).map(|node| &node.value) {
        return Err(format!(
            "{last} is a table or a list, and the environment can only set single values"
        ));
    }
    table.insert(
        key,
        Node {
            value: Value::Text(text),
            origin: origin.clone(),
            key: origin.clone(),
        },
    );
    Ok(())
}

/// A variable's name has no dash: `UNIT__GARDEN_TAP` also means the unit `garden-tap`.
fn written_as(table: &Table, name: &str) -> String {
    if table.contains_key(name) {
        return name.to_owned();
    }
    table
        .keys()
        .find(|key| key.replace('-', "_") == name)
        .map_or_else(|| name.to_owned(), Clone::clone)
}
