//! What water costs, as the owner wrote it. `resolve::costs` found every mistake.

use crate::quantity::VolumePrice;

/// Prices of a unit's water; those of the fillings stand with the stages.
#[derive(Clone, Debug, PartialEq)]
pub struct Costs {
    /// Currency of all prices: three capital letters, as ISO 4217 has them.
    pub currency: String,
    /// Price of the water that goes in.
    pub water: Option<VolumePrice>,
    /// Price of the concentrate that goes to the drain.
    pub waste_water: Option<VolumePrice>,
}
