//! A simulated RO/DI unit, for the demo and the tests. Its physics is written from the literature,
//! apart from the daemon's own, so that agreement between the two is evidence: nothing here may
//! use `crate::physics`.
//!
//! The way through: [`Plant`] (what is true) → [`Sensor`] (what cheap sensors make of it) →
//! [`Board`] (what their firmware publishes). Pure: a seed and time steps in, messages out; no
//! clock, no file, no network.

mod demo;
mod firmware;
mod household;
mod hydraulics;
mod membrane;
mod plant;
mod random;
mod resin;
mod sensors;
mod storage;
mod supply;
mod truth;
mod vessels;
mod water;

pub use demo::{DemoUnit, demo_configuration};
pub use firmware::{Board, Dialect, Published};
pub use household::{Household, KeptHousehold, Outlets, household_configuration};
pub use hydraulics::{Prefilter, Restrictor};
pub use membrane::Element;
pub use plant::{Flush, Parameters, Phase, Plant};
pub use resin::Resin;
pub use sensors::{Fault, Reading, Sensor};
pub use storage::{Container, Draw};
pub use supply::Supply;
pub use truth::{Totals, Truth};
pub use vessels::{Dissolved, Vessel, Vessels};
pub use water::TemperatureLaw;

#[cfg(test)]
mod tests;
