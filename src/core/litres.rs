//! Whether litres of each of the three flows can be known in a configuration, and how well.

use super::{known::Basis, train::Train};
use crate::config::{Point, UnitSettings};

/// Whether litres of the feed are known at all in this configuration, and how well.
pub(super) fn feed_basis(train: &Train, settings: &UnitSettings) -> Option<Basis> {
    let [feed, permeate, concentrate] =
        [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow]
            .map(|point| train.has(point));
    if feed {
        Some(Basis::Measured)
    } else if (permeate && concentrate)
        || ((permeate || concentrate) && settings.supply.waste_ratio.is_some())
    {
        Some(Basis::Inferred)
    } else {
        None
    }
}

/// Whether litres of permeate are known at all in this configuration, and how well.
pub(super) fn permeate_basis(train: &Train, settings: &UnitSettings) -> Option<Basis> {
    let [feed, permeate, concentrate] =
        [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow]
            .map(|point| train.has(point));
    if permeate {
        Some(Basis::Measured)
    } else if (feed && concentrate)
        || ((feed || concentrate) && settings.supply.waste_ratio.is_some())
    {
        Some(Basis::Inferred)
    } else {
        None
    }
}

/// Whether litres of concentrate are known at all in this configuration, and how well.
pub(super) fn concentrate_basis(train: &Train, settings: &UnitSettings) -> Option<Basis> {
    let [feed, permeate, concentrate] =
        [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow]
            .map(|point| train.has(point));
    if concentrate {
        Some(Basis::Measured)
    } else if (feed && permeate) || ((feed || permeate) && settings.supply.waste_ratio.is_some()) {
        Some(Basis::Inferred)
    } else {
        None
    }
}
