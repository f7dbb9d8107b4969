//! Salt with the permeate, by hand and against the simulated unit's own books.

use std::{collections::BTreeMap, path::Path};

use super::*;
use crate::{
    config,
    core::{Arrival, RunRecord, SettledBy, UnitState},
    installation::{Incoming, Installation, Record},
    simulation::{DemoUnit, Phase, demo_configuration},
    time::{Now, Wall},
};

/// A row of (second, litres booked, µS/cm); water is made from second 0 on.
fn play(smoothing: usize, row: &[(u64, f64, Option<f64>)]) -> Passed {
    let mut salt = Salt::default();
    for &(second, litres, us_cm) in row {
        let probed = us_cm.map(|us_cm| Probed {
            us_cm,
            heard_at: Mono(second * 1000),
            smoothing,
        });
        salt.look(Mono(second * 1000), litres, probed, second > 0);
    }
    salt.so_far()
}

#[test]
fn salt_is_conductivity_times_litres() {
    // 1 L at 10 to 20 µS/cm and 1 L at 20 to 30: 15 + 25 = 40 µS/cm·L, 20 mg at 0.5 mg/L each.
    let row = [
        (0, 0.0, Some(10.0)),
        (10, 1.0, Some(20.0)),
        (20, 2.0, Some(30.0)),
    ];
    let found = play(1, &row);
    assert!((found.milligrams() - 20.0).abs() < 1e-9, "{found:?}");
    assert!(found.is_told());
    // Above a level of 12: 40 - 24 = 16 µS/cm·L, 8 mg.
    assert!((found.milligrams_above(12.0) - 8.0).abs() < 1e-9);
    assert_eq!(found.milligrams_above(50.0), 0.0);
    // The same from medians of three, which show each value one reading later; what still waits has
    // the last value.
    let row = [
        (0, 0.0, Some(10.0)),
        (10, 1.0, Some(10.0)),
        (20, 2.0, Some(20.0)),
        (30, 2.0, Some(30.0)),
    ];
    let found = play(3, &row);
    assert!((found.milligrams() - 20.0).abs() < 1e-9, "{found:?}");
    // The same litres in one piece from a slow meter.
    let row = [
        (0, 0.0, Some(10.0)),
        (10, 0.0, Some(20.0)),
        (20, 2.0, Some(30.0)),
    ];
    let found = play(1, &row);
    assert!((found.milligrams() - 20.0).abs() < 1e-9, "{found:?}");
}

#[test]
fn litres_of_which_no_probe_told_bring_no_salt() {
    let row = [
        (0, 0.0, Some(10.0)),
        (10, 1.0, Some(10.0)),
        (20, 5.0, None),
        (30, 6.0, Some(10.0)),
        (40, 7.0, Some(10.0)),
    ];
    let found = play(1, &row);
    assert!((found.milligrams() - 10.0).abs() < 1e-9, "{found:?}");
    assert_eq!((found.told, found.litres), (2.0, 7.0));
    assert!(!found.is_told());
}

#[test]
fn a_milliequivalent_is_58_milligrams_of_salt() {
    let creep = Creep {
        peak: Conductivity::from_us_per_cm(100.0),
        peak_tds: Tds::from_mg_per_l(50.0),
        salt_mg: 58.443,
        run_salt_mg: 100.0,
        basis: Basis::Measured,
    };
    // Molar mass of NaCl, IUPAC 2021 standard atomic weights (22.990 + 35.453), from memory.
    assert!((creep.salt_meq() - 1.0).abs() < 1e-9);
}

/// The demonstration's days through the core, with its coarse sensors: the salt told against what
/// the simulation's own books hold.
#[test]
fn the_salt_of_the_simulated_unit_is_found() {
    let text = demo_configuration("mqtt://localhost", Path::new("/nowhere"));
    let settings = config::from_text("demo", &text, &BTreeMap::new(), None).unwrap();
    let begin = jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0);
    let mut unit = DemoUnit::new(42, begin);
    let start = Wall::from_rfc3339("2026-01-10T08:00:00Z").unwrap();
    let at = |seconds: u64| Now {
        mono: Mono(seconds * 1000),
        wall: Wall(start.0 + i64::try_from(seconds).unwrap() * 1000),
    };
    let mut installation = Installation::new(&settings, |_| UnitState::default(), at(0));
    let (mut crept, mut all, mut litres) = (0.0, 0.0, 0.0);
    let mut records = Vec::new();
    for second in 1..=3 * 86_400_u64 {
        let before = unit.plant.truth();
        for message in unit.step(1.0) {
            let incoming = Incoming {
                topic: &message.topic,
                payload: message.payload.as_bytes(),
                arrival: Arrival::Live,
                packet: None,
            };
            installation.hear(at(second), incoming);
        }
        while installation
            .deadline()
            .is_some_and(|due| due <= Mono(second * 1000))
        {
            installation.advance(at(second));
        }
        while installation.drain().is_some() {}
        for record in installation.take_records() {
            if let Record::Run(_, run) = record {
                records.push(run);
            }
        }
        let truth = unit.plant.truth();
        let outlet = truth.permeate_conductivity.us_per_cm();
        let passed = truth.totals.permeate_litres - litres;
        litres = truth.totals.permeate_litres;
        all += 0.5 * passed * outlet;
        if let Some(level) = before.membrane_conductivity
            && before.phase == Phase::Producing
        {
            crept += 0.5 * passed * (outlet - level.us_per_cm());
        }
    }
    let totals = installation.units().next().unwrap().totals();
    assert!(records.len() >= 15, "{} runs", records.len());
    let settled =
        |run: &RunRecord| run.settled_by == Some(SettledBy::Signal) && run.creep.is_some();
    assert!(records.iter().all(|run| settled(run)));
    // The probe's gain (2 %) and its whole mg/L on 6 mg/L that settle (8 %).
    let (told_all, told_crept) = (totals.permeate_salt_mg, totals.creep_salt_mg);
    assert!((told_all / all - 1.0).abs() < 0.06, "{told_all} mg, {all}");
    assert!(
        (told_crept / crept - 1.0).abs() < 0.06,
        "{told_crept} mg, {crept}"
    );
}
