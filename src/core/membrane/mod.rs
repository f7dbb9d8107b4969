//! The membrane over its life: the figures of its last run, and what its runs have taught: its
//! response to temperature, its baseline, its wear, and whether something happened to it.
//!
//! `learned` is the joint estimate, `charts` tell steps, `history` and `forecast` the slope and the
//! day a limit is reached, `wear` puts it into metrics. Only whole settled runs teach.

mod charts;
mod forecast;
mod history;
mod learned;
mod left;
mod lesson;
mod wear;

use std::{collections::BTreeMap, time::Duration};

use serde::{Deserialize, Serialize};

use super::{
    known::{Basis, Finding, Known, Lack},
    values::Values,
};
use crate::{
    config::UnitSettings,
    metrics::{Group, Metric},
    physics::membrane::TemperatureLaw,
    quantity::{Conductivity, Flow, Pressure, Temperature},
    time::{Now, SECONDS_PER_DAY, Wall},
};
pub use charts::Shift;
use charts::{Call, Charts, Worse};
pub use forecast::Forecast;
use history::History;
pub use learned::Estimate;
use learned::{Learned, Nature, coldness};
pub(super) use left::{Way, WayEnd, Ways};
use lesson::{Lesson, salt_permeability};
pub(super) use wear::{Wear, WearFigures};

/// Figures of a run are no news after this many days.
const HELD_DAYS: u64 = 7;
/// A longer pause between two runs, by their dates, is more likely a clock that was set.
const LONGEST_PAUSE: Duration = Duration::from_secs(365 * 86_400);
/// A loss of 5 % in a step, a rise of the salt passage by 10 %: less is no news.
const FLOW_STEP: Worse = Worse {
    is_up: false,
    matters: 0.05,
};
const SALT_STEP: Worse = Worse {
    is_up: true,
    matters: 0.10,
};
/// After a suspicion the level may lie this far from where it was (natural logarithm).
const LOOSENED: f64 = 0.3;

/// What is kept of the membrane across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct MembraneState {
    /// What the runs taught about its flow and its salt.
    water: Option<Learned>,
    salt: Option<Learned>,
    /// The pressure drop along its feed channel, where both ends are measured.
    channel: Option<Learned>,
    flow_charts: Charts,
    salt_charts: Charts,
    history: History,
    /// The runs that make the baseline, until there is one: x, ln(specific flow), ln(salt).
    first: Vec<(f64, f64, Option<f64>)>,
    /// Days between the first and the last run that taught.
    days: f64,
    /// Days at which the flow and the salt last stepped: a slope begins there.
    flow_since: f64,
    salt_since: f64,
    /// When the last run ended that taught.
    taught_at: Option<Wall>,
    /// The weakest basis of what was learned.
    basis: Option<Basis>,
    /// Runs left out because the element was new.
    pub break_in_runs: u32,
    /// ln of the salt that the element of the baseline would let pass for each part it holds back, under the
    /// conditions of the last runs.
    baseline_odds: Option<f64>,
    /// When the baseline was set.
    pub baseline_set: Option<Wall>,
    /// The last figures, by metric name.
    pub held: BTreeMap<String, Known<f64>>,
    /// When they were taken.
    pub held_at: Option<Wall>,
}

/// When a run ended.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct When {
    pub ended: Option<Wall>,
    /// Since the last run that taught, by the monotonic clock; none when that was before the service started,
    /// and dates must do.
    pub since_last: Option<Duration>,
}

/// What a run that taught the model brought to light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum News {
    Nothing,
    BaselineSet,
}

impl MembraneState {
    /// Takes the figures of a run, or of a part of a long one; while `breaking_in`, only to show them.
    /// `None` when they taught nothing.
    pub(super) fn take(
        &mut self,
        figures: &[(String, Known<f64>)],
        when: When,
        settings: &UnitSettings,
        breaking_in: bool,
    ) -> Option<News> {
        self.hold(figures, when.ended);
        let steady = figures
            .iter()
            .map(|(name, known)| (name.as_str(), *known))
            .collect();
        let lesson = Lesson::of(&steady, settings).ok()?;
        if breaking_in {
            self.break_in_runs = self.break_in_runs.saturating_add(1);
            return None;
        }
        self.learn(lesson, when, settings.baseline_runs())
    }

    /// Holds the figures until the next run, if there are any.
    pub(super) fn hold(&mut self, figures: &[(String, Known<f64>)], ended: Option<Wall>) {
        if figures.is_empty() {
            return;
        }
        let of_membrane = |name: &str| membrane_metrics().any(|own| own.description().name == name);
        self.held = figures
            .iter()
            .filter(|(name, _)| of_membrane(name))
            .cloned()
            .collect();
        self.held_at = ended;
        self.note_passage();
    }

    fn learn(&mut self, lesson: Lesson, when: When, runs: usize) -> Option<News> {
        // A clock put back, not set, or set by years: no time passed that one could count on.
        let by_date = || {
            let passed = when.ended?.since(self.taught_at?)?;
            (passed <= LONGEST_PAUSE).then_some(passed)
        };
        let passed = when.since_last.or_else(by_date).unwrap_or_default();
        let days = passed.as_secs_f64() / SECONDS_PER_DAY;
        self.days += days;
        self.taught_at = when.ended.or(self.taught_at);
        self.basis = self.basis.max(Some(lesson.basis));
        let water = self
            .water
            .get_or_insert_with(|| Learned::new(&Nature::WATER));
        let surprise = water.observe(&Nature::WATER, days, lesson.x, lesson.water);
        if follow(&mut self.flow_charts, FLOW_STEP, water, surprise) {
            self.flow_since = self.days;
        }
        if let Some(y) = lesson.salt {
            let salt = self.salt.get_or_insert_with(|| Learned::new(&Nature::SALT));
            let surprise = salt.observe(&Nature::SALT, days, lesson.x, y);
            if follow(&mut self.salt_charts, SALT_STEP, salt, surprise) {
                self.salt_since = self.days;
            }
        } else if let Some(salt) = &mut self.salt {
            salt.pass(&Nature::SALT, days);
        }
        if let Some(y) = lesson.channel {
            let channel = self
                .channel
                .get_or_insert_with(|| Learned::new(&Nature::CHANNEL));
            channel.observe(&Nature::CHANNEL, days, lesson.x, y);
            if !channel.is_based() && channel.runs() >= runs {
                channel.take_baseline(std::iter::empty());
            }
        } else if let Some(channel) = &mut self.channel {
            channel.pass(&Nature::CHANNEL, days);
        }
        self.history
            .push(self.days, lesson.x, lesson.water, lesson.salt);
        let (water, salt) = (self.water.as_mut()?, self.salt.as_mut());
        let due = |learned: &Learned| !learned.is_based() && learned.runs() >= runs;
        if !water.is_based() || salt.as_ref().is_some_and(|salt| !salt.is_based()) {
            self.first.push((lesson.x, lesson.water, lesson.salt));
            if self.first.len() > runs {
                self.first.remove(0);
            }
        }
        if let Some(salt) = salt.filter(|salt| due(salt)) {
            let told = |run: &(f64, f64, Option<f64>)| Some((run.0, run.2?));
            salt.take_baseline(self.first.iter().filter_map(told));
        }
        let news = due(water).then(|| {
            water.take_baseline(self.first.iter().map(|run| (run.0, run.1)));
            self.baseline_set = when.ended;
            News::BaselineSet
        });
        let based = |learned: &Option<Learned>| learned.as_ref().is_none_or(Learned::is_based);
        if based(&self.water) && based(&self.salt) {
            self.first.clear();
        }
        Some(news.unwrap_or(News::Nothing))
    }

    /// Forgets the baseline; the next settled runs make a new one. What was learned of the
    /// temperature stays: the element is the same.
    pub(super) fn rebaseline(&mut self) {
        let all = [&mut self.water, &mut self.salt, &mut self.channel];
        for learned in all.into_iter().flatten() {
            learned.forget_baseline();
        }
        (self.flow_charts, self.salt_charts) = (Charts::default(), Charts::default());
        (self.flow_since, self.salt_since) = (self.days, self.days);
        self.first.clear();
        self.baseline_odds = None;
        self.baseline_set = None;
    }

    /// A new element: of the same make, most likely, so its response is where one begins.
    pub(super) fn replaced(&self) -> Self {
        let after = |learned: &Option<Learned>, nature| {
            learned.as_ref().map(|learned| learned.after(nature))
        };
        Self {
            water: after(&self.water, &Nature::WATER),
            salt: after(&self.salt, &Nature::SALT),
            ..Self::default()
        }
    }

    /// The state of the element before it was told as replaced, which it was not: the last figures are
    /// its own, what was learned since is lost.
    pub(super) fn taken_back(&self, former: Self) -> Self {
        if self.held.is_empty() {
            return former;
        }
        Self {
            held: self.held.clone(),
            held_at: self.held_at,
            ..former
        }
    }

    /// How permeability goes with temperature, as far as is known.
    #[must_use]
    pub fn law(&self) -> TemperatureLaw {
        self.water
            .as_ref()
            .map_or(TemperatureLaw::HANDBOOK, |water| {
                TemperatureLaw::learned(water.response().value)
            })
    }

    /// The weakest basis of what was learned.
    pub(super) fn basis(&self) -> Option<Basis> {
        self.basis
    }

    /// An element that has made its first runs, of just this flow for each bar at 25 °C: for asking
    /// what a configuration can give.
    pub fn in_service(runs: usize) -> Self {
        let mut state = Self::default();
        for _ in 0..runs {
            let lesson = Lesson {
                x: 0.0,
                water: -3.0,
                salt: Some(-5.0),
                channel: None,
                basis: Basis::Measured,
            };
            state.learn(lesson, When::default(), runs);
        }
        state
    }

    /// Settled runs since the baseline was last forgotten.
    #[must_use]
    pub fn baseline_runs(&self) -> usize {
        self.water.as_ref().map_or(0, Learned::runs)
    }

    /// The baseline under the conditions of a rating: its net driving pressure and temperature.
    pub(super) fn baseline_at(&self, driving: Pressure, temperature: Temperature) -> Option<Flow> {
        let water = self.water.as_ref()?;
        let level = water.baseline()? + water.response().value * coldness(temperature)?;
        Some(Flow::from_l_per_min(level.exp() * driving.bar()))
    }

    /// What this flow is of the baseline: ln of the share.
    pub(super) fn flow_share(
        &self,
        flow: Flow,
        driving: Pressure,
        temperature: Temperature,
    ) -> Option<f64> {
        let y = (flow.l_per_min() / driving.bar()).ln();
        let share = self.water.as_ref()?.share(coldness(temperature)?, y);
        share.filter(|share| share.is_finite())
    }

    /// The same, with what is not known of either.
    pub(super) fn compare_flow(
        &self,
        flow: Flow,
        driving: Pressure,
        temperature: Temperature,
    ) -> Option<Estimate> {
        let y = (flow.l_per_min() / driving.bar()).ln();
        let water = self.water.as_ref()?;
        water
            .compare(coldness(temperature)?, y)
            .filter(|share| share.value.is_finite())
    }

    /// What this salt passage is of the baseline's, both at the same conditions: ln of the share.
    pub(super) fn salt_share(
        &self,
        flow: Flow,
        feed_side: Conductivity,
        permeate: Conductivity,
        temperature: Temperature,
    ) -> Option<f64> {
        let y = salt_permeability(flow, feed_side, permeate)?;
        self.salt.as_ref()?.share(coldness(temperature)?, y)
    }

    /// A figure of the last run, while it is young enough.
    pub(super) fn held(&self, metric: Metric, now: Now) -> Finding<f64> {
        self.is_held(now)?;
        self.last_figure(metric)
    }

    /// Whether the last run's figures are young enough.
    fn is_held(&self, now: Now) -> Result<(), Lack> {
        let taken = self.held_at.ok_or(Lack::NotProducing)?;
        let date = now.date().ok_or(Lack::NoDate)?;
        // Put back a clock, and the figures are no older for it.
        let age = date.since(taken).unwrap_or_default();
        if age.as_secs() > HELD_DAYS * 86_400 {
            return Err(Lack::NotProducing);
        }
        Ok(())
    }

    fn last_figure(&self, metric: Metric) -> Finding<f64> {
        self.held
            .get(metric.description().name)
            .copied()
            .ok_or(Lack::NotProducing)
    }

    /// Fills in the figures of the last run.
    pub(super) fn fill_held(&self, values: &mut Values, now: Now) {
        let young = self.is_held(now);
        for metric in membrane_metrics() {
            values.set(metric, young.and_then(|()| self.last_figure(metric)));
        }
    }
}

/// Shows a run's surprise to the charts. Returns whether the level is let go to follow a step.
fn follow(charts: &mut Charts, worse: Worse, learned: &mut Learned, surprise: f64) -> bool {
    let Some(change) = learned.change() else {
        return false;
    };
    match charts.push(worse, surprise, change.value) {
        Call::Loosen => learned.loosen(LOOSENED),
        Call::Believed => return true,
        Call::Nothing => {}
    }
    false
}

fn membrane_metrics() -> impl Iterator<Item = Metric> {
    Metric::ALL
        .iter()
        .copied()
        .filter(|metric| metric.group() == Group::Membrane)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        config::{self, Limit},
        core::alert::{flow_falling, salt_rising},
        physics::normal::BAND_95,
    };

    fn learn(state: &mut MembraneState, salt: Option<f64>) {
        let lesson = Lesson {
            x: 0.0,
            water: -3.0,
            salt,
            channel: None,
            basis: Basis::Measured,
        };
        let when = When {
            ended: None,
            since_last: Some(Duration::from_secs(86_400)),
        };
        state.learn(lesson, when, 5);
    }

    #[test]
    fn what_was_not_seen_for_months_is_known_no_longer() {
        let mut state = MembraneState::default();
        for run in 0..60 {
            learn(&mut state, Some(-5.0 + 0.01 * f64::from(run % 3)));
        }
        let sure = state.change(Wear::Salt).unwrap().deviation;
        // The permeate probe is dead for ten months.
        for _ in 0..300 {
            learn(&mut state, None);
        }
        let unsure = state.change(Wear::Salt).unwrap().deviation;
        assert!(unsure > 5.0 * sure, "{sure} {unsure}");
        // A quarter more salt then is ten months of wear, not a step.
        for run in 0..20 {
            learn(&mut state, Some(-4.78 + 0.01 * f64::from(run % 3)));
        }
        assert_eq!(state.shift(Wear::Salt), None);
        let change = state.change(Wear::Salt).unwrap();
        assert!((change.value - 0.22).abs() < 0.03, "{change:?}");
    }

    /// Limits laid just before and just beyond what is known of the trend, with its band of 95 %.
    #[test]
    fn a_trend_is_told_once_it_is_surely_beyond_its_limit() {
        let mut state = MembraneState::default();
        for run in 0..60 {
            learn(&mut state, Some(-5.0 + 0.01 * f64::from(run % 3)));
        }
        let text = "[broker]\nurl = \"mqtt://localhost\"\n[[unit.u.sensor]]\nat = \"leak\"\ntopic = \"t\"\n";
        let settings = config::from_text("test", text, &BTreeMap::new(), None).unwrap();
        let mut alerts = settings.units[0].alerts.clone();
        let mut told = |state: &MembraneState, wear: Wear, [raise, clear]: [f64; 2]| {
            let limit = Some(Limit {
                raise: raise.exp(),
                clear: clear.exp(),
                hold: Duration::from_secs(7),
                clear_hold: Duration::from_secs(8),
            });
            (alerts.normalized_flow_falling, alerts.salt_passage_rising) = (limit, limit);
            let judged = match wear {
                Wear::Flow => flow_falling(state, &alerts),
                Wear::Salt => salt_rising(state, &alerts),
            };
            let judged = judged.unwrap();
            let change = state.change(wear).unwrap().value;
            assert!((judged.value - 100.0 * change.exp()).abs() < 1e-9);
            assert!((judged.limit - 100.0 * raise.exp()).abs() < 1e-9);
            assert_eq!((judged.hold.as_secs(), judged.clear_hold.as_secs()), (7, 8));
            format!("{:?}", judged.verdict)
        };
        for (wear, worse) in [(Wear::Flow, -1.0), (Wear::Salt, 1.0)] {
            let change = state.change(wear).unwrap();
            let sure = change.value - worse * BAND_95 * change.deviation;
            let at = |from: f64, by: f64| from + worse * by;
            for (raise, clear, verdict) in [
                (at(sure, -1e-6), at(sure, -0.1), "Beyond"),
                (at(sure, 1e-6), at(change.value, -1e-6), "Between"),
                (at(sure, 1e-6), at(change.value, 1e-6), "Well"),
            ] {
                assert_eq!(told(&state, wear, [raise, clear]), verdict, "{wear:?}");
            }
        }
        // A step is told at once, however far the limit.
        for _ in 0..20 {
            learn(&mut state, Some(-4.5));
        }
        assert!(state.shift(Wear::Salt).is_some());
        assert_eq!(told(&state, Wear::Salt, [9.0, 8.0]), "Beyond");
    }
}
