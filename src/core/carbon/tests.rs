//! Exposure by hand: level × hours, from the test, the middle and the last good test.

use super::*;
use crate::{config, time::Mono};

const DAY: i64 = 86_400_000;
/// 2026-03-01T00:00:00Z.
const START: i64 = 1_772_323_200_000;

fn on_day(day: i64) -> Now {
    Now {
        mono: Mono(0),
        wall: Wall(START + day * DAY),
    }
}

fn train() -> Vessels {
    let stages = ["sediment", "carbon-1", "carbon-2", "membrane", "mixed-bed"];
    let kinds = [
        "sediment",
        "carbon",
        "catalytic_carbon",
        "membrane",
        "mixed_bed",
    ];
    let mut text = "[broker]\nurl = \"mqtt://localhost\"\n".to_owned();
    for (id, kind) in stages.iter().zip(kinds) {
        text += &format!("[[unit.k.stage]]\nid = \"{id}\"\nkind = \"{kind}\"\n");
    }
    text += "[[unit.k.sensor]]\nat = \"feed_tds\"\ntopic = \"a/b\"\nunit = \"mg/L\"\n";
    let settings = config::from_text("t.toml", &text, &std::collections::BTreeMap::new(), None);
    Vessels::new(&settings.unwrap().units[0].stages)
}

/// Two hours of making water a day, a week of marks.
fn carbon(days: i64) -> CarbonState {
    let mut carbon = CarbonState::default();
    for day in 0..=days {
        if carbon.wants_date(on_day(day)) {
            carbon.date(on_day(day), 2.0 * day as f64);
        }
    }
    carbon
}

fn result(entry: u64, day: i64, value: f64, after: Option<&str>) -> HandResult {
    HandResult {
        value,
        date: Some(on_day(day).wall),
        entry,
        after: after.map(str::to_owned),
    }
}

/// Tells the results on that day.
fn told(carbon: &mut CarbonState, results: &[HandResult], day: i64) -> CarbonFindings {
    let hours = 2.0 * day as f64;
    carbon.take(results, on_day(day), hours, &train(), 0.1);
    carbon.find(hours, &train(), 0.1)
}

fn near(found: Option<Band>, expected: Band) {
    let found = found.unwrap();
    for (found, expected) in found.iter().zip(expected) {
        assert!((found - expected).abs() < 1e-9, "{found} {expected}");
    }
}

#[test]
fn exposure_runs_from_the_positive_test_its_middle_or_the_last_good_one() {
    let mut state = carbon(60);
    // Good on day 10, 0.5 mg/L on day 30, now day 40: 2 h a day are 20 h since the test, 40 h before it.
    let tests = [result(1, 10, 0.0, None), result(2, 30, 0.5, None)];
    let found = told(&mut state, &tests, 40);
    assert!(found.is_through);
    near(found.exposure, [0.5 * 20.0, 0.5 * 40.0, 0.5 * 60.0]);
    // 1 mg/L on day 50: from 0.5, 0.75 or 1 for 40 h; 10 days later 20 h more at 1.
    let tests = [tests[0].clone(), tests[1].clone(), result(3, 50, 1.0, None)];
    let found = told(&mut state, &tests, 60);
    near(
        found.exposure,
        [20.0 + 20.0, 30.0 + 10.0 + 20.0, 40.0 + 20.0 + 20.0],
    );
    // New carbon on day 60: the sum stays and grows no more.
    state.filled("carbon-2", None, on_day(60), 120.0);
    let later = state.find(500.0, &train(), 0.1);
    assert!(!later.is_through && later.spent.is_empty());
    near(later.exposure, [40.0, 60.0, 80.0]);
    // A new element begins without it.
    state.new_element(None, on_day(61), 500.0);
    near(state.find(600.0, &train(), 0.1).exposure, [0.0; 3]);
}

#[test]
fn a_first_test_that_is_positive_counts_from_the_beginning_or_the_element() {
    let mut state = carbon(40);
    let found = told(&mut state, &[result(1, 20, 0.2, None)], 40);
    near(found.exposure, [0.2 * 40.0, 0.2 * 60.0, 0.2 * 80.0]);
    // The element came on day 15: not what was before it.
    let mut state = carbon(40);
    state.new_element(Some(on_day(15).wall), on_day(40), 80.0);
    let found = told(&mut state, &[result(1, 20, 0.2, None)], 40);
    near(found.exposure, [0.2 * 40.0, 0.2 * 50.0, 0.2 * 50.0]);
}

#[test]
fn a_positive_test_behind_the_first_vessel_is_no_breakthrough() {
    let mut state = carbon(40);
    let mut tests = vec![
        result(1, 10, 0.0, None),
        result(2, 20, 0.8, Some("carbon-1")),
    ];
    let found = told(&mut state, &tests, 30);
    assert!(!found.is_through);
    assert_eq!(found.spent.len(), 1);
    assert_eq!(found.spent[0].0, 1);
    near(found.exposure, [0.0; 3]);
    // Behind the membrane it tells of the last vessel; before all carbon of none.
    tests.push(result(3, 25, 0.3, Some("mixed-bed")));
    tests.push(result(4, 26, 2.0, Some("sediment")));
    let found = told(&mut state, &tests, 30);
    assert!(found.is_through);
    assert_eq!(found.newest.unwrap().value, 0.3);
    // Only a new filling of the last vessel ends it …
    state.filled("carbon-1", None, on_day(30), 60.0);
    let found = state.find(60.0, &train(), 0.1);
    assert!(found.is_through && found.spent.len() == 1);
    // … or water that is good already behind the first.
    tests.push(result(5, 31, 0.0, Some("carbon-1")));
    let found = told(&mut state, &tests[1..], 32);
    assert!(!found.is_through);
}

#[test]
fn a_withdrawn_test_counts_no_more_but_an_old_one_does() {
    let mut state = carbon(100);
    let all: Vec<HandResult> = (0..10)
        .map(|at| {
            let value = if at == 2 { 0.5 } else { 0.0 };
            result(at + 1, 10 * at as i64, value, None)
        })
        .collect();
    // Told one by one; the list keeps six.
    for count in 1..=all.len() {
        told(&mut state, &all[count.saturating_sub(6)..count], 95);
    }
    // 0.5 mg/L on day 20, good on day 10 and 30: 20 h before it, 20 h after.
    let expected = [0.5 * 20.0, 0.5 * 30.0, 0.5 * 40.0];
    near(state.find(190.0, &train(), 0.1).exposure, expected);
    // One of the six is withdrawn: the five that stay, and what is older.
    let mut tests = all[4..].to_vec();
    tests.remove(3);
    near(told(&mut state, &tests, 95).exposure, expected);
    assert_eq!(state.events.len(), 9);
    // What was told last turns positive, and is withdrawn.
    tests.push(result(11, 94, 3.0, None));
    assert!(told(&mut state, &tests, 95).is_through);
    tests.pop();
    assert!(!told(&mut state, &tests, 95).is_through);
}

/// A positive test of day 20 was told as of day 30; new carbon came in between.
#[test]
fn a_test_whose_day_is_corrected_is_of_that_day() {
    let mut state = carbon(40);
    state.filled("carbon-2", Some(on_day(25).wall), on_day(25), 50.0);
    assert!(told(&mut state, &[result(1, 30, 0.5, None)], 40).is_through);
    let found = told(&mut state, &[result(1, 20, 0.5, None)], 40);
    assert!(!found.is_through && found.spent.is_empty());
    // From day 20 to the new carbon: 10 h; the time before it counts from the beginning at the most.
    near(found.exposure, [0.5 * 10.0, 0.5 * 30.0, 0.5 * 50.0]);
}

#[test]
fn what_is_pushed_out_stays_in_the_sum() {
    let mut state = carbon(10);
    let mut reference = 0.0;
    let mut tests = Vec::new();
    for at in 0..60_i32 {
        let value = if at % 2 == 0 { 0.4 } else { 0.0 };
        let hours = 20.0 + f64::from(at);
        let mut test = result(100 + at as u64, 0, value, None);
        test.date = None;
        tests.push(test);
        state.take(
            &tests[tests.len().saturating_sub(6)..],
            Now {
                mono: Mono(0),
                wall: Wall(0),
            },
            hours,
            &train(),
            0.1,
        );
        if at == 0 {
            // From the beginning: 20 h before the first, of which the middle counts 10.
            reference += 0.4 * 10.0;
        } else if at % 2 == 0 {
            reference += 0.4 * 0.5;
        } else {
            reference += 0.4;
        }
    }
    assert!(state.events.len() <= KEPT);
    let found = state.find(79.0, &train(), 0.1).exposure.unwrap();
    assert!((found[1] - reference).abs() < 1e-9, "{found:?} {reference}");
}

#[test]
fn an_unset_clock_dates_a_test_once_it_is_set() {
    let mut state = CarbonState::default();
    let unset = Now {
        mono: Mono(0),
        wall: Wall(0),
    };
    assert!(!state.wants_date(unset));
    let mut test = result(1, 0, 0.0, None);
    test.date = None;
    state.take(&[test], unset, 5.0, &train(), 0.1);
    assert_eq!(state.find(5.0, &train(), 0.1).looked_after, None);
    assert!(state.wants_date(on_day(3)));
    state.date(on_day(3), 6.0);
    let found = state.find(6.0, &train(), 0.1);
    assert_eq!(found.looked_after, Some(on_day(3).wall));
}
