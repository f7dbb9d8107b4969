//! Laws of what is kept: costs and loads.

use permeated::core::{LoadState, costs::Spent};
use proptest::{prop_assert, test_runner::TestCaseError};

use super::Play;

impl Play<'_> {
    /// Costs never fall; water costs its litres times its price; each filling costs its price, all of it
    /// when it is replaced and never more.
    pub fn check_costs(&mut self) -> Result<(), TestCaseError> {
        let costs = self.unit().state().costs;
        let earlier = std::mem::replace(&mut self.costs, costs.clone());
        let parts = |spent: &Spent| [spent.cartridges, spent.water, spent.waste];
        for (before, after) in parts(&earlier.life).into_iter().zip(parts(&costs.life)) {
            prop_assert!(after >= before && after.is_finite(), "{before} to {after}");
        }
        let close = |one: f64, other: f64| (one - other).abs() < 1e-9 * (1.0 + other.abs());
        if let Some(booked) = costs.booked {
            let water = booked.feed.litres() / 1000.0 * 4.20;
            let waste = booked.concentrate.litres() / 3.785_411_784 * 0.012;
            prop_assert!(close(costs.life.water, water), "{costs:?}");
            prop_assert!(close(costs.life.waste, waste), "{costs:?}");
        }
        if self.prices_change {
            return Ok(());
        }
        let mut fillings = self.replaced;
        for stage in self.unit().stages() {
            if let Some(filling) = costs.fillings.get(&stage.settings().id) {
                let price = stage.price().unwrap_or_default();
                prop_assert!(filling.spent <= price, "{filling:?} of {price}");
                fillings += filling.spent;
            }
        }
        prop_assert!(
            close(costs.life.cartridges, fillings),
            "{fillings} and {costs:?}"
        );
        Ok(())
    }

    /// What a filling has taken never falls.
    pub fn check_loads(&mut self) -> Result<(), TestCaseError> {
        let stages = self.unit().state().stages;
        let earlier = std::mem::replace(&mut self.stages, stages);
        for (id, after) in &self.stages {
            let before = earlier.get(id).cloned().unwrap_or_default();
            if after.installed != before.installed || after.treated < before.treated {
                continue;
            }
            if let (Some(before), Some(after)) = (before.load, after.load) {
                let loads = |load: LoadState| [load.cation, load.anion].concat();
                for (before, after) in loads(before).into_iter().zip(loads(after)) {
                    let is_right = after >= before && after.is_finite();
                    prop_assert!(is_right, "{id}: from {before} to {after} meq");
                }
            }
            if let (Some(before), Some(after)) = (before.disinfectant, after.disinfectant) {
                prop_assert!(after >= before, "{id}: from {before:?} to {after:?}");
            }
        }
        Ok(())
    }
}
