//! What the water brings by hand, the order of the stages, and agreement with the simulated cartridge.

use std::{collections::BTreeMap, sync::Arc};

use super::*;
use crate::{
    config,
    core::{Arrival, Lack, Observation, Unit, UnitState},
    metrics::StageMetric,
    quantity::Pressure,
    simulation::{DemoUnit, Plant, Resin},
    time::{Mono, Now, Wall},
};

const SENSORS: &str = r#"
[[unit.k.sensor]]
at = "permeate_flow"
topic = "f"
kind = "pulses"
pulses_per_litre = 10000
[[unit.k.sensor]]
at = "permeate_tds"
topic = "t"
unit = "uS/cm"
smoothing = 1
"#;

fn unit(text: &str) -> UnitSettings {
    let text = format!("{text}{SENSORS}");
    let settings = config::from_text("load.toml", &text, &BTreeMap::new(), None);
    settings
        .unwrap_or_else(|problems| panic!("{problems}"))
        .units
        .remove(0)
}

fn stage(kind: &str, keys: &str) -> String {
    format!("[[unit.k.stage]]\nid = \"{kind}\"\nkind = \"{kind}\"\n{keys}\n")
}

fn near(found: f64, expected: f64, share: f64) {
    let off = (found / expected - 1.0).abs();
    assert!(off <= share, "found {found}, expected {expected}");
}

/// What 100 L of permeate with 10 mg/L of NaCl bring.
fn hundred_litres(text: &str) -> Offered {
    let celsius = Some(Temperature::from_celsius(25.0));
    let conductivity = Some(Conductivity::from_us_per_cm(120.0));
    let unit = unit(text);
    Offered::new(
        &unit,
        &unit.supply.chemistry,
        1000.0,
        100.0,
        celsius,
        conductivity,
    )
}

/// By hand: 100 L × 10 mg/L / 58.443 = 17.11 meq of salt on either side. PHREEQC has 5.926 mg/L of
/// carbon dioxide in water of alkalinity 100 mg/L CaCO3 and pH 7.5 at 25 °C: 100 × 5.926 / 44.01 =
/// 13.47 meq. The same 20 µS/cm are 2000 / 125 = 16.0 meq if all is sodium chloride (PHREEQC) and 2000 / 95
/// = 21.05 if all is sodium bicarbonate (limiting conductivities, from memory). Of 12 mg/L silica 5 % pass: 100 × 0.6 / 60.084 = 1.0 meq.
#[test]
fn what_no_probe_sees_is_added() {
    let both = "alkalinity = \"100 mg/L CaCO3\"\nph = 7.5\n";
    let known = hundred_litres(&format!("[unit.k.supply]\n{both}"));
    for (end, salt) in [16.0, 17.11, 21.05].into_iter().enumerate() {
        near(known.cation[end], salt, 0.001);
        near(known.anion[end], salt + 13.47, 0.01);
    }
    let with_silica = hundred_litres(&format!("[unit.k.supply]\n{both}silica = \"12 mg/L\"\n"));
    near(with_silica.anion[1] - known.anion[1], 1.0, 0.002);
    // With nothing told there is a wide band round the likely, and for positive ions that of the salt.
    let unknown = hundred_litres("");
    assert!(
        unknown.anion[0] > 16.0 && unknown.anion[0] < 17.0,
        "{unknown:?}"
    );
    assert!(unknown.anion[2] > 50.0, "{unknown:?}");
    assert!(unknown.anion[1] > unknown.anion[0] && unknown.anion[1] < unknown.anion[2]);
    near(unknown.cation[2], 21.05, 0.001);
}

/// 2 mg/L of chloramine set 0.395 mg/L of nitrogen free, 0.0282 meq/L (an equivalent to the mole); at
/// pH 9 and 25 °C 36.19 % of it is the gas NH3 (Emerson's table), which passes: 100 L × 0.0282 ×
/// 0.3619 = 1.021 meq. Without carbon nothing is set free.
#[test]
fn ammonia_comes_of_chloramine_that_carbon_broke() {
    let feed = "[unit.k.supply]\nph = 9.0\ndisinfectant = \"chloramine\"\n\
                disinfectant_level = \"2 mg/L\"\n";
    let alone = hundred_litres(feed);
    near(alone.cation[1], 17.11, 0.001);
    let broken = hundred_litres(&format!("{feed}{}", stage("carbon", "")));
    near(broken.cation[1] - alone.cation[1], 1.021, 0.005);
}

fn room(cation: f64, anion: f64) -> Room {
    Room {
        cation: Some([cation; 3]),
        anion: Some([anion; 3]),
    }
}

#[test]
fn the_first_of_two_takes_all_until_it_is_spent() {
    let (mut first, mut second) = (LoadState::default(), LoadState::default());
    let mut treated = 0.0;
    for _ in 0..40 {
        treated += 1.0;
        let mut offered = Offered {
            litres: 1.0,
            cation: [1.0; 3],
            anion: [1.0, 2.0, 4.0],
            ..Offered::default()
        };
        for load in [&mut first, &mut second] {
            load.take(
                &mut offered,
                &room(30.0, 30.0),
                Volume::from_litres(treated),
            );
        }
    }
    assert_eq!((first.cation, second.cation), ([30.0; 3], [10.0; 3]));
    assert_eq!(first.anion, [30.0; 3]);
    assert_eq!(second.anion, [10.0, 30.0, 30.0]);
    assert_eq!(first.used(&room(30.0, 30.0)), [1.0; 3]);
}

/// 20 L at 0.2 meq/L, then the probe is away for 30 L: 50 L × 0.2 = 10 meq.
#[test]
fn a_mean_stands_for_what_the_probe_did_not_tell_of() {
    let mut load = LoadState::default();
    let mut take = |litres: f64, treated: f64| {
        let mut offered = Offered {
            litres,
            cation: [0.2 * litres; 3],
            ..Offered::default()
        };
        let treated = Volume::from_litres(treated);
        load.take(&mut offered, &room(100.0, 100.0), treated);
        load
    };
    assert!((take(20.0, 20.0).cation[1] - 4.0).abs() < 1e-12);
    assert!((take(0.0, 50.0).cation[1] - 10.0).abs() < 1e-12);
    assert_eq!(take(0.0, 50.0).by_mean.litres(), 30.0);
    // A stage of which nothing was told but its litres has nothing to say.
    assert!(LoadState::default().is_untold(Volume::from_litres(300.0)));
}

/// The simulation's cartridge takes the plant's own salt and 3.6 mg/L of carbon dioxide (which the
/// program reckons from an alkalinity and a pH of just that). The program has only a probe and a
/// meter, and counts 117 µS/cm to the meq of salt where the simulated salt, NaCl, conducts 125 (PHREEQC):
/// 7 per cent too much of the salt, so over a month of runs the loads agree within 7 per cent.
#[test]
fn the_load_is_what_the_simulated_cartridge_took() {
    let gas = Concentration::from_mg_per_l(3.6);
    let celsius = Temperature::from_celsius(14.0);
    let alkalinity = EquivalentConcentration::from_mg_per_l_caco3(80.0);
    let strength = carbonate::ionic_strength(Conductivity::from_us_per_cm(400.0)).unwrap();
    let ph = carbonate::ph_with_carbon_dioxide(alkalinity, gas, celsius, strength).unwrap();
    let text = format!(
        "[unit.k.supply]\ntemperature = \"14 degC\"\nalkalinity = \"80 mg/L CaCO3\"\nph = {}\n{}",
        ph.value(),
        stage("mixed_bed", "capacity = \"5 eq\"")
    );
    let start = jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0);
    let mut parameters = DemoUnit::new(42, start).plant.parameters;
    parameters.supply.pressure = Pressure::from_psi(60.0);
    parameters.resin = Some(Resin::new(5000.0, 30.0, 3.6));
    let mut plant = Plant::new(parameters);
    let at = |seconds: u64| Now {
        mono: Mono(seconds * 1000),
        wall: Wall(1_772_323_200_000 + i64::try_from(seconds).unwrap() * 1000),
    };
    let mut unit = Unit::new(Arc::new(unit(&text)), UnitState::default(), at(0));
    for step in 1..=30 * 24 * 120 {
        plant.step(30.0);
        let truth = plant.truth();
        let count = (truth.totals.permeate_litres * 10_000.0).floor();
        let shown = truth.permeate_conductivity.us_per_cm();
        for (sensor, value) in [(1, shown), (0, count)] {
            let heard = Observation::Number(value);
            unit.observe(at(step * 30), sensor, heard, Arrival::Live, None);
        }
        while unit.drain().is_some() {}
    }
    let litres = plant.truth().totals.permeate_litres;
    assert!(litres > 300.0, "{litres}");
    let taken = plant.parameters.resin.as_ref().unwrap().taken_meq();
    let found = unit.stage_findings(at(30 * 86_400))[0].clone();
    let of = |metric| found.of(metric).unwrap().value;
    println!(
        "{litres:.0} L: {:.1} meq found, {taken:.1} taken",
        of(StageMetric::AnionLoad)
    );
    near(of(StageMetric::AnionLoad), taken, 0.07);
    // 5 eq on either side: what is left follows from the larger load.
    near(of(StageMetric::Left), 100.0 - taken / 50.0, 0.01);
    assert_eq!(found.of(StageMetric::DisinfectantLoad), Err(Lack::NoLife));
}
