//! What a membrane gives at one set of conditions, told from what it gave at another: normalised
//! flow, expected flow, normalised salt passage. Knows no history and no limits.
//!
//! Symbols: Q flow, P gauge pressure, ΔP pressure drop from feed to concentrate, π osmotic pressure,
//! C conductivity at 25 °C, Y recovery, NDP net driving pressure, TCF temperature correction factor;
//! f feed, fc log-mean of the feed side, p permeate.

use super::{
    balance, driven::Driven, is_water_temperature, not_negative, osmosis::osmotic_pressure,
    positive,
};
use crate::quantity::{Conductivity, Flow, Pressure, Temperature};

/// How permeability grows with temperature: TCF = exp(U·(1/298 − 1/(273 + T))), U in kelvin. The
/// round 273 and 298 belong to the constants as the membrane handbook prints them.
///
/// Published factors at 10 °C run from 0.52 to 0.68, a wider spread than the 10 % loss one looks
/// for: begin with [`TemperatureLaw::HANDBOOK`], then learn U from the unit's own runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TemperatureLaw {
    below_25_k: f64,
    above_25_k: f64,
}

impl TemperatureLaw {
    /// The membrane handbook's law: 3020 K up to 25 °C, 2640 K above.
    pub const HANDBOOK: Self = Self {
        below_25_k: 3020.0,
        above_25_k: 2640.0,
    };

    /// One U, in kelvin, at every temperature; 2200 (viscosity alone) to 4200 have been published.
    #[must_use]
    pub const fn single(k: f64) -> Self {
        Self {
            below_25_k: k,
            above_25_k: k,
        }
    }

    /// The handbook's law scaled to U = `k` kelvin up to 25 °C, so that above it the change is as
    /// much smaller as the handbook has it; for a U learned from a unit's own runs.
    #[must_use]
    pub const fn learned(k: f64) -> Self {
        Self {
            below_25_k: k,
            above_25_k: k * Self::HANDBOOK.above_25_k / Self::HANDBOOK.below_25_k,
        }
    }

    /// U in kelvin at this temperature.
    #[must_use]
    pub fn coefficient_k(&self, temperature: Temperature) -> f64 {
        if temperature.celsius() > 25.0 {
            self.above_25_k
        } else {
            self.below_25_k
        }
    }

    /// TCF: flow at this temperature over flow at 25 °C, so above 1 when warm. Some tables print its
    /// inverse. Not-a-number outside −5 to 60 °C.
    #[must_use]
    pub fn correction(&self, temperature: Temperature) -> f64 {
        if !is_water_temperature(temperature) {
            return f64::NAN;
        }
        let cold = 1.0 / 298.0 - 1.0 / (273.0 + temperature.celsius());
        (self.coefficient_k(temperature) * cold).exp()
    }
}

/// The conditions a membrane works under at a moment, or in its maker's test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OperatingPoint {
    /// At the membrane inlet.
    pub feed_pressure: Pressure,
    /// From the inlet to the concentrate outlet; zero where it is not known.
    pub pressure_drop: Pressure,
    /// Back-pressure on the permeate; zero for an open outlet.
    pub permeate_pressure: Pressure,
    /// Of the feed.
    pub temperature: Temperature,
    /// Before the membrane; above zero.
    pub feed: Conductivity,
    /// After the membrane; zero or more.
    pub permeate: Conductivity,
    /// Share of the feed that becomes permeate, 0–1, both excluded.
    pub recovery: f64,
}

impl OperatingPoint {
    /// Log-mean conductivity on the feed side: feed × ln(1 / (1 − Y)) / Y.
    #[must_use]
    pub fn feed_side_average(&self) -> Option<Conductivity> {
        let feed = positive(self.feed.us_per_cm())?;
        positive(feed * balance::log_mean_concentration_factor(self.recovery)?)
            .map(Conductivity::from_us_per_cm)
    }

    /// π_fc − π_p, the osmotic pressures at the feed's temperature; not-a-number when the permeate is
    /// below zero or the temperature not one of water.
    #[must_use]
    pub fn osmotic_pressure_difference(&self) -> Option<Pressure> {
        Some(self.osmotic_pressure_with(self.feed_side_average()?))
    }

    /// [`Self::osmotic_pressure_difference`] for a feed side that is known.
    pub(super) fn osmotic_pressure_with(&self, feed_side: Conductivity) -> Pressure {
        let feed_side = osmotic_pressure(feed_side, self.temperature);
        feed_side - osmotic_pressure(self.permeate, self.temperature)
    }

    /// NDP = Pf − ΔP/2 − Pp − (π_fc − π_p), the osmotic pressures at the feed's temperature
    /// (ASTM D4516).
    ///
    /// `None` unless it is finite and above zero, 0 < Y < 1, the feed is above zero, the permeate
    /// is not below zero and the temperature is one of water.
    #[must_use]
    pub fn net_driving_pressure(&self) -> Option<Pressure> {
        self.driving_against(self.osmotic_pressure_difference()?)
    }

    /// [`Self::net_driving_pressure`] for an osmotic pressure that is known.
    pub(super) fn driving_against(&self, osmotic: Pressure) -> Option<Pressure> {
        let hydraulic = self.feed_pressure - self.pressure_drop / 2.0 - self.permeate_pressure;
        positive((hydraulic - osmotic).bar()).map(Pressure::from_bar)
    }
}

/// The flow the same membrane would give at the `reference` conditions:
/// Qs = Qa · (NDPs / NDPa) · (TCFs / TCFa) (ASTM D4516, section 6.1).
///
/// `None` without flow or when either point has no net driving pressure.
#[must_use]
pub fn normalized_flow(
    actual: Flow,
    at: &OperatingPoint,
    reference: &OperatingPoint,
    law: &TemperatureLaw,
) -> Option<Flow> {
    Driven::new(*at, law)?.normalized_flow(actual, &Driven::new(*reference, law)?)
}

/// The flow a membrane rated `rated` under the conditions `rating` should give under those of `at`:
/// [`normalized_flow`] asked the other way.
///
/// `None` without a rating or when either point has no net driving pressure.
#[must_use]
pub fn expected_flow(
    rated: Flow,
    rating: &OperatingPoint,
    at: &OperatingPoint,
    law: &TemperatureLaw,
) -> Option<Flow> {
    normalized_flow(rated, rating, at, law)
}

/// The salt passage on the feed (Cp / Cf) the same membrane would show at the `reference`
/// conditions, by ASTM D4516 with the flow at reference conditions taken from [`normalized_flow`]:
///
/// SPs = SPa · (Qa / Qs) · (STCFs / STCFa) · (Cfc,s / Cfc,a) · (Cf,a / Cf,s)
///
/// The salt's temperature factor STCF is taken as the water's, as the membrane handbook does; flow
/// and temperature then cancel and what is left is the handbook's
/// Cps = Cpa · (NDPa / NDPs) · (Cfc,s / Cfc,a). That is an assumption, not a law: salt permeability
/// grows somewhat faster with temperature than water's. Above 1 when the permeate is saltier than
/// the feed.
///
/// `None` without flow (standing water has no passage to normalise) or when either point has no
/// net driving pressure.
#[must_use]
pub fn normalized_salt_passage(
    actual_flow: Flow,
    at: &OperatingPoint,
    reference: &OperatingPoint,
    law: &TemperatureLaw,
) -> Option<f64> {
    Driven::new(*at, law)?.normalized_salt_passage(actual_flow, &Driven::new(*reference, law)?)
}

/// Flow for each bar of net driving pressure, brought to 25 °C: Q / (NDP · TCF), in L/h/bar.
///
/// `None` without flow or net driving pressure.
#[must_use]
pub fn specific_flux(flow: Flow, at: &OperatingPoint, law: &TemperatureLaw) -> Option<f64> {
    Driven::new(*at, law)?.specific_flux(flow)
}

/// The equations above for points that are worked out already.
impl Driven {
    /// See [`normalized_flow`].
    #[must_use]
    pub fn normalized_flow(&self, actual: Flow, reference: &Self) -> Option<Flow> {
        let pressure_ratio = reference.driving / self.driving;
        let temperature_ratio = reference.correction / self.correction;
        let flow = actual.l_per_min() * pressure_ratio * temperature_ratio;
        positive(flow).map(Flow::from_l_per_min)
    }

    /// See [`normalized_salt_passage`].
    #[must_use]
    pub fn normalized_salt_passage(&self, actual: Flow, reference: &Self) -> Option<f64> {
        let passage = balance::salt_passage(self.point.feed, self.point.permeate)?;
        let flow_ratio = actual / self.normalized_flow(actual, reference)?;
        let temperature_ratio = reference.correction / self.correction;
        let average_ratio = reference.feed_side / self.feed_side;
        let feed_ratio = self.point.feed / reference.point.feed;
        not_negative(passage * flow_ratio * temperature_ratio * average_ratio * feed_ratio)
    }

    /// See [`specific_flux`].
    #[must_use]
    pub fn specific_flux(&self, flow: Flow) -> Option<f64> {
        positive(flow.l_per_h() / (self.driving.bar() * self.correction))
    }
}
