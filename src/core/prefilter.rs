//! What is left of a sediment filter by the pressure it takes: between two gauges, or, with one behind
//! it, what the pressure falls by when water begins to flow. Each is compared with what it was when the
//! filter was clean; gauges of ±1.5 psi are then worth no more than their steps and their noise.
//!
//! With one gauge the standing pressure is taken before and after a run, so that a mains pressure that
//! falls is not taken for a clogging filter; a run in which it moved tells nothing. A gauge that sinks
//! below the running pressure while the unit stands sits behind the shut-off valve: it sees no standing
//! pressure. Behind a booster pump a gauge sees the pump, not the filter.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{
    hydraulics::{at_reference, is_boosted},
    known::{Basis, Finding, Known, Lack},
    run::RunState,
    settled_water::SettledWater,
    train::Train,
};
use crate::{
    config::{Point, StageKind, UnitSettings},
    physics::statistics::median,
    quantity::{Flow, Pressure},
    time::Mono,
};

/// Runs that make the clean value, and the present one. With two gauges the clean value is
/// `hydraulics.rs`'s.
const RUNS: usize = 5;
/// Readings of the standing pressure, a minute apart.
const STANDING: usize = 5;
/// So many of them tell it.
const FEWEST_STANDING: usize = 3;
const SPACING: Duration = Duration::from_secs(60);
/// A mains pressure that moved by more than this over a run tells nothing of the filter, bar.
const STEADY_BAR: f64 = 0.2;
/// A filter that was spent is not so again before this share is left: noise is no new filter.
const CLEARS_AT: f64 = 0.1;

/// What is kept across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PrefilterState {
    /// Drops of the last runs, bar at 1 L/min.
    recent: Vec<f64>,
    /// The same of the first runs with a clean filter, until there are enough.
    first: Vec<f64>,
    /// With one gauge: their median.
    clean: Option<f64>,
    /// Whether nothing was left.
    spent: bool,
    /// Whether the gauge was seen to sink below the running pressure while the unit stood.
    sinks: bool,
}

/// The ways to see the drop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    TwoGauges,
    OneGauge,
}

/// Follows the pre-filters of one unit.
#[derive(Clone, Debug)]
pub(super) struct Prefilter {
    way: Option<Way>,
    state: PrefilterState,
    /// The last standing pressures, and when the last of them was taken.
    standing: Vec<f64>,
    standing_at: Option<Mono>,
    /// A run that waits for the standing pressure after it: that before it, and the run's.
    waiting: Option<(f64, SettledWater)>,
}

impl Prefilter {
    pub fn new(train: &Train, settings: &UnitSettings, state: PrefilterState) -> Self {
        let filters = |kind: StageKind| kind == StageKind::Sediment;
        let has_filter = settings.stages.iter().any(|stage| filters(stage.kind));
        let way = if !has_filter || is_boosted(train, settings) || !train.has(Point::FeedPressure) {
            None
        } else if train.has(Point::SupplyPressure) {
            Some(Way::TwoGauges)
        } else {
            Some(Way::OneGauge)
        };
        Self {
            way,
            state,
            standing: Vec::new(),
            standing_at: None,
            waiting: None,
        }
    }

    pub fn state(&self) -> PrefilterState {
        self.state.clone()
    }

    /// A pre-filter was replaced: what is clean is learned anew. Gives what was known.
    pub fn replaced(&mut self) -> PrefilterState {
        let new = PrefilterState {
            sinks: self.state.sinks,
            ..PrefilterState::default()
        };
        self.waiting = None;
        std::mem::replace(&mut self.state, new)
    }

    /// It was not replaced after all.
    pub fn take_back(&mut self, former: PrefilterState) {
        self.state = former;
        self.waiting = None;
    }

    /// Follows the standing pressure. Whether a drop became known.
    pub fn look(&mut self, now: Mono, train: &Train, state: RunState) -> bool {
        if self.way != Some(Way::OneGauge) {
            return false;
        }
        if state != RunState::Standby {
            // The first minute of standing rises from what it was while water ran.
            self.standing_at = None;
            return false;
        }
        let since = *self.standing_at.get_or_insert(now);
        if now.since(since) < SPACING {
            return false;
        }
        self.standing_at = Some(now);
        if let Ok(pressure) = train.pressure(Point::FeedPressure, now) {
            if self.standing.len() >= STANDING {
                self.standing.remove(0);
            }
            self.standing.push(pressure.value.bar());
            return self.settle();
        }
        false
    }

    /// A run began: what stood before it is known, and the next standing pressure is another.
    pub fn begin_run(&mut self) -> Option<f64> {
        self.waiting = None;
        let mut standing = std::mem::take(&mut self.standing);
        (standing.len() >= FEWEST_STANDING)
            .then(|| median(&mut standing))
            .flatten()
    }

    /// A run ended; `before` is what [`Self::begin_run`] gave for it.
    pub fn end_run(&mut self, before: Option<f64>, run: &SettledWater, clean: Option<Pressure>) {
        match self.way {
            Some(Way::TwoGauges) => {
                if let Some(drop) = run.prefilter_drop {
                    self.push(drop.value);
                    self.state.clean = clean.map(Pressure::bar);
                }
            }
            Some(Way::OneGauge) => self.waiting = before.map(|before| (before, *run)),
            None => {}
        }
    }

    /// Judges the run that waits once the standing pressure after it is known.
    fn settle(&mut self) -> bool {
        if self.standing.len() < FEWEST_STANDING {
            return false;
        }
        let Some((before, run)) = self.waiting.take() else {
            return false;
        };
        let (Some(after), Some(running), Some(flow)) = (
            median(&mut self.standing.clone()),
            run.feed_pressure,
            run.feed_flow,
        ) else {
            return false;
        };
        self.state.sinks = before.min(after) < running.value;
        if self.state.sinks || (before - after).abs() > STEADY_BAR {
            return true;
        }
        let drop = Pressure::from_bar(f64::midpoint(before, after) - running.value);
        let flow = Flow::from_l_per_min(flow.value);
        let Some(drop) = at_reference(drop, flow) else {
            return false;
        };
        if self.state.clean.is_none() {
            self.state.first.push(drop.bar());
            if self.state.first.len() >= RUNS {
                self.state.clean = median(&mut self.state.first);
                self.state.first.clear();
            }
        }
        self.push(drop.bar());
        true
    }

    fn push(&mut self, drop: f64) {
        if !drop.is_finite() {
            return;
        }
        if self.state.recent.len() >= RUNS {
            self.state.recent.remove(0);
        }
        self.state.recent.push(drop);
    }

    /// Present and clean drop, bar at 1 L/min.
    fn drops(&self) -> Option<(f64, f64)> {
        let present = median(&mut self.state.recent.clone())?;
        Some((present, self.state.clean?))
    }

    /// What is left, 0–1: (limit − present)/(limit − clean), with the limit of `prefilter_clogging`.
    pub fn left(&mut self, settings: &UnitSettings) -> Finding<f64> {
        let way = self.way.ok_or(Lack::NoLife)?;
        let limits = &settings.alerts.hydraulics;
        let rise = limits.prefilter_clogging.ok_or(Lack::NoLife)?.raise.bar();
        if way == Way::OneGauge && self.state.sinks {
            return Err(Lack::TooEarly);
        }
        let (present, clean) = self.drops().ok_or(Lack::TooEarly)?;
        let factor = match way {
            Way::TwoGauges => limits.prefilter_factor,
            // What the house's pipes take is part of it: a multiple of that means nothing.
            Way::OneGauge => 1.0,
        };
        let limit = (clean + rise).max(clean * factor);
        let share = ((limit - present) / (limit - clean)).clamp(0.0, 1.0);
        self.state.spent = share <= 0.0 || (self.state.spent && share < CLEARS_AT);
        let share = if self.state.spent { 0.0 } else { share };
        Ok(Known {
            value: share,
            basis: Basis::Inferred,
        })
    }

    /// What the gauges tell and what not, in words.
    pub fn advice(&self, train: &Train, settings: &UnitSettings) -> String {
        const BACKSTOP: &str = "age and litres count.";
        let shown = self.drops().map(|(present, clean)| {
            format!("{present:.2} bar at 1 L/min, {clean:.2} bar when clean")
        });
        let resolution = "Gauges of ±1.5 psi (0.1 bar) show it late at the flows of a home unit; age and \
                          litres count beside it.";
        match (self.way, shown) {
            (None, _) if is_boosted(train, settings) => format!(
                "A booster pump stands between the line and the membrane's gauge: what the filter takes \
                 cannot be told from what the pump adds; {BACKSTOP}"
            ),
            (None, _) if train.has(Point::SupplyPressure) => format!(
                "The only gauge sits before the filter and cannot see what it takes; {BACKSTOP}"
            ),
            (None, _) => format!("No gauge tells what the filter takes; {BACKSTOP}"),
            (Some(Way::OneGauge), _) if self.state.sinks => format!(
                "The gauge loses its pressure while the unit stands (it sits behind the shut-off valve), \
                 so that a clogging filter cannot be told from a falling line pressure; {BACKSTOP}"
            ),
            (Some(Way::TwoGauges), Some(shown)) => {
                format!("The pre-filters together take {shown}. {resolution}")
            }
            (Some(Way::OneGauge), Some(shown)) => format!(
                "When water flows the pressure falls by {shown}: pre-filters and house pipes together. \
                 {resolution}"
            ),
            (Some(_), None) => format!("What the clean filter takes is being learned; {BACKSTOP}"),
        }
    }
}
