//! The simulated unit as a whole: what it is made of, and how it moves through time.
//!
//! Every step closes its water and salt balance to rounding; the same parameters and steps give
//! the same unit, to the bit.

use super::hydraulics::{Hydraulics, Prefilter, Restrictor};
use super::membrane::{Element, Held, wash};
use super::resin::Resin;
use super::storage::{Container, Draw};
use super::supply::Supply;
use super::truth::Totals;
use super::water::milliequivalents;
use crate::quantity::{Flow, Pressure, Temperature, Volume};

/// What the unit is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Shut off; salt creeps through the membrane.
    Standing,
    /// Making water.
    Producing,
    /// Washing the membrane with the restrictor by-passed.
    Flushing,
}

/// Washing after a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Flush {
    /// How long, s.
    pub seconds: f64,
    /// The by-pass: this flow …
    pub flow: Flow,
    /// … at this pressure (the flow follows its square root).
    pub at: Pressure,
}

/// What a simulated unit is made of. May be changed between steps, as by a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameters {
    /// Seed of everything random in the supply.
    pub seed: u64,
    /// The mains.
    pub supply: Supply,
    /// Temperature of the room, which a standing unit takes on.
    pub room: Temperature,
    /// Sediment and carbon before the membrane.
    pub prefilter: Prefilter,
    /// Pressure a booster pump adds while running; zero without one.
    pub booster: Pressure,
    /// The membrane.
    pub element: Element,
    /// What holds the pressure on the membrane.
    pub restrictor: Restrictor,
    /// Back-pressure on the permeate; zero for an open container.
    pub back_pressure: Pressure,
    /// Washing after each run, if any.
    pub flush: Option<Flush>,
    /// DI cartridge, if any.
    pub resin: Option<Resin>,
    /// Where the product goes.
    pub container: Container,
    /// Who draws from it.
    pub draws: Vec<Draw>,
    /// Water that runs to the drain while standing: a shut-off that leaks.
    pub standby_leak: Flow,
}

/// A simulated RO/DI unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Plant {
    /// What it is made of.
    pub parameters: Parameters,
    pub(super) phase: Phase,
    pub(super) seconds: f64,
    pub(super) celsius: f64,
    pub(super) held: Held,
    pub(super) first_held_mg: f64,
    pub(super) now: Hydraulics,
    pub(super) product_passing: f64,
    pub(super) membrane_litres: f64,
    pub(super) totals: Totals,
    flush_left: f64,
}

/// Longest internal steps, s: flows are taken as constant within one.
const STANDING_STEP: f64 = 30.0;
const RUNNING_STEP: f64 = 5.0;
/// How fast the unit's water follows the mains while running and the room while standing, s.
const RUNNING_TEMPERATURE_SECONDS: f64 = 90.0;
const STANDING_TEMPERATURE_SECONDS: f64 = 5400.0;

impl Plant {
    /// A unit that has just been filled with feed water and stands.
    #[must_use]
    pub fn new(parameters: Parameters) -> Self {
        let salt = parameters.supply.mg_per_l(parameters.seed, 0.0);
        let celsius = parameters.supply.celsius(parameters.seed, 0.0);
        let mut plant = Self {
            phase: Phase::Standing,
            seconds: 0.0,
            flush_left: 0.0,
            celsius,
            held: Held {
                feed_side: salt,
                permeate_side: 0.0,
            },
            first_held_mg: 0.0,
            now: Hydraulics::default(),
            product_passing: 0.0,
            membrane_litres: 0.0,
            totals: Totals::default(),
            parameters,
        };
        plant.first_held_mg = plant.held_mg();
        plant.settle_flows();
        plant
    }

    /// Lets time pass (not negative; anything from a fraction of a second to months). A change of
    /// the parameters takes hold within the first half minute of the next step.
    pub fn step(&mut self, seconds: f64) {
        let mut left = seconds;
        while left > 1e-9 {
            let longest = match self.phase {
                Phase::Standing => STANDING_STEP,
                Phase::Producing => RUNNING_STEP,
                Phase::Flushing => RUNNING_STEP.min(self.flush_left),
            };
            let part = left.min(longest);
            self.advance(part);
            self.settle_flows();
            left -= part;
        }
    }

    /// Time since the start, s.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Puts a fresh DI cartridge of the same make in.
    pub fn replace_resin(&mut self) {
        if let Some(resin) = &mut self.parameters.resin {
            resin.offered_meq = 0.0;
        }
    }

    /// Puts a new membrane of the same make in.
    pub fn replace_membrane(&mut self) {
        self.membrane_litres = 0.0;
    }

    /// Puts fresh pre-filters in.
    pub fn replace_prefilter(&mut self) {
        self.parameters.prefilter.passed = Volume::ZERO;
    }

    /// Float and flush decide what the unit does.
    fn next_phase(&mut self) -> Phase {
        let producing = self.phase == Phase::Producing;
        if self.parameters.container.calls(producing) {
            return Phase::Producing;
        }
        if producing {
            self.flush_left = match &self.parameters.flush {
                Some(flush) => flush.seconds,
                None => 0.0,
            };
        }
        if self.phase != Phase::Standing && self.flush_left > 1e-9 {
            Phase::Flushing
        } else {
            Phase::Standing
        }
    }

    /// Pressures and flows for what the unit does now.
    fn settle_flows(&mut self) {
        self.phase = self.next_phase();
        let Parameters {
            seed,
            supply,
            restrictor,
            flush,
            standby_leak,
            ..
        } = &self.parameters;
        let mg_per_l = supply.mg_per_l(*seed, self.seconds);
        let by_pass = flush.as_ref().map(|flush| Restrictor::Orifice {
            flow: flush.flow,
            at: flush.at,
        });
        let way_out = match (self.phase, &by_pass) {
            (Phase::Standing, _) => {
                self.now = Hydraulics::standing(*standby_leak, mg_per_l);
                return;
            }
            (Phase::Flushing, Some(by_pass)) => by_pass,
            (Phase::Producing | Phase::Flushing, _) => restrictor,
        };
        self.now = Hydraulics::solve(
            &self.parameters,
            way_out,
            supply.bar(*seed, self.seconds),
            self.celsius,
            mg_per_l,
            self.membrane_litres,
            self.now.feed_l_per_h,
        );
    }

    fn advance(&mut self, seconds: f64) {
        self.move_salt_and_water(seconds);
        let (target, slowness) = match self.phase {
            Phase::Standing => (self.parameters.room.celsius(), STANDING_TEMPERATURE_SECONDS),
            Phase::Producing | Phase::Flushing => (
                self.parameters
                    .supply
                    .celsius(self.parameters.seed, self.seconds),
                RUNNING_TEMPERATURE_SECONDS,
            ),
        };
        self.celsius = target + (self.celsius - target) * (-seconds / slowness).exp();
        let until = self.seconds + seconds;
        let asked = self
            .parameters
            .draws
            .iter()
            .map(|draw| draw.litres_between(self.seconds, until))
            .sum();
        let made = self.now.separated.permeate_l_per_h * seconds / 3600.0;
        self.totals.drawn_litres += self.parameters.container.change(made, asked);
        self.seconds = until;
        if self.phase == Phase::Flushing {
            self.flush_left -= seconds;
        }
    }

    fn move_salt_and_water(&mut self, seconds: f64) {
        let hours = seconds / 3600.0;
        let element = &self.parameters.element;
        if self.phase == Phase::Standing {
            let salt = element.salt_permeability_at(self.celsius, self.membrane_litres);
            self.held.stand(element, salt * element.area_m2, seconds);
        }
        let separated = self.now.separated;
        let feed = self.now.feed_l_per_h * hours;
        let permeate = separated.permeate_l_per_h * hours;
        let concentrate = separated.concentrate_l_per_h * hours;
        let (feed_side, concentrate_mg) = wash(
            self.held.feed_side,
            element.feed_side,
            separated.concentrate_mg_per_l,
            concentrate,
        );
        let (permeate_side, permeate_mg) = wash(
            self.held.permeate_side,
            element.permeate_side,
            separated.permeate_mg_per_l,
            permeate,
        );
        self.held = Held {
            feed_side,
            permeate_side,
        };
        self.product_passing = match &mut self.parameters.resin {
            Some(resin) => {
                let carbon_dioxide = resin.carbon_dioxide_mg_per_l * permeate / 44.01;
                resin.treat(milliequivalents(permeate_mg) + carbon_dioxide)
            }
            None => 1.0,
        };
        self.totals.product_mg += permeate_mg * self.product_passing;
        self.parameters.prefilter.passed += Volume::from_litres(feed);
        self.membrane_litres += permeate;
        self.totals.feed_litres += feed;
        self.totals.permeate_litres += permeate;
        self.totals.concentrate_litres += concentrate;
        self.totals.feed_mg += self.now.feed_mg_per_l * feed;
        self.totals.permeate_mg += permeate_mg;
        self.totals.concentrate_mg += concentrate_mg;
    }

    /// Salt in the element's two volumes.
    pub(super) fn held_mg(&self) -> f64 {
        let element = &self.parameters.element;
        self.held.feed_side * element.feed_side.litres()
            + self.held.permeate_side * element.permeate_side.litres()
    }
}
