//! One table for many units: `ids`, `ids_from` and `{unit}`; and several processes on one prefix.

use std::{fs, path::Path};

use super::*;

const SENSOR: &str = "[[unit.flats.sensor]]\nat = \"product_tds\"\ntopic = \"flat/{unit}/tds\"\n\
                      unit = \"ppm\"\navailability = { topic = \"flat/{unit}/status\" }\n";

fn template(head: &str) -> String {
    format!("[unit.flats]\n{head}\n{SENSOR}")
}

/// The configuration in a folder with a list beside it.
fn beside(list: &str, text: &str) -> (tempfile::TempDir, Result<Settings, Problems>) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("units.txt"), list).unwrap();
    let path = folder.path().join("p.toml");
    fs::write(&path, text).unwrap();
    let found = crate::config::load(Path::new(&path), &BTreeMap::new(), None);
    (folder, found)
}

/// What a template means is what its units written out would mean.
#[test]
fn units_of_a_template_are_as_if_written_out() {
    let settings = read(&template(
        "ids = [\"b2\", \"a1\"]\nname = \"Flat {unit}\"\nsuggested_area = \"House {unit}\"",
    ))
    .unwrap();
    let written: String = ["a1", "b2"]
        .map(|id| {
            format!("[unit.{id}]\nname = \"Flat {id}\"\nsuggested_area = \"House {id}\"\n{SENSOR}")
                .replace("unit.flats", &format!("unit.{id}"))
                .replace("{unit}", id)
        })
        .concat();
    let plain = read(&written).unwrap();
    assert_eq!(settings.topics(), plain.topics());
    assert_eq!(settings.topics().len(), 4);
    for (one, other) in settings.units.iter().zip(&plain.units) {
        assert_eq!((&one.id, &one.name), (&other.id, &other.name));
        assert_eq!(one.suggested_area, other.suggested_area);
        assert_eq!(one.alerts, other.alerts);
        assert_eq!(one.sensors[0].id, other.sensors[0].id);
    }
    assert!(settings.units[0].is_alike(&settings.units[1]));
}

#[test]
fn a_list_beside_the_configuration_names_units() {
    let list = "# the flats\na1\na2   Second floor, left\n";
    let (_folder, found) = beside(
        list,
        &template("ids_from = \"units.txt\"\nname = \"F {unit}\""),
    );
    let names: Vec<_> = found
        .unwrap()
        .units
        .into_iter()
        .map(|unit| unit.name)
        .collect();
    assert_eq!(names, ["F a1", "Second floor, left"]);
}

#[test]
fn a_wrong_list_is_told_by_its_own_lines() {
    let (folder, found) = beside("a1\nA 2\na1\n", &template("ids_from = \"units.txt\""));
    let told = found.unwrap_err().to_string();
    let list = folder.path().join("units.txt").display().to_string();
    assert!(
        told.contains(&format!("{list}:2:1\n  A 2\n  ^\n")),
        "{told}"
    );
    assert!(
        told.contains(&format!("{list}:3:1\n  a1\n  ^^\n")),
        "{told}"
    );
    assert!(told.ends_with("2 problems"), "{told}");
    // A list that is no list at all is not told a thousand times.
    let (_folder, found) = beside(&"?\n".repeat(1000), &template("ids_from = \"units.txt\""));
    let problems = found.unwrap_err();
    assert_eq!(problems.iter().count(), 11);
    assert!(problems.to_string().contains("990 more lines"));
    for list in ["", "# none\n"] {
        let (_folder, found) = beside(list, &template("ids_from = \"units.txt\""));
        assert!(found.unwrap_err().to_string().contains("holds no id"));
    }
    one_problem(&template("ids_from = \"not/there\""), 2, "cannot be read");
}

#[test]
fn mistakes_of_a_template_are_told_once_at_their_line() {
    for (head, line, part) in [
        ("ids = []", 2, "the list is empty"),
        ("ids = \"a\"", 2, "a list of ids"),
        ("ids = [\"a\", \"a\"]", 2, "stands in the list already"),
        ("ids = [\"a\", \"B\"]", 2, "no id"),
        ("ids = [\"status\"]", 2, "status"),
        (
            "ids = [\"a\"]\nname = \"Flat\"",
            3,
            "all of them would be called so",
        ),
        ("ids = [\"a\"]\norder_ahead = \"{unit}\"", 3, ""),
        (
            "ids = [\"permeated\"]\n[[unit.flats.sensor]]\nat = \"leak\"\ntopic = \"{unit}/x\"",
            1,
            "lies under",
        ),
        (
            "",
            5,
            "stands for a unit's id where one table describes many",
        ),
    ] {
        let problems = read(&template(head)).expect_err(head);
        let found = problems
            .iter()
            .any(|problem| problem.line() == Some(line) && problem.sentence.contains(part));
        assert!(found, "{head}: {problems}");
    }
    let ids: Vec<String> = (0..1000).map(|number| format!("\"u{number}\"")).collect();
    let wrong = template(&format!("ids = [{}]", ids.join(", ")));
    one_problem(&wrong.replace("\"ppm\"", "\"pppm\""), 6, "pppm");
    one_problem(
        &wrong.replace("flat/{unit}/tds", "flat/tds"),
        5,
        "all of them would hear this one topic",
    );
    one_problem(
        &format!("{}{SMALLEST}", template("ids = [\"k\"]")),
        8,
        "is one of [unit.flats] already",
    );
    let pointer = wrong.replace("unit = \"ppm\"", "unit = \"ppm\"\npointer = \"/{unit}\"");
    one_problem(&pointer, 7, "has no meaning here");
}

#[test]
fn an_instance_has_a_status_topic_and_a_device_of_its_own() {
    let with = |text: &str| read(&format!("{text}\n{SMALLEST}"));
    let settings = with("[publish]\ninstance = \"east\"\n[homie]\nenabled = true").unwrap();
    assert_eq!(settings.publish.status_topic(), "permeated/status/east");
    assert_eq!(settings.hub.instance, "permeated");
    assert_eq!(settings.hub.service, "permeated-east");
    assert_eq!(settings.homie.unwrap().service, "permeated--east");
    let plain = with("[homie]\nenabled = true").unwrap();
    assert_eq!(plain.publish.status_topic(), "permeated/status");
    assert_eq!(plain.hub.service, plain.hub.instance);
    assert_eq!(plain.homie.unwrap().service, "permeated");
    let problems = with("[publish]\ninstance = \"session\"").unwrap_err();
    assert_eq!(problems.iter().next().unwrap().line(), Some(2));
}
