//! The documented example is held to the code: it loads, it shows every key, and what it says is
//! a default is the default.

use super::super::resolve::{ALERT_TABLES, AVAILABILITY_KEYS, EVERY_TABLE};
use super::*;

const EXAMPLE: &str = include_str!("../../../config/permeated.toml");

/// Keys of the example that describe the owner's unit rather than show a default.
const OWN: &[(&str, &[&str])] = &[
    ("unit.kitchen", &["name"]),
    (
        "unit.kitchen.supply",
        &[
            "pressure",
            "temperature",
            "tds",
            "waste_ratio",
            "alkalinity",
            "calcium",
            "hardness",
            "tested",
            "ph",
            "disinfectant",
            "disinfectant_level",
            "silica",
        ],
    ),
    ("unit.kitchen.membrane", &["rated_rejection"]),
    (
        "unit.kitchen.stage",
        &["name", "life", "life_time", "installed", "resin", "price"],
    ),
    ("unit.kitchen.costs", &["currency", "water", "waste_water"]),
];

/// A line of the example: its table's header, its key, and whether it is switched off.
struct Line<'a> {
    table: &'a str,
    key: &'a str,
    off: bool,
    at: usize,
    /// The line of its table's header, when that is switched off, too.
    header: Option<usize>,
}

fn lines(text: &str) -> Vec<Line<'_>> {
    let (mut table, mut header) = ("", None);
    let mut found = Vec::new();
    for (at, line) in text.lines().enumerate() {
        if line.starts_with('[') || line.starts_with("#[") {
            let end = line.find(']').unwrap();
            table = line[..end].trim_start_matches(['#', '[']);
            header = line.starts_with('#').then_some(at);
        }
        let (off, line) = match line.strip_prefix('#') {
            Some(rest) => (true, rest),
            None => (false, line),
        };
        let is_key =
            |key: &&str| !key.is_empty() && key.chars().all(|c| c.is_ascii_lowercase() || c == '_');
        if let Some(key) = line.split_once(" = ").map(|(key, _)| key).filter(is_key) {
            found.push(Line {
                table,
                key,
                off,
                at,
                header,
            });
        }
    }
    found
}

/// The example with a line and, if that is off, its table's header changed.
fn changed(at: usize, header: Option<usize>, change: impl Fn(&str) -> String) -> String {
    EXAMPLE
        .lines()
        .enumerate()
        .map(|(number, line)| {
            if number == at || Some(number) == header {
                change(line)
            } else {
                line.to_owned()
            }
        })
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn the_example_loads() {
    let settings = read(EXAMPLE).unwrap_or_else(|problems| panic!("{problems}"));
    let unit = settings.unit("kitchen").unwrap();
    assert_eq!(unit.stages.len(), 5);
    assert_eq!(unit.sensors.len(), 9);
    assert_eq!(settings.topics().len(), 10);
}

#[test]
fn the_example_shows_every_key() {
    let shown = lines(EXAMPLE);
    let has = |table: &str, key: &str| {
        shown
            .iter()
            .any(|line| line.table == table && line.key == key)
    };
    let alerts = ALERT_TABLES
        .iter()
        .map(|(code, keys)| (format!("unit.kitchen.alert.{code}"), *keys));
    let mut tables: Vec<(String, &[&str])> = EVERY_TABLE
        .iter()
        .map(|(table, keys)| (table.replace('*', "kitchen").replace("[]", ""), *keys))
        .chain(alerts)
        .collect();
    tables.push((
        "unit.kitchen.sensor.availability".to_owned(),
        AVAILABILITY_KEYS,
    ));
    tables.push((
        "unit.kitchen".to_owned(),
        &["name", "suggested_area", "tds_scale"],
    ));
    for (table, keys) in tables {
        for key in keys.iter().filter(|key| **key != "availability") {
            assert!(has(&table, key), "{key} is missing from [{table}]");
        }
    }
}

#[test]
fn a_line_left_out_of_the_example_changes_nothing_unless_it_is_the_owners() {
    let whole = read(EXAMPLE).unwrap();
    let mut optional = 0;
    for line in lines(EXAMPLE).iter().filter(|line| !line.off) {
        let own = OWN
            .iter()
            .any(|(table, keys)| *table == line.table && keys.contains(&line.key));
        // A line that cannot be left out is no default.
        let Ok(without) = read(&changed(line.at, None, |_| String::new())) else {
            continue;
        };
        if own {
            assert_ne!(without, whole, "line {} says nothing", line.at + 1);
            continue;
        }
        assert_nearly_equal(&without, &whole, line);
        optional += 1;
    }
    assert!(optional > 70, "only {optional} lines show a default");
}

/// Equal but for the last digits of a limit that is written out in one place and computed in the
/// other.
fn assert_nearly_equal(one: &Settings, other: &Settings, line: &Line<'_>) {
    let rounded = |settings: &Settings| {
        format!("{settings:?}")
            .split([' ', ',', '(', ')'])
            .map(|word| {
                word.parse::<f64>()
                    .map_or_else(|_| word.to_owned(), |number| format!("{number:.9}"))
            })
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(
        rounded(one),
        rounded(other),
        "line {} ({}) is no default",
        line.at + 1,
        line.key
    );
}

#[test]
fn a_line_switched_on_is_understood() {
    for line in lines(EXAMPLE).iter().filter(|line| line.off) {
        let text = changed(line.at, line.header, |text| text[1..].to_owned());
        let Err(problems) = read(&text) else { continue };
        // It may need its counterpart or exclude another, but is a known key with a good value.
        for problem in problems.iter() {
            let sentence = &problem.sentence;
            assert!(
                [
                    "not both",
                    "needs",
                    "is missing",
                    "nothing uses it",
                    "only with",
                    "only an encrypted",
                    "an open storage",
                    "describes many units",
                    "cannot be read"
                ]
                .iter()
                .any(|part| sentence.contains(part)),
                "line {}: {problem}",
                line.at + 1
            );
        }
    }
}
