//! Recovery, rejection and the balance of salt.

use permeated::physics::balance::{
    concentrate, log_mean_concentration_factor, recovery, recovery_from_salts,
    recovery_from_waste_ratio, rejection, salt_passage, salt_passage_on_average, waste_ratio,
};
use permeated::quantity::{Conductivity, Flow, Quantity};

use crate::{near, near_share};

fn us(value: f64) -> Conductivity {
    Conductivity::from_us_per_cm(value)
}

/// Closed form, w = (1 − Y)/Y.
#[test]
fn waste_ratio_and_recovery() {
    for (waste, share) in [
        (1.0, 0.5),
        (2.0, 1.0 / 3.0),
        (3.0, 0.25),
        (4.0, 0.2),
        (5.0, 1.0 / 6.0),
    ] {
        near(
            waste,
            recovery_from_waste_ratio(waste).unwrap(),
            share,
            1e-12,
        );
        near(waste, waste_ratio(share).unwrap(), waste, 1e-12);
    }
    // EPA WaterSense draft limit 2.3 : 1 is a recovery of 0.303 (workingpressuremag.com).
    near("2.3", recovery_from_waste_ratio(2.3).unwrap(), 0.303, 5e-4);
    for nonsense in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(recovery_from_waste_ratio(nonsense), None, "{nonsense}");
    }
    for nonsense in [0.0, 1.0, 1.5, -0.2, f64::NAN] {
        assert_eq!(waste_ratio(nonsense), None, "{nonsense}");
        assert_eq!(log_mean_concentration_factor(nonsense), None, "{nonsense}");
    }
}

/// Calculated by closed form for a feed of 250: permeate, concentrate, log-mean factor, average
/// rejection.
#[test]
fn salt_balance_table() {
    for (share, feed_rejection, permeate, reject, factor, average) in [
        (0.15, 0.95, 12.5, 291.91, 1.0835, 0.9539),
        (0.20, 0.95, 12.5, 309.38, 1.1157, 0.9552),
        (0.25, 0.98, 5.0, 331.67, 1.1507, 0.9826),
        (0.50, 0.95, 12.5, 487.50, 1.3863, 0.9639),
        (0.75, 0.98, 5.0, 985.00, 1.8484, 0.9892),
    ] {
        let name = format!("recovery {share}");
        near(
            &name,
            rejection(us(250.0), us(permeate)).unwrap(),
            feed_rejection,
            1e-12,
        );
        let waste = concentrate(us(250.0), us(permeate), share).unwrap();
        near(&name, waste.us_per_cm(), reject, 5.1e-3);
        near(
            &name,
            log_mean_concentration_factor(share).unwrap(),
            factor,
            5.1e-5,
        );
        let passage = salt_passage_on_average(us(250.0), us(permeate), share).unwrap();
        near(&name, 1.0 - passage, average, 5.1e-5);
        let back = recovery_from_salts(us(250.0), us(permeate), waste).unwrap();
        near(&name, back, share, 1e-12);
    }
}

/// How far the log-mean stands from plug flow with a constant passage s, Cp/Cf = (1 − (1 − Y)^s)/Y:
/// calculated 0.06813 against 0.06931 (1.7 %), and 0.17260 against 0.18484 (7 %).
#[test]
fn log_mean_against_the_rigorous_form() {
    for (share, passage, rigorous, approximate, apart) in [
        (0.5_f64, 0.05, 0.068_13, 0.069_31, 0.02),
        (0.75, 0.10, 0.172_60, 0.184_84, 0.075),
    ] {
        let exact = (1.0 - (1.0 - share).powf(passage)) / share;
        near(share, exact, rigorous, 5.1e-6);
        let by_log_mean = passage * log_mean_concentration_factor(share).unwrap();
        near(share, by_log_mean, approximate, 5.1e-6);
        near_share(share, by_log_mean, exact, apart);
    }
    // Below a recovery of 0.25 the arithmetic mean is as good (1.1 %).
    for share in [0.15, 0.20, 0.25] {
        let waste = concentrate(us(250.0), us(5.0), share).unwrap();
        let arithmetic = (1.0 + waste / us(250.0)) / 2.0;
        near_share(
            share,
            log_mean_concentration_factor(share).unwrap(),
            arithmetic,
            0.011,
        );
    }
}

/// RO skid manual of 1999 (manualshive 1064126 p. 45): 30 of 40 gal/min is 75 %; feed 380, product
/// 5 µS/cm is 98.6 % (truncated; 98.684).
#[test]
fn published_recovery_and_rejection() {
    let permeate = Flow::parse("30 gal/min").unwrap();
    let feed = Flow::parse("40 gal/min").unwrap();
    near("recovery", recovery(permeate, feed).unwrap(), 0.75, 1e-12);
    let found = rejection(us(380.0), us(5.0)).unwrap() * 100.0;
    near("rejection", found, 98.684, 5e-4);
    near("as printed", (found * 10.0).floor() / 10.0, 98.6, 1e-9);
}

/// Feed 100 mg/L, permeate 10 or less, concentrate 150 to 170: recovery 0.35 to 0.43 by balance.
/// Common practice, no source; the ends of its band are rounded, hence 0.01.
#[test]
fn recovery_from_three_meters() {
    for (permeate, waste) in [(10.0, 150.0), (10.0, 170.0), (5.0, 150.0), (5.0, 170.0)] {
        let share = recovery_from_salts(us(100.0), us(permeate), us(waste)).unwrap();
        assert!(
            (0.34..=0.44).contains(&share),
            "{permeate} and {waste}: {share}"
        );
    }
    let share = recovery_from_salts(us(100.0), us(10.0), us(150.0)).unwrap();
    near("closed form", share, 50.0 / 140.0, 1e-12);
}

#[test]
fn a_permeate_saltier_than_the_feed_is_told_as_it_is() {
    near(
        "rejection",
        rejection(us(100.0), us(150.0)).unwrap(),
        -0.5,
        1e-12,
    );
    near(
        "passage",
        salt_passage(us(100.0), us(150.0)).unwrap(),
        1.5,
        1e-12,
    );
    assert_eq!(recovery_from_salts(us(100.0), us(150.0), us(200.0)), None);
    assert_eq!(concentrate(us(100.0), us(300.0), 0.5), None);
}

#[test]
fn nonsense_gives_no_number() {
    for feed in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(rejection(us(feed), us(1.0)), None, "{feed}");
        assert_eq!(
            recovery(Flow::from_l_per_min(0.1), Flow::from_l_per_min(feed)),
            None,
            "{feed}"
        );
    }
    for permeate in [-1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(rejection(us(100.0), us(permeate)), None, "{permeate}");
    }
    let one = Flow::from_l_per_min(1.0);
    assert_eq!(recovery(one, one), None);
    assert_eq!(recovery(Flow::ZERO, one), Some(0.0));
    assert_eq!(recovery(Flow::from_l_per_min(-0.1), one), None);
    // No concentrate saltier than the feed: no recovery fits.
    assert_eq!(recovery_from_salts(us(100.0), us(10.0), us(100.0)), None);
    assert_eq!(recovery_from_salts(us(100.0), us(10.0), us(90.0)), None);
    assert_eq!(recovery_from_salts(us(150.0), us(200.0), us(100.0)), None);
}
