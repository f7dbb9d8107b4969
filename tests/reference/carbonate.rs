//! Dissolved carbon dioxide from alkalinity and pH, against PHREEQC and published constants.
//!
//! PHREEQC figures: library phreeqpython 1.6.2 with its phreeqc.dat, by
//!
//! ```python
//! pp = PhreeqPython(database='phreeqc.dat')
//! s = pp.add_solution({'units': 'mg/L', 'temp': t, 'pH': ph, 'Alkalinity': f'{alk} as CaCO3', **ions})
//! s.species['CO2'] * 44009.5   # mg/L
//! ```
//!
//! Waters: "tap" is the plant tap of Bay County MI utility (baycountydwsmi.gov/water-testing),
//! `{'Ca': 27, 'Mg': 8, 'Na': 6, 'S(6)': '10 as SO4', 'Cl': 11}`, alkalinity 78, 232 µS/cm measured;
//! "hard" is made up, `{'Ca': 110, 'Mg': 25, 'Na': 30, 'S(6)': '60 as SO4', 'Cl': 50}`, alkalinity
//! 290, 802 µS/cm by PHREEQC.

use permeated::physics::carbonate::{
    CarbonateWater, activity_coefficient, contradiction, ionic_strength, ph_with_carbon_dioxide,
    pk1, pk2, pkh,
};
use permeated::quantity::{Concentration, Conductivity, EquivalentConcentration, Ph};

use crate::{celsius, near, near_share};

fn water(caco3: f64, ph: f64, at: f64, ionic_strength: f64) -> CarbonateWater {
    CarbonateWater {
        alkalinity: EquivalentConcentration::from_mg_per_l_caco3(caco3),
        ph: Ph::new(ph).unwrap(),
        temperature: celsius(at),
        ionic_strength,
    }
}

fn strength(us_per_cm: f64) -> f64 {
    ionic_strength(Conductivity::from_us_per_cm(us_per_cm)).unwrap()
}

fn gas(water: CarbonateWater) -> f64 {
    water.carbon_dioxide().unwrap().mg_per_l()
}

/// Plummer and Busenberg 1982; the coefficients are from memory, but pK1 with pK2 sums to what
/// phreeqc.dat carries, and pK1 agrees with Millero 2006 (pure water, after Harned; daneshyari
/// 1263591) within 0.0013. Columns: °C, pK1, pK1 of Millero, pK2, pKH, calculated by closed form.
#[test]
fn constants() {
    for (at, first, millero, second, henry) in [
        (0.0, 6.5786, 6.5781, 10.6286, 1.1084),
        (5.0, 6.5163, 6.5171, 10.5544, 1.1921),
        (10.0, 6.4633, 6.4645, 10.4879, 1.2694),
        (15.0, 6.4188, 6.4196, 10.4284, 1.3408),
        (20.0, 6.3819, 6.3821, 10.3756, 1.4069),
        (25.0, 6.3519, 6.3515, 10.3289, 1.4679),
        (30.0, 6.3281, 6.3273, 10.2879, 1.5244),
        (40.0, 6.2974, 6.2965, 10.2217, 1.6249),
    ] {
        let t = celsius(at);
        near(format!("pK1 at {at}"), pk1(t).unwrap(), first, 5.1e-5);
        near(
            format!("Millero at {at}"),
            pk1(t).unwrap(),
            millero,
            1.35e-3,
        );
        near(format!("pK2 at {at}"), pk2(t).unwrap(), second, 5.1e-5);
        near(format!("pKH at {at}"), pkh(t).unwrap(), henry, 5.1e-5);
        // K1·K2 as phreeqc.dat combines them (`-analytic` of CO3-2 + 2 H+ = CO2 + H2O).
        let kelvin = at + 273.15;
        let both =
            464.1965 + 0.093_448_13 * kelvin - 26_986.16 / kelvin - 165.759_51 * kelvin.log10()
                + 2_248_628.9 / (kelvin * kelvin);
        near(
            format!("phreeqc.dat at {at}"),
            pk1(t).unwrap() + pk2(t).unwrap(),
            both,
            1e-4,
        );
    }
    for at in [-127.0, 85.0, f64::NAN] {
        assert_eq!(pk1(celsius(at)), None, "{at}");
        assert_eq!(pk2(celsius(at)), None, "{at}");
        assert_eq!(pkh(celsius(at)), None, "{at}");
    }
}

/// Tap water, alkalinity 78, pH 7.6: full speciation by PHREEQC, which has less by the pairs of ions
/// left out here. Its ionic strength is 0.0032; from the conductivity 0.0037.
#[test]
fn tap_water_against_full_speciation() {
    for (at, phreeqc) in [(25.0, 3.579), (15.0, 4.194), (10.0, 4.656)] {
        let known = gas(water(78.0, 7.6, at, 0.0032));
        near_share(format!("I known, {at} °C"), known, phreeqc, 0.015);
        let estimated = gas(water(78.0, 7.6, at, strength(232.0)));
        near_share(format!("I estimated, {at} °C"), estimated, phreeqc, 0.015);
    }
}

/// The same calculated apart by hand (Python, closed form, 50.0434 mg CaCO3 to the meq) with Davies'
/// equation at 0.0032, and without activities: these are the equations, so they agree but for the 50
/// mg to the meq taken here, 0.087 %.
#[test]
fn tap_water_by_hand() {
    for (at, davies, without) in [
        (25.0, 3.624, 3.859),
        (15.0, 4.237, 4.506),
        (10.0, 4.699, 4.994),
    ] {
        let exact = 78.0 * 50.0 / 50.0434;
        let found = gas(water(exact, 7.6, at, 0.0032));
        near(format!("Davies, {at} °C"), found, davies, 6e-4);
        let found = gas(water(exact, 7.6, at, 0.0));
        near(format!("no activity, {at} °C"), found, without, 6e-4);
        near_share("50 mg", gas(water(78.0, 7.6, at, 0.0032)), davies, 1.1e-3);
    }
}

/// Waters without calcium, in which no pairs form: alkalinity, pH, PHREEQC's mg/L, conductivity and
/// ionic strength, 25 °C (`{'Na': alk / 50.0434 * 22.98977}` beside the alkalinity). Within 0.2 % when
/// ionic strength is known; from the conductivity, within 1.5 %.
#[test]
fn sodium_bicarbonate_against_full_speciation() {
    for (caco3, ph, phreeqc, us_per_cm, known) in [
        (50.0, 7.0, 9.528, 91.9, 0.001),
        (100.0, 7.5, 5.926, 182.1, 0.002),
        (150.0, 8.0, 2.758, 271.7, 0.003_01),
        (200.0, 7.2, 23.238, 359.0, 0.003_99),
    ] {
        let name = format!("alkalinity {caco3}, pH {ph}");
        near_share(&name, gas(water(caco3, ph, 25.0, known)), phreeqc, 2e-3);
        let estimated = gas(water(caco3, ph, 25.0, strength(us_per_cm)));
        near_share(&name, estimated, phreeqc, 0.015);
    }
}

/// Over pH and temperature, PHREEQC: tap water within the 2 % that pairs of ions make up to pH 8, more
/// above; hard water within 3.5 %. Always too much, never too little.
#[test]
fn tap_and_hard_water_over_ph_and_temperature() {
    let tap = strength(232.0);
    let hard = strength(802.0);
    for (caco3, ionic, at, ph, phreeqc, apart) in [
        (78.0, tap, 5.0, 6.5, 66.6307, 0.02),
        (78.0, tap, 5.0, 7.2, 13.2730, 0.02),
        (78.0, tap, 5.0, 8.0, 2.0838, 0.02),
        (78.0, tap, 5.0, 8.6, 0.5067, 0.07),
        (78.0, tap, 15.0, 7.2, 10.574, 0.02),
        (78.0, tap, 15.0, 8.0, 1.654, 0.02),
        (78.0, tap, 15.0, 8.6, 0.397, 0.07),
        (78.0, tap, 25.0, 6.5, 45.4251, 0.02),
        (78.0, tap, 25.0, 7.2, 9.0373, 0.02),
        (78.0, tap, 25.0, 8.0, 1.4070, 0.02),
        (78.0, tap, 25.0, 8.6, 0.3328, 0.07),
        (78.0, tap, 25.0, 9.2, 0.0681, 0.14),
        (78.0, tap, 35.0, 6.5, 41.1767, 0.02),
        (78.0, tap, 35.0, 7.2, 8.1844, 0.02),
        (78.0, tap, 35.0, 8.0, 1.2666, 0.022),
        (290.0, hard, 10.0, 7.0, 64.83, 0.035),
        (290.0, hard, 10.0, 7.5, 20.395, 0.035),
        (290.0, hard, 25.0, 7.0, 49.715, 0.035),
        (290.0, hard, 25.0, 7.5, 15.59, 0.035),
    ] {
        let name = format!("alkalinity {caco3}, {at} °C, pH {ph}");
        let found = gas(water(caco3, ph, at, ionic));
        near_share(&name, found, phreeqc, apart);
        assert!(found > phreeqc, "{name}: {found}");
    }
}

/// Where pH is high some of the alkalinity is carbonate. PHREEQC, tap water at 25 °C, mmol/L, its
/// pairs of ions counted with the ion they hold (CaCO3 and MgCO3 with CO3, CaHCO3 and MgHCO3 with
/// HCO3): without the pairs there is less carbonate, so only the order of size is held, and the sum.
#[test]
fn alkalinity_splits_into_its_parts() {
    for (ph, bicarbonate, carbonate) in [
        (
            8.6,
            1.42294 + 0.00909 + 0.00413,
            0.03181 + 0.02104 + 0.00591,
        ),
        (9.2, 1.1583 + 0.00695 + 0.00324, 0.10284 + 0.06407 + 0.01846),
        (
            9.8,
            0.66642 + 0.00358 + 0.00173,
            0.23473 + 0.13175 + 0.03929,
        ),
    ] {
        let water = water(78.0, ph, 25.0, 0.0032);
        let found = water.bicarbonate().unwrap().meq_per_l();
        let split = water.carbonate().unwrap().meq_per_l() / 2.0;
        assert!(found > bicarbonate && found < 1.35 * bicarbonate, "{ph}");
        assert!(split < carbonate && split > 0.5 * carbonate, "{ph}");
        // OH⁻ by PHREEQC: 0.004, 0.017, 0.068 meq/L; the rest is these two.
        let hydroxide = 10f64.powf(ph - 14.0) * 1e3 / 0.94;
        near(ph, found + 2.0 * split + hydroxide, 78.0 / 50.0, 2e-3);
    }
    // Below pH 7.6 nearly all is bicarbonate.
    let all = water(78.0, 7.6, 25.0, 0.0032).bicarbonate().unwrap();
    near_share("bicarbonate", all.meq_per_l(), 78.0 / 50.0, 0.01);
}

/// Davies' equation at 25 °C with A = 0.509: 10^(−0.509·(√I/(1+√I) − 0.3·I)), the coefficient from
/// memory; closed form. A here is 0.5116 (it is by volume and leaves the density out).
#[test]
fn activities() {
    for (ionic, single) in [(0.001, 0.9650), (0.01, 0.9021), (0.1, 0.7816)] {
        let found = activity_coefficient(1.0, ionic, celsius(25.0)).unwrap();
        near_share(ionic, found, single, 1.5e-3);
        let double = activity_coefficient(2.0, ionic, celsius(25.0)).unwrap();
        near_share(ionic, double, found.powi(4), 1e-12);
    }
    assert_eq!(activity_coefficient(1.0, 0.0, celsius(25.0)), Some(1.0));
    // With the permittivity 69.91 of Malmberg and Maryott's table (from memory) A is 0.5374 at 50 °C.
    let warm = activity_coefficient(1.0, 0.1, celsius(50.0)).unwrap();
    near("50 °C", warm, 0.7709, 5e-4);
    for (ionic, at) in [(0.6, 25.0), (-0.1, 25.0), (0.1, 61.0)] {
        let found = activity_coefficient(1.0, ionic, celsius(at));
        assert_eq!(found, None, "{ionic} mol/L at {at} °C");
    }
    // aqion.de, "Electrical Conductivity", equation 2: 1.6e-5 mol/L for each µS/cm; PHREEQC has 0.0032
    // for the tap water's 217.5 µS/cm, and 0.0121 for the hard water's 802.
    near_share("soft", strength(217.5), 0.0032, 0.1);
    near_share("hard", strength(802.0), 0.0121, 0.1);
}

#[test]
fn nonsense_has_no_carbon_dioxide() {
    assert_eq!(Ph::new(-0.1), None);
    assert_eq!(Ph::new(14.1), None);
    assert_eq!(Ph::new(f64::NAN), None);
    let good = water(78.0, 7.6, 15.0, 0.0032);
    assert!(good.carbon_dioxide().is_some());
    let with = |caco3: f64, at: f64, ionic: f64| water(caco3, 7.6, at, ionic).carbon_dioxide();
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(with(bad, 15.0, 0.0032), None, "alkalinity {bad}");
        assert_eq!(with(78.0, 15.0, bad), None, "ionic strength {bad}");
        assert_eq!(ionic_strength(Conductivity::from_us_per_cm(bad)), None);
    }
    for bad in [-127.0, 85.0, f64::NAN] {
        assert_eq!(with(78.0, bad, 0.0032), None, "temperature {bad}");
    }
    // Alkalinity of 5 mg/L cannot hold pH 11: hydroxide alone would be 50 mg/L.
    assert_eq!(water(5.0, 11.0, 25.0, 0.001).carbon_dioxide(), None);
    assert_eq!(water(5.0, 11.0, 25.0, 0.001).bicarbonate(), None);
    // Alkalinity of 290 mg/L at pH 5 would be 5 g/L; water under one atmosphere of the gas holds
    // 1.5 g/L (10^−1.4679 mol/L at 25 °C).
    assert_eq!(water(290.0, 5.0, 25.0, 0.01).carbon_dioxide(), None);
    let alkalinity = EquivalentConcentration::from_mg_per_l_caco3(78.0);
    for bad in [0.0, -1.0, f64::NAN] {
        let none = Concentration::from_mg_per_l(bad);
        let ph = ph_with_carbon_dioxide(alkalinity, none, celsius(25.0), 0.0032);
        assert_eq!(ph, None, "{bad} mg/L");
    }
}

/// Closed form: where only carbonic acid makes water sour, [H⁺] = [HCO3⁻], so that the gas goes with the
/// square of the hydrogen ion's activity: a hundredfold from pH 5 to 4, whatever the other salts.
#[test]
fn sour_water_without_alkalinity_holds_gas_alone() {
    for ionic in [0.0, 0.001, 0.1] {
        let sour = |ph| gas(water(1e-6, ph, 25.0, ionic));
        near_share(ionic, sour(4.0) / sour(5.0), 100.0, 1e-3);
        near_share(ionic, sour(4.0), gas(water(1e-6, 4.0, 25.0, 0.0)), 1e-3);
    }
}

/// Alkalinity at a pH of 12 is hydroxide: 10⁻² eq/L of it, 500 mg/L as CaCO3, where 10 were found.
#[test]
fn tests_that_contradict_each_other_are_told() {
    let of = |caco3, ph| {
        let alkalinity = EquivalentConcentration::from_mg_per_l_caco3(caco3);
        contradiction(alkalinity, Ph::new(ph).unwrap())
    };
    assert_eq!(of(78.0, 7.6), None);
    let told = of(10.0, 12.0).unwrap();
    assert!(
        told.contains("pH of 12") && told.contains("10 mg/L"),
        "{told}"
    );
}

/// Where even a pH of nothing would hold less, no pH is told.
#[test]
fn more_gas_than_any_water_holds_has_no_ph() {
    let alkalinity = EquivalentConcentration::from_mg_per_l_caco3(78.0);
    let impossible = Concentration::from_mg_per_l(1e12);
    let found = ph_with_carbon_dioxide(alkalinity, impossible, celsius(25.0), 0.0);
    assert_eq!(found, None);
}
