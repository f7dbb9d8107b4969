//! The hydraulics round the membrane: water that runs while nothing is made, the split between
//! product and waste, what the pre-filters take and the pump adds. Owns what was learned of clean
//! pre-filters; limits and words are the alerts'.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{
    known::{Finding, Known, Lack, both},
    run::{RunChanges, RunState},
    train::Train,
    water::Flows,
};
use crate::{
    config::{Point, StageKind, UnitSettings},
    metrics::Metric,
    physics::{
        sediment::{CARTRIDGE_POWER, drop_at_flow},
        statistics::median,
    },
    quantity::{Flow, Pressure},
    time::Mono,
};

/// The drop of the pre-filters is referred to this flow: home units draw 0.7 to 1.3 L/min.
const REFERENCE_L_PER_MIN: f64 = 1.0;
/// Below it the drop is less than what gauges of ±1.5 psi show, and referring it only magnifies that.
const LEAST_L_PER_MIN: f64 = 0.2;
/// So many runs with new pre-filters make the clean value.
const CLEAN_RUNS: usize = 3;
/// Concentrate runs down for a moment after the unit has shut off.
const STANDBY_GRACE: Duration = Duration::from_secs(120);
/// A count tells of the time before it: the second message in standby is the first of standby alone.
const STANDBY_READINGS: u64 = 2;
const DRAINS: [Point; 2] = [Point::ConcentrateFlow, Point::FeedFlow];
const GAUGES: [Point; 2] = [Point::SupplyPressure, Point::FeedPressure];

/// What is kept across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct HydraulicState {
    /// Pressure the clean pre-filters lost at the reference flow.
    pub clean_drop: Option<Pressure>,
    /// The same of the first runs, until there are enough of them.
    pub first_drops: Vec<Pressure>,
}

/// Follows the hydraulics of one unit.
#[derive(Clone, Debug, Default)]
pub(super) struct Hydraulics {
    state: HydraulicState,
    standby: Option<Since>,
    pumping: Option<Since>,
    making: Option<Since>,
}

/// When something began.
#[derive(Clone, Copy, Debug)]
struct Since {
    at: Mono,
    /// Readings of two sensors until then: what they told before says nothing about it.
    readings: [u64; 2],
}

impl Since {
    fn begin(now: Mono, train: &Train, points: [Point; 2]) -> Self {
        Self {
            at: now,
            readings: points.map(|point| readings(train, point)),
        }
    }
}

impl Hydraulics {
    pub fn new(state: HydraulicState) -> Self {
        Self {
            state,
            standby: None,
            pumping: None,
            making: None,
        }
    }

    pub fn state(&self) -> HydraulicState {
        self.state.clone()
    }

    pub fn look(
        &mut self,
        now: Mono,
        train: &Train,
        settings: &UnitSettings,
        state: RunState,
        changes: &RunChanges,
    ) {
        let since = |was: Option<Since>, is: bool, points| {
            is.then(|| was.unwrap_or_else(|| Since::begin(now, train, points)))
        };
        self.standby = since(self.standby, state == RunState::Standby, DRAINS);
        self.pumping = since(self.pumping, pump_runs(train, settings, state, now), GAUGES);
        self.making = since(self.making, state.makes_water(), GAUGES);
        if let Some(record) = &changes.ended
            && self.state.clean_drop.is_none()
            && !record.interrupted
            && !changes.rinsed
        {
            let name = Metric::PrefilterDrop.description().name;
            let drop = record.steady.iter().find(|(metric, _)| metric == name);
            if let Some((_, drop)) = drop {
                self.learn(Pressure::from_bar(drop.value));
            }
        }
    }

    /// Whether the feed gauge has told of this run: the readings that its smoothing needs to forget the
    /// pressure of standby. A board that reports every five minutes is otherwise judged by that.
    pub fn feed_gauge_told(&self, train: &Train) -> bool {
        let needed = |index: usize| train.sensors()[index].settings().smoothing / 2 + 1;
        let (main, _) = train.at(Point::FeedPressure);
        let told = self
            .making
            .map(|since| readings(train, Point::FeedPressure).saturating_sub(since.readings[1]));
        main.zip(told)
            .is_some_and(|(main, told)| told >= needed(main) as u64)
    }

    fn learn(&mut self, drop: Pressure) {
        self.state.first_drops.push(drop);
        if self.state.first_drops.len() < CLEAN_RUNS {
            return;
        }
        let mut drops: Vec<f64> = self
            .state
            .first_drops
            .iter()
            .map(|drop| drop.bar())
            .collect();
        self.state.clean_drop = median(&mut drops).map(Pressure::from_bar);
        self.state.first_drops.clear();
    }

    /// A stage was replaced: clean pre-filters are learned anew. Gives what was learned of the old ones,
    /// if it was one of them.
    pub fn replaced(&mut self, kind: StageKind) -> Option<HydraulicState> {
        let is_prefilter = match kind {
            StageKind::Sediment | StageKind::Carbon | StageKind::CatalyticCarbon => true,
            StageKind::Anion
            | StageKind::BoosterPump
            | StageKind::Cation
            | StageKind::Membrane
            | StageKind::MixedBed => false,
        };
        is_prefilter.then(|| std::mem::take(&mut self.state))
    }

    /// What was learned before counts again.
    pub fn take_back(&mut self, state: HydraulicState) {
        self.state = state;
    }

    /// Pressure the clean pre-filters lost at the reference flow, once learned.
    pub fn clean_drop(&self) -> Option<Pressure> {
        self.state.clean_drop
    }

    /// What flows to the drain, or into the unit, while no water is made and no flush runs.
    pub fn standby_flow(&self, train: &Train, now: Mono) -> Option<Flow> {
        let standby = self.standby?;
        if now.since(standby.at) < STANDBY_GRACE {
            return None;
        }
        let mut metered = DRAINS
            .iter()
            .zip(standby.readings)
            .filter(|(point, before)| readings(train, **point) >= before + STANDBY_READINGS);
        metered.find_map(|(point, _)| match train.flow(*point, now) {
            Ok(flow) => Some(flow.value),
            // What the meter cannot see does not count as a leak.
            Err(Lack::BelowRange(_)) => Some(Flow::ZERO),
            Err(_) => None,
        })
    }

    /// What a booster pump adds now; none while it does not run, or where a gauge is missing or tells
    /// of the time before.
    pub fn pump_lift(&self, train: &Train, now: Mono) -> Option<Pressure> {
        let pumping = self.pumping?;
        let mut gauges = GAUGES.iter().zip(pumping.readings);
        // A smoothed gauge follows once most of its values are new.
        let follows = gauges.all(|(point, before)| {
            let sensor = train.at(*point).0.map(|index| &train.sensors()[index]);
            let needed = sensor.map_or(1, |sensor| sensor.settings().smoothing / 2 + 1);
            readings(train, *point) >= before + needed as u64
        });
        let [before, behind] = GAUGES.map(|point| train.pressure(point, now));
        Some(behind.ok()?.value - before.ok()?.value).filter(|_| follows)
    }
}

fn readings(train: &Train, point: Point) -> u64 {
    let (main, spare) = train.at(point);
    let sensors = [main, spare].into_iter().flatten();
    sensors
        .map(|index| train.sensors()[index].sent().readings)
        .sum()
}

/// Whether a booster pump stands between the supply and the membrane.
pub(super) fn is_boosted(train: &Train, settings: &UnitSettings) -> bool {
    let stages = &settings.stages;
    train.has(Point::Pump)
        || stages
            .iter()
            .any(|stage| stage.kind == StageKind::BoosterPump)
}

/// Pressure lost between supply and membrane, referred to the reference flow. Meant for while water
/// is made: at rest nothing is lost.
pub(super) fn prefilter_drop(
    train: &Train,
    settings: &UnitSettings,
    flows: &Flows,
    now: Mono,
) -> Finding<Pressure> {
    let gauges = both(
        train.pressure(Point::SupplyPressure, now),
        train.pressure(Point::FeedPressure, now),
    );
    if is_boosted(train, settings) && !matches!(gauges, Err(Lack::NoSensor(_))) {
        return Err(Lack::Boosted);
    }
    let known: Known<((Pressure, Pressure), Flow)> = both(gauges, flows.feed)?;
    let least = Flow::from_l_per_min(LEAST_L_PER_MIN);
    if known.value.1 < least {
        return Err(Lack::NotPhysical);
    }
    let ((supply, feed), flow) = known.value;
    let drop = at_reference(supply - feed, flow).ok_or(Lack::NotPhysical)?;
    Ok(known.map(|_| drop))
}

/// What the pre-filters would take at the flow to which their drop is referred; `None` without a flow.
pub(super) fn at_reference(drop: Pressure, flow: Flow) -> Option<Pressure> {
    let reference = Flow::from_l_per_min(REFERENCE_L_PER_MIN);
    drop_at_flow(drop, flow, reference, CARTRIDGE_POWER)
}

/// By its own contact; without one, whenever a unit that has a pump makes water.
fn pump_runs(train: &Train, settings: &UnitSettings, state: RunState, now: Mono) -> bool {
    if train.has(Point::Pump) {
        train
            .contact(Point::Pump, now)
            .is_ok_and(|known| known.value)
    } else {
        state.makes_water() && is_boosted(train, settings)
    }
}

/// Recovery now and, for judging too much waste, the best that cold water, low pressure or a full
/// tank could excuse: what it would be under the conditions of the rating. None where nothing tells
/// how much of the waste is a filling tank's doing.
pub(super) fn recovery(
    live: impl Fn(Metric) -> Finding<f64>,
    pressurised: bool,
) -> Option<(f64, Option<f64>)> {
    let recovery = live(Metric::Recovery).ok()?;
    if recovery.basis == super::known::Basis::Assumed {
        return None;
    }
    let now = recovery.value / 100.0;
    let of = |metric: Metric| live(metric).ok().map(|known| known.value);
    let permeate = of(Metric::PermeateFlow).filter(|flow| *flow > 0.0);
    let excused = |flow: f64| {
        let times = flow / permeate?;
        Some(now * times / (1.0 - now + now * times))
    };
    let normalized = of(Metric::NormalizedFlow).and_then(excused);
    let warm = of(Metric::FlowAt25C).and_then(excused);
    let best = match (normalized, warm) {
        (Some(normalized), _) => Some(normalized.max(now)),
        (None, _) if pressurised => None,
        (None, warm) => Some(warm.map_or(now, |warm| warm.max(now))),
    };
    Some((now, best))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::values::Values;

    #[test]
    fn the_clean_value_is_the_median_of_three_runs_until_a_prefilter_is_replaced() {
        let mut hydraulics = Hydraulics::default();
        for bar in [0.1, 0.9, 0.2] {
            assert_eq!(hydraulics.clean_drop(), None);
            hydraulics.learn(Pressure::from_bar(bar));
        }
        assert_eq!(hydraulics.clean_drop(), Some(Pressure::from_bar(0.2)));
        assert!(hydraulics.replaced(StageKind::MixedBed).is_none());
        assert!(hydraulics.clean_drop().is_some());
        let learned = hydraulics.replaced(StageKind::Sediment).unwrap();
        assert_eq!(learned.clean_drop, Some(Pressure::from_bar(0.2)));
        assert_eq!(hydraulics.clean_drop(), None);
    }

    #[test]
    fn cold_water_excuses_waste_but_not_the_lack_of_it() {
        let mut values = Values::default();
        values.set(Metric::Recovery, Ok(Known::measured(10.0)));
        values.set(Metric::PermeateFlow, Ok(Known::measured(0.1)));
        // By hand: 0.1 of 1.0 L/min; twice the permeate beside 0.9 of concentrate is 0.2/1.1.
        values.set(Metric::FlowAt25C, Ok(Known::measured(0.2)));
        let of = |values: &Values, pressurised| recovery(|metric| values.of(metric), pressurised);
        let (now, best) = of(&values, false).unwrap();
        assert!((now - 0.1).abs() < 1e-12 && (best.unwrap() - 0.2 / 1.1).abs() < 1e-12);
        assert_eq!(of(&values, true).unwrap().1, None, "a filling tank");
        values.set(Metric::Recovery, Ok(Known::assumed(10.0)));
        assert_eq!(of(&values, false), None, "the owner's own figure");
    }
}
