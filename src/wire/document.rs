//! What a unit publishes: its topics and what stands in them, driven by the catalogue of metrics.
//!
//! A document holds a key for every metric the configuration can give; one that is not there now
//! is `null`, and `missing` says why. `basis` tells how each value was got.

use serde_json::{Map, Value, json};

pub use super::state::{KEPT, NO_VALUE, OFF, OFFLINE, ON, ONLINE, State, UNKEPT, states, topic};
use super::{
    Outgoing,
    due::{due_fields, stage_due_fields},
    fields::{Fields, Text, alert_fields, published, run_fields},
    hold_test,
    state::stage_metrics,
};
use crate::{
    core::{Event, Lack, RunRecord, RunState, StageFindings, Unit, Values, alert::Notice},
    metrics::{Group, Metric, rounded},
    time::{Now, Wall},
};

/// A unit at one moment, ready to be written down.
pub struct Snapshot<'a> {
    unit: &'a Unit,
    now: Now,
    values: Values,
    stages: Vec<StageFindings>,
}

impl<'a> Snapshot<'a> {
    /// Looks at a unit.
    #[must_use]
    pub fn of(unit: &'a Unit, now: Now) -> Self {
        Self {
            unit,
            now,
            values: unit.values(now),
            stages: unit.stage_findings(now),
        }
    }

    /// The values and what is left of the stages.
    #[must_use]
    pub fn found(&self) -> (&Values, &[StageFindings]) {
        (&self.values, &self.stages)
    }

    /// What stands for the number of a plain value: the same for the same text, another for another.
    /// `None` for what is no number.
    #[must_use]
    pub fn number(&self, state: State) -> Option<u64> {
        let (description, finding) = match state {
            State::StageValue(index, metric) => {
                let found = self.stages.get(index).map(|found| found.of(metric));
                (metric.description(), found.unwrap_or(Err(Lack::TooEarly)))
            }
            State::Value(metric) => (metric.description(), self.values.of(metric)),
            State::Alert(_)
            | State::AlertsActive
            | State::Available
            | State::Condition
            | State::Contact(_)
            | State::Costs
            | State::Due
            | State::HandTest(_)
            | State::HoldTest
            | State::Membrane
            | State::Now
            | State::Run
            | State::RunState
            | State::Stage(_)
            | State::Totals => return None,
        };
        // Findings are finite, so that this is none of them.
        let none = f64::NAN;
        let number = finding.map_or(none, |known| description.round(known.value));
        Some(number.to_bits())
    }

    /// Writes the text of a state, without the time of its writing: the same text is no news.
    pub fn write(&self, state: State, text: &mut Text) {
        match state {
            State::Alert(index) => {
                if let Some(alert) = self.unit.alerts().get(index) {
                    alert_fields(alert).write(text);
                }
            }
            State::Due => due_fields(self.unit, self.now).write(text),
            State::Costs => self.costs().write(text),
            State::HoldTest => hold_test::document(self.unit, self.now).write(text),
            State::AlertsActive => text.put(self.unit.alerts_active()),
            State::Condition => text.add(self.unit.condition(self.now).key()),
            State::Available => {
                let heard = self.unit.is_heard(self.now.mono);
                text.add(if heard { ONLINE } else { OFFLINE });
            }
            State::Contact(point) => {
                let contact = self.unit.train().contact(point, self.now.mono);
                let word = |on: bool| if on { ON } else { OFF };
                text.add(contact.map_or(NO_VALUE, |known| word(known.value)));
            }
            State::HandTest(test) => {
                let result = self.unit.hand_tests().newest(test);
                plain(result.map(|result| result.value.into()), text);
            }
            State::Membrane => self.membrane().write(text),
            State::Now => self.flowing().write(text),
            State::Run => run_fields(self.unit.last_run()).write(text),
            State::RunState => text.add(plain_state(self.unit.run_state())),
            State::Stage(index) => self.stage(index).write(text),
            State::StageValue(index, metric) => {
                let value = self
                    .stages
                    .get(index)
                    .and_then(|found| found.of(metric).ok());
                let value = value.map(|known| published(metric.description(), known.value));
                plain(value, text);
            }
            State::Totals => {
                let mut fields = Fields::default();
                self.metrics(Group::Totals, &mut fields);
                fields.write(text);
            }
            State::Value(metric) => {
                let value = self.values.of(metric).ok();
                let value = value.map(|known| published(metric.description(), known.value));
                plain(value, text);
            }
        }
    }

    fn metrics(&self, group: Group, fields: &mut Fields) {
        for metric in self
            .unit
            .possible()
            .iter()
            .filter(|metric| metric.group() == group)
        {
            fields.finding(metric.description(), self.values.of(*metric));
        }
    }

    fn flowing(&self) -> Fields {
        let mut fields = Fields::default();
        fields.put("state", self.unit.run_state().key());
        let started = self
            .unit
            .open_run(self.now)
            .and_then(|(started, _)| started);
        fields.put("run_started", started.map(Wall::to_rfc3339));
        self.metrics(Group::Now, &mut fields);
        for (point, contact) in self.unit.contacts(self.now.mono) {
            fields.put(point.key(), contact.ok().map(|known| known.value));
            if let Err(lack) = contact {
                fields.missing(point.key(), lack);
            }
        }
        let unconfirmed: Map<String, Value> = self
            .unit
            .unconfirmed()
            .into_iter()
            .map(|(id, value)| (id, value.into()))
            .collect();
        if !unconfirmed.is_empty() {
            fields.put("unconfirmed", unconfirmed);
        }
        fields
    }

    fn membrane(&self) -> Fields {
        let mut fields = Fields::default();
        let live = self.unit.run_state() == RunState::Producing;
        let membrane = self.unit.membrane();
        fields.put("live", live);
        let as_of = membrane.held_at.filter(|_| !live);
        fields.put("as_of", as_of.map(Wall::to_rfc3339));
        for group in [Group::Membrane, Group::Wear, Group::Chemistry] {
            self.metrics(group, &mut fields);
        }
        let round = |flow: crate::quantity::Flow| {
            Metric::NormalizedFlow.description().round(flow.l_per_min())
        };
        let causes: Vec<Value> = self
            .unit
            .likely_causes()
            .iter()
            .map(|likely| {
                json!({
                    "cause": likely.cause.title(),
                    "because": likely.speaks_for,
                    "check_first": likely.cause.check_first(),
                    "caution": likely.cause.caution(),
                })
            })
            .collect();
        fields.put("likely_causes", causes);
        fields.put("baseline_flow_l_min", self.unit.baseline_flow().map(round));
        fields.put("baseline_set", membrane.baseline_set.map(Wall::to_rfc3339));
        fields.put("baseline_runs_so_far", membrane.baseline_runs());
        fields.put("break_in_runs", membrane.break_in_runs);
        fields.put("advice", self.unit.membrane_advice());
        fields
    }

    fn costs(&self) -> Fields {
        let mut fields = Fields::default();
        let prices = self.unit.settings().costs.as_ref();
        fields.put("currency", prices.map(|prices| prices.currency.as_str()));
        let day = self.unit.costs().days.day;
        fields.put("day", day.map(|day| day.to_string()));
        self.metrics(Group::Costs, &mut fields);
        // What is booked of each filling, and stages that nobody told the price of.
        let booked = &self.unit.costs().fillings;
        let (mut fillings, mut without) = (Map::new(), Vec::new());
        for stage in self.unit.stages() {
            let id = stage.settings().id.as_str();
            match (stage.price(), booked.get(id)) {
                (Some(price), Some(filling)) => {
                    let spent = rounded(filling.spent, 2);
                    fillings.insert(id.to_owned(), json!({"price": price, "used_up": spent}));
                }
                (Some(price), None) => {
                    fillings.insert(id.to_owned(), json!({"price": price, "used_up": null}));
                }
                (None, _) => without.push(id),
            }
        }
        fields.put("fillings", fillings);
        fields.put("stages_without_price", without);
        fields
    }

    fn stage(&self, index: usize) -> Fields {
        let mut fields = Fields::default();
        let (Some(stage), Some(found)) = (self.unit.stages().get(index), self.stages.get(index))
        else {
            return fields;
        };
        fields.put("name", stage.settings().name.as_str());
        fields.put("kind", stage.settings().kind.key());
        fields.put("installed", stage.state().installed.map(Wall::to_rfc3339));
        for metric in stage_metrics(found) {
            fields.finding(metric.description(), found.of(metric));
        }
        fields.put("binds", found.binding.map(crate::core::Binding::key));
        stage_due_fields(self.unit, self.now, index, &mut fields);
        if let Some(taught) = self.unit.capacity_learned_from(stage) {
            fields.put("capacity_learned_from", taught);
        }
        let notes = self.unit.stage_notes(stage);
        if !notes.is_empty() {
            fields.put("notes", notes);
        }
        fields.put("advice", stage.advice());
        fields
    }
}

/// The message of a state as it stands in `body`.
#[must_use]
pub fn message(topic: String, body: &Text, now: Now) -> Outgoing {
    let mut payload = Text::default();
    match body.bytes().strip_prefix(b"{") {
        // Documents tell when they were written; plain values stay plain.
        Some(rest) => {
            payload.add("{\"time\":");
            payload.put(now.date().map(Wall::to_rfc3339));
            payload.add(if rest == b"}" { "" } else { "," });
            payload.append(rest);
        }
        None => payload.append(body.bytes()),
    }
    // It is kept until the next one of its topic.
    let mut payload = payload.into_string();
    payload.shrink_to_fit();
    Outgoing {
        topic,
        payload,
        retain: true,
    }
}

/// The message of an event.
#[must_use]
pub fn event(prefix: &str, unit: &str, event: &Event) -> Outgoing {
    let payload = json!({
        "time": event.time.map(Wall::to_rfc3339),
        "event": event.event.key(),
        "event_type": event.event.key(),
        "about": event.about,
        "text": event.text,
    });
    Outgoing {
        topic: format!("{prefix}/{unit}/event"),
        payload: payload.to_string(),
        retain: false,
    }
}

/// The message of a notice.
#[must_use]
pub fn notice(prefix: &str, unit: &str, notice: &Notice) -> Outgoing {
    let payload = json!({
        "time": notice.time.map(Wall::to_rfc3339),
        "number": notice.number,
        "kind": notice.kind.key(),
        "alert": notice.key(),
        "code": notice.code.key(),
        "about": notice.about,
        "severity": notice.severity.key(),
        "title": notice.title,
        "text": notice.text,
        "check_first": notice.check_first(),
        "caution": notice.caution(),
        "since": notice.since.map(Wall::to_rfc3339),
        "also": notice.also,
    });
    Outgoing {
        topic: format!("{prefix}/{unit}/notice"),
        payload: payload.to_string(),
        retain: false,
    }
}

/// A run as published.
#[must_use]
pub fn run_text(record: &RunRecord) -> String {
    run_fields(Some(record)).text()
}

fn plain(value: Option<Value>, text: &mut Text) {
    match value {
        Some(value) => text.put(value),
        None => text.add(NO_VALUE),
    }
}

fn plain_state(state: RunState) -> &'static str {
    if state == RunState::Unknown {
        NO_VALUE
    } else {
        state.key()
    }
}
