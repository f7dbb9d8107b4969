//! Pressures and flows of the running unit: mains → pre-filters → element → restrictor.

use serde::{Deserialize, Serialize};

use super::membrane::{Element, Inlet, Permeability, Separated};
use super::plant::Parameters;
use super::water::viscosity;
use crate::quantity::{Flow, Pressure, Volume};

/// Sediment and carbon before the membrane: the loss is proportional to flow, to the water's
/// viscosity and to the clogging.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prefilter {
    /// Loss when clean, at `clean_flow` and 25 °C.
    pub clean_loss: Pressure,
    /// The flow of `clean_loss`.
    pub clean_flow: Flow,
    /// After this much water the loss has doubled; it grows with the square of the volume.
    pub doubling: Volume,
    /// Water that has passed so far.
    pub passed: Volume,
}

/// What holds the pressure on the membrane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Restrictor {
    /// A capillary or orifice: the flow follows the square root of the pressure before it.
    Orifice {
        /// Concentrate flow …
        flow: Flow,
        /// … at this pressure.
        at: Pressure,
    },
    /// Always this many parts of concentrate to one of permeate.
    Ratio(f64),
}

/// Pressures and flows at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Hydraulics {
    pub(super) feed_bar: f64,
    pub(super) feed_l_per_h: f64,
    pub(super) feed_mg_per_l: f64,
    pub(super) separated: Separated,
}

impl Prefilter {
    fn loss_bar_per_l_per_h(&self, celsius: f64) -> f64 {
        let clogging = (self.passed / self.doubling).powi(2);
        self.clean_loss.bar() / self.clean_flow.l_per_h() * viscosity(celsius) / viscosity(25.0)
            * (1.0 + clogging)
    }
}

impl Restrictor {
    fn concentrate_l_per_h(&self, separated: &Separated) -> f64 {
        match self {
            Self::Orifice { flow, at } => {
                flow.l_per_h() * (separated.concentrate_bar / at.bar()).sqrt()
            }
            Self::Ratio(parts) => parts * separated.permeate_l_per_h,
        }
    }
}

impl Hydraulics {
    /// Shut off: no pressure behind the inlet valve, and at most a leak to the drain.
    pub(super) fn standing(leak: Flow, mg_per_l: f64) -> Self {
        Self {
            feed_bar: 0.0,
            feed_mg_per_l: mg_per_l,
            feed_l_per_h: leak.l_per_h(),
            separated: Separated {
                concentrate_l_per_h: leak.l_per_h(),
                concentrate_mg_per_l: mg_per_l,
                ..Separated::default()
            },
        }
    }

    /// Finds the feed flow at which the restrictor passes exactly what the element leaves over.
    pub(super) fn solve(
        parameters: &Parameters,
        restrictor: &Restrictor,
        supply_bar: f64,
        celsius: f64,
        mg_per_l: f64,
        permeability: Permeability,
        near_l_per_h: f64,
    ) -> Self {
        let loss = parameters.prefilter.loss_bar_per_l_per_h(celsius);
        let at = |l_per_h: f64| {
            let feed_bar = (supply_bar + parameters.booster.bar() - loss * l_per_h).max(0.0);
            let inlet = Inlet {
                pressure_bar: feed_bar,
                back_pressure_bar: parameters.back_pressure.bar(),
                celsius,
                mg_per_l,
                l_per_h,
            };
            Self {
                feed_bar,
                feed_l_per_h: l_per_h,
                feed_mg_per_l: mg_per_l,
                separated: parameters.element.separate(inlet, permeability),
            }
        };
        let wanted = |found: &Self| {
            found.separated.permeate_l_per_h + restrictor.concentrate_l_per_h(&found.separated)
        };
        let highest = highest_feed(
            &parameters.element,
            restrictor,
            supply_bar + parameters.booster.bar(),
            permeability,
        );
        let feed = crossing(
            |l_per_h| wanted(&at(l_per_h)) - l_per_h,
            highest,
            near_l_per_h,
        );
        at(feed)
    }
}

/// A feed flow beyond anything the unit can take, L/h.
fn highest_feed(
    element: &Element,
    restrictor: &Restrictor,
    bar: f64,
    permeability: Permeability,
) -> f64 {
    let permeate = permeability.water * element.area_m2 * bar;
    let free = Separated {
        permeate_l_per_h: permeate,
        concentrate_bar: bar,
        ..Separated::default()
    };
    permeate + restrictor.concentrate_l_per_h(&free) + 1.0
}

/// Where a falling function crosses zero between almost 0 and `high`: secant steps kept inside a
/// bracket, halved when they leave it.
fn crossing(excess: impl Fn(f64) -> f64, highest: f64, near: f64) -> f64 {
    let (mut low, mut high) = (1e-6, highest);
    let mut here = if near > low && near < high {
        near
    } else {
        f64::midpoint(low, high)
    };
    let mut before: Option<(f64, f64)> = None;
    for _ in 0..60 {
        let value = excess(here);
        if value.abs() < 1e-10 * (1.0 + here) {
            break;
        }
        if value > 0.0 {
            low = here;
        } else {
            high = here;
        }
        let aimed = match before {
            Some((x, y)) if (y - value).abs() > 1e-300 => here + value * (here - x) / (y - value),
            _ => here + value,
        };
        before = Some((here, value));
        here = if aimed > low && aimed < high {
            aimed
        } else {
            f64::midpoint(low, high)
        };
    }
    here
}
