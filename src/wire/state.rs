//! What a unit publishes as retained states, their topics, and the words of plain values.

use crate::{
    config::Point,
    core::{HandTest, Lack, StageFindings, Unit, alert::Alert, hold_test::gauge},
    metrics::{Group, Metric, StageMetric},
    time::Now,
};

/// Something a unit publishes as a retained state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// An alert, by its index.
    Alert(usize),
    /// What falls due, and what to order.
    Due,
    /// What the product costs.
    Costs,
    /// The pressure hold test.
    HoldTest,
    /// A plain value: how many alerts are active.
    AlertsActive,
    /// A plain value: how the unit stands.
    Condition,
    /// A plain value: whether anything of the unit is heard.
    Available,
    /// A plain value: a contact.
    Contact(Point),
    /// A plain value: the newest result of a test by hand.
    HandTest(HandTest),
    /// What the membrane does.
    Membrane,
    /// What flows now.
    Now,
    /// The last run.
    Run,
    /// A plain value: what the unit does.
    RunState,
    /// A stage, by its index.
    Stage(usize),
    /// A plain value of a stage.
    StageValue(usize, StageMetric),
    /// Ever-growing sums.
    Totals,
    /// A plain value of the unit.
    Value(Metric),
}

impl State {
    /// Whether it tells of something that only grows, so that whoever adds up its growth would be misled by a
    /// fall.
    #[must_use]
    pub fn tells_sums(self) -> bool {
        match self {
            Self::Costs | Self::Stage(_) | Self::Totals => true,
            Self::StageValue(_, metric) => metric.is_sum(),
            Self::Value(metric) => matches!(metric.group(), Group::Costs | Group::Totals),
            Self::Alert(_)
            | Self::AlertsActive
            | Self::Available
            | Self::Condition
            | Self::Contact(_)
            | Self::Due
            | Self::HandTest(_)
            | Self::HoldTest
            | Self::Membrane
            | Self::Now
            | Self::Run
            | Self::RunState => false,
        }
    }
}

/// The word for "no value now" on plain topics; hubs read it as unknown.
pub const NO_VALUE: &str = "None";

/// The words for a contact that is closed, and one that is not.
pub const ON: &str = "ON";
/// The other.
pub const OFF: &str = "OFF";
/// The words for a unit of which something is heard, and one that is silent.
pub const ONLINE: &str = "online";
/// The other.
pub const OFFLINE: &str = "offline";
/// The words for a service that can keep its state, and one whose disk refuses it.
pub const KEPT: &str = "ok";
/// The other.
pub const UNKEPT: &str = "failing";

/// Everything a unit publishes under its configuration, in a fixed order.
#[must_use]
pub fn states(unit: &Unit, now: Now) -> Vec<State> {
    let has = |group: Group| unit.possible().iter().any(|metric| metric.group() == group);
    let mut states = vec![State::Now];
    if has(Group::Membrane) {
        states.push(State::Membrane);
    }
    states.push(State::Totals);
    if unit.settings().costs.is_some() {
        states.push(State::Costs);
    }
    states.push(State::Run);
    if gauge(unit.settings()).is_some() {
        states.push(State::HoldTest);
    }
    states.extend((0..unit.stages().len()).map(State::Stage));
    states.push(State::Due);
    states.extend((0..unit.alerts().len()).map(State::Alert));
    states.push(State::Available);
    states.push(State::RunState);
    states.push(State::AlertsActive);
    states.push(State::Condition);
    let contacts = unit.contacts(now.mono).into_iter();
    states.extend(contacts.map(|(point, _)| State::Contact(point)));
    states.extend(HandTest::ALL.map(State::HandTest));
    states.extend(unit.possible().iter().copied().map(State::Value));
    for (index, found) in unit.stage_findings(now).iter().enumerate() {
        states.extend(stage_metrics(found).map(|metric| State::StageValue(index, metric)));
    }
    states
}

/// The metrics this configuration can give for a stage.
pub(super) fn stage_metrics(found: &StageFindings) -> impl Iterator<Item = StageMetric> {
    let can_be = |metric: &StageMetric| !found.of(*metric).is_err_and(Lack::is_permanent);
    StageMetric::ALL
        .iter()
        .copied()
        .filter(can_be)
        .collect::<Vec<_>>()
        .into_iter()
}

/// The topic of a state.
#[must_use]
pub fn topic(prefix: &str, unit: &Unit, state: State) -> String {
    let id = &unit.settings().id;
    let stage = |index: usize| {
        unit.settings()
            .stages
            .get(index)
            .map_or("", |stage| &stage.id)
    };
    match state {
        State::Alert(index) => {
            let key = unit.alerts().get(index).map(Alert::key).unwrap_or_default();
            format!("{prefix}/{id}/alert/{key}")
        }
        State::Due => format!("{prefix}/{id}/due"),
        State::Costs => format!("{prefix}/{id}/costs"),
        State::HoldTest => format!("{prefix}/{id}/hold_test"),
        State::AlertsActive => format!("{prefix}/{id}/value/alerts_active"),
        State::Condition => format!("{prefix}/{id}/value/condition"),
        State::Available => format!("{prefix}/{id}/available"),
        State::Contact(point) => format!("{prefix}/{id}/value/{}", point.key()),
        State::HandTest(test) => format!("{prefix}/{id}/value/test/{}", test.key()),
        State::Membrane => format!("{prefix}/{id}/membrane"),
        State::Now => format!("{prefix}/{id}/now"),
        State::Run => format!("{prefix}/{id}/run"),
        State::RunState => format!("{prefix}/{id}/value/state"),
        State::Stage(index) => format!("{prefix}/{id}/stage/{}", stage(index)),
        State::StageValue(index, metric) => {
            format!(
                "{prefix}/{id}/value/stage/{}/{}",
                stage(index),
                metric.description().name
            )
        }
        State::Totals => format!("{prefix}/{id}/totals"),
        State::Value(metric) => format!("{prefix}/{id}/value/{}", metric.description().name),
    }
}
