//! Conditions with what follows from them worked out once, for those who ask several things about
//! one moment. The equations are `membrane`'s and `attribution`'s; none is here.

use super::membrane::{OperatingPoint, TemperatureLaw};
use crate::quantity::{Conductivity, Pressure};

/// An operating point that drives water through the membrane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Driven {
    /// The conditions.
    pub point: OperatingPoint,
    /// See [`OperatingPoint::feed_side_average`].
    pub feed_side: Conductivity,
    /// See [`OperatingPoint::osmotic_pressure_difference`].
    pub osmotic: Pressure,
    /// See [`OperatingPoint::net_driving_pressure`]; above zero.
    pub driving: Pressure,
    /// See [`TemperatureLaw::correction`].
    pub correction: f64,
}

impl Driven {
    /// `None` when the point has no net driving pressure.
    #[must_use]
    pub fn new(point: OperatingPoint, law: &TemperatureLaw) -> Option<Self> {
        let feed_side = point.feed_side_average()?;
        let osmotic = point.osmotic_pressure_with(feed_side);
        Some(Self {
            point,
            feed_side,
            osmotic,
            driving: point.driving_against(osmotic)?,
            correction: law.correction(point.temperature),
        })
    }

    /// The same with another feed pressure. `None` when that drives nothing.
    #[must_use]
    pub fn at_feed_pressure(&self, feed_pressure: Pressure) -> Option<Self> {
        let point = OperatingPoint {
            feed_pressure,
            ..self.point
        };
        Some(Self {
            point,
            driving: point.driving_against(self.osmotic)?,
            ..*self
        })
    }
}
