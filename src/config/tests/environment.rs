//! Values from the environment, and input of every kind: neither panics.

use proptest::prelude::*;

use super::*;

#[test]
fn the_environment_is_laid_over_the_file_and_its_mistakes_name_the_variable() {
    let settings = with_environment(
        &format!("[unit.k]\ntds_scale = 0.7\n[broker]\nurl = \"mqtt://file\"\n{SMALLEST}"),
        &[
            ("PERMEATED__BROKER__URL", "mqtt://variable"),
            ("PERMEATED__BROKER__CLIENT_ID", "007"),
            ("PERMEATED__UNIT__K__TDS_SCALE", "0.6"),
            ("PERMEATED__UNIT__K__SUPPLY__PRESSURE", "4 bar"),
            ("PERMEATED__UNIT__K__ALERT__LEAK__ENABLED", ""),
            (
                "PERMEATED__UNIT__K__ALERT__STAGE_EXHAUSTED__ENABLED",
                "false",
            ),
            ("PERMEATED_LOG", "x"),
            ("HOME", "/root"),
        ],
    )
    .unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(settings.broker.host, "variable");
    assert_eq!(settings.broker.client_id.as_deref(), Some("007"));
    assert_eq!(settings.units[0].tds_scale.factor(), 0.6);
    assert_eq!(settings.units[0].supply.pressure.unwrap().bar(), 4.0);
    assert!(!settings.units[0].alerts.stage_exhausted);
    for (variable, value, part) in [
        ("PERMEATED__BROKER__KEEP_ALIVE", "soon", "no number"),
        ("PERMEATED__BROKER__ULR", "x", "did you mean \"url\"?"),
        ("PERMEATED__BROKER__", "x", "names no key"),
        ("PERMEATED__BROKER", "x", "single values"),
        ("PERMEATED__BROKER__URL__HOST", "x", "not a table"),
        (
            "PERMEATED__UNIT__GARDEN__NAME",
            "x",
            "no unit \"garden\"; it has k",
        ),
        ("PERMEATED__UNIT__K__SENSOR__1__TOPIC", "x", "is a list"),
        ("PERMEATED__UNIT__K__TDS_SCALE", "wide", "a number"),
    ] {
        let text = format!("[broker]\nurl = \"mqtt://h\"\n{SMALLEST}");
        let problems = with_environment(&text, &[(variable, value)]).expect_err(variable);
        let shown = problems.to_string();
        assert!(
            shown.contains(&format!("environment variable {variable}\n")) && shown.contains(part),
            "{shown}"
        );
        assert!(shown.ends_with("1 problem"), "{shown}");
    }
    let twice = with_environment(
        SMALLEST,
        &[("PERMEATED__STORE__A", "x"), ("PERMEATED__STORE__a", "y")],
    );
    assert!(twice.unwrap_err().to_string().contains("sets the same key"));
}

#[test]
fn a_variable_reaches_an_id_with_a_dash() {
    let settings = with_environment(
        &SMALLEST.replace(".k.", ".garden-tap."),
        &[("PERMEATED__UNIT__GARDEN_TAP__NAME", "Tap")],
    )
    .unwrap();
    assert_eq!(settings.units[0].name, "Tap");
}

/// Texts near a configuration: pieces of one, and values nobody would expect.
fn nearly() -> impl Strategy<Value = String> {
    let lines: Vec<&str> = include_str!("../../../config/permeated.toml")
        .lines()
        .collect();
    let line = proptest::sample::select(lines).prop_map(str::to_owned);
    let value = proptest::sample::select(vec![
        "0",
        "-1",
        "nan",
        "inf",
        "1e999",
        "99999999999999999999",
        "\"\"",
        "\"\\u0000\"",
        "[]",
        "[[]]",
        "{}",
        "{ a = 1 }",
        "true",
        "2026-05-01",
        "2026-05-01T10:00:00Z",
        "\"1e999 bar\"",
        "\"-1 s\"",
        "\"%\"",
        "\":\"",
        "\"∞ psi\"",
        "'''",
        "[",
        "\"mqtt://[::1\"",
        "\"mqtt://@:\"",
        "\"://x:é@\"",
        "[[1, 2], [nan, 3]]",
        "[[1e308, -1e308], [1.1e308, 1e308]]",
    ]);
    let odd = (line.clone(), value).prop_map(|(line, value)| {
        let key = line
            .split(" = ")
            .next()
            .unwrap_or("a")
            .trim_start_matches('#');
        format!("{key} = {value}")
    });
    proptest::collection::vec(prop_oneof![3 => line, 1 => odd, 1 => ".{0,20}"], 0..60)
        .prop_map(|lines| lines.join("\n"))
}

proptest! {
    #[test]
    fn no_text_panics(text in prop_oneof![any::<String>(), nearly()]) {
        if let Err(problems) = read(&text) {
            prop_assert!(problems.iter().next().is_some());
            prop_assert!(problems.to_string().contains("problem"));
        }
    }

    #[test]
    fn no_variable_panics(name in "PERMEATED__[A-Z_.a-zé-]{0,30}", value in any::<String>()) {
        if let Err(problems) = with_environment(SMALLEST, &[(&name, &value)]) {
            prop_assert!(problems.to_string().contains(&name));
        }
    }
}
