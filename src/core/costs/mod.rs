//! What the product costs: fillings spread over their lives, water in and waste at their prices. Sums
//! are booked once a minute, and stay as they were booked when prices change.

mod days;
mod values;

use std::{collections::BTreeMap, time::Duration};

use serde::{Deserialize, Serialize};

use self::values::set_costs;
use super::{
    known::Lack, left::StageFindings, stage::Stage, unit::Unit, values::Values, water::Volumes,
};
use crate::{
    config::{Costs as Prices, UnitSettings},
    metrics::{Group, Metric, StageMetric},
    quantity::Volume,
    time::{Mono, Now},
};
pub use days::Days;

/// What was spent in a time, in the configured currency, and the product it was spent for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Spent {
    /// Share of the fillings that was used up.
    pub cartridges: f64,
    /// Water in.
    pub water: f64,
    /// Concentrate to the drain.
    pub waste: f64,
    /// Permeate that was made.
    pub product: Volume,
}

impl Spent {
    /// All of it, in the configured currency.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.cartridges + self.water + self.waste
    }

    fn add(&mut self, more: &Self) {
        self.cartridges += more.cartridges;
        self.water += more.water;
        self.waste += more.waste;
        self.product += more.product;
    }
}

/// A filling that is being used up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Filling {
    /// What it cost; `None` while nobody said.
    pub price: Option<f64>,
    /// How much of that is booked, or was used before costs were kept.
    pub spent: f64,
}

impl Filling {
    /// Books up to the share that is used (0–1); returns what comes on top. What is left of a filling
    /// may be judged better later: nothing is taken back then, the next cost waits.
    fn use_up(&mut self, price: Option<f64>, used: f64) -> f64 {
        self.price = price;
        let due = price.unwrap_or(0.0) * used.clamp(0.0, 1.0);
        let more = (due - self.spent).max(0.0);
        self.spent = self.spent.max(due);
        more
    }

    /// What was not booked yet.
    fn rest(&self) -> f64 {
        (self.price.unwrap_or(0.0) - self.spent).max(0.0)
    }
}

/// What is kept of costs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CostState {
    /// Since prices were first configured.
    pub life: Spent,
    /// By the calendar.
    pub days: Days,
    /// Fillings by the id of their stage.
    pub fillings: BTreeMap<String, Filling>,
    /// The litres up to which water is booked; `None` while no prices were configured.
    pub booked: Option<Volumes>,
}

/// Booked this often: neither minutes nor fractions of a litre matter to anybody.
const RHYTHM: Duration = Duration::from_secs(60);

#[derive(Clone, Debug, Default)]
pub(super) struct Costs {
    pub state: CostState,
    booked_at: Option<Mono>,
}

impl Costs {
    /// As they were kept. What passes while there are no prices costs nothing.
    pub fn new(mut state: CostState, prices: Option<&Prices>) -> Self {
        if prices.is_none() {
            state.booked = None;
            state.fillings.clear();
        }
        Self {
            state,
            booked_at: None,
        }
    }

    /// Whether a booking is due.
    pub fn is_due(&self, now: Mono) -> bool {
        self.booked_at.is_none_or(|at| now.since(at) >= RHYTHM)
    }

    /// The stage's filling was replaced: what is left of its price is lost. The next is booked from
    /// its beginning.
    pub fn replaced(&mut self, now: Now, id: &str, settings: &UnitSettings) {
        if settings.costs.is_none() {
            return;
        }
        let ended = self
            .state
            .fillings
            .insert(id.to_owned(), Filling::default());
        let spent = Spent {
            cartridges: ended.map_or(0.0, |filling| filling.rest()),
            ..Spent::default()
        };
        self.book(now, &spent, &settings.time_zone);
        self.booked_at = None;
    }

    /// A filling was not replaced after all. What was booked of it stays: that was all of its price.
    pub fn brought_back(&mut self, id: &str, price: Option<f64>) {
        if let Some(filling) = self.state.fillings.get_mut(id) {
            *filling = Filling {
                price,
                spent: price.unwrap_or_default(),
            };
        }
    }

    fn book(&mut self, now: Now, spent: &Spent, zone: &jiff::tz::TimeZone) {
        self.state.life.add(spent);
        let day = now.date().and_then(|date| date.day_in(zone));
        self.state.days.add(day, spent);
    }

    fn use_up(&mut self, now: Now, stage: &Stage, found: &StageFindings) -> f64 {
        let settings = stage.settings();
        let price = stage.price();
        let used = match found.of(StageMetric::Left) {
            Ok(left) => 1.0 - left.value / 100.0,
            // Nothing tells how long it lasts: all of it is booked when it is replaced.
            Err(lack) if lack.is_permanent() => 0.0,
            Err(_) if is_unseen(stage) => 0.0,
            Err(_) => return 0.0,
        };
        if let Some(filling) = self.state.fillings.get_mut(&settings.id) {
            return filling.use_up(price, used);
        }
        let is_dated = settings.life_time.is_none() || now.date().is_some() || is_unseen(stage);
        if price.is_some() && is_dated {
            // What was used before its price was known is past.
            let mut filling = Filling::default();
            filling.use_up(price, used);
            self.state.fillings.insert(settings.id.clone(), filling);
        }
        0.0
    }
}

/// Whether its filling is as new to us as the unit itself: nothing of it is used, whatever day it is.
fn is_unseen(stage: &Stage) -> bool {
    let state = stage.state();
    state.seen.is_none() && state.installed.is_none() && state.treated == Volume::ZERO
}

impl Unit {
    /// Fills in the costs.
    pub(super) fn set_costs(&self, values: &mut Values) {
        set_costs(
            values,
            &self.costs.state,
            &self.train,
            &self.settings,
            &self.stages,
        );
    }

    /// What was spent.
    #[must_use]
    pub fn costs(&self) -> &CostState {
        &self.costs.state
    }

    /// Takes over the fillings that are in use, before anything is heard that may end them.
    pub(super) fn begin_costs(&mut self, now: Now) {
        if self.settings.costs.is_some() {
            self.found = self.stage_findings(now);
            self.book_costs(now);
        }
    }

    /// Books what was spent since the last time, if that is due.
    pub(super) fn book_costs(&mut self, now: Now) {
        let Some(prices) = &self.settings.costs else {
            return;
        };
        if !self.costs.is_due(now.mono) {
            return;
        }
        let total = Volumes {
            feed: self.totals.feed,
            permeate: self.totals.permeate,
            concentrate: self.totals.concentrate,
        };
        let before = self.costs.state.booked.replace(total).unwrap_or(total);
        let passed = |now: Volume, before: Volume| (now - before).max(Volume::ZERO);
        let water = passed(total.feed, before.feed);
        let waste = passed(total.concentrate, before.concentrate);
        let mut spent = Spent {
            cartridges: 0.0,
            water: prices.water.map_or(0.0, |price| price.of_volume(water)),
            waste: prices
                .waste_water
                .map_or(0.0, |price| price.of_volume(waste)),
            product: passed(total.permeate, before.permeate),
        };
        for (stage, found) in self.stages.iter().zip(&self.found) {
            spent.cartridges += self.costs.use_up(now, stage, found);
        }
        self.costs.book(now, &spent, &self.settings.time_zone);
        self.costs.booked_at = Some(now.mono);
        let told = self.stages.iter().any(|stage| stage.price().is_some());
        if told && self.never(Metric::CartridgesLife) == Some(Lack::NoPrice) {
            self.allow_costs();
        }
    }

    /// A first price was told at a replacement: what was without one may be told now.
    fn allow_costs(&mut self) {
        let mut values = Values::default();
        self.set_costs(&mut values);
        let lacks = |metric: Metric| values.of(metric).is_err_and(Lack::is_permanent);
        let is_freed = |metric: Metric| metric.group() == Group::Costs && !lacks(metric);
        self.impossible.retain(|(metric, _)| !is_freed(*metric));
        self.possible.retain(|metric| !is_freed(*metric));
        let freed = Metric::ALL
            .iter()
            .copied()
            .filter(|metric| is_freed(*metric));
        self.possible.extend(freed);
    }
}

impl Stage {
    /// What its filling cost, in the configured currency: as told when it was put in, else as
    /// configured.
    #[must_use]
    pub fn price(&self) -> Option<f64> {
        let told = self.state.price.or(self.settings.price);
        told.filter(|price| price.is_finite() && *price >= 0.0)
    }
}

#[cfg(test)]
mod tests;
