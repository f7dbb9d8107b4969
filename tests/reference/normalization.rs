//! Normalised flow and salt passage against worked examples.

use permeated::physics::balance::{rejection, salt_passage};
use permeated::physics::driven::Driven;
use permeated::physics::membrane::{
    OperatingPoint, TemperatureLaw, expected_flow, normalized_flow, normalized_salt_passage,
    specific_flux,
};
use permeated::physics::osmosis::{MG_PER_L_FOR_US_PER_CM, osmotic_pressure};
use permeated::quantity::{Flow, Pressure, Quantity};

use crate::{celsius, dissolved, home_point, near, near_share};

const LAW: &TemperatureLaw = &TemperatureLaw::HANDBOOK;

fn plant_at_start() -> OperatingPoint {
    OperatingPoint {
        feed_pressure: Pressure::from_bar(25.0),
        pressure_drop: Pressure::from_bar(3.0),
        permeate_pressure: Pressure::from_bar(1.0),
        temperature: celsius(15.0),
        feed: dissolved(1986.0),
        permeate: dissolved(83.0),
        recovery: 0.75,
    }
}

fn plant_after_three_months() -> OperatingPoint {
    OperatingPoint {
        feed_pressure: Pressure::from_bar(28.0),
        pressure_drop: Pressure::from_bar(3.8),
        permeate_pressure: Pressure::from_bar(2.0),
        temperature: celsius(10.0),
        feed: dissolved(2292.0),
        permeate: dissolved(80.0),
        recovery: 0.72,
    }
}

fn m3_per_h(value: f64) -> Flow {
    Flow::from_l_per_h(value * 1000.0)
}

/// The membrane handbook (a maker's technical manual), "Plant Performance Normalization", form 45-D01616 / 609-00071: the
/// worked example of a brackish plant, inputs from memory. Intermediate figures calculated by
/// closed form.
#[test]
fn handbook_example_in_full_precision() {
    let (start, later) = (plant_at_start(), plant_after_three_months());
    for (name, point, correction, average, feed_pi, permeate_pi, without, with) in [
        (
            "start", start, 0.703_362, 3670.907, 2.504_59, 0.056_63, 19.995_41, 20.052_04,
        ),
        (
            "later", later, 0.584_412, 4052.274, 2.723_52, 0.053_77, 21.376_48, 21.430_24,
        ),
    ] {
        near(name, LAW.correction(point.temperature), correction, 1e-6);
        let feed_side = point.feed_side_average().unwrap();
        near(
            name,
            feed_side.us_per_cm() * MG_PER_L_FOR_US_PER_CM,
            average,
            1e-3,
        );
        let feed_side_pi = osmotic_pressure(feed_side, point.temperature).bar();
        near(name, feed_side_pi, feed_pi, 1e-5);
        let product_pi = osmotic_pressure(point.permeate, point.temperature).bar();
        near(name, product_pi, permeate_pi, 1e-5);
        let driving = point.net_driving_pressure().unwrap().bar();
        near(name, driving, with, 1e-5);
        near(name, driving - product_pi, without, 1e-5);
    }

    let flow = normalized_flow(m3_per_h(127.0), &later, &start, LAW).unwrap();
    near_share("flow, m3/h", flow.l_per_h() / 1000.0, 143.020, 4e-6);
    let passage = normalized_salt_passage(m3_per_h(127.0), &later, &start, LAW).unwrap();
    near("permeate, mg/L", passage * 1986.0, 77.452, 6e-4);
    near("salt passage", passage, 0.038_999, 5e-7);

    // The handbook's flow equation leaves the permeate's osmotic pressure out: 0.03 % apart.
    let driving = |point: &OperatingPoint| {
        let product = osmotic_pressure(point.permeate, point.temperature);
        (point.net_driving_pressure().unwrap() - product).bar()
    };
    let handbook = 127.0 * driving(&start) / driving(&later) * LAW.correction(start.temperature)
        / LAW.correction(later.temperature);
    near("flow without permeate osmosis", handbook, 142.974, 5e-4);
    near("capacity lost", 1.0 - handbook / 150.0, 0.046_84, 5e-6);
}

/// The same example as printed (from memory): 144 m3/h or 633 gal/min, 77 mg/L, reached there with
/// rounded factors, so 1 %.
#[test]
fn handbook_example_as_printed() {
    let (start, later) = (plant_at_start(), plant_after_three_months());
    let metric = normalized_flow(m3_per_h(127.0), &later, &start, LAW).unwrap();
    near_share("m3/h", metric.l_per_h() / 1000.0, 144.0, 0.01);
    let actual = Flow::parse("560 gal/min").unwrap();
    let us = normalized_flow(actual, &later, &start, LAW).unwrap();
    near_share("gal/min", us.gal_per_day() / 1440.0, 633.0, 0.01);
    let passage = normalized_salt_passage(actual, &later, &start, LAW).unwrap();
    near_share("mg/L", passage * 1986.0, 77.0, 0.01);
    // Its conclusion: flow a little down, rejection a little better than the 83 mg/L of the start.
    assert!(metric < m3_per_h(150.0) && passage * 1986.0 < 83.0);
}

/// A home element, calculated by closed form (no published example was found at this scale).
#[test]
fn home_scale_example() {
    let reference = home_point(60.0, 25.0, 300.0, 12.0, 0.20);
    let actual = home_point(55.0, 12.0, 320.0, 11.0, 0.22);
    for (name, point, average, driving, correction) in [
        ("reference", reference, 334.7153, 3.910_099, 1.0),
        ("actual", actual, 361.3983, 3.555_187, 0.629_857),
    ] {
        let feed_side = point.feed_side_average().unwrap().us_per_cm() * MG_PER_L_FOR_US_PER_CM;
        near(name, feed_side, average, 1e-4);
        near(
            name,
            point.net_driving_pressure().unwrap().bar(),
            driving,
            1e-6,
        );
        near(name, LAW.correction(point.temperature), correction, 1e-6);
    }
    let measured = Flow::from_gal_per_day(33.0);
    let flow = normalized_flow(measured, &actual, &reference, LAW).unwrap();
    near("gal/d", flow.gal_per_day(), 57.6232, 1e-4);
    let passage = normalized_salt_passage(measured, &actual, &reference, LAW).unwrap();
    near("mg/L", passage * 300.0, 9.2631, 1e-4);
    // Leaving osmosis out altogether gives 57.156: small, where pressure and temperature are not.
    near_share("without osmosis", flow.gal_per_day(), 57.156, 0.009);
}

/// RO skid manual of 1999, appendix 6-2 (manualshive 1064126 p. 45): without osmosis, 35 gal/min at
/// 60 °F (factor 1.44) and 285 psi, reference 225 psi: 39.8 gal/min. Its factor at 60 °F is another
/// maker's, so the law is the one that gives 1.44 there.
#[test]
fn simplified_example() {
    let at_60_f = 1.0 / 298.0 - 1.0 / (273.0 + 140.0 / 9.0);
    let law = TemperatureLaw::single(-(1.44f64.ln()) / at_60_f);
    // Water with next to no salt has next to no osmotic pressure.
    let actual = home_point(285.0, 140.0 / 9.0, 1e-6, 0.0, 0.5);
    let reference = home_point(225.0, 25.0, 1e-6, 0.0, 0.5);
    let measured = Flow::parse("35 gal/min").unwrap();
    let flow = normalized_flow(measured, &actual, &reference, &law).unwrap();
    near("gal/min", flow.gal_per_day() / 1440.0, 39.8, 0.05);
    near(
        "gal/min, calculated",
        flow.gal_per_day() / 1440.0,
        39.789,
        5e-4,
    );
}

/// Rated 1800 gal/d at 25 °C, printed factor 1.422 at 59 °F: 1266 gal/d (scribd 472189330).
#[test]
fn rated_flow_in_cold_water() {
    let rating = home_point(60.0, 25.0, 1e-6, 0.0, 0.15);
    let cold = home_point(60.0, 15.0, 1e-6, 0.0, 0.15);
    let flow = expected_flow(Flow::from_gal_per_day(1800.0), &rating, &cold, LAW).unwrap();
    near("gal/d", flow.gal_per_day(), 1266.0, 0.5);
}

/// Flow coefficients of small elements at their ratings, calculated by closed form: 250 mg/L, 15 %,
/// 96 % rejection, 25 °C. 1812-style 50 gal/d at 50 psi is a rating from memory.
#[test]
fn flow_coefficients() {
    for (gal_per_day, psi, driving, coefficient) in [
        (50.0, 50.0, 3.2641, 2.4161),
        (75.0, 50.0, 3.2641, 3.6241),
        (75.0, 65.0, 4.2983, 2.7521),
        (100.0, 65.0, 4.2983, 3.6695),
    ] {
        let name = format!("{gal_per_day} gal/d at {psi} psi");
        let point = home_point(psi, 25.0, 250.0, 10.0, 0.15);
        near(
            &name,
            point.net_driving_pressure().unwrap().bar(),
            driving,
            5e-5,
        );
        let flow = Flow::from_gal_per_day(gal_per_day);
        near(
            &name,
            specific_flux(flow, &point, LAW).unwrap(),
            coefficient,
            6e-5,
        );
    }
    near("L/h", Flow::from_gal_per_day(50.0).l_per_h(), 7.8863, 5e-5);
}

/// 75 gal/d at 50 psi, 250 mg/L, 15 %, asked for at 60 psi, 12 °C, 300 mg/L, 25 %: calculated by
/// closed form 56.61 gal/d, and 16.70 behind a tank at 40 psi.
#[test]
fn expected_flow_of_a_home_element() {
    let rating = home_point(50.0, 25.0, 250.0, 10.0, 0.15);
    let open = home_point(60.0, 12.0, 300.0, 12.0, 0.25);
    let tank = OperatingPoint {
        permeate_pressure: Pressure::from_psi(40.0),
        ..open
    };
    let rated = Flow::from_gal_per_day(75.0);
    let expected = |point| {
        expected_flow(rated, &rating, point, LAW)
            .unwrap()
            .gal_per_day()
    };
    near("open", expected(&open), 56.61, 5e-3);
    near("tank", expected(&tank), 16.70, 5e-3);
    // Pressure times temperature alone.
    let naive = 75.0 * 60.0 / 50.0 * LAW.correction(celsius(12.0));
    near("naive", naive, 56.69, 5e-3);
}

/// Permeate concentration (mg/L) and flux (L/m²/h) of a membrane with A = 8.054 L/m²/h/bar and
/// B = 1.008 L/m²/h at recovery 0.2, 250 mg/L, 25 °C: Cp = B·Cfc / (J + B). The figures it is
/// held to leave the permeate's osmotic pressure out of J.
fn solution_diffusion(feed_psi: f64, permeate_psi: f64) -> (OperatingPoint, f64) {
    let mut point = home_point(feed_psi, 25.0, 250.0, 0.0, 0.2);
    point.permeate_pressure = Pressure::from_psi(permeate_psi);
    let mut flux = 0.0;
    for _ in 0..50 {
        let product_pi = osmotic_pressure(point.permeate, point.temperature);
        flux = 8.054 * (point.net_driving_pressure().unwrap() - product_pi).bar();
        point.permeate = point.feed_side_average().unwrap() * (1.008 / (flux + 1.008));
    }
    (point, flux)
}

/// Rejection against pressure and back-pressure, calculated with A = 8.054, B = 1.008 (solution
/// and diffusion): low pressure lowers the rejection of a healthy membrane.
#[test]
fn rejection_follows_pressure_and_normalising_takes_it_out() {
    let (reference, _) = solution_diffusion(60.0, 0.0);
    let healthy = salt_passage(reference.feed, reference.permeate);
    for (feed_psi, permeate_psi, per_cent) in [
        (40.0, 0.0, 94.80),
        (60.0, 0.0, 96.57),
        (80.0, 0.0, 97.44),
        (60.0, 20.0, 94.80),
        (60.0, 40.0, 89.33),
    ] {
        let name = format!("{feed_psi} psi against {permeate_psi} psi");
        let (point, flux) = solution_diffusion(feed_psi, permeate_psi);
        let seen = rejection(point.feed, point.permeate).unwrap();
        near(&name, seen * 100.0, per_cent, 5.1e-3);
        let normalized =
            normalized_salt_passage(Flow::from_l_per_h(flux), &point, &reference, LAW).unwrap();
        // The handbook's form takes Cp = B·Cfc/J for B·Cfc/(J + B): up to 5.4 % low here, where
        // the salt passage as seen is 211 % high.
        near_share(&name, normalized, healthy.unwrap(), 0.06);
    }
}

/// Osmosis at work: a feed pressure below it drives nothing, and no number comes of it.
#[test]
fn no_driving_pressure_no_number() {
    let sea = home_point(300.0, 25.0, 35_000.0, 100.0, 0.3);
    assert_eq!(sea.net_driving_pressure(), None);
    let home = home_point(60.0, 25.0, 300.0, 12.0, 0.2);
    let flow = Flow::from_l_per_h(5.0);
    assert_eq!(normalized_flow(flow, &sea, &home, LAW), None);
    assert_eq!(normalized_flow(flow, &home, &sea, LAW), None);
    assert_eq!(normalized_salt_passage(flow, &sea, &home, LAW), None);
    assert_eq!(specific_flux(flow, &sea, LAW), None);
    for recovery in [0.0, 1.0, 1.2, -0.1, f64::NAN] {
        let point = OperatingPoint { recovery, ..home };
        assert_eq!(point.net_driving_pressure(), None, "{recovery}");
    }
    for feed in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let point = OperatingPoint {
            feed: dissolved(feed),
            ..home
        };
        assert_eq!(point.net_driving_pressure(), None, "{feed}");
    }
    // −127 °C and 85 °C are a common sensor's error codes (from memory).
    for at in [-127.0, 85.0, f64::NAN] {
        let point = OperatingPoint {
            temperature: celsius(at),
            ..home
        };
        assert_eq!(point.net_driving_pressure(), None, "{at}");
        assert!(LAW.correction(celsius(at)).is_nan(), "{at}");
    }
    for stopped in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let flow = Flow::from_l_per_h(stopped);
        assert_eq!(normalized_flow(flow, &home, &home, LAW), None, "{stopped}");
        assert_eq!(
            normalized_salt_passage(flow, &home, &home, LAW),
            None,
            "{stopped}"
        );
    }
}

/// What was worked out for one feed pressure is worked out for another as if from the beginning.
#[test]
fn another_feed_pressure_changes_what_drives_and_no_more() {
    let law = &TemperatureLaw::HANDBOOK;
    let at = |psi| home_point(psi, 15.0, 250.0, 10.0, 0.2);
    let (low, high) = (Driven::new(at(50.0), law), Driven::new(at(80.0), law));
    let raised = low
        .unwrap()
        .at_feed_pressure(Pressure::from_psi(80.0))
        .unwrap();
    let high = high.unwrap();
    near("bar", raised.driving.bar(), high.driving.bar(), 1e-12);
    assert_eq!(
        Driven {
            driving: high.driving,
            ..raised
        },
        high
    );
    assert_eq!(high.at_feed_pressure(Pressure::from_psi(1.0)), None);
}
