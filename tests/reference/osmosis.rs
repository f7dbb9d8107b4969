//! Osmotic pressure against the handbook's, a textbook's and a chemistry library's figures.

use permeated::physics::osmosis::{
    osmotic_pressure, osmotic_pressure_of_nacl, osmotic_pressure_of_tds,
};
use permeated::quantity::{Conductivity, Pressure, Tds};

use crate::{celsius, near, near_share};

const BAR_PER_ATMOSPHERE: f64 = 1.013_25;

fn handbook(mg_per_l: f64, at: f64) -> Pressure {
    osmotic_pressure_of_tds(Tds::from_mg_per_l(mg_per_l), celsius(at))
}

fn nacl(mg_per_l: f64, coefficient: f64) -> f64 {
    osmotic_pressure_of_nacl(Tds::from_mg_per_l(mg_per_l), celsius(25.0), coefficient).bar()
}

/// The handbook equation (from memory), columns calculated by closed form: bar and psi at 25 °C, bar at
/// 15 °C.
#[test]
fn handbook_columns() {
    for (mg_per_l, bar, psi, bar_at_15) in [
        (50.0, 0.0351, 0.510, 0.0341),
        (100.0, 0.0703, 1.019, 0.0682),
        (250.0, 0.1757, 2.548, 0.1706),
        (500.0, 0.3513, 5.096, 0.3411),
        (1000.0, 0.7026, 10.19, 0.6823),
        (2000.0, 1.4053, 20.38, 1.3646),
        (5000.0, 3.5132, 50.96, 3.4114),
    ] {
        let name = format!("{mg_per_l} mg/L");
        near(&name, handbook(mg_per_l, 25.0).bar(), bar, 5.1e-5);
        near(&name, handbook(mg_per_l, 15.0).bar(), bar_at_15, 5.1e-5);
        near_share(&name, handbook(mg_per_l, 25.0).psi(), psi, 1e-3);
        // Rule of thumb, 1 psi for each 100 mg/L (apsscientific.com, page 61): 2 % at 25 °C.
        near_share(
            &name,
            handbook(mg_per_l, 25.0).psi(),
            mg_per_l / 100.0,
            0.02,
        );
    }
}

/// Its two branches meet at 20 000 mg/L, calculated: 14.0530 and 14.0548 bar at 25 °C.
#[test]
fn handbook_branches_meet() {
    near(
        "below",
        handbook(20_000.0 - 1e-6, 25.0).bar(),
        14.0530,
        5.1e-5,
    );
    near("above", handbook(20_000.0, 25.0).bar(), 14.0548, 5.1e-5);
}

/// Van 't Hoff for NaCl at 25 °C: ideal, and with Pitzer's osmotic coefficient (calculated). The
/// handbook's figure stands for mixed ions and lies 12 to 17 % below NaCl with φ.
#[test]
fn sodium_chloride_columns() {
    for (mg_per_l, ideal, coefficient, real) in [
        (50.0, 0.0424, 0.989, 0.0420),
        (100.0, 0.0848, 0.985, 0.0836),
        (250.0, 0.2121, 0.978, 0.2073),
        (500.0, 0.4242, 0.970, 0.4114),
        (1000.0, 0.8483, 0.960, 0.8148),
    ] {
        let name = format!("{mg_per_l} mg/L");
        near(&name, nacl(mg_per_l, 1.0), ideal, 5.1e-5);
        // The coefficient is printed to three digits.
        near_share(&name, nacl(mg_per_l, coefficient), real, 0.0015);
        let ratio = handbook(mg_per_l, 25.0).bar() / real;
        assert!((0.83..0.88).contains(&ratio), "{name}: {ratio}");
    }
}

/// Library pyEQL 1.7.0, NaCl at 25 °C: osmotic coefficient and pressure.
#[test]
fn sodium_chloride_by_a_library() {
    for (mg_per_l, coefficient, bar) in [
        (250.0, 0.977_58, 0.207_35),
        (1000.0, 0.960_58, 0.815_12),
        (5000.0, 0.934_69, 3.970_38),
    ] {
        near_share(
            format!("{mg_per_l} mg/L"),
            nacl(mg_per_l, coefficient),
            bar,
            0.002,
        );
    }
}

/// Geankoplis, Transport Processes, example 13.9-1: 0.1 mol NaCl in a kilogram of water (997 kg/m³)
/// at 25 °C, ideal: 4.878 atm.
#[test]
fn textbook_example() {
    let mg_per_l = 0.1 * 0.997 * 58_443.0;
    near(
        "atm",
        nacl(mg_per_l, 1.0) / BAR_PER_ATMOSPHERE,
        4.878,
        0.0005,
    );
}

/// What taking 0.56 mg/L for each µS/cm costs, in both ends of real water. NaCl: conductivity by
/// PHREEQC, pressure with φ. Tap: Bay County MI utility, plant tap averages (baycountydwsmi.gov),
/// 232 µS/cm measured and 217.5 by PHREEQC, 0.0861 bar by the sum of its species (PHREEQC).
#[test]
fn conductivity_stands_for_concentration() {
    for (what, us_per_cm, bar) in [
        ("NaCl 100 mg/L", 209.3, 0.0836),
        ("NaCl 250 mg/L", 514.5, 0.2073),
        ("NaCl 1000 mg/L", 1977.0, 0.8148),
        ("tap water, measured", 232.0, 0.0861),
        ("tap water, modelled", 217.5, 0.0861),
    ] {
        let water = Conductivity::from_us_per_cm(us_per_cm);
        let ratio = osmotic_pressure(water, celsius(25.0)).bar() / bar;
        assert!((0.94..1.07).contains(&ratio), "{what}: {ratio}");
    }
}

#[test]
fn nonsense_gives_no_pressure() {
    assert!(handbook(-1.0, 25.0).bar().is_nan());
    assert!(handbook(f64::NAN, 25.0).bar().is_nan());
    assert!(handbook(100.0, -127.0).bar().is_nan());
    assert_eq!(handbook(0.0, 25.0), Pressure::ZERO);
}
