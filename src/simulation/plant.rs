//! The simulated unit as a whole: what it is made of, and how it moves through time.
//!
//! Every step closes its water and salt balance to rounding; the same parameters and steps give
//! the same unit, to the bit.

use serde::{Deserialize, Serialize};

use super::hydraulics::{Hydraulics, Prefilter, Restrictor};
use super::membrane::{Element, Held, Wear, wash};
use super::resin::Resin;
use super::storage::{Container, Draw};
use super::supply::Supply;
use super::truth::Totals;
use super::water::milliequivalents;
use crate::quantity::{Flow, Pressure, Temperature, Volume};

/// What the unit is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Phase {
    /// Shut off; salt creeps through the membrane.
    Standing,
    /// Making water.
    Producing,
    /// Washing the membrane with the restrictor by-passed.
    Flushing,
}

/// Washing after a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Flush {
    /// How long, s.
    pub seconds: f64,
    /// The by-pass: this flow …
    pub flow: Flow,
    /// … at this pressure (the flow follows its square root).
    pub at: Pressure,
}

/// What a simulated unit is made of. May be changed between steps, as by a fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plant {
    /// What it is made of.
    pub parameters: Parameters,
    /// Whether water lies under it; of no account for its balances.
    pub leak: bool,
    pub(super) phase: Phase,
    pub(super) seconds: f64,
    pub(super) celsius: f64,
    pub(super) held: Held,
    pub(super) first_held_mg: f64,
    pub(super) now: Hydraulics,
    pub(super) product_passing: f64,
    pub(super) wear: Wear,
    pub(super) totals: Totals,
    flush_left: f64,
    longest: Longest,
}

/// Longest internal steps, s: flows are taken as constant within one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Longest {
    running: f64,
    standing: f64,
}

impl Longest {
    const FINE: Self = Self {
        running: 5.0,
        standing: 30.0,
    };
}

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
            wear: Wear::NEW,
            longest: Longest::FINE,
            totals: Totals::default(),
            leak: false,
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
                Phase::Standing => self.longest.standing,
                Phase::Producing => self.longest.running,
                Phase::Flushing => self.longest.running.min(self.flush_left),
            };
            let part = left.min(longest);
            self.advance(part);
            self.settle_flows();
            left -= part;
        }
    }

    /// Lets longer internal steps pass from now on (s, > 0; 5 and 30 unless changed): years then go
    /// by quickly. Water and salt balance as well as before; a run starts and ends up to a step
    /// late, and flows follow pressure and temperature in steps. With 30 and 60 the recovery of a
    /// month differs by 0.2 % and its salt passage by less.
    pub fn hurry(&mut self, running: f64, standing: f64) {
        self.longest = Longest { running, standing };
    }

    /// What it does at this moment.
    #[must_use]
    pub fn phase(&self) -> Phase {
        self.phase
    }

    /// The membrane changes at once and for good: it loses a share of A (0–1) and gains a share
    /// of B (0 or more).
    pub fn lose(&mut self, share_of_a: f64, rise_of_b: f64) {
        self.wear.water_left *= 1.0 - share_of_a;
        self.wear.salt_left *= 1.0 + rise_of_b;
    }

    /// Time since the start, s.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Lets it pass again in the usual steps, after [`Plant::hurry`].
    pub fn take_time(&mut self) {
        self.longest = Longest::FINE;
    }

    /// Puts a fresh DI cartridge of the same make in.
    pub fn replace_resin(&mut self) {
        if let Some(resin) = &mut self.parameters.resin {
            resin.offered_meq = 0.0;
        }
    }

    /// Puts a new membrane of the same make in.
    pub fn replace_membrane(&mut self) {
        self.wear = Wear::NEW;
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
            self.parameters
                .element
                .permeability(self.celsius, &self.wear),
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
            let salt = element.permeability(self.celsius, &self.wear).salt;
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
        self.wear.litres += permeate;
        self.wear.seconds += seconds;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::DemoUnit;

    const DAY: f64 = 86_400.0;

    fn demo() -> Plant {
        DemoUnit::new(42, jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0)).plant
    }

    #[test]
    fn in_a_hurry_the_same_month_passes() {
        let (mut fine, mut fast) = (demo(), demo());
        for plant in [&mut fine, &mut fast] {
            plant.parameters.flush = None;
        }
        fast.parameters.element.slices = 4;
        fast.hurry(30.0, 60.0);
        fine.step(30.0 * DAY);
        fast.step(30.0 * DAY);
        let (fine, fast) = (fine.truth().totals, fast.truth().totals);
        for (what, fine, fast, relative) in [
            // The float stops it up to half a minute late.
            ("permeate", fine.permeate_litres, fast.permeate_litres, 2e-3),
            (
                "recovery",
                fine.permeate_litres / fine.feed_litres,
                fast.permeate_litres / fast.feed_litres,
                2e-3,
            ),
            (
                "salt passage",
                fine.permeate_mg / fine.permeate_litres,
                fast.permeate_mg / fast.permeate_litres,
                2e-3,
            ),
        ] {
            assert!(
                (fast / fine - 1.0).abs() < relative,
                "{what}: {fast}, {fine}"
            );
        }
        let salt = fast.feed_mg - fast.permeate_mg - fast.concentrate_mg - fast.held_mg;
        assert!(salt.abs() < 1e-9 * fast.feed_mg, "{salt} mg open");
    }

    #[test]
    fn a_loss_is_at_once_and_for_good_until_a_new_membrane() {
        // Closed form: 0.9² of A.
        let mut plant = demo();
        plant.parameters.element.flow_decline_per_1000_l = 0.0;
        plant.parameters.element.salt_rise_per_1000_l = 0.0;
        let before = plant.truth();
        plant.lose(0.1, 0.5);
        plant.lose(0.1, 0.0);
        let after = plant.truth();
        let water = after.water_permeability / before.water_permeability;
        assert!((water - 0.81).abs() < 1e-12, "{water}");
        assert!((after.water_permeability_of_new - 0.81).abs() < 1e-12);
        assert!((after.salt_permeability_of_new - 1.5).abs() < 1e-12);
        plant.step(DAY);
        assert!((plant.truth().water_permeability_of_new - 0.81).abs() < 1e-12);
        plant.replace_membrane();
        assert_eq!(plant.truth().water_permeability_of_new, 1.0);
    }

    #[test]
    fn a_decline_in_time_is_exponential_whether_it_runs_or_stands() {
        // Closed form: 0.98³ after 90 days.
        let mut plant = demo();
        plant.parameters.element.flow_decline_per_1000_l = 0.0;
        plant.parameters.element.flow_decline_per_30_days = 0.02;
        plant.parameters.element.salt_rise_per_1000_l = 0.0;
        plant.parameters.element.salt_rise_per_30_days = 0.03;
        plant.hurry(30.0, 60.0);
        plant.step(90.0 * DAY);
        let truth = plant.truth();
        assert!((truth.water_permeability_of_new - 0.98_f64.powi(3)).abs() < 1e-9);
        assert!((truth.salt_permeability_of_new - 1.03_f64.powi(3)).abs() < 1e-9);
    }
}
