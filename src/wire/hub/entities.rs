//! A unit's components: its values, contacts, alerts and events, and what can be told to it.

use serde_json::{Value, json};

use super::{
    Component, TRIGGER, alert_name,
    shape::{self, Place as Standing, Shape},
    short,
};
use crate::{
    core::{
        EventKind, HandTest, RunState, Unit,
        alert::{Condition, Phase, Subject},
        hold_test::gauge,
    },
    metrics::Description,
    wire::document::{self, NO_VALUE, OFF, ON, State},
};

/// Where a unit publishes, and how its unique ids begin.
pub(super) struct Place<'a> {
    pub prefix: &'a str,
    pub unique: String,
    /// Where the service tells that it is there.
    pub status: String,
    pub unit: &'a Unit,
}

/// Everything a hub is told of a unit that publishes these states.
pub(super) fn of(place: &Place<'_>, states: &[State]) -> Vec<Component> {
    let mut components: Vec<Component> = states
        .iter()
        .filter_map(|state| of_state(place, *state))
        .collect();
    components.push(event(place));
    components.extend(["alert_raised", "alert_cleared"].map(|kind| trigger(place, kind)));
    if place.unit.settings().takes_commands {
        components.extend(commands(place));
    }
    components
}

fn of_state(place: &Place<'_>, state: State) -> Option<Component> {
    match state {
        State::Alert(index) => alert(place, index),
        State::Contact(point) => {
            let (name, class) = shape::of_contact(point)?;
            let mut component = place.component(point.key(), "binary_sensor", name);
            component.put("device_class", class);
            component.put("state_topic", place.topic(state));
            Some(component)
        }
        // A box that takes nothing would be a riddle.
        State::HandTest(test) => {
            let takes = place.unit.settings().takes_commands;
            takes.then(|| number(place, test))
        }
        State::AlertsActive => {
            let mut component = place.component("alerts_active", "sensor", "Active alerts");
            component.put("state_class", "measurement");
            component.put("suggested_display_precision", 0);
            component.put("state_topic", place.topic(state));
            place.even_when_silent(&mut component);
            Some(component)
        }
        State::Condition => {
            let options = Condition::ALL.map(Condition::key).to_vec();
            let mut component = words(place, "condition", "Condition", options, state);
            place.even_when_silent(&mut component);
            Some(component)
        }
        State::RunState => Some(run_state(place)),
        State::StageValue(index, metric) => {
            let stage = place.unit.settings().stages.get(index)?;
            let shape = shape::of_stage_metric(metric);
            let description = metric.description();
            let key = format!("stage_{}_{}", stage.id, description.name);
            let name = format!("{} {}", short(&stage.name), shape.title);
            Some(sensor(place, &key, &name, shape, description, state))
        }
        State::Value(metric) => {
            let (shape, description) = (shape::of_metric(metric), metric.description());
            let key = description.name;
            Some(sensor(place, key, shape.title, shape, description, state))
        }
        // Documents are for people and scripts; each of their values has a topic of its own.
        State::Available
        | State::Costs
        | State::Due
        | State::HoldTest
        | State::Membrane
        | State::Now
        | State::Run
        | State::Stage(_)
        | State::Totals => None,
    }
}

fn sensor(
    place: &Place<'_>,
    key: &str,
    name: &str,
    shape: Shape,
    description: &Description,
    state: State,
) -> Component {
    let mut component = place.component(key, "sensor", name);
    if let Some(class) = shape.device_class {
        component.put("device_class", class);
    }
    component.put("state_class", shape.state_class);
    let costs = place.unit.settings().costs.as_ref();
    let unit = description.unit_in(costs.map_or("", |costs| &costs.currency));
    if !unit.is_empty() {
        component.put("unit_of_measurement", unit);
    }
    component.put("suggested_display_precision", description.decimals);
    match shape.place {
        Standing::Front => {}
        Standing::Deep => component.put("entity_category", "diagnostic"),
        Standing::Rare => {
            component.put("entity_category", "diagnostic");
            component.put("enabled_by_default", false);
        }
    }
    component.put("state_topic", place.topic(state));
    component
}

/// A state that is none of the options would be an error to the hub; an unknown one is no value.
fn run_state(place: &Place<'_>) -> Component {
    const OPTIONS: [RunState; 4] = [
        RunState::Standby,
        RunState::Settling,
        RunState::Producing,
        RunState::Flushing,
    ];
    let options = OPTIONS.map(RunState::key).to_vec();
    words(place, "state", "State", options, State::RunState)
}

fn words(
    place: &Place<'_>,
    key: &str,
    name: &str,
    options: Vec<&'static str>,
    state: State,
) -> Component {
    let mut component = place.component(key, "sensor", name);
    component.put("device_class", "enum");
    component.put("options", options);
    component.put("state_topic", place.topic(state));
    component
}

/// An alert stays judged while the unit is silent: silence is one of them.
fn alert(place: &Place<'_>, index: usize) -> Option<Component> {
    let alert = place.unit.alerts().get(index)?;
    let name = alert_name(place.unit, alert);
    let key = format!("alert_{}", alert.key().replace('/', "_"));
    let topic = place.topic(State::Alert(index));
    let mut component = place.component(&key, "binary_sensor", &name);
    component.put("device_class", "problem");
    if matches!(alert.subject, Subject::Sensor(_)) {
        component.put("entity_category", "diagnostic");
    }
    component.put("state_topic", topic.clone());
    component.put("value_template", alert_template());
    component.put("json_attributes_topic", topic);
    component.put("json_attributes_template", ATTRIBUTES);
    place.even_when_silent(&mut component);
    Some(component)
}

/// Only what changes with the alert itself: every change of an attribute is a row in the hub's database.
const ATTRIBUTES: &str = "{{ {'severity': value_json.severity, 'since': value_json.since, 'text': value_json.text, \
                          'value': value_json.value, 'limit': value_json.limit, 'unit': value_json.unit, \
                          'check_first': value_json.check_first} | to_json }}";

/// The phase as the hub's word; one that was never judged is neither on nor off.
fn alert_template() -> String {
    let word = |phase: Phase| match phase {
        Phase::Active => ON,
        Phase::Clear => OFF,
        Phase::Unknown => NO_VALUE,
    };
    let words = [Phase::Active, Phase::Clear, Phase::Unknown]
        .map(|phase| format!("'{}': '{}'", phase.key(), word(phase)));
    format!(
        "{{{{ {{{}}}.get(value_json.state, '{NO_VALUE}') }}}}",
        words.join(", ")
    )
}

fn event(place: &Place<'_>) -> Component {
    let mut component = place.component("event", "event", "Event");
    component.put("event_types", EventKind::ALL.map(EventKind::key).to_vec());
    component.put("state_topic", place.event_topic());
    place.even_when_silent(&mut component);
    component
}

/// For automations that begin with the device.
fn trigger(place: &Place<'_>, kind: &'static str) -> Component {
    let mut component = Component::new(kind, TRIGGER);
    component.put("automation_type", "trigger");
    component.put("type", kind);
    component.put("subtype", "any");
    component.put("topic", place.event_topic());
    component.put("value_template", "{{ value_json.event_type }}");
    component.put("payload", kind);
    component
}

/// What a keeper can tell the unit. A button of a further command belongs into this list.
fn commands(place: &Place<'_>) -> Vec<Component> {
    const PRESS: &str = "PRESS";
    let settings = place.unit.settings();
    let mut list: Vec<(String, String, String, &str)> = settings
        .stages
        .iter()
        .map(|stage| {
            (
                format!("stage_{}_replaced", stage.id),
                format!("{} was replaced", short(&stage.name)),
                format!("stage/{}/replaced", stage.id),
                PRESS,
            )
        })
        .collect();
    let mut add = |key: &str, name: &str, path: &str, payload: &'static str| {
        list.push((key.to_owned(), name.to_owned(), path.to_owned(), payload));
    };
    add("rebaseline", "New baseline", "membrane/rebaseline", PRESS);
    add(
        "acknowledge",
        "Acknowledge alerts",
        "alert/all/acknowledge",
        PRESS,
    );
    add(
        "snooze",
        "Snooze alerts for a day",
        "alert/all/snooze",
        "P1D",
    );
    if gauge(settings).is_some() {
        add(
            "hold_test_start",
            "Start pressure hold test",
            "hold_test/start",
            PRESS,
        );
        add(
            "hold_test_stop",
            "Stop pressure hold test",
            "hold_test/stop",
            PRESS,
        );
    }
    list.iter()
        .map(|(key, name, path, payload)| {
            let mut component = place.component(key, "button", name);
            component.put("command_topic", place.command_topic(path));
            component.put("payload_press", *payload);
            component.put("entity_category", "config");
            place.even_when_silent(&mut component);
            component
        })
        .collect()
}

fn number(place: &Place<'_>, test: HandTest) -> Component {
    let entry = shape::of_test(test);
    let key = format!("test_{}", test.key());
    let mut component = place.component(&key, "number", entry.title);
    component.put(
        "command_topic",
        place.command_topic(&format!("test/{}", test.key())),
    );
    component.put("state_topic", place.topic(State::HandTest(test)));
    component.put("entity_category", "config");
    component.put("min", entry.smallest);
    component.put("max", entry.largest);
    component.put("step", entry.step);
    component.put("mode", "box");
    if !entry.unit.is_empty() {
        component.put("unit_of_measurement", entry.unit);
    }
    place.even_when_silent(&mut component);
    component
}

impl Place<'_> {
    fn component(&self, key: &str, platform: &'static str, name: &str) -> Component {
        let mut component = Component::new(key, platform);
        component.put("unique_id", format!("{}.{key}", self.unique));
        component.put("name", name);
        component
    }

    fn topic(&self, state: State) -> String {
        document::topic(self.prefix, self.unit, state)
    }

    fn event_topic(&self) -> String {
        format!("{}/{}/event", self.prefix, self.unit.settings().id)
    }

    fn command_topic(&self, path: &str) -> String {
        format!("{}/{}/do/{path}", self.prefix, self.unit.settings().id)
    }

    /// There as long as the service is, whether the unit's sensors speak or not.
    fn even_when_silent(&self, component: &mut Component) {
        let status: Value = json!([{ "topic": self.status }]);
        component.put("availability", status);
    }
}
