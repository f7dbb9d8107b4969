//! `ids` and `ids_from` in `[unit.*]`: one table for many units. Owns the list of their ids, and where
//! `{unit}` must stand and may not.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    super::{
        field::{Field, id_problem},
        problem::Place,
        reader::Reader,
        text_of,
        topic::Topic,
        tree::{Node, Value},
    },
    Context, file, unit,
};

/// Mistakes of a list that are told one by one.
const MOST_TOLD: usize = 10;

/// A unit of a template.
#[derive(Debug, PartialEq)]
pub(super) struct Named {
    pub(super) id: String,
    /// What people call it, when the list says so.
    pub(super) name: Option<String>,
}

/// The units of a table that is a template, each once; `None` of one that is not.
pub(super) fn of_template(reader: &Reader<'_>, context: &Context<'_>) -> Option<Vec<Named>> {
    reader.not_both("ids", "ids_from");
    if let Some(field) = reader.field("ids") {
        return Some(written(&field));
    }
    let field = reader.field("ids_from")?;
    Some(listed(&field, context).unwrap_or_default())
}

fn written(list: &Field<'_>) -> Vec<Named> {
    let Value::List(nodes) = &list.node.value else {
        list.wrong_kind("a list of ids, as [\"a17\", \"a18\"],");
        return Vec::new();
    };
    if nodes.is_empty() {
        list.wrong("the list is empty; leave the whole table out instead");
    }
    let mut seen = BTreeSet::new();
    let fields = (1..).zip(nodes).map(|(number, node)| Field {
        report: list.report,
        node,
        path: format!("{}[{number}]", list.path),
    });
    fields
        .filter_map(|field| {
            let id = field.id()?;
            if let Some(sentence) = unit::reserved(id) {
                field.wrong(sentence);
            } else if !seen.insert(id) {
                field.wrong(format!("{id:?} stands in the list already"));
            }
            let id = id.to_owned();
            Some(Named { id, name: None })
        })
        .collect()
}

/// The units of a file: an id in each line, and what people call it behind.
fn listed(field: &Field<'_>, context: &Context<'_>) -> Option<Vec<Named>> {
    let path = file(field, context)?;
    let text = text_of(&path)
        .map_err(|error| {
            field.wrong(format!(
                "the list {} cannot be read: {error}; it holds an id in each line",
                path.display()
            ));
        })
        .ok()?;
    let (units, mistakes) = lines(&text);
    let name = path.display().to_string();
    for mistake in mistakes.iter().take(MOST_TOLD) {
        let place = Place::Text {
            file: name.clone(),
            line: mistake.line,
            column: mistake.column,
            excerpt: mistake.text.to_owned(),
            width: mistake.width,
        };
        field.report.wrong_elsewhere(place, &mistake.sentence);
    }
    match mistakes.len().saturating_sub(MOST_TOLD) {
        0 if units.is_empty() && mistakes.is_empty() => {
            field.wrong(format!("the list {name} holds no id"));
        }
        0 => {}
        more => field.wrong(format!("{more} more lines of {name} are wrong")),
    }
    Some(units)
}

struct Mistake<'t> {
    line: usize,
    column: usize,
    width: usize,
    text: &'t str,
    sentence: String,
}

/// The units of a list, and the lines that name none.
fn lines(text: &str) -> (Vec<Named>, Vec<Mistake<'_>>) {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut units, mut mistakes) = (Vec::new(), Vec::new());
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    for (number, whole) in (1..).zip(text.lines()) {
        let line = whole.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let (id, name) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        let name = Some(name.trim()).filter(|name| !name.is_empty() && !name.starts_with('#'));
        let sentence = id_problem(id)
            .or_else(|| unit::reserved(id))
            .or_else(|| {
                let before = seen.get(id)?;
                Some(format!("{id:?} stands in line {before} already"))
            })
            .or_else(|| {
                let is_odd = name.is_some_and(|name| name.contains(char::is_control));
                is_odd.then(|| "the name holds a control character".to_owned())
            });
        if let Some(sentence) = sentence {
            mistakes.push(Mistake {
                line: number,
                column: 1 + whole.chars().take_while(|c| c.is_whitespace()).count(),
                width: id.chars().count(),
                text: whole.trim_end(),
                sentence,
            });
            continue;
        }
        seen.insert(id, number);
        units.push(Named {
            id: id.to_owned(),
            name: name.map(str::to_owned),
        });
    }
    (units, mistakes)
}

/// Reports where `{unit}` stands but means nothing, and where it must stand in a template and does not.
pub(super) fn check_places(unit: &Field<'_>, is_template: bool) {
    walk(unit.node, &unit.path, "", &mut |node, path, place| {
        let Value::Text(text) = &node.value else {
            return;
        };
        let is_there = text.contains(Topic::UNIT);
        let sentence = match place {
            _ if is_there && !is_template => {
                "{unit} stands for a unit's id where one table describes many (ids, or ids_from); \
                 write the topic or name itself"
            }
            "sensor.topic" | "sensor.availability.topic" if !is_there && is_template => {
                "the table describes many units, and all of them would hear this one topic: write \
                 {unit} where the id stands in it"
            }
            "name" if !is_there && is_template => {
                "the table describes many units, and all of them would be called so: write {unit} \
                 in it, or leave it out"
            }
            "name" | "suggested_area" | "sensor.topic" | "sensor.availability.topic" => return,
            _ if is_there => {
                "{unit} has no meaning here: it stands in topics, name and suggested_area"
            }
            _ => return,
        };
        unit.report.wrong(&node.origin, path, sentence);
    });
}

/// Every value below `node` with its path, and that path within the unit without numbers.
fn walk(node: &Node, path: &str, place: &str, look: &mut dyn FnMut(&Node, &str, &str)) {
    match &node.value {
        Value::Table(table) => {
            for (key, below) in table {
                let dot = if place.is_empty() { "" } else { "." };
                let place = format!("{place}{dot}{key}");
                walk(below, &format!("{path}.{key}"), &place, look);
            }
        }
        Value::List(nodes) => {
            for (number, below) in (1..).zip(nodes) {
                walk(below, &format!("{path}[{number}]"), place, look);
            }
        }
        Value::Text(_) | Value::Integer(_) | Value::Float(_) | Value::Flag(_) | Value::Date(_) => {
            look(node, path, place);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_holds_an_id_in_each_line_and_perhaps_a_name() {
        let text = "\u{feff}# all flats\r\n\r\na17\r\n  a18\tElm Street, #3  \na19 # vacant\n";
        let (units, mistakes) = lines(text);
        let found: Vec<_> = units
            .iter()
            .map(|unit| (unit.id.as_str(), unit.name.as_deref()))
            .collect();
        let wanted = [
            ("a17", None),
            ("a18", Some("Elm Street, #3")),
            ("a19", None),
        ];
        assert_eq!(found, wanted);
        assert!(mistakes.is_empty());
    }

    #[test]
    fn lines_that_name_no_unit_are_told_with_their_place() {
        let (units, mistakes) = lines("a1\n  A2 x\na1\nstatus\na3 b\u{7}c\n");
        assert_eq!(units.len(), 1);
        let told: Vec<_> = mistakes
            .iter()
            .map(|mistake| (mistake.line, mistake.column, mistake.width))
            .collect();
        assert_eq!(told, [(2, 3, 2), (3, 1, 2), (4, 1, 6), (5, 1, 2)]);
        assert!(mistakes[1].sentence.contains("line 1"));
    }
}
