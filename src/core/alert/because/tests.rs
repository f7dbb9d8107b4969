//! The table of causes, and which of a unit's alerts are explained.

use std::{collections::BTreeMap, sync::Arc};

use super::*;
use crate::{
    config,
    core::{Unit, UnitState, alert::LifeState, alert::Phase},
    time::{Now, Wall},
};

fn reach(code: Code, seen: &mut Vec<Code>) {
    for cause in causes(code) {
        if !seen.contains(cause) {
            seen.push(*cause);
            reach(*cause, seen);
        }
    }
}

#[test]
fn the_table_has_no_circles_and_no_cause_is_less_urgent_than_what_it_explains() {
    for code in Code::ALL {
        let mut seen = Vec::new();
        reach(code, &mut seen);
        assert!(!seen.contains(&code), "{code:?} explains itself: {seen:?}");
        for cause in causes(code) {
            assert!(
                cause.severity() >= code.severity(),
                "{cause:?} is less urgent than {code:?}"
            );
            assert_ne!(*cause, Code::Leak, "a leak explains nothing");
        }
        let critical = code.severity() == Severity::Critical;
        assert!(
            !critical || (causes(code).is_empty() && needs(code).is_empty()),
            "{code:?} is critical and always told itself"
        );
    }
}

const CONFIG: &str = r#"
[broker]
url = "mqtt://localhost"
[unit.u]
[[unit.u.stage]]
id = "carbon"
kind = "carbon"
life = "100 L"
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.stage]]
id = "di"
kind = "mixed_bed"
life = "100 L"
[[unit.u.sensor]]
at = "supply_pressure"
topic = "a/supply"
unit = "bar"
[[unit.u.sensor]]
at = "feed_pressure"
topic = "a/feed"
unit = "bar"
[[unit.u.sensor]]
at = "pump"
topic = "a/pump"
[[unit.u.sensor]]
at = "feed_tds"
topic = "b/feed"
unit = "mg/L"
[[unit.u.sensor]]
at = "permeate_tds"
topic = "b/permeate"
unit = "mg/L"
[[unit.u.sensor]]
at = "permeate_tds"
id = "second"
topic = "c/permeate"
unit = "mg/L"
spare = true
[[unit.u.sensor]]
at = "product_tds"
topic = "d"
unit = "mg/L"
"#;

/// The causes by key where those alerts are active.
fn explained(active: &[&str]) -> BTreeMap<String, String> {
    let settings = config::from_text("test", CONFIG, &BTreeMap::new(), None).unwrap();
    let settings = Arc::new(settings.units[0].clone());
    let mut now = Now {
        mono: Mono(0),
        wall: Wall(1_795_608_000_000),
    };
    let mut state = UnitState::default();
    for key in active {
        let mut alert = Unit::new(Arc::clone(&settings), UnitState::default(), now)
            .alerts()
            .iter()
            .find(|alert| alert.key() == *key)
            .unwrap_or_else(|| panic!("no alert {key}"))
            .keep(&settings);
        alert.life = LifeState {
            phase: Phase::Active,
            since: None,
        };
        state.alerts.insert((*key).to_owned(), alert);
    }
    let mut unit = Unit::new(settings, state, now);
    now.mono = Mono(1000);
    unit.attend(now);
    unit.alerts()
        .iter()
        .filter_map(|alert| Some((alert.key(), alert.because.clone()?)))
        .collect()
}

/// What is active, and what explains what.
type Case = (
    &'static [&'static str],
    &'static [(&'static str, &'static str)],
);

#[test]
fn one_cause_is_told_and_the_root_of_a_chain_is_named() {
    let cases: &[Case] = &[
        (&["rejection_low"], &[]),
        (
            &["rejection_low", "permeate_tds_high", "product_tds_high"],
            &[
                ("permeate_tds_high", "rejection_low"),
                ("product_tds_high", "rejection_low"),
            ],
        ),
        (
            &["pump_not_lifting", "feed_pressure_low", "rejection_low"],
            &[
                ("feed_pressure_low", "pump_not_lifting"),
                ("rejection_low", "pump_not_lifting"),
            ],
        ),
        // Only a DI stage makes the product salty.
        (&["stage_exhausted/carbon", "product_tds_high"], &[]),
        (
            &["stage_exhausted/di", "product_tds_high"],
            &[("product_tds_high", "stage_exhausted/di")],
        ),
        // The probe after the membrane has a spare; that of the product has none.
        (&["sensor_silent/permeate_tds", "permeate_tds_high"], &[]),
        (
            &["sensor_stuck/product_tds", "product_tds_high"],
            &[("product_tds_high", "sensor_stuck/product_tds")],
        ),
        (
            &[
                "sensor_silent/permeate_tds",
                "sensor_silent/second",
                "permeate_tds_high",
            ],
            &[("permeate_tds_high", "sensor_silent/permeate_tds")],
        ),
        // Of the same sensor only.
        (
            &["sensor_silent/feed_tds", "sensor_implausible/product_tds"],
            &[],
        ),
        (
            &["sensor_silent/feed_tds", "sensor_implausible/feed_tds"],
            &[("sensor_implausible/feed_tds", "sensor_silent/feed_tds")],
        ),
        // What is critical is told whatever else is the matter.
        (&["feed_pressure_high", "sensor_silent/feed_pressure"], &[]),
    ];
    for (active, expected) in cases {
        let expected = expected
            .iter()
            .map(|(key, cause)| ((*key).to_owned(), (*cause).to_owned()))
            .collect::<BTreeMap<_, _>>();
        assert_eq!(explained(active), expected, "{active:?}");
    }
}

#[test]
fn sensors_of_one_board_that_are_silent_together_are_one() {
    // None was heard in this process.
    let found = explained(&[
        "sensor_silent/supply_pressure",
        "sensor_silent/feed_pressure",
        "sensor_silent/pump",
        "sensor_silent/feed_tds",
        "sensor_silent/product_tds",
    ]);
    let expected = [
        (
            "sensor_silent/feed_pressure",
            "sensor_silent/supply_pressure",
        ),
        ("sensor_silent/pump", "sensor_silent/supply_pressure"),
    ];
    let expected = expected.map(|(key, cause)| (key.to_owned(), cause.to_owned()));
    assert_eq!(found, BTreeMap::from(expected));
}
