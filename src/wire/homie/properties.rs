//! What each state of a unit is to Homie: its place, its type, its range, and how its text is said.

use serde_json::{Map, Value};

use super::document::{NO_VALUE, ON, ONLINE, State};
use crate::{
    config::homie_id,
    core::{
        RunState, Unit,
        alert::{Condition, Phase},
    },
    metrics::{Description, Group},
    wire::hub::{alert_name, shape, short},
};

/// A property of a unit's device.
pub(super) struct Property {
    /// The node it is part of, and that node's name.
    pub node: String,
    pub node_name: String,
    /// Its id in the node.
    pub id: String,
    /// What is said of it in the description.
    pub about: Map<String, Value>,
    /// How its text is said.
    pub saying: Saying,
}

/// How the plain text of a state is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Saying {
    /// As it is; "no value" is nothing.
    Same,
    /// This word is true, "no value" nothing, any other false.
    TrueFor(&'static str),
    /// Of the alert, by its index.
    Alert(usize),
}

impl Property {
    pub fn new(node: &str, node_name: &str, id: &str, name: &str, datatype: &str) -> Self {
        let mut about = Map::new();
        about.insert("name".to_owned(), name.into());
        about.insert("datatype".to_owned(), datatype.into());
        Self {
            node: node.to_owned(),
            node_name: node_name.to_owned(),
            id: homie_id(id),
            about,
            saying: Saying::Same,
        }
    }

    pub fn with(mut self, key: &str, value: impl Into<Value>) -> Self {
        self.about.insert(key.to_owned(), value.into());
        self
    }

    fn said(mut self, saying: Saying) -> Self {
        self.saying = saying;
        self
    }

    fn in_unit(self, unit: &str) -> Self {
        if unit.is_empty() {
            return self;
        }
        self.with("unit", unit)
    }
}

/// The property that tells a state; documents have none, for each of their values has one.
pub(super) fn property(unit: &Unit, state: State) -> Option<Property> {
    match state {
        State::Alert(index) => {
            let alert = unit.alerts().get(index)?;
            let name = alert_name(unit, alert);
            let property = Property::new(
                "alerts",
                "Alerts",
                &alert_id(&alert.key()),
                &name,
                "boolean",
            );
            Some(property.said(Saying::Alert(index)))
        }
        State::AlertsActive => Some(Property::new(
            "alerts",
            "Alerts",
            "active",
            "Active alerts",
            "integer",
        )),
        State::Available => {
            Some(now("available", "Available", "boolean").said(Saying::TrueFor(ONLINE)))
        }
        State::Condition => {
            let words = Condition::ALL.map(Condition::key).join(",");
            Some(now("condition", "Condition", "enum").with("format", words))
        }
        State::Contact(point) => {
            let (name, _) = shape::of_contact(point)?;
            Some(now(point.key(), name, "boolean").said(Saying::TrueFor(ON)))
        }
        State::HandTest(test) => {
            let entry = shape::of_test(test);
            let range = format!("{}:{}", entry.smallest, entry.largest);
            let property =
                Property::new("tests", "Tests by hand", test.key(), entry.title, "float");
            let property = property.with("format", range);
            let property = property.with("settable", unit.settings().takes_commands);
            Some(property.in_unit(entry.unit))
        }
        State::RunState => {
            let words = [
                RunState::Standby,
                RunState::Settling,
                RunState::Producing,
                RunState::Flushing,
            ];
            let words = words.map(RunState::key).join(",");
            Some(now("state", "State", "enum").with("format", words))
        }
        State::StageValue(index, metric) => {
            let stage = unit.settings().stages.get(index)?;
            let title = shape::of_stage_metric(metric).title;
            let (node, name) = (stage_node(&stage.id), short(&stage.name));
            Some(number(unit, (&node, &name), title, metric.description()))
        }
        State::Value(metric) => {
            let title = shape::of_metric(metric).title;
            let place = node_of(metric.group());
            Some(number(unit, place, title, metric.description()))
        }
        State::Costs
        | State::Due
        | State::HoldTest
        | State::Membrane
        | State::Now
        | State::Run
        | State::Stage(_)
        | State::Totals => None,
    }
}

/// The id of an alert, in the node of alerts and among the device's own alerts.
pub(super) fn alert_id(key: &str) -> String {
    homie_id(&key.replace('/', "-"))
}

/// The node of a stage.
pub(super) fn stage_node(id: &str) -> String {
    format!("stage-{}", homie_id(id))
}

fn now(id: &str, name: &str, datatype: &str) -> Property {
    let (node, node_name) = node_of(Group::Now);
    Property::new(node, node_name, id, name, datatype)
}

fn number(
    unit: &Unit,
    (node, node_name): (&str, &str),
    title: &str,
    description: &Description,
) -> Property {
    // What counts whole things is published without a point.
    let datatype = if description.decimals == 0 {
        "integer"
    } else {
        "float"
    };
    let costs = unit.settings().costs.as_ref();
    let unit = description.unit_in(costs.map_or("", |costs| &costs.currency));
    Property::new(node, node_name, description.name, title, datatype).in_unit(&unit)
}

fn node_of(group: Group) -> (&'static str, &'static str) {
    match group {
        Group::Now => ("now", "Now"),
        Group::Membrane => ("membrane", "Membrane"),
        Group::Wear => ("wear", "Wear of the membrane"),
        Group::Chemistry => ("chemistry", "Chemistry"),
        Group::Totals => ("totals", "Totals"),
        Group::Costs => ("costs", "Costs"),
    }
}

impl Saying {
    /// What is published for the plain text of a state; empty where there is no value.
    pub fn say(self, unit: &Unit, text: &str) -> String {
        let truth = |truth: bool| truth.to_string();
        match self {
            Self::Alert(index) => match unit.alerts().get(index).map(|alert| alert.life.phase()) {
                Some(Phase::Active) => truth(true),
                Some(Phase::Clear) => truth(false),
                Some(Phase::Unknown) | None => String::new(),
            },
            Self::Same | Self::TrueFor(_) if text == NO_VALUE => String::new(),
            Self::Same => text.to_owned(),
            Self::TrueFor(word) => truth(text == word),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::core::alert::Code;

    /// An alert of one code about `b` must not have the id of another code: `a` about `b_c` and `a_b`
    /// about `c` would be one.
    #[test]
    fn no_code_begins_with_another_and_a_subject() {
        for one in Code::ALL {
            let start = format!("{}_", one.key());
            let beginning = Code::ALL.iter().find(|code| code.key().starts_with(&start));
            assert_eq!(beginning, None, "{one:?}");
        }
    }
}
