//! The keeper of the demonstration's unit: looks at it once a day, by what is true (with a pen in the
//! glass, a look into the housing), never by what `permeated` says, so that the two can be compared.

use super::super::demo::{DemoUnit, MIXED_BED, SEDIMENT};
use super::super::firmware::Published;
use super::super::random::Random;
use super::story::told_replaced;
use super::{DAY, DOUBLING_LITRES, RESIN_MEQ};

/// When in the day the keeper looks, in parts of it.
const LOOKS_AT: f64 = 0.77;
/// The resin is spent when so much of the salt passes …
const PASSES: f64 = 0.45;
/// … and the pre-filter when it takes so many times what it took when it was clean.
const TAKES: f64 = 7.4;
/// How much fillings of resin differ, as a share.
const FILLINGS_DIFFER: f64 = 0.04;

#[derive(Clone, Debug)]
pub(super) struct Keeper {
    random: Random,
    next: f64,
    /// Days until a new filling, once resin is seen to be spent.
    bought: Option<f64>,
    fillings: u32,
}

impl Keeper {
    pub(super) fn new(seed: u64) -> Self {
        Self {
            random: Random::new(seed ^ 0xD0),
            next: LOOKS_AT * DAY,
            bought: None,
            fillings: 0,
        }
    }

    /// Once a day: replaces what is spent; gives what is told of it.
    pub(super) fn look_after(&mut self, unit: &mut DemoUnit) -> Vec<Published> {
        let now = unit.plant.seconds();
        if now < self.next {
            return Vec::new();
        }
        self.next += DAY;
        let mut told = Vec::new();
        told.extend(self.look_at_resin(unit));
        told.extend(self.look_at_prefilter(unit));
        told
    }

    fn look_at_resin(&mut self, unit: &mut DemoUnit) -> Option<Published> {
        let now = unit.plant.seconds();
        let passing = unit.plant.parameters.resin.as_ref()?.passing();
        if passing < PASSES {
            return None;
        }
        // A new filling comes with the post.
        if now < *self.bought.get_or_insert(now + 2.5 * DAY) {
            return None;
        }
        self.bought = None;
        self.fillings += 1;
        unit.replace(MIXED_BED);
        if let Some(resin) = &mut unit.plant.parameters.resin {
            resin.capacity_meq = RESIN_MEQ * (1.0 + FILLINGS_DIFFER * self.random.even());
        }
        let lot = format!("R-{}", 30 + self.fillings);
        Some(told_replaced(MIXED_BED, &lot, 21.0))
    }

    fn look_at_prefilter(&mut self, unit: &mut DemoUnit) -> Option<Published> {
        let passed = unit.plant.parameters.prefilter.passed.litres();
        let takes = 1.0 + (passed / DOUBLING_LITRES).powi(2);
        if takes < TAKES {
            return None;
        }
        unit.replace(SEDIMENT);
        Some(told_replaced(SEDIMENT, "S-08", 7.9))
    }
}
