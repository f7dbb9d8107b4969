//! Costs of a unit, by sums worked out by hand.

use std::{collections::BTreeMap, sync::Arc};

use super::*;
use crate::{
    config::{self, UnitSettings},
    core::{Arrival, Command, Lack, Observation, Replacement, UnitState},
    time::Wall,
};

const UNIT: &str = r#"
time_zone = "UTC"
[broker]
url = "mqtt://localhost"
[unit.u.supply]
waste_ratio = "3:1"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "pulses"
kind = "pulses"
pulses_per_litre = 1000
[[unit.u.stage]]
id = "carbon"
kind = "carbon"
life = "1000 L"
price = 20.0
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
"#;
const PRICES: &str =
    "[unit.u.costs]\ncurrency = \"EUR\"\nwater = \"4 /m3\"\nwaste_water = \"2 /m3\"\n";

fn settings(text: &str) -> Arc<UnitSettings> {
    let settings = config::from_text("c.toml", text, &BTreeMap::new(), None);
    Arc::new(settings.unwrap_or_else(|wrong| panic!("{wrong}")).units[0].clone())
}

/// Minutes after 2026-03-01T12:00:00Z.
fn at(minute: u64) -> Now {
    Now {
        mono: Mono(minute * 60_000),
        wall: Wall(1_772_366_400_000 + i64::try_from(minute).unwrap() * 60_000),
    }
}

/// One litre of permeate each ten minutes, from one time to another.
fn make_water(unit: &mut Unit, minutes: std::ops::RangeInclusive<u64>) {
    for minute in minutes {
        let count = Observation::Number(minute as f64 * 100.0);
        unit.observe(at(minute), 0, count, Arrival::Live, None);
        unit.tick(at(minute));
    }
}

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9, "{found}, not {expected}");
}

fn value(unit: &Unit, metric: Metric) -> Result<f64, Lack> {
    let found = unit.values(at(0)).of(metric);
    found.map(|known| known.value)
}

/// 10 L of product take 40 L of feed and leave 30 L of waste at 3:1: 0.16 and 0.06. The carbon has
/// treated 40 of its 1000 L: 4 % of 20 are 0.80. Together 1.02, 0.102 a litre.
#[test]
fn ten_litres_cost_what_they_cost() {
    let mut unit = Unit::new(
        settings(&(UNIT.to_owned() + PRICES)),
        UnitState::default(),
        at(0),
    );
    make_water(&mut unit, 0..=100);
    unit.tick(at(101));
    let spent = unit.costs().life;
    near(spent.product.litres(), 10.0);
    near(spent.water, 0.16);
    near(spent.waste, 0.06);
    near(spent.cartridges, 0.80);
    near(value(&unit, Metric::CostToday).unwrap(), 1.02);
    near(value(&unit, Metric::CostMonth).unwrap(), 1.02);
    near(value(&unit, Metric::CostLitre).unwrap(), 0.102);
    near(value(&unit, Metric::WasteLitre).unwrap(), 0.006);
    assert_eq!(
        value(&unit, Metric::CostLitreLastMonth),
        Err(Lack::TooEarly)
    );

    // Replaced early: the rest of its price goes with it.
    unit.command(
        at(102),
        Command::Replaced(Replacement {
            stage: 0,
            ..Replacement::default()
        }),
    );
    near(unit.costs().life.cartridges, 20.0);
    near(unit.costs().fillings["carbon"].spent, 0.0);

    // At twice the price of water what was booked stays as it is.
    let kept = unit.state();
    let dear = (UNIT.to_owned() + PRICES).replace("\"4 /m3\"", "\"8 /m3\"");
    let mut unit = Unit::new(settings(&dear), kept, at(103));
    make_water(&mut unit, 103..=203);
    unit.tick(at(204));
    // 10.3 L more since the count of minute 100: 41.2 L of feed at 8.
    near(unit.costs().life.water, 0.16 + 0.3296);
}

/// 1000 L of feed are 250 L of product, 2500 minutes: beyond that the filling costs nothing more.
#[test]
fn a_filling_used_longer_than_it_should_costs_its_price() {
    let mut unit = Unit::new(
        settings(&(UNIT.to_owned() + PRICES)),
        UnitState::default(),
        at(0),
    );
    make_water(&mut unit, 0..=2400);
    assert!(unit.costs().life.cartridges < 20.0);
    make_water(&mut unit, 2401..=2700);
    near(unit.costs().life.cartridges, 20.0);
    unit.command(
        at(2701),
        Command::Replaced(Replacement {
            stage: 0,
            ..Replacement::default()
        }),
    );
    near(unit.costs().life.cartridges, 20.0);
}

/// A filling half used when prices are first written has 10 left to cost.
#[test]
fn what_was_used_before_prices_were_known_is_past() {
    let free = UNIT.replace("price = 20.0", "");
    let mut unit = Unit::new(settings(&free), UnitState::default(), at(0));
    make_water(&mut unit, 0..=1250);
    assert_eq!(value(&unit, Metric::CostLife), Err(Lack::NoPrice));
    assert!(
        unit.possible()
            .iter()
            .all(|metric| metric.group() != Group::Costs)
    );
    let kept = unit.state();
    let mut unit = Unit::new(settings(&(UNIT.to_owned() + PRICES)), kept, at(1251));
    unit.tick(at(1252));
    assert_eq!(unit.costs().life, Spent::default());
    near(unit.costs().fillings["carbon"].spent, 10.0);
    unit.command(
        at(1253),
        Command::Replaced(Replacement {
            stage: 0,
            ..Replacement::default()
        }),
    );
    near(unit.costs().life.cartridges, 10.0);
}

/// Only what has a price is told: with that of water alone, water is the whole.
#[test]
fn a_part_without_a_price_is_left_out() {
    let text = UNIT.replace("price = 20.0", "") + PRICES;
    let text = text.replace("waste_water = \"2 /m3\"\n", "");
    let mut unit = Unit::new(settings(&text), UnitState::default(), at(0));
    make_water(&mut unit, 0..=100);
    unit.tick(at(101));
    near(value(&unit, Metric::CostLife).unwrap(), 0.16);
    near(value(&unit, Metric::WaterLife).unwrap(), 0.16);
    for metric in [Metric::WasteLife, Metric::CartridgesLife] {
        assert_eq!(value(&unit, metric), Err(Lack::NoPrice));
        assert!(!unit.possible().contains(&metric));
    }
}

/// With an unset clock the sums grow; the day's wait until there is a day.
#[test]
fn an_unset_clock_loses_no_cost() {
    let unset = |minute: u64| Now {
        wall: Wall(0),
        ..at(minute)
    };
    let mut unit = Unit::new(
        settings(&(UNIT.to_owned() + PRICES)),
        UnitState::default(),
        unset(0),
    );
    for minute in 0..=100 {
        let count = Observation::Number(minute as f64 * 100.0);
        unit.observe(unset(minute), 0, count, Arrival::Live, None);
    }
    unit.tick(unset(101));
    near(unit.costs().life.water, 0.16);
    assert_eq!(value(&unit, Metric::CostToday), Err(Lack::NoDate));
    unit.tick(at(102));
    near(value(&unit, Metric::WaterToday).unwrap(), 0.16);
}

/// A filling of 180 days and 18.00, a day of which costs 0.10, whether water is made or not. After
/// 30 days 3.00; the days of a unit that stands are counted once a minute.
#[test]
fn a_filling_that_ages_costs_its_days() {
    let text = UNIT.replace(
        "life = \"1000 L\"\nprice = 20.0",
        "life_time = \"180 d\"\ninstalled = 2026-03-01\nprice = 18.0",
    );
    let day = |day: u64| at(12 * 60 + (day - 1) * 1440);
    let mut unit = Unit::new(settings(&(text + PRICES)), UnitState::default(), day(1));
    unit.tick(day(31));
    near(unit.costs().life.cartridges, 3.0);
    // The first day, before prices were kept, is past.
    near(unit.costs().fillings["carbon"].spent, 3.1);
    unit.tick(day(400));
    near(unit.costs().fillings["carbon"].spent, 18.0);
}

/// A price told at a replacement counts more than the file's, and frees what had none.
#[test]
fn a_price_that_is_told_counts() {
    let text = UNIT.replace("price = 20.0", "") + PRICES;
    let mut unit = Unit::new(settings(&text), UnitState::default(), at(0));
    assert!(!unit.possible().contains(&Metric::CartridgesLife));
    unit.stages[0].state.price = Some(50.0);
    make_water(&mut unit, 1..=101);
    unit.tick(at(102));
    assert!(unit.possible().contains(&Metric::CartridgesLife));
    // 10 L of product, 40 L of feed: 4 % of 50.
    near(unit.costs().life.cartridges, 2.0);
}
