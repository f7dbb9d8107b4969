//! The simulated unit as a whole.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::*;
use crate::config::Point;
use crate::quantity::{Flow, Pressure, TdsScale, Temperature, Volume};

const DAY: f64 = 86_400.0;

fn start() -> jiff::civil::DateTime {
    jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0)
}

fn demo() -> DemoUnit {
    DemoUnit::new(42, start())
}

/// A plant of round figures that fills for ever.
fn filling() -> Plant {
    let mut parameters = demo().plant.parameters;
    parameters.supply = Supply::steady(
        Pressure::from_bar(4.0),
        Temperature::from_celsius(25.0),
        250.0,
    );
    parameters.room = Temperature::from_celsius(25.0);
    parameters.container = Container {
        contents: Volume::ZERO,
        full: Volume::from_litres(1e9),
        refill: Volume::from_litres(1e9),
    };
    Plant::new(parameters)
}

#[test]
fn water_and_salt_balance_over_a_month_of_runs_and_flushes() {
    let mut plant = demo().plant;
    let before = plant.truth().storage.litres();
    plant.step(30.0 * DAY);
    let truth = plant.truth();
    let sums = truth.totals;
    assert!(sums.permeate_litres > 500.0, "{sums:?}");
    let water = sums.feed_litres - sums.permeate_litres - sums.concentrate_litres;
    assert!(water.abs() < 1e-9 * sums.feed_litres, "{water} L open");
    let salt = sums.feed_mg - sums.permeate_mg - sums.concentrate_mg - sums.held_mg;
    assert!(salt.abs() < 1e-9 * sums.feed_mg, "{salt} mg open");
    let stored = before + sums.permeate_litres - sums.drawn_litres - truth.storage.litres();
    assert!(stored.abs() < 1e-6, "{stored} L open");
}

#[test]
fn flows_balance_at_every_moment_and_the_restrictor_holds_its_ratio() {
    // Closed form: recovery = 1/(1 + parts of waste); 4:1 gives 0.2.
    let mut plant = filling();
    plant.parameters.restrictor = Restrictor::Ratio(4.0);
    plant.step(60.0);
    let truth = plant.truth();
    let (feed, permeate) = (truth.feed_flow, truth.permeate_flow);
    assert!((feed - permeate - truth.concentrate_flow).l_per_min().abs() < 1e-12);
    assert!((permeate / feed - 0.2).abs() < 1e-9, "{}", permeate / feed);
}

#[test]
fn an_orifice_passes_twice_the_flow_at_four_times_the_pressure() {
    let mut plant = filling();
    let mut at = |bar| {
        plant.parameters.supply.pressure = Pressure::from_bar(bar);
        plant.step(60.0);
        let truth = plant.truth();
        truth.concentrate_flow.l_per_min() / truth.concentrate_pressure.bar().sqrt()
    };
    let (low, high) = (at(2.0), at(8.0));
    assert!((low / high - 1.0).abs() < 1e-9);
}

#[test]
fn pressure_loss_before_the_membrane_grows_with_flow_and_clogging() {
    let mut plant = filling();
    plant.step(60.0);
    let loss =
        |truth: &Truth| (truth.supply_pressure - truth.feed_pressure) / truth.feed_flow.l_per_min();
    let clean = loss(&plant.truth());
    let doubling = plant.parameters.prefilter.doubling;
    plant.parameters.prefilter.passed = doubling;
    plant.step(1.0);
    let clogged = loss(&plant.truth());
    // Proportional to the flow; the viscosity is the same.
    assert!(
        (clogged / clean - 2.0).abs() < 0.01,
        "{clogged:?}, {clean:?}"
    );
}

#[test]
fn the_same_seed_gives_the_same_messages_and_another_seed_does_not() {
    let play = |seed| {
        let mut unit = DemoUnit::new(seed, start());
        (0..360).flat_map(|_| unit.step(10.0)).collect::<Vec<_>>()
    };
    assert_eq!(play(1), play(1));
    assert_ne!(play(1), play(2));
}

#[test]
fn longer_steps_find_the_same_unit() {
    let (mut fine, mut coarse) = (demo().plant, demo().plant);
    for _ in 0..7200 {
        fine.step(1.0);
    }
    coarse.step(7200.0);
    let (fine, coarse) = (fine.truth().totals, coarse.truth().totals);
    assert!(
        (fine.permeate_litres - coarse.permeate_litres).abs() < 0.05,
        "{fine:?} {coarse:?}"
    );
    assert!((fine.feed_mg / coarse.feed_mg - 1.0).abs() < 0.01);
}

#[test]
fn the_demonstration_stands_briefly_and_then_fills() {
    for days in [0.0, 20.0] {
        let mut plant = demo().plant;
        plant.step(days * DAY);
        assert_eq!(plant.truth().phase, Phase::Standing, "after {days} days");
        let mut waited = 0.0;
        while plant.truth().phase == Phase::Standing {
            plant.step(5.0);
            waited += 5.0;
        }
        // Within ten seconds of a watcher's time at sixty times the speed.
        assert!(
            (60.0..=600.0).contains(&waited),
            "{waited} s after {days} days"
        );
    }
}

#[test]
fn a_run_ends_at_the_float_and_is_followed_by_a_flush() {
    let mut plant = demo().plant;
    let mut phases = vec![plant.truth().phase];
    for _ in 0..7200 {
        plant.step(1.0);
        let truth = plant.truth();
        if phases.last() != Some(&truth.phase) {
            phases.push(truth.phase);
            if truth.phase == Phase::Flushing {
                assert!((truth.storage.litres() - 90.0).abs() < 0.05);
            }
        }
        assert_eq!(truth.inlet_open, truth.phase != Phase::Standing);
    }
    let cycle = [
        Phase::Standing,
        Phase::Producing,
        Phase::Flushing,
        Phase::Standing,
    ];
    assert_eq!(phases, cycle);
}

#[test]
fn the_first_permeate_after_standing_is_salty_and_washes_out() {
    let mut plant = filling();
    plant.parameters.resin = None;
    plant.step(3600.0);
    let settled = plant.truth().permeate_conductivity;
    plant.parameters.container.full = Volume::ZERO;
    plant.parameters.container.refill = Volume::ZERO;
    plant.step(8.0 * 3600.0);
    let stood = plant.truth().permeate_conductivity;
    assert!(stood / settled > 10.0, "{stood:?} after {settled:?}");
    plant.parameters.container.refill = Volume::from_litres(1e9);
    plant.parameters.container.full = Volume::from_litres(1e9);
    plant.step(1.0);
    let litres = plant.truth().totals.permeate_litres;
    while plant.truth().totals.permeate_litres - litres < 1.0 {
        plant.step(1.0);
    }
    // Ten hold-ups of 0.1 L leave e^-10 of it.
    let washed = plant.truth().permeate_conductivity;
    assert!(
        (washed / settled - 1.0).abs() < 0.01,
        "{washed:?}, settled {settled:?}"
    );
}

#[test]
fn the_resin_takes_what_the_product_lacks() {
    let mut plant = filling();
    plant.parameters.resin = Some(Resin::new(60.0, 30.0, 0.0));
    plant.step(40.0 * 3600.0);
    let truth = plant.truth();
    let removed = (truth.totals.permeate_mg - truth.totals.product_mg) / 58.443;
    assert!((removed - 60.0).abs() < 0.01, "{removed} meq of 60");
    assert!((truth.resin_taken_meq - removed).abs() < 1e-6);
    assert!(truth.product_conductivity / truth.permeate_conductivity > 0.99);
    plant.replace_resin();
    plant.step(60.0);
    assert!(plant.truth().product_conductivity.us_per_cm() < 0.1);
}

#[test]
fn the_demonstration_element_meets_its_rating() {
    // 100 gal/d and 96 % at 60 psi, 25 °C, 250 mg/L; makers allow ±20 % on flow (from memory).
    let mut plant = filling();
    plant.parameters.supply.pressure = Pressure::from_psi(61.0);
    plant.parameters.restrictor = Restrictor::Ratio(0.85 / 0.15);
    plant.step(600.0);
    let truth = plant.truth();
    let share = truth.permeate_flow.gal_per_day() / 100.0;
    assert!((0.8..1.2).contains(&share), "{share}");
    assert!(truth.rejection.unwrap() > 0.96, "{:?}", truth.rejection);
}

#[test]
fn cheap_sensors_stay_within_their_stated_errors() {
    let mut plant = filling();
    plant.step(600.0);
    let truth = plant.truth();
    let number = |sensor: &mut Sensor| match sensor.read(&truth) {
        Reading::Number(value, _) => value,
        other => panic!("{other:?}"),
    };
    for seed in 0..50 {
        let scale = TdsScale::NACL;
        let mut meter = Sensor::tds_meter(Point::FeedTds, scale, 0.02, seed);
        let mean = (0..200).map(|_| number(&mut meter)).sum::<f64>() / 200.0;
        let exact = scale.tds(truth.feed_conductivity).mg_per_l();
        assert!((mean / exact - 1.0).abs() < 0.03, "{mean}, true {exact}");

        let mut thermometer = Sensor::thermometer(seed);
        let shown = number(&mut thermometer);
        assert_eq!((shown * 16.0).fract(), 0.0);
        assert!((shown - truth.feed_temperature.celsius()).abs() < 0.75);
        thermometer.power_on();
        assert_eq!(number(&mut thermometer), 85.0);
        assert!(number(&mut thermometer) < 30.0);

        // Closed form: 10–90 % of the converter's range over the full scale.
        let full = Pressure::from_psi(150.0);
        let mut gauge = Sensor::ratiometric(Point::FeedPressure, full, 12, seed);
        let psi = (number(&mut gauge) / 4095.0 - 0.1) / 0.8 * 150.0;
        assert!((psi - truth.feed_pressure.psi()).abs() < 2.5, "{psi} psi");
    }
}

#[test]
fn a_turbine_counts_what_passed_and_starts_again_after_a_power_cut() {
    let mut plant = filling();
    let mut turbine = Sensor::pulses(Point::PermeateFlow, 3900.0, Flow::from_l_per_min(0.05));
    for _ in 0..3600 {
        plant.step(1.0);
        turbine.observe(&plant.truth());
    }
    let truth = plant.truth();
    let expected = (truth.totals.permeate_litres * 3900.0).floor();
    let Reading::Count(count) = turbine.read(&truth) else {
        panic!("a turbine counts");
    };
    assert!(
        (f64::from(count) - expected).abs() <= 1.0,
        "{count}, {expected}"
    );
    turbine.power_on();
    assert_eq!(turbine.read(&truth), Reading::Count(0));
    let mut too_slow = Sensor::pulses(Point::PermeateFlow, 3900.0, Flow::from_l_per_min(1.0));
    plant.step(60.0);
    too_slow.observe(&plant.truth());
    assert_eq!(too_slow.read(&plant.truth()), Reading::Count(0));
}

#[test]
fn a_board_that_loses_power_says_so_and_returns_from_nothing() {
    let mut unit = demo();
    for _ in 0..100 {
        unit.step(10.0);
    }
    unit.boards[0].set_powered(false);
    let silent: Vec<Published> = (0..6).flat_map(|_| unit.step(10.0)).collect();
    let words: Vec<&Published> = silent
        .iter()
        .filter(|m| m.topic.starts_with("tele/"))
        .collect();
    assert_eq!(
        words,
        [&Published {
            topic: "tele/demo_flow/LWT".to_owned(),
            payload: "Offline".to_owned(),
            retain: true,
        }]
    );
    unit.boards[0].set_powered(true);
    let back = unit.step(10.0);
    assert!(back.iter().any(|m| m.payload == "Online"));
    let document = back.iter().find(|m| m.topic.ends_with("SENSOR")).unwrap();
    let document: serde_json::Value = serde_json::from_str(&document.payload).unwrap();
    assert!(
        document["COUNTER"]["C1"].as_u64().unwrap() < 300,
        "{document}"
    );
    assert_eq!(document["DS18B20"]["Temperature"], 85.0);
}

#[test]
fn every_sensor_of_the_configuration_is_heard_within_an_hour() {
    let text = demo_configuration("mqtt://127.0.0.1:1883", Path::new("/tmp/a \"b\""));
    let file: toml::Table = text
        .parse()
        .unwrap_or_else(|error| panic!("{error}\n{text}"));
    assert_eq!(file["store"]["directory"].as_str(), Some("/tmp/a \"b\""));
    let mut unit = demo();
    let mut heard: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for message in (0..360).flat_map(|_| unit.step(10.0)) {
        heard
            .entry(message.topic)
            .or_default()
            .insert(message.payload);
    }
    let sensors = file["unit"]["basement"]["sensor"].as_array().unwrap();
    assert_eq!(sensors.len(), 8);
    for sensor in sensors {
        let key = sensor["at"].as_str().unwrap();
        assert!(Point::ALL.iter().any(|point| point.key() == key), "{key}");
        let payloads = &heard[sensor["topic"].as_str().unwrap()];
        if let Some(pointer) = sensor.get("pointer") {
            for payload in payloads {
                let document: serde_json::Value = serde_json::from_str(payload).unwrap();
                assert!(
                    document
                        .pointer(pointer.as_str().unwrap())
                        .unwrap()
                        .is_number()
                );
            }
        } else if key == "inlet_valve" {
            assert_eq!(payloads.iter().collect::<Vec<_>>(), ["OFF", "ON"]);
        } else {
            assert!(
                payloads
                    .iter()
                    .all(|payload| payload.parse::<f64>().is_ok())
            );
        }
        let availability = &sensor["availability"];
        let words = &heard[availability["topic"].as_str().unwrap()];
        assert!(words.contains(availability["up"].as_str().unwrap()));
    }
}
