//! Two vessels of carbon: what a test behind each of them says, as the unit tells it.

use std::{collections::BTreeMap, sync::Arc};

use super::PrefilterState;
use crate::{
    config,
    core::{
        Binding, Command, Correction, HandTest, Replacement, Tested, Unit, UnitState, alert::Code,
    },
    metrics::StageMetric,
    time::{Mono, Now, Wall},
};

const TRAIN: &str = r#"
[broker]
url = "mqtt://localhost"
[unit.k.supply]
disinfectant = "chloramine"
[[unit.k.stage]]
id = "carbon-1"
kind = "carbon"
life_time = "360 d"
[[unit.k.stage]]
id = "carbon-2"
kind = "carbon"
life_time = "360 d"
[[unit.k.stage]]
id = "membrane"
kind = "membrane"
[[unit.k.sensor]]
at = "feed_tds"
topic = "a/b"
unit = "mg/L"
"#;

/// So many hours after 2026-06-01T06:00:00Z.
fn at(hour: u64) -> Now {
    Now {
        mono: Mono(hour * 3_600_000),
        wall: Wall(1_780_293_600_000 + i64::try_from(hour).unwrap() * 3_600_000),
    }
}

fn unit() -> Unit {
    let settings = config::from_text("t.toml", TRAIN, &BTreeMap::new(), None).unwrap();
    let settings = Arc::new(settings.units[0].clone());
    let mut unit = Unit::new(settings, UnitState::default(), at(0));
    unit.tick(at(0));
    unit
}

fn test(unit: &mut Unit, hour: u64, value: f64, after: Option<&str>) {
    let tested = Tested {
        test: HandTest::TotalChlorine,
        value,
        after: after.map(str::to_owned),
        date: None,
        note: None,
    };
    unit.command(at(hour), Command::Test(tested));
}

fn is_active(unit: &Unit, code: Code) -> bool {
    let mut alerts = unit.alerts().iter();
    alerts.any(|alert| alert.code == code && alert.is_active())
}

fn binding(unit: &Unit, stage: usize) -> Option<Binding> {
    unit.stage_findings(at(9))[stage].binding
}

#[test]
fn a_spent_first_vessel_is_told_of_that_vessel_and_is_no_breakthrough() {
    let mut unit = unit();
    test(&mut unit, 1, 0.0, None);
    test(&mut unit, 2, 0.6, Some("carbon-1"));
    assert_eq!(binding(&unit, 0), Some(Binding::Test));
    assert_eq!(binding(&unit, 1), Some(Binding::Age), "the last holds");
    let left = unit.stage_findings(at(9))[0].of(StageMetric::Left);
    assert_eq!(left.unwrap().value, 0.0);
    assert!(!is_active(&unit, Code::ChlorineBreakthrough));
    let words = unit.stages()[0].advice().join(" ");
    assert!(
        words.contains("0.60 mg/L") && words.contains("2026-06-01"),
        "{words}"
    );
    // Ordinary carbon only, against chloramine: advice in words.
    assert!(unit.stages()[1].advice()[0].contains("catalytic carbon"));
    unit.command(
        at(3),
        Command::Replaced(Replacement {
            stage: 0,
            ..Replacement::default()
        }),
    );
    assert_eq!(binding(&unit, 0), Some(Binding::Age));
    test(&mut unit, 4, 0.6, Some("carbon-2"));
    assert!(is_active(&unit, Code::ChlorineBreakthrough));
    // It stands across a restart.
    let kept = serde_json::to_string(&unit.state()).unwrap();
    let kept = serde_json::from_str(&kept).unwrap();
    let mut again = Unit::new(Arc::new(unit.settings().clone()), kept, at(5));
    again.tick(at(5));
    assert!(is_active(&again, Code::ChlorineBreakthrough));
    assert_eq!(binding(&again, 1), Some(Binding::Test));
    test(&mut again, 6, 0.0, None);
    assert!(!is_active(&again, Code::ChlorineBreakthrough));
    assert_eq!(binding(&again, 1), Some(Binding::Age));
}

#[test]
fn a_withdrawn_positive_test_takes_its_alert_with_it() {
    let mut unit = unit();
    test(&mut unit, 1, 0.6, None);
    assert!(is_active(&unit, Code::ChlorineBreakthrough));
    assert!(unit.hand_tests.forget(1));
    unit.take_chemistry();
    unit.tick(at(2));
    assert!(!is_active(&unit, Code::ChlorineBreakthrough));
    assert_eq!(binding(&unit, 1), Some(Binding::Age));
}

/// A test told today for a day before the replacement is of the old filling.
#[test]
fn a_test_told_late_is_of_the_filling_of_its_day() {
    let mut unit = unit();
    unit.command(
        at(3),
        Command::Replaced(Replacement {
            stage: 1,
            ..Replacement::default()
        }),
    );
    let tested = Tested {
        test: HandTest::TotalChlorine,
        value: 0.6,
        after: None,
        date: at(1).date(),
        note: None,
    };
    unit.command(at(4), Command::Test(tested));
    assert!(!is_active(&unit, Code::ChlorineBreakthrough));
}

/// Of the vessel the breakthrough tells already; a spent first vessel without one is told itself.
#[test]
fn a_breakthrough_explains_the_vessel_that_its_test_shows_to_be_spent() {
    let because = |unit: &Unit, key: &str| {
        let mut alerts = unit.alerts().iter();
        let alert = alerts.find(|alert| alert.key() == key).unwrap();
        assert!(alert.is_active(), "{key}");
        alert.because.clone()
    };
    let mut unit = unit();
    test(&mut unit, 1, 0.6, Some("carbon-1"));
    assert_eq!(because(&unit, "stage_exhausted/carbon-1"), None);
    test(&mut unit, 2, 0.6, Some("carbon-2"));
    for stage in ["carbon-1", "carbon-2"] {
        let because = because(&unit, &format!("stage_exhausted/{stage}"));
        assert_eq!(because.as_deref(), Some("chlorine_breakthrough"));
    }
}

/// A filling told today and corrected to the day it was put in: a test between the two is of the new one.
#[test]
fn a_corrected_date_of_new_carbon_counts_for_its_tests() {
    let mut unit = unit();
    test(&mut unit, 2, 0.6, None);
    unit.command(
        at(3),
        Command::Replaced(Replacement {
            stage: 1,
            ..Replacement::default()
        }),
    );
    assert_eq!(binding(&unit, 1), Some(Binding::Age));
    let correction = Correction {
        entry: 2,
        date: at(1).date(),
        ..Correction::default()
    };
    unit.command(at(4), Command::Correct(correction));
    assert_eq!(binding(&unit, 1), Some(Binding::Test));
    assert!(is_active(&unit, Code::ChlorineBreakthrough));
    assert_eq!(unit.care.test_since, at(2).date());
}

/// What a pre-filter's pressure taught is of all of them together: the last one replaced begins it anew, and
/// an earlier replacement that is withdrawn gives its own to that one.
#[test]
fn withdrawn_replacements_of_two_prefilters_give_back_what_was_learned_before_both() {
    let taught = |clean: f64| -> PrefilterState {
        serde_json::from_value(serde_json::json!({ "clean": clean })).unwrap()
    };
    let mut unit = unit();
    for (stage, clean) in [(0, 0.1), (1, 0.2)] {
        unit.care.prefilter.take_back(taught(clean));
        let replacement = Replacement {
            stage,
            ..Replacement::default()
        };
        unit.command(at(1), Command::Replaced(replacement));
    }
    unit.care.prefilter.take_back(taught(0.3));
    for (entry, clean) in [(1, 0.3), (2, 0.1)] {
        unit.command(at(2), Command::Withdraw { entry, note: None });
        assert_eq!(unit.care.prefilter.state(), taught(clean), "{entry}");
    }
}

#[test]
fn a_clock_that_is_wrong_for_a_moment_asks_for_no_test() {
    let mut unit = unit();
    let mut wrong = at(1);
    wrong.wall.0 += 10 * 365 * 86_400_000;
    unit.tick(wrong);
    assert!(!is_active(&unit, Code::TestDue));
    unit.tick(at(2));
    unit.tick(at(3));
    assert!(!is_active(&unit, Code::TestDue));
}
