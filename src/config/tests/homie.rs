//! `[homie]`: ids that it does not allow or cannot tell apart, and where its topics may begin.

use super::*;

const SENSOR: &str = "[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";

fn problems(text: &str) -> Vec<(Option<usize>, String)> {
    let problems = read(text).expect_err("a mistake");
    let told = problems.iter();
    told.map(|problem| (problem.line(), problem.to_string()))
        .collect()
}

#[test]
fn it_is_off_unless_it_is_switched_on() {
    assert_eq!(read(SENSOR).unwrap().homie, None);
    let off = format!("[homie]\ndomain = \"x\"\n{SENSOR}");
    assert_eq!(read(&off).unwrap().homie, None);
    let on = format!("[publish]\nprefix = \"a_b/c\"\n[homie]\nenabled = true\n{SENSOR}");
    let homie = read(&on).unwrap().homie.unwrap();
    assert_eq!(
        (homie.domain.as_str(), homie.instance.as_str()),
        ("homie", "a-b-c")
    );
}

#[test]
fn ids_that_would_be_one_are_refused() {
    let other = SENSOR.replace("unit.u.", "unit.u_1.") + &SENSOR.replace("unit.u.", "unit.u-1.");
    let stages = "[[unit.u.stage]]\nid = \"a_b\"\nkind = \"carbon\"\n[[unit.u.stage]]\nid = \"a-b\"\nkind = \"carbon\"\n";
    let alike = "id = \"x_y\"\nat = \"feed_tds\"\ntopic = \"f\"\nunit = \"ppm\"\n";
    let sensors = format!(
        "[[unit.u.sensor]]\n{alike}[[unit.u.sensor]]\n{}",
        alike.replace("x_y", "x-y").replace("feed", "permeate")
    );
    for (text, words) in [
        (other, ["\"u_1\"", "\"u-1\"", "unit"]),
        (
            format!("{stages}{SENSOR}"),
            ["\"a_b\"", "\"a-b\"", "stage of \"u\""],
        ),
        (
            format!("{sensors}{SENSOR}"),
            ["\"x_y\"", "\"x-y\"", "sensor of \"u\""],
        ),
        (
            SENSOR.replace("unit.u.", "unit.u_."),
            ["\"u_\"", "unit", "ends with _"],
        ),
    ] {
        assert!(read(&text).is_ok(), "without Homie it is no mistake");
        let told = problems(&format!("[homie]\nenabled = true\n{text}"));
        assert_eq!(told.len(), 1, "{told:?}");
        assert_eq!(told[0].0, Some(2));
        for word in words {
            assert!(told[0].1.contains(word), "{told:?}");
        }
    }
    let instance = format!("[hub]\ninstance = \"_x\"\n[homie]\nenabled = true\n{SENSOR}");
    assert!(problems(&instance)[0].1.contains("hub.instance"));
}

#[test]
fn a_domain_is_one_level_of_its_own() {
    for (domain, wanted) in [
        ("a/b", "one level"),
        ("Homie", "one level"),
        ("-x", "one level"),
        ("permeated", "publish.prefix"),
    ] {
        let told = problems(&format!(
            "[homie]\nenabled = true\ndomain = \"{domain}\"\n{SENSOR}"
        ));
        assert!(told[0].1.contains(wanted), "{told:?}");
        assert_eq!(told[0].0, Some(3));
    }
}
