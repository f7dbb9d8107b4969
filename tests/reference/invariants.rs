//! What must hold for every number, not only those of a table.

use permeated::physics::balance::{
    concentrate, log_mean_concentration_factor, recovery, recovery_from_salts,
    recovery_from_waste_ratio, rejection, salt_passage, salt_passage_on_average, waste_ratio,
};
use permeated::physics::conductivity::{at_25, iso7888_factor, pure_water};
use permeated::physics::membrane::{
    OperatingPoint, TemperatureLaw, expected_flow, normalized_flow, normalized_salt_passage,
    specific_flux,
};
use permeated::physics::statistics::{Cusum, Spread, is_spike, median};
use permeated::quantity::{Conductivity, Flow, Pressure};
use proptest::prelude::*;

use crate::celsius;

const LAW: &TemperatureLaw = &TemperatureLaw::HANDBOOK;

fn us(value: f64) -> Conductivity {
    Conductivity::from_us_per_cm(value)
}

/// Conditions of a home unit, all of them with a driving pressure.
fn home() -> impl Strategy<Value = OperatingPoint> {
    (
        2.5..8.0f64,
        0.0..0.3f64,
        0.0..1.0f64,
        1.0..40.0f64,
        50.0..1500.0f64,
        0.0..0.3f64,
        0.05..0.6f64,
    )
        .prop_map(
            |(feed_bar, drop, back, at, feed, passage, recovery)| OperatingPoint {
                feed_pressure: Pressure::from_bar(feed_bar),
                pressure_drop: Pressure::from_bar(drop),
                permeate_pressure: Pressure::from_bar(back),
                temperature: celsius(at),
                feed: us(feed),
                permeate: us(feed * passage),
                recovery,
            },
        )
        .prop_filter("a driving pressure", |point| {
            point.net_driving_pressure().is_some()
        })
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
            25.0,
            -273.0,
            -320.0,
            -400.0,
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::MAX,
            f64::MIN_POSITIVE,
            f64::EPSILON,
        ]),
        -1e3..1e3f64,
        0.0..1.0f64,
    ]
}

fn any_point() -> impl Strategy<Value = OperatingPoint> {
    (
        anything(),
        anything(),
        anything(),
        anything(),
        anything(),
        anything(),
        anything(),
    )
        .prop_map(
            |(feed_bar, drop, back, at, feed, permeate, recovery)| OperatingPoint {
                feed_pressure: Pressure::from_bar(feed_bar),
                pressure_drop: Pressure::from_bar(drop),
                permeate_pressure: Pressure::from_bar(back),
                temperature: celsius(at),
                feed: us(feed),
                permeate: us(permeate),
                recovery,
            },
        )
}

/// A home's conditions with one of them replaced by anything.
fn nearly_home() -> impl Strategy<Value = OperatingPoint> {
    (home(), 0..7u8, anything()).prop_map(|(mut point, which, value)| {
        match which {
            0 => point.feed_pressure = Pressure::from_bar(value),
            1 => point.pressure_drop = Pressure::from_bar(value),
            2 => point.permeate_pressure = Pressure::from_bar(value),
            3 => point.temperature = celsius(value),
            4 => point.feed = us(value),
            5 => point.permeate = us(value),
            _ => point.recovery = value,
        }
        point
    })
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

proptest! {
    #[test]
    fn salt_is_neither_made_nor_lost(
        feed in 1.0..5000.0f64, passage in 0.0..1.0f64, feed_flow in 0.1..5.0f64,
        share in 0.01..0.95f64,
    ) {
        let (permeate_flow, permeate) = (feed_flow * share, feed * passage);
        let yielded = recovery(Flow::from_l_per_min(permeate_flow), Flow::from_l_per_min(feed_flow));
        let waste = concentrate(us(feed), us(permeate), yielded.unwrap()).unwrap().us_per_cm();
        let out = permeate_flow * permeate + (feed_flow - permeate_flow) * waste;
        prop_assert!(same(feed_flow * feed, out));
        // The membrane itself is at least as good as it looks from outside.
        let average = salt_passage_on_average(us(feed), us(permeate), share).unwrap();
        prop_assert!(average <= salt_passage(us(feed), us(permeate)).unwrap());
    }

    #[test]
    fn waste_ratio_there_and_back(share in 0.001..0.999f64) {
        let back = recovery_from_waste_ratio(waste_ratio(share).unwrap()).unwrap();
        prop_assert!(same(back, share));
    }

    #[test]
    fn a_record_normalised_to_itself_is_itself(point in home(), l_per_h in 0.1..100.0f64) {
        let flow = Flow::from_l_per_h(l_per_h);
        let normalized = normalized_flow(flow, &point, &point, LAW).unwrap();
        prop_assert!(same(normalized.l_per_h(), l_per_h));
        let passage = normalized_salt_passage(flow, &point, &point, LAW).unwrap();
        prop_assert!(same(passage, salt_passage(point.feed, point.permeate).unwrap()));
    }

    #[test]
    fn expecting_undoes_normalising(at in home(), reference in home(), l_per_h in 0.1..100.0f64) {
        let flow = Flow::from_l_per_h(l_per_h);
        let there = normalized_flow(flow, &at, &reference, LAW).unwrap();
        let back = expected_flow(there, &reference, &at, LAW).unwrap();
        prop_assert!(same(back.l_per_h(), l_per_h));
        // Both sides have the same flux for each bar at 25 °C.
        let here = specific_flux(flow, &at, LAW).unwrap();
        prop_assert!(same(here, specific_flux(there, &reference, LAW).unwrap()));
    }

    /// A membrane of constant permeability, its water made here from the equations as the handbook
    /// prints them: the normalised flow is the same in winter and summer.
    #[test]
    fn normalised_flow_does_not_know_the_season(
        coefficient in 0.5..10.0f64, kelvin in 2000.0..4300.0f64, at in 1.0..40.0f64,
        bar in 2.5..8.0f64, feed in 50.0..800.0f64, share in 0.05..0.6f64,
    ) {
        let record = |at: f64, bar: f64| {
            let average = feed * (1.0 / (1.0 - share)).ln() / share;
            let osmotic = (average - 0.04 * feed) * (at + 320.0) / 491_000.0;
            let growth = (kelvin * (1.0 / 298.0 - 1.0 / (273.0 + at))).exp();
            let point = OperatingPoint {
                feed_pressure: Pressure::from_bar(bar),
                pressure_drop: Pressure::ZERO,
                permeate_pressure: Pressure::ZERO,
                temperature: celsius(at),
                feed: crate::dissolved(feed),
                permeate: crate::dissolved(0.04 * feed),
                recovery: share,
            };
            (point, Flow::from_l_per_h(coefficient * (bar - osmotic) * growth))
        };
        let (reference, flow_there) = record(25.0, 4.0);
        let (actual, flow_here) = record(at, bar);
        let law = TemperatureLaw::single(kelvin);
        let normalized = normalized_flow(flow_here, &actual, &reference, &law).unwrap();
        prop_assert!(same(normalized.l_per_h(), flow_there.l_per_h()));
        prop_assert!(same(specific_flux(flow_here, &actual, &law).unwrap(), coefficient));
    }

    #[test]
    fn whatever_comes_in_no_false_number_comes_out(
        point in prop_oneof![any_point(), nearly_home()], good in home(), l_per_h in anything(),
        kelvin in anything(),
    ) {
        let flow = Flow::from_l_per_h(l_per_h);
        let positive = |value: Option<f64>| value.is_none_or(|value| value.is_finite() && value > 0.0);
        prop_assert!(positive(point.net_driving_pressure().map(Pressure::bar)));
        prop_assert!(positive(point.feed_side_average().map(Conductivity::us_per_cm)));
        for law in [*LAW, TemperatureLaw::single(kelvin)] {
            for (at, reference) in [(&point, &good), (&good, &point), (&point, &point)] {
                let normalized = normalized_flow(flow, at, reference, &law);
                prop_assert!(positive(normalized.map(Flow::l_per_min)));
                let expected = expected_flow(flow, at, reference, &law);
                prop_assert!(positive(expected.map(Flow::l_per_min)));
                let passage = normalized_salt_passage(flow, at, reference, &law);
                prop_assert!(passage.is_none_or(|value| value.is_finite() && value >= 0.0));
                prop_assert!(positive(specific_flux(flow, at, &law)));
            }
        }
    }

    #[test]
    fn no_balance_gives_a_false_number(a in anything(), b in anything(), c in anything()) {
        let finite = |value: Option<f64>| value.is_none_or(f64::is_finite);
        let share = |value: Option<f64>| value.is_none_or(|value| value > 0.0 && value < 1.0);
        let yielded = recovery(Flow::from_l_per_min(a), Flow::from_l_per_min(b));
        prop_assert!(yielded.is_none_or(|value| (0.0..1.0).contains(&value)));
        prop_assert!(share(recovery_from_waste_ratio(a)));
        prop_assert!(share(recovery_from_salts(us(a), us(b), us(c))));
        prop_assert!(finite(waste_ratio(a)));
        prop_assert!(log_mean_concentration_factor(a).is_none_or(|f| f.is_finite() && f >= 1.0));
        prop_assert!(rejection(us(a), us(b)).is_none_or(|r| r.is_finite() && r <= 1.0));
        prop_assert!(finite(salt_passage_on_average(us(a), us(b), c)));
        let waste = concentrate(us(a), us(b), c).map(Conductivity::us_per_cm);
        prop_assert!(waste.is_none_or(|value| value.is_finite() && value >= 0.0));
    }

    #[test]
    fn compensation_is_continuous_and_rising(at in -5.0..60.0f64, reading in 0.0..2000.0f64) {
        let t = celsius(at);
        let here = at_25(reading, t).us_per_cm();
        prop_assert!(here.is_finite() && here >= 0.0);
        prop_assert!(at_25(reading + 0.01, t).us_per_cm() > here);
        // No step where pure water begins, and 0 stays 0.
        let own = pure_water(t);
        let across = at_25(own * (1.0 + 1e-9), t).us_per_cm() - at_25(own * (1.0 - 1e-9), t).us_per_cm();
        prop_assert!((0.0..1e-8).contains(&across));
        prop_assert_eq!(at_25(0.0, t).us_per_cm(), 0.0);
        // Warmer water of the same reading is purer.
        if at < 59.0 {
            let warmer = celsius(at + 1.0);
            prop_assert!(iso7888_factor(warmer).unwrap() < iso7888_factor(t).unwrap());
            prop_assert!(pure_water(warmer) > own);
        }
    }

    #[test]
    fn statistics_never_break(values in prop::collection::vec(anything(), 0..12), value in anything()) {
        let all_finite = values.iter().all(|value| value.is_finite());
        let middle = median(&mut values.clone());
        prop_assert_eq!(middle.is_some(), all_finite && !values.is_empty());
        if let Some(middle) = middle {
            prop_assert!(middle.is_finite());
            let below = values.iter().filter(|value| **value < middle).count();
            let above = values.iter().filter(|value| **value > middle).count();
            prop_assert!(below * 2 <= values.len() && above * 2 <= values.len());
        }
        prop_assert!(Spread::of(&values).is_none_or(|s| s.deviation.is_finite() && s.deviation >= 0.0));
        prop_assert!(is_spike(value, &values, 1.0, 3.0).is_none() || value.is_finite());
        let mut chart = Cusum::new(0.0, 0.5, 5.0).unwrap();
        for value in values {
            chart.push(value);
            prop_assert!(chart.high() >= 0.0 && chart.low() >= 0.0);
        }
    }
}
