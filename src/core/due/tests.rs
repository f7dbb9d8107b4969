//! Days by load, volume, age and wear; the three alerts that take turns; what to order.

use std::{collections::BTreeMap, sync::Arc, time::Duration};

use super::*;
use crate::{
    config::{self, Display, UnitSettings},
    core::{Command, Replacement, Unit, UnitState, alert::Code, membrane::WayEnd},
    quantity::Volume,
    time::Mono,
};

const DAY: i64 = 86_400_000;
/// 2026-03-01T00:00:00Z, in milliseconds.
const START: i64 = 1_772_323_200_000;

fn at(days: f64) -> Now {
    let ms = (days * DAY as f64).round() as i64;
    Now {
        mono: Mono(u64::try_from(ms).unwrap()),
        wall: Wall(START + ms),
    }
}

/// A unit with one meter and the stages of `stages`, in Berlin.
fn settings(stages: &str) -> Arc<UnitSettings> {
    let text = format!(
        "time_zone = \"Europe/Berlin\"\n[broker]\nurl = \"mqtt://localhost\"\n[unit.k.supply]\nwaste_ratio = \"4:1\"\n{stages}\n\
         [[unit.k.sensor]]\nat = \"permeate_flow\"\ntopic = \"f\"\nkind = \"pulses\"\npulses_per_litre = 1000\n\
         [unit.k.alert.sensor_silent]\nenabled = false\n"
    );
    let settings = config::from_text("k.toml", &text, &BTreeMap::new(), None);
    Arc::new(
        settings
            .map_err(|problems| problems.to_string())
            .unwrap()
            .units[0]
            .clone(),
    )
}

fn stage(kind: &str, more: &str) -> String {
    format!("[[unit.k.stage]]\nid = \"{kind}\"\nkind = \"{kind}\"\n{more}\n")
}

/// Looks every hour from one day to another; `litres` of permeate by the day, booked at once at noon.
fn live(unit: &mut Unit, from: u32, to: u32, litres: impl Fn(u32) -> f64) {
    for day in from..to {
        for hour in 0..24 {
            let now = at(f64::from(day) + f64::from(hour) / 24.0);
            if hour == 12 {
                let more = Volume::from_litres(litres(day));
                unit.totals.permeate += more;
                unit.totals.feed += more * 5.0;
                for stage in &mut unit.stages {
                    stage.state.treated += more;
                }
            }
            unit.tick(now);
        }
    }
}

fn active(unit: &Unit) -> Vec<Code> {
    let alerts = unit.alerts().iter().filter(|alert| alert.is_active());
    alerts.map(|alert| alert.code).collect()
}

fn told(unit: &Unit, code: Code) -> String {
    let mut alerts = unit.alerts().iter().filter(|alert| alert.code == code);
    alerts.next().unwrap().told().unwrap().sentence.clone()
}

/// How often an alert was raised so far.
fn raised(unit: &mut Unit, key: &str) -> usize {
    let mut count = 0;
    while let Some(output) = unit.drain() {
        if let crate::core::Output::Event(event) = output {
            let is_it = event.about.as_deref() == Some(key);
            count += usize::from(is_it && event.event == crate::core::EventKind::AlertRaised);
        }
    }
    count
}

#[test]
fn the_days_are_bound_by_another_limit_than_the_share() {
    // 10 L a day since 1 March: after 60 days 600 of 1000 L are gone (40 % left, 40 days), and of a
    // life of 90 days a third is left: 33 %, 30 days. With a life of 1000 days 94 % are left, by volume 40.
    let carbon = stage(
        "mixed_bed",
        "life = \"1000 L\"\nlife_time = \"90 d\"\ninstalled = 2026-03-01",
    );
    let mut unit = Unit::new(settings(&carbon), UnitState::default(), at(0.0));
    live(&mut unit, 0, 60, |_| 10.0);
    let found = &unit.stage_findings(at(60.0))[0];
    let value = |metric| found.of(metric).unwrap().value;
    assert_eq!(found.binding, Some(Binding::Age));
    assert!((value(crate::metrics::StageMetric::LeftTime) - 30.0).abs() < 0.1);
    // 50 L a day from here: at 42 % by volume it would still be the age by share, but the days are the water's.
    let mut unit = Unit::new(settings(&carbon), UnitState::default(), at(0.0));
    live(&mut unit, 0, 29, |day| if day < 8 { 0.0 } else { 30.0 });
    let due = unit.dues(at(29.0))[0].clone();
    assert_eq!(due.binding, Some(Binding::Volume));
    let days = due.days.unwrap().value;
    // 21 days of 30 L: 370 L are left, 12.3 days.
    assert!((days.likely - 12.3).abs() < 0.2, "{days:?}");
    assert!(days.low < 12.0 && days.high > 13.0);
}

#[test]
fn the_reason_has_figures_and_days() {
    let bed = stage("mixed_bed", "life = \"1000 L\"");
    let mut unit = Unit::new(settings(&bed), UnitState::default(), at(0.0));
    live(&mut unit, 0, 60, |_| 10.0);
    // 40 days from 30 April: 9 June.
    let tasks = unit.tasks(at(60.0));
    let task = &tasks[0];
    assert_eq!(task.dates.likely, Some(jiff::civil::date(2026, 6, 9)));
    let why = &task.why;
    let begins = "600 of 1000 L have passed; at 70 L a week it lasts until about 9 June (between ";
    assert!(why.starts_with(begins), "{why}");
    // The low end, 14 days earlier.
    let (low, order) = (task.dates.earliest.unwrap(), task.dates.order_by.unwrap());
    assert_eq!(low.since(order).unwrap().get_days(), 14);
    assert!(task.order_now, "30 d ahead: {task:?}");

    // In gallons of 3.785412 L (NIST SP 811, appendix B).
    let mut settings = (*settings(&bed)).clone();
    settings.display = Display::Us;
    let mut unit = Unit::new(Arc::new(settings), UnitState::default(), at(0.0));
    live(&mut unit, 0, 60, |_| 10.0);
    let why = &unit.tasks(at(60.0))[0].why;
    let begins =
        "159 of 264 gal have passed; at 18 gal a week it lasts until about 9 June (between ";
    assert!(why.starts_with(begins), "{why}");
}

/// Days are worked out once a minute; a stage that is spent within it is told as spent, not as lasting on.
#[test]
fn what_is_spent_within_the_minute_is_not_foreseen_any_more() {
    let carbon = stage("carbon", "life = \"1000 L\"");
    let mut unit = Unit::new(settings(&carbon), UnitState::default(), at(0.0));
    live(&mut unit, 0, 20, |_| 10.0);
    unit.tick(at(20.0));
    unit.stages[0].state.treated = Volume::from_litres(1000.0);
    unit.tick(at(20.0 + 30.0 / 86_400.0));
    let sentence = told(&unit, Code::StageExhausted);
    assert!(
        sentence.ends_with("nothing is left since 21 March."),
        "{sentence}"
    );
}

#[test]
fn the_list_is_in_the_order_of_its_days() {
    let text = [
        stage(
            "sediment",
            "life_time = \"300 d\"\ninstalled = 2026-03-01\nlead_time = \"0 d\"",
        ),
        stage(
            "carbon",
            "life_time = \"100 d\"\ninstalled = 2026-03-01\nlead_time = \"80 d\"",
        ),
        stage("mixed_bed", ""),
    ];
    let mut unit = Unit::new(settings(&text.concat()), UnitState::default(), at(0.0));
    unit.tick(at(1.0));
    let tasks = unit.tasks(at(1.0));
    assert_eq!(
        tasks.iter().map(|task| task.stage).collect::<Vec<_>>(),
        [1, 0]
    );
    // 1 March and 100 days are 9 June; 80 days earlier is 21 March.
    assert_eq!(tasks[0].dates.latest, Some(jiff::civil::date(2026, 6, 9)));
    assert_eq!(
        tasks[0].dates.order_by,
        Some(jiff::civil::date(2026, 3, 21))
    );
    assert_eq!(tasks[0].why, "its life is 100 days; it ends on 9 June");
    assert_eq!(
        tasks.iter().map(|task| task.order_now).collect::<Vec<_>>(),
        [true, false]
    );
    // Without a clock nothing falls due on any day.
    let unset = Now {
        mono: Mono(0),
        wall: Wall(0),
    };
    let unit = Unit::new(settings(&text.concat()), UnitState::default(), unset);
    assert_eq!(unit.tasks(unset), []);
}

#[test]
fn low_spent_and_overdue_take_turns() {
    let carbon = stage(
        "carbon",
        "life_time = \"40 d\"\ninstalled = 2026-03-01\nlead_time = \"20 d\"",
    );
    let mut unit = Unit::new(settings(&carbon), UnitState::default(), at(0.0));
    for hour in 0..60 * 24 {
        unit.tick(at(f64::from(hour) / 24.0));
        // On the days between, one gives way to the next.
        let expected = match hour / 24 {
            20 | 40 | 54 => {
                assert!(active(&unit).len() <= 1, "{hour}");
                continue;
            }
            ..20 => None,
            21..40 => Some(Code::StageLow),
            41..54 => Some(Code::StageExhausted),
            _ => Some(Code::StageOverdue),
        };
        assert_eq!(active(&unit), Vec::from_iter(expected), "{hour}");
    }
    assert_eq!(
        told(&unit, Code::StageOverdue),
        "carbon was spent by its age 14 days ago and is still in use, longer than 14 days: its life is 40 days; \
         nothing is left since 10 April."
    );
    // It survives a restart, and goes with the old filling.
    let kept: UnitState =
        serde_json::from_str(&serde_json::to_string(&unit.state()).unwrap()).unwrap();
    let mut unit = Unit::new(settings(&carbon), kept, at(60.0));
    unit.tick(at(60.1));
    assert_eq!(active(&unit), [Code::StageOverdue]);
    let command = Command::Replaced(Replacement {
        stage: 0,
        ..Replacement::default()
    });
    unit.command(at(60.2), command);
    assert_eq!(active(&unit), []);
}

#[test]
fn a_stage_that_was_spent_long_before_is_overdue_not_spent() {
    let carbon = stage("carbon", "life_time = \"40 d\"\ninstalled = 2025-03-01");
    let mut unit = Unit::new(settings(&carbon), UnitState::default(), at(0.0));
    for minute in 0..200 {
        unit.tick(at(f64::from(minute) / 1440.0));
    }
    assert_eq!(active(&unit), [Code::StageOverdue]);
}

#[test]
fn a_clock_that_is_wrong_for_a_moment_raises_nothing() {
    let carbon = stage("carbon", "life_time = \"40 d\"\ninstalled = 2026-03-01");
    let mut unit = Unit::new(settings(&carbon), UnitState::default(), at(0.0));
    unit.tick(at(1.0));
    let wrong = Now {
        wall: Wall(START + 3000 * DAY),
        ..at(1.001)
    };
    unit.tick(wrong);
    unit.tick(at(1.002));
    unit.tick(at(1.1));
    assert_eq!(active(&unit), []);
    assert_eq!(unit.stages()[0].state().spent, None);
}

#[test]
fn few_days_do_not_flap_and_unknown_ones_change_nothing() {
    // 700 L at 10 L a day in uneven weeks: the days wander about the limit for weeks.
    let bed = stage("mixed_bed", "life = \"700 L\"");
    let mut unit = Unit::new(settings(&bed), UnitState::default(), at(0.0));
    live(&mut unit, 0, 69, |day| match (day / 3) % 3 {
        0 => 2.0,
        1 => 9.0,
        _ => 19.0,
    });
    assert_eq!(raised(&mut unit, "stage_low/mixed_bed"), 1);
    assert_eq!(active(&unit), [Code::StageLow]);
    let text = told(&unit, Code::StageLow);
    assert!(
        text.contains("Reckon with") && text.contains("an order takes 14 days"),
        "{text}"
    );
    // The clock is lost: it stays.
    let unset = Now {
        wall: Wall(0),
        ..at(69.2)
    };
    unit.tick(unset);
    assert_eq!(active(&unit), [Code::StageLow]);
}

/// A membrane of 500 days, 200 of them gone (60 % left); 70 % of the way of its flow is gone, 20 % of its
/// salt's.
#[test]
fn the_membrane_goes_by_its_wear_and_its_age() {
    let membrane = stage("membrane", "life_time = \"500 d\"\ninstalled = 2026-03-01");
    let rated = "[unit.k.membrane]\nrated_flow = \"100 gal/d\"\nrated_pressure = \"60 psi\"\n\
         rated_temperature = \"25 degC\"\nrated_tds = \"250 mg/L\"\nrated_recovery = \"15 %\"\n";
    let unit = Unit::new(
        settings(&format!("{rated}{membrane}")),
        UnitState::default(),
        at(0.0),
    );
    let way = |used: Ends, low, likely, high, share| Way {
        used: Ok(crate::core::Known::measured(used)),
        days: Ok(crate::core::Known::measured(Span { low, likely, high })),
        limit: WayEnd::Share(share),
    };
    let ways = Ways {
        flow: way([0.6, 0.7, 0.8], 50.0, 90.0, 200.0, 0.85),
        salt: way([0.1, 0.2, 0.3], 40.0, 400.0, f64::INFINITY, 1.10),
    };
    let (stage, now) = (&unit.stages()[0], at(200.0));
    let mut found = stage.find(now, Err(Lack::TooEarly), Some(&ways));
    let due = stage.due(now, Some(&ways), None, None);
    found.take(&due);
    use crate::metrics::StageMetric as M;
    let value = |metric| found.of(metric).unwrap().value;
    assert_eq!(found.binding, Some(Binding::Flow));
    for (metric, expected) in [
        (M::Left, 30.0),
        (M::LeftLow, 20.0),
        (M::LeftHigh, 40.0),
        (M::LeftTimeLow, 40.0),
        (M::LeftTime, 90.0),
        (M::LeftTimeHigh, 200.0),
    ] {
        assert!((value(metric) - expected).abs() < 1e-9, "{metric:?}");
    }
    assert_eq!(due.binding, Some(Binding::Flow));
    // 200 and 90 days after 1 March: 16 December.
    let dates = unit.due_dates(now, 0, &due);
    let today = now.wall.day_in(&unit.settings().time_zone);
    let why = due_text(stage, &due, &dates, &ways, today, Display::Metric).unwrap();
    let begins = "70 % of the way to 85 % of the baseline's flow is gone; as it goes on, the rest is gone about 16 December";
    assert!(why.starts_with(begins), "{why}");
    let mut salty = ways;
    salty.flow = way([0.1, 0.2, 0.3], 900.0, 900.0, 900.0, 0.85);
    salty.salt.limit = WayEnd::Rejection(0.9, 3.1);
    let due = stage.due(now, Some(&salty), None, None);
    assert_eq!(due.binding, Some(Binding::Age));
    // Its words, were it not for the age.
    let due = Due {
        binding: Some(Binding::Salt),
        ..due
    };
    let why = due_text(stage, &due, &dates, &salty, today, Display::Metric).unwrap();
    let begins = "20 % of the way from the baseline to a rejection of 90 % is gone; as it goes on";
    assert!(why.starts_with(begins), "{why}");
    // Nothing was taught yet: the age alone.
    let found = stage.find(now, Err(Lack::TooEarly), unit.ways_of(stage).as_ref());
    assert_eq!(found.binding, Some(Binding::Age));
    assert!((found.of(M::Left).unwrap().value - 60.0).abs() < 1e-9);
    // What is kept of an element that is replaced says the same as its document did.
    let mut unit = unit;
    unit.taught.ways = ways;
    unit.command(now, Command::Replaced(Replacement::default()));
    let record = std::iter::from_fn(|| unit.drain()).find_map(|output| match output {
        crate::core::Output::StageReplaced(record) => Some(record),
        _ => None,
    });
    let record = record.unwrap();
    assert_eq!(record.binds.as_deref(), Some("flow"));
    assert!((record.left_pct.unwrap() - 30.0).abs() < 1e-9);
}

#[test]
fn a_wide_band_orders_at_half_the_likely_days() {
    let known = |low, likely| Due {
        days: Ok(crate::core::Known::inferred(Span {
            low,
            likely,
            high: likely,
        })),
        binding: None,
        litres: Err(Lack::NoLife),
        per_day: None,
    };
    assert_eq!(known(2.0, 60.0).safe_days(), Some(30.0));
    assert_eq!(known(50.0, 60.0).safe_days(), Some(50.0));
}

#[test]
fn an_older_state_still_reads() {
    let state: UnitState = serde_json::from_str("{}").unwrap();
    let bed = stage("mixed_bed", "life = \"700 L\"");
    let mut unit = Unit::new(settings(&bed), state, at(0.0));
    unit.tick(at(0.1));
    let today = unit.used_today().unwrap();
    assert_eq!(today.permeate, Volume::ZERO);
    assert!(Duration::from_secs(30 * 86_400) == unit.settings().order_ahead);
}
