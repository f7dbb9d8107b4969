//! What common sensors send, by their makers' figures.

use permeated::config::{Conversion, CountConversion, Curve, RateConversion};
use permeated::quantity::{Flow, Pressure, Quantity};

use crate::near;

/// Turbine meters: f\[Hz\] = c·Q\[L/min\] is 60·c pulses to the litre. the common half-inch class 7.5 Hz (450;
/// wasilzafar.com), 4.5 Hz (270; alselectro.com), small bore 3900 pulses (geofarmsa.co.za).
#[test]
fn turbine_meters() {
    for (pulses_per_litre, hertz, l_per_min) in [
        (450.0, 7.5, 1.0),
        (450.0, 225.0, 30.0),
        (270.0, 4.5, 1.0),
        (3900.0, 9.75, 0.15),
        (3900.0, 162.5, 2.5),
    ] {
        let flow = RateConversion::Frequency { pulses_per_litre }.flow(hertz);
        near(pulses_per_litre, flow.l_per_min(), l_per_min, 1e-12);
        // A minute of those pulses, counted, is the same water.
        let litres = CountConversion::Litres(1.0 / pulses_per_litre).litres(hertz * 60.0, 60.0);
        near(pulses_per_litre, litres, l_per_min, 1e-12);
    }
    // The trap in one of those texts: "7.5 pulses per litre" is 60 times the water.
    let trap = RateConversion::Frequency {
        pulses_per_litre: 7.5,
    };
    near("trap", trap.flow(7.5).l_per_min(), 60.0, 1e-12);
}

/// Permeate of small elements, calculated: below the 1 L/min such a meter begins at.
#[test]
fn permeate_flows_are_below_a_common_meter() {
    for (gal_per_day, l_per_min) in [(50.0, 0.131), (75.0, 0.197), (100.0, 0.263), (150.0, 0.394)] {
        let flow = Flow::from_gal_per_day(gal_per_day);
        near(gal_per_day, flow.l_per_min(), l_per_min, 5.1e-4);
    }
}

/// Ratiometric gauge, 0.5 to 4.5 V on 5 V, full scale 150 psi: P = FS·(V/5 − 0.1)/0.8 (from memory;
/// figures calculated).
#[test]
fn ratiometric_gauge() {
    let gauge = Conversion {
        curve: Curve::Piecewise(vec![(0.5, 0.0), (4.5, 150.0)]),
        unit: Pressure::unit("psi").unwrap(),
    };
    for (volts, psi) in [(0.5, 0.0), (1.0, 18.75), (2.5, 75.0), (4.5, 150.0)] {
        near(
            volts,
            Pressure::from_base(gauge.base(volts)).psi(),
            psi,
            1e-9,
        );
    }
}
