//! What is known of the feed's chemistry, and what a stage can take of it. Plain data; what follows
//! from it is the core's business.

use crate::{
    quantity::{Concentration, EquivalentConcentration, Equivalents, Mass, Ph, Tds},
    time::Wall,
};

/// The feed's chemistry, from a water report or test kits. No sensor tells any of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FeedChemistry {
    /// Total alkalinity.
    pub alkalinity: Option<EquivalentConcentration>,
    /// Calcium hardness …
    pub calcium: Option<EquivalentConcentration>,
    /// … and total hardness.
    pub hardness: Option<EquivalentConcentration>,
    /// 5.5 to 10.
    pub ph: Option<Ph>,
    /// What the supply is disinfected with.
    pub disinfectant: Option<Disinfectant>,
    /// How much of it, as Cl2; zero where there is none.
    pub disinfectant_level: Option<Concentration>,
    /// Dissolved silica, as SiO2.
    pub silica: Option<Concentration>,
    /// TDS by hand, in the unit's scale; for where no probe and no `supply.tds` tells.
    pub tds: Option<Tds>,
    /// The day of the water report or tests that these figures are from.
    pub tested: Option<Wall>,
}

/// What the supply is disinfected with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Disinfectant {
    /// Chlorine bound to ammonia: carbon sets the ammonia free.
    Chloramine,
    /// Free chlorine.
    Chlorine,
    /// Nothing.
    None,
}

/// What a stage can take until it is spent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Capacity {
    /// Carbon, of chlorine or chloramine as Cl2.
    Disinfectant(Mass),
    /// Resin.
    Ions(IonCapacity),
}

/// What resin can take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IonCapacity {
    /// Of positive ions; `None` for an anion resin.
    pub cation: Option<Equivalents>,
    /// Of negative ions, carbon dioxide and silica; `None` for a cation resin.
    pub anion: Option<Equivalents>,
    /// The share of it that is used before the water is no longer good: the most, the likely and the
    /// least. All one where the owner said what the filling takes.
    pub usable: [f64; 3],
}
