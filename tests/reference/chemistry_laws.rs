//! What must hold of loads, gases and scale for every number, not only those of a table.

use permeated::physics::ammonia::{behind_membrane, gas_share, set_free_by_carbon};
use permeated::physics::carbon::{
    contact_time, disinfectant, exposure_ppm_hours, feed_left, feed_volume, hours_to_exposure,
};
use permeated::physics::carbonate::{CarbonateWater, ph_with_carbon_dioxide};
use permeated::physics::resin::{Load, MixedBed, salt, salt_band, treats};
use permeated::physics::scaling::{
    Analysis, RecoveryLimit, concentrate, recovery_at_index, saturation_index,
};
use permeated::physics::sediment::{drop_at_25, drop_at_flow};
use permeated::quantity::{
    Concentration, Conductivity, EquivalentConcentration, Equivalents, Flow, Mass, Ph, Pressure,
    Quantity, ResinCapacity, Tds, Volume,
};
use proptest::prelude::*;

use crate::celsius;

fn mg(value: f64) -> Concentration {
    Concentration::from_mg_per_l(value)
}

fn meq(value: f64) -> EquivalentConcentration {
    EquivalentConcentration::from_meq_per_l(value)
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// Any number at all, with the awkward ones often.
fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        prop::num::f64::ANY,
        prop::sample::select(vec![
            0.0,
            -0.0,
            1.0,
            -1.0,
            7.0,
            -300.0,
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::MAX,
            f64::MIN_POSITIVE,
        ]),
        -1e3..1e3f64,
        0.0..1.0f64,
    ]
}

/// Tap water that exists: alkalinity and pH that go together.
fn tap() -> impl Strategy<Value = CarbonateWater> {
    (0.2..8.0f64, 6.5..9.0f64, 1.0..40.0f64, 0.0..0.02f64).prop_map(
        |(alkalinity, ph, at, ionic_strength)| CarbonateWater {
            alkalinity: meq(alkalinity),
            ph: Ph::new(ph).unwrap(),
            temperature: celsius(at),
            ionic_strength,
        },
    )
}

fn gas(water: &CarbonateWater) -> f64 {
    water.carbon_dioxide().unwrap().mg_per_l()
}

fn feed() -> impl Strategy<Value = Analysis> {
    (
        30.0..1500.0f64,
        0.2..8.0f64,
        0.2..8.0f64,
        6.5..9.0f64,
        1.0..40.0f64,
    )
        .prop_map(|(dissolved, calcium, alkalinity, ph, at)| Analysis {
            dissolved: Tds::from_mg_per_l(dissolved),
            calcium: meq(calcium),
            alkalinity: meq(alkalinity),
            ph: Ph::new(ph).unwrap(),
            temperature: celsius(at),
        })
}

fn there_and_back<Q: Quantity>(value: f64) -> Result<(), TestCaseError> {
    for unit in Q::UNITS {
        let base = Q::parse(&format!("{value} {}", unit.symbol()))
            .unwrap()
            .base();
        prop_assert!(same(unit.from_base(base), value), "{}", unit.symbol());
    }
    Ok(())
}

proptest! {
    #[test]
    fn units_there_and_back(value in -1e6..1e6f64) {
        there_and_back::<Concentration>(value)?;
        there_and_back::<Mass>(value)?;
        there_and_back::<Equivalents>(value)?;
        there_and_back::<EquivalentConcentration>(value)?;
        there_and_back::<ResinCapacity>(value)?;
    }

    #[test]
    fn alkalinity_is_the_sum_of_its_parts(water in tap()) {
        let parts = water.bicarbonate().unwrap() + water.carbonate().unwrap();
        // Hydroxide is what is left: up to 0.035 meq/L at pH 9 and 40 °C, acid next to nothing.
        let left = water.alkalinity.meq_per_l() - parts.meq_per_l();
        prop_assert!((-1e-3..0.036).contains(&left), "{left}");
    }

    #[test]
    fn carbon_dioxide_falls_with_ph_and_rises_with_alkalinity(
        water in tap(), more in 1.01..2.0f64, higher in 0.01..0.5f64,
    ) {
        let alkaline = CarbonateWater { alkalinity: water.alkalinity * more, ..water };
        prop_assert!(gas(&alkaline) > gas(&water));
        let higher = Ph::new(water.ph.value() + higher).unwrap();
        // Where hydroxide takes all the alkalinity there is none.
        let found = CarbonateWater { ph: higher, ..water }.carbon_dioxide();
        prop_assert!(found.is_none_or(|found| found.mg_per_l() < gas(&water)));
        // Ions draw the gas into bicarbonate.
        let pure = CarbonateWater { ionic_strength: 0.0, ..water };
        prop_assert!(gas(&pure) >= gas(&water));
    }

    #[test]
    fn ph_from_carbon_dioxide_and_back(water in tap()) {
        let held = water.carbon_dioxide().unwrap();
        let back = ph_with_carbon_dioxide(
            water.alkalinity, held, water.temperature, water.ionic_strength,
        );
        prop_assert!((back.unwrap().value() - water.ph.value()).abs() < 1e-6);
    }

    #[test]
    fn ammonia_is_neither_made_nor_lost(
        nitrogen in 0.0..5.0f64, ph in 6.0..10.0f64, at in 1.0..40.0f64, passage in 0.0..1.0f64,
    ) {
        let (acidity, t) = (Ph::new(ph).unwrap(), celsius(at));
        let behind = behind_membrane(mg(nitrogen), acidity, t, passage).unwrap().mg_per_l();
        prop_assert!(behind >= nitrogen * passage * (1.0 - 1e-12) && behind <= nitrogen * (1.0 + 1e-12));
        let share = gas_share(acidity, t).unwrap();
        prop_assert!(share > 0.0 && share < 1.0);
        prop_assert!(gas_share(Ph::new(ph + 0.1).unwrap(), t).unwrap() > share);
        prop_assert!(gas_share(acidity, celsius(at + 1.0)).unwrap() > share);
    }

    /// What the litres bring is what the binding side takes, and the other takes no more than it can.
    #[test]
    fn a_bed_is_used_up_by_what_it_treats(
        salts in 0.0..1.0f64, nitrogen in 0.0..1.0f64, dioxide in 0.01..30.0f64, silicate in 0.0..10.0f64,
        cation in 0.1..2.0f64, anion in 0.1..2.0f64, parts in 0.5..3.0f64, resin in 0.1..10.0f64,
    ) {
        let load = Load::new(meq(salts), mg(nitrogen), mg(dioxide), mg(silicate)).unwrap();
        let of = ResinCapacity::from_eq_per_l;
        let bed = MixedBed::of(of(cation), of(anion), parts).unwrap();
        let resin = Volume::from_litres(resin);
        let (litres, _) = bed.treats(resin, &load).unwrap();
        let used = |capacity: ResinCapacity, each: EquivalentConcentration|
            each.in_volume(litres) / capacity.of_resin(resin);
        let (cation, anion) = (used(bed.cation, load.cation), used(bed.anion, load.anion));
        prop_assert!(same(cation.max(anion), 1.0));
        // More of anything never lasts longer.
        let more = Load::new(meq(salts), mg(nitrogen), mg(dioxide + 1.0), mg(silicate)).unwrap();
        prop_assert!(bed.treats(resin, &more).unwrap().0 <= litres);
    }

    #[test]
    fn salt_lies_in_its_band(us_per_cm in 0.01..500.0f64) {
        let water = Conductivity::from_us_per_cm(us_per_cm);
        let (least, most) = salt_band(water).unwrap();
        let found = salt(water).unwrap();
        prop_assert!(least < found && found < most);
    }

    #[test]
    fn carbon_is_used_up_by_the_feed_it_may_pass(
        grams in 0.1..100.0f64, share in 0.0..1.0f64, arriving in 0.05..5.0f64,
    ) {
        let (capacity, given) = (Mass::from_grams(grams), Mass::from_grams(grams * share));
        let left = feed_left(capacity, given, mg(arriving)).unwrap();
        let in_all = given + disinfectant(left, mg(arriving)).unwrap();
        prop_assert!(same(in_all.grams(), grams));
        let hours = hours_to_exposure(grams, mg(arriving)).unwrap();
        let running = std::time::Duration::from_secs_f64(hours * 3600.0);
        prop_assert!((exposure_ppm_hours(mg(arriving), running).unwrap() - grams).abs() < 1e-6);
    }

    #[test]
    fn a_drop_there_and_back(
        bar in -0.5..2.0f64, flow in 0.2..5.0f64, reference in 0.2..5.0f64, power in 1.0..2.0f64,
        at in 1.0..40.0f64,
    ) {
        let (flow, reference) = (Flow::from_l_per_min(flow), Flow::from_l_per_min(reference));
        let drop = Pressure::from_bar(bar);
        let there = drop_at_flow(drop, flow, reference, power).unwrap();
        prop_assert!(same(drop_at_flow(there, reference, flow, power).unwrap().bar(), bar));
        let warm = drop_at_25(drop, celsius(at), power).unwrap().bar();
        prop_assert_eq!(warm.abs() < bar.abs(), at < 25.0 && bar != 0.0);
    }

    #[test]
    fn the_index_rises_with_recovery(
        water in feed(), recovery in 0.02..0.8f64, more in 0.01..0.1f64, passage in 0.0..0.5f64,
        limit in -2.0..3.0f64,
    ) {
        let at = |recovery: f64| {
            saturation_index(&concentrate(&water, recovery, passage)?)
        };
        let (before, here) = (saturation_index(&water).unwrap(), at(recovery));
        prop_assume!(here.is_some());
        let here = here.unwrap();
        prop_assert!(here > before);
        prop_assert!(at(recovery + more).is_none_or(|further| further > here));
        match recovery_at_index(&water, limit, passage) {
            Some(RecoveryLimit::Passed) => prop_assert!(before >= limit),
            Some(RecoveryLimit::At(found)) => {
                prop_assert!((at(found).unwrap() - limit).abs() < 1e-6);
            }
            Some(RecoveryLimit::Beyond(highest)) => prop_assert!(at(highest).unwrap() < limit),
            None => prop_assert!(false, "a concentrate, but no limit"),
        }
    }

    #[test]
    fn whatever_comes_in_no_false_number_comes_out(
        a in anything(), b in anything(), c in anything(), d in anything(), ph in 0.0..14.0f64,
    ) {
        let good = |value: Option<f64>| value.is_none_or(|value| value.is_finite() && value >= 0.0);
        let acidity = Ph::new(ph).unwrap();
        prop_assert!(Ph::new(a).is_none_or(|ph| (0.0..=14.0).contains(&ph.value())));
        let water = CarbonateWater {
            alkalinity: meq(a), ph: acidity, temperature: celsius(b), ionic_strength: c,
        };
        prop_assert!(good(water.carbon_dioxide().map(Concentration::mg_per_l)));
        prop_assert!(good(water.bicarbonate().map(EquivalentConcentration::meq_per_l)));
        prop_assert!(good(water.carbonate().map(EquivalentConcentration::meq_per_l)));
        prop_assert!(good(ph_with_carbon_dioxide(meq(a), mg(d), celsius(b), c).map(Ph::value)));
        let behind = behind_membrane(mg(a), acidity, celsius(b), c);
        prop_assert!(good(behind.map(Concentration::mg_per_l)));
        prop_assert!(good(set_free_by_carbon(mg(a)).map(Concentration::mg_per_l)));
        if let Some(load) = Load::new(meq(a), mg(b), mg(c), mg(d)) {
            prop_assert!(load.cation.meq_per_l() >= 0.0 && load.anion >= meq(a));
        }
        prop_assert!(good(treats(Equivalents::from_meq(a), meq(b)).map(Volume::litres)));
        let bed = MixedBed {
            cation: ResinCapacity::from_eq_per_l(a), anion: ResinCapacity::from_eq_per_l(b),
        };
        let load = Load { cation: meq(c), anion: meq(d) };
        let treated = bed.treats(Volume::from_litres(1.0), &load);
        prop_assert!(good(treated.map(|(litres, _)| litres.litres())));
        let volume = Volume::from_litres(a);
        prop_assert!(good(feed_volume(volume, b).map(Volume::litres)));
        prop_assert!(good(disinfectant(volume, mg(b)).map(Mass::grams)));
        let left = feed_left(Mass::from_grams(a), Mass::from_grams(b), mg(c));
        prop_assert!(good(left.map(Volume::litres)));
        prop_assert!(good(hours_to_exposure(a, mg(b))));
        let _ = contact_time(volume, Flow::from_l_per_min(b));
        let flows = (Flow::from_l_per_min(b), Flow::from_l_per_min(c));
        let drop = drop_at_flow(Pressure::from_bar(a), flows.0, flows.1, d);
        prop_assert!(drop.is_none_or(|drop| drop.bar().is_finite()));
        let drop = drop_at_25(Pressure::from_bar(a), celsius(b), d);
        prop_assert!(drop.is_none_or(|drop| drop.bar().is_finite()));
        let analysis = Analysis {
            dissolved: Tds::from_mg_per_l(a), calcium: meq(b), alkalinity: meq(c), ph: acidity,
            temperature: celsius(d),
        };
        prop_assert!(saturation_index(&analysis).is_none_or(f64::is_finite));
        let waste = concentrate(&analysis, b, c).and_then(|waste| saturation_index(&waste));
        prop_assert!(waste.is_none_or(f64::is_finite));
        let _ = recovery_at_index(&analysis, a, b);
    }
}
