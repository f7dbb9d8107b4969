//! Where the water goes: the three flows now, and litres that add up.
//!
//! Any two of feed, permeate and concentrate give the third; one and the waste ratio give all.
//! Litres are booked so that feed = permeate + concentrate holds at every moment for all water of
//! which both sides are known; totals never fall.

use serde::{Deserialize, Serialize};

use super::{
    known::{Basis, Finding, Known, Lack, both, physical},
    run::RunState,
    train::Train,
};
use crate::{
    config::{Point, UnitSettings},
    physics::balance,
    quantity::{Flow, Volume},
    time::Mono,
};

/// The three flows, each with its basis or the reason why it is not known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flows {
    /// Into the unit.
    pub feed: Finding<Flow>,
    /// Product side of the membrane.
    pub permeate: Finding<Flow>,
    /// To the drain.
    pub concentrate: Finding<Flow>,
    /// Whether fewer than two meters tell, so that the split is the configured waste ratio's.
    split_assumed: bool,
    /// Whether the three meters contradict each other: which share is true nothing tells.
    contradicted: bool,
}

impl Flows {
    /// The flows now. In standby and in a flush a meter below its range is at rest.
    pub(super) fn find(train: &Train, settings: &UnitSettings, state: RunState, now: Mono) -> Self {
        let at_rest = matches!(state, RunState::Standby | RunState::Flushing);
        let metered = |point| match train.flow(point, now) {
            Err(Lack::BelowRange(_)) if at_rest => Ok(Known::inferred(Flow::ZERO)),
            finding => finding,
        };
        let feed = metered(Point::FeedFlow);
        let permeate = metered(Point::PermeateFlow);
        let concentrate = metered(Point::ConcentrateFlow);
        // A flush by-passes the restrictor: the ratio does not hold.
        let ratio = settings.supply.waste_ratio;
        let ratio = ratio.filter(|_| state != RunState::Flushing);
        let inferred = |finding: Finding<Flow>| finding.map(|known| known.at_best(Basis::Inferred));
        let sum = |a, b| inferred(both(a, b).map(|known| known.map(|(a, b): (Flow, Flow)| a + b)));
        let less = |a, b| {
            let difference = both(a, b).map(|known| known.map(|(a, b): (Flow, Flow)| a - b));
            match inferred(difference) {
                Ok(known) if known.value < Flow::ZERO => Err(Lack::NotPhysical),
                finding => finding,
            }
        };
        let scaled = |flow: Finding<Flow>, factor: fn(f64) -> f64, missing| {
            let ratio = ratio.ok_or(Lack::NoSensor(missing))?;
            inferred(flow.map(|known| known.map(|flow| flow * factor(ratio))))
        };
        let told = [feed, permeate, concentrate]
            .iter()
            .filter(|flow| flow.is_ok())
            .count();
        Self {
            split_assumed: told < 2,
            contradicted: train.is_balance_open(),
            feed: first(
                feed,
                [
                    &|| sum(permeate, concentrate),
                    &|| scaled(permeate, |ratio| 1.0 + ratio, Point::FeedFlow),
                    &|| scaled(concentrate, |ratio| 1.0 + 1.0 / ratio, Point::FeedFlow),
                ],
            ),
            permeate: first(
                permeate,
                [
                    &|| less(feed, concentrate),
                    &|| scaled(feed, |ratio| 1.0 / (1.0 + ratio), Point::PermeateFlow),
                    &|| scaled(concentrate, |ratio| 1.0 / ratio, Point::PermeateFlow),
                ],
            ),
            concentrate: first(
                concentrate,
                [
                    &|| less(feed, permeate),
                    &|| scaled(permeate, |ratio| ratio, Point::ConcentrateFlow),
                    &|| scaled(feed, |ratio| ratio / (1.0 + ratio), Point::ConcentrateFlow),
                ],
            ),
        }
    }

    /// Recovery now: permeate of feed, 0–1. Measured permeate and concentrate make up the feed:
    /// nothing is inferred then. By one meter and the waste ratio it is the owner's own figure.
    pub(super) fn recovery(&self) -> Finding<f64> {
        if self.contradicted {
            return Err(Lack::BalanceOpen);
        }
        let sides = both(self.permeate, self.concentrate);
        let sum = sides.map(|known| known.map(|(permeate, rest)| (permeate, permeate + rest)));
        let whole = both(self.permeate, self.feed);
        let flows = match (whole, sum) {
            (Ok(whole), Ok(sum)) if sum.basis < whole.basis => sum,
            (whole, _) => whole?,
        };
        let recovery = flows.map(|(permeate, feed)| balance::recovery(permeate, feed));
        let best = if self.split_assumed {
            Basis::Assumed
        } else {
            Basis::Measured
        };
        physical(recovery.at_best(best))
    }
}

/// The first way that gives a value; else the reason that tells most. Later ways are worked out only where
/// the earlier ones fail.
fn first(way: Finding<Flow>, others: [&dyn Fn() -> Finding<Flow>; 3]) -> Finding<Flow> {
    others.into_iter().fold(way, |best, way| {
        best.or_else(|lack| way().map_err(|other| lack.or(other)))
    })
}

/// Litres since the beginning. `feed − unsplit = permeate + concentrate − unmatched` always.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Totals {
    /// Into the unit.
    pub feed: Volume,
    /// Made by the membrane.
    pub permeate: Volume,
    /// To the drain.
    pub concentrate: Volume,
    /// Feed of which nothing tells how it was split.
    pub unsplit: Volume,
    /// Permeate or concentrate of which nothing tells the feed.
    pub unmatched: Volume,
    /// Time no meter covered, in seconds.
    pub unmeasured_seconds: f64,
    /// Time the unit made water, in seconds.
    pub producing_seconds: f64,
    /// Runs that ended.
    pub runs: u64,
    /// Salt in the permeate while probe and litres told, mg of NaCl.
    #[serde(default)]
    pub permeate_salt_mg: f64,
    /// Salt that crept through while standing, mg of NaCl.
    #[serde(default)]
    pub creep_salt_mg: f64,
}

impl Totals {
    /// What came since `earlier`; never negative.
    pub(super) fn since(&self, earlier: &Self) -> Volumes {
        Volumes {
            feed: (self.feed - earlier.feed).max(Volume::ZERO),
            permeate: (self.permeate - earlier.permeate).max(Volume::ZERO),
            concentrate: (self.concentrate - earlier.concentrate).max(Volume::ZERO),
        }
    }
}

/// Litres of a time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Volumes {
    /// Into the unit.
    pub feed: Volume,
    /// Made by the membrane.
    pub permeate: Volume,
    /// To the drain.
    pub concentrate: Volume,
}
