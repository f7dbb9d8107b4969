//! The split of a flow's shortfall: the logarithmic-mean Divisia method against closed forms, and
//! the laws it promises (no remainder, symmetry, one cause alone takes all).

// Figures stand as the source printed them.
#![allow(clippy::excessive_precision)]

use permeated::physics::attribution::{Shortfall, log_mean, shortfall, split};
use permeated::physics::membrane::{OperatingPoint, TemperatureLaw, expected_flow};
use permeated::quantity::{Flow, Pressure};
use proptest::prelude::*;

use crate::{celsius, dissolved, home_point, near, near_share};

const LAW: &TemperatureLaw = &TemperatureLaw::HANDBOOK;

fn gal(value: f64) -> Flow {
    Flow::from_gal_per_day(value)
}

/// Pressure, back-pressure, salinity, temperature, membrane.
fn parts(shortfall: &Shortfall) -> [Flow; 5] {
    [
        shortfall.pressure,
        shortfall.back_pressure,
        shortfall.salinity,
        shortfall.temperature,
        shortfall.membrane,
    ]
}

/// By its definition (a − b) / ln(a / b), calculated with mpmath at 30 digits; and its neighbours:
/// between the geometric and the arithmetic mean.
#[test]
fn logarithmic_mean() {
    for (a, b, expected) in [
        (2.0, 1.0, std::f64::consts::LOG2_E),
        (1.0, 1e-9, 0.048_254_942_385_439_705),
        (1.0, 0.9803, 0.990_117_336_578_445_9),
        (1.0, 0.9801, 0.990_016_666_610_550_6),
        (1.0, 1.000_001, 1.000_000_499_999_916_7),
        (1e-200, 1e200, 1.085_736_204_758_129_6e197),
    ] {
        near_share(a, log_mean(a, b).unwrap(), expected, 2e-14);
        near_share(a, log_mean(b, a).unwrap(), expected, 2e-14);
    }
    for value in [1e-300, 0.3, 1.0, 75.0, 1e300] {
        assert_eq!(log_mean(value, value), Some(value));
    }
    for nonsense in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(log_mean(1.0, nonsense), None);
        assert_eq!(log_mean(nonsense, 1.0), None);
    }
}

/// 8 = 4 · 2 against 1 = 1 · 1: of the 7 between, ln 4 / ln 8 = ⅔ and ⅓ fall to the factors. Closed
/// form; no worked example with one category was found in the literature.
#[test]
fn split_of_a_product() {
    let [one, other] = split(1.0, 8.0, [(1.0, 4.0), (1.0, 2.0)]).unwrap();
    near("two thirds", one, 14.0 / 3.0, 1e-14);
    near("one third", other, 7.0 / 3.0, 1e-14);
    // Factors against each other: 6 = 2 · 3 from 6 = 3 · 2, where both totals are the same.
    let [less, more] = split(6.0, 6.0, [(2.0, 3.0), (3.0, 2.0)]).unwrap();
    near("less", less, 6.0 * 1.5f64.ln(), 1e-14);
    near("more", more, -less, 1e-14);
    assert_eq!(split(1.0, 2.0, [(0.0, 2.0)]), None);
    assert_eq!(split(1.0, f64::NAN, [(1.0, 2.0)]), None);
    assert_eq!(split(-1.0, 2.0, [(1.0, 2.0)]), None);
}

/// A 75 gal/d element on cold water behind a tank, and one pushed beyond its rating; gal/d,
/// calculated by closed form with mpmath at 30 digits, apart from this program.
#[test]
fn home_elements() {
    let cold = OperatingPoint {
        pressure_drop: Pressure::from_psi(2.0),
        permeate_pressure: Pressure::from_psi(6.0),
        ..home_point(48.0, 11.0, 420.0, 21.0, 0.25)
    };
    let warm = OperatingPoint {
        pressure_drop: Pressure::from_psi(3.0),
        permeate_pressure: Pressure::from_psi(1.0),
        ..home_point(75.0, 28.0, 200.0, 4.0, 0.2)
    };
    for (name, flow, at, rated_psi, expected) in [
        (
            "cold",
            28.0,
            cold,
            60.0,
            [
                12.409_718_52,
                7.239_002_472,
                1.925_272_094,
                23.830_709_74,
                1.595_297_17,
            ],
        ),
        (
            "warm",
            80.0,
            warm,
            50.0,
            [
                -33.368_807_59,
                3.336_880_759,
                -0.541_594_240_5,
                -6.840_587_724,
                32.414_108_8,
            ],
        ),
    ] {
        let rating = home_point(rated_psi, 25.0, 250.0, 10.0, 0.15);
        let found = shortfall(gal(flow), &at, gal(75.0), &rating, LAW).unwrap();
        near(name, found.total.gal_per_day(), 75.0 - flow, 1e-12);
        for (part, expected) in parts(&found).into_iter().zip(expected) {
            near(name, part.gal_per_day(), expected, 1e-7);
        }
    }
}

/// One cause at work, the flow being what the membrane should give: it takes all there is.
#[test]
fn one_cause_alone_takes_all() {
    // Next to no osmosis, so that temperature works by its law alone.
    let rating = home_point(60.0, 25.0, 1e-9, 0.0, 0.15);
    let salty = home_point(60.0, 25.0, 250.0, 10.0, 0.15);
    let rated = gal(75.0);
    for (cause, rating, at) in [
        (0, rating, home_point(42.0, 25.0, 1e-9, 0.0, 0.15)),
        (0, salty, home_point(42.0, 25.0, 250.0, 10.0, 0.15)),
        (
            1,
            salty,
            OperatingPoint {
                permeate_pressure: Pressure::from_psi(30.0),
                ..salty
            },
        ),
        (
            1,
            salty,
            OperatingPoint {
                pressure_drop: Pressure::from_psi(5.0),
                ..salty
            },
        ),
        (2, salty, home_point(60.0, 25.0, 900.0, 10.0, 0.15)),
        (2, salty, home_point(60.0, 25.0, 250.0, 10.0, 0.6)),
        (3, rating, home_point(60.0, 8.0, 1e-9, 0.0, 0.15)),
        (3, rating, home_point(60.0, 31.0, 1e-9, 0.0, 0.15)),
    ] {
        let expected = expected_flow(rated, &rating, &at, LAW).unwrap();
        let found = shortfall(expected, &at, rated, &rating, LAW).unwrap();
        let lost = (rated - expected).gal_per_day();
        for (part, flow) in parts(&found).into_iter().enumerate() {
            let due = if part == cause { lost } else { 0.0 };
            near(
                format!("{cause} {part}"),
                flow.gal_per_day(),
                due,
                75.0 * 1e-12,
            );
        }
    }
    let fouled = shortfall(gal(50.0), &salty, rated, &salty, LAW).unwrap();
    near("membrane", fouled.membrane.gal_per_day(), 25.0, 1e-12);
}

/// More pressure against as much more back-pressure: NDP stays, and a split in the ratio of the
/// terms to its change would divide by nothing. Every bar weighs Q/NDP.
#[test]
fn causes_that_cancel_stay_finite() {
    let rating = home_point(60.0, 25.0, 250.0, 10.0, 0.15);
    let at = OperatingPoint {
        feed_pressure: rating.feed_pressure + Pressure::from_psi(15.0),
        permeate_pressure: Pressure::from_psi(15.0),
        ..rating
    };
    let rated = gal(75.0);
    let found = shortfall(rated, &at, rated, &rating, LAW).unwrap();
    let driving = rating.net_driving_pressure().unwrap();
    let cost = 75.0 * (Pressure::from_psi(15.0) / driving);
    near("tank", found.back_pressure.gal_per_day(), cost, 1e-11);
    near("pressure", found.pressure.gal_per_day(), -cost, 1e-11);
    near("membrane", found.membrane.gal_per_day(), 0.0, 1e-11);
}

#[test]
fn the_rating_itself_lacks_nothing() {
    let rating = home_point(60.0, 25.0, 250.0, 10.0, 0.15);
    let found = shortfall(gal(75.0), &rating, gal(75.0), &rating, LAW).unwrap();
    assert_eq!(found.total, Flow::ZERO);
    assert_eq!(parts(&found), [Flow::ZERO; 5]);
}

#[test]
fn nothing_to_split_no_number() {
    let rating = home_point(60.0, 25.0, 250.0, 10.0, 0.15);
    let behind_a_full_tank = OperatingPoint {
        permeate_pressure: Pressure::from_psi(60.0),
        ..rating
    };
    let of = |actual, at: &_, rated| shortfall(gal(actual), at, gal(rated), &rating, LAW);
    for nonsense in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(of(nonsense, &rating, 75.0), None, "{nonsense}");
        assert_eq!(of(50.0, &rating, nonsense), None, "{nonsense}");
    }
    assert_eq!(of(5.0, &behind_a_full_tank, 75.0), None);
    let boiling = OperatingPoint {
        temperature: celsius(85.0),
        ..rating
    };
    assert_eq!(of(50.0, &boiling, 75.0), None);
}

/// A unit's conditions, and a flow in gal/d.
fn state() -> impl Strategy<Value = (OperatingPoint, f64)> {
    let point = (
        20.0..120.0f64,
        0.0..10.0f64,
        0.0..15.0f64,
        1.0..40.0f64,
        20.0..1000.0f64,
        0.0..0.3f64,
        0.05..0.6f64,
    );
    (point, 1.0..300.0f64)
        .prop_map(|((feed, drop, back, at, salt, passage, recovery), flow)| {
            let point = OperatingPoint {
                feed_pressure: Pressure::from_psi(feed),
                pressure_drop: Pressure::from_psi(drop),
                permeate_pressure: Pressure::from_psi(back),
                temperature: celsius(at),
                feed: dissolved(salt),
                permeate: dissolved(salt * passage),
                recovery,
            };
            (point, flow)
        })
        .prop_filter("a driving pressure", |(point, _)| {
            point
                .net_driving_pressure()
                .is_some_and(|driving| driving.bar() > 0.01)
        })
}

proptest! {
    #[test]
    fn parts_add_up_and_exchange_turns_them((at, flow) in state(), (rating, rated) in state()) {
        let there = shortfall(gal(flow), &at, gal(rated), &rating, LAW).unwrap();
        let sum: f64 = parts(&there).into_iter().map(Flow::gal_per_day).sum();
        let largest = parts(&there)
            .into_iter()
            .map(|part| part.gal_per_day().abs())
            .fold(flow.max(rated), f64::max);
        prop_assert!((sum - (rated - flow)).abs() <= 1e-12 * largest, "{sum} {there:?}");
        prop_assert!((there.total.gal_per_day() - (rated - flow)).abs() <= 1e-12 * largest);

        let back = shortfall(gal(rated), &rating, gal(flow), &at, LAW).unwrap();
        for (one, other) in parts(&there).into_iter().zip(parts(&back)) {
            prop_assert!((one + other).gal_per_day().abs() <= 1e-12 * largest, "{there:?} {back:?}");
        }
    }
}
