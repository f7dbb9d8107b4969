//! What falls due and what to order, written down for people and hubs.

use serde_json::{Value, json};

use super::fields::Fields;
use crate::{
    core::{Binding, Task, Unit},
    metrics::StageMetric,
    time::Now,
};

/// The list of a unit: what falls due, the first first, and what belongs into the next order.
pub(super) fn due_fields(unit: &Unit, now: Now) -> Fields {
    let tasks = unit.tasks(now);
    let next = tasks.iter().find(|task| task.days.is_some());
    let round = |days: f64| StageMetric::LeftTime.description().round(days);
    let mut fields = Fields::default();
    fields.put("next_due", next.and_then(|task| task.dates.likely));
    fields.put("next_due_d", next.and_then(|task| task.days).map(round));
    let list: Vec<Value> = tasks.iter().map(|task| task_value(unit, task)).collect();
    fields.put("list", list);
    let order: Vec<&str> = tasks
        .iter()
        .filter(|task| task.order_now)
        .filter_map(|task| Some(unit.settings().stages.get(task.stage)?.id.as_str()))
        .collect();
    fields.put("order_now", order);
    fields
}

fn task_value(unit: &Unit, task: &Task) -> Value {
    let stage = unit.settings().stages.get(task.stage);
    json!({
        "id": stage.map(|stage| &stage.id),
        "name": stage.map(|stage| &stage.name),
        "what": "replace",
        "kind": stage.map(|stage| stage.kind.key()),
        "earliest": task.dates.earliest,
        "due": task.dates.likely,
        "latest": task.dates.latest,
        "order_by": task.dates.order_by,
        "why": task.why,
    })
}

/// When a stage falls due, among what else is told of it.
pub(super) fn stage_due_fields(unit: &Unit, now: Now, index: usize, fields: &mut Fields) {
    let dues = unit.dues(now);
    let Some(due) = dues.get(index) else { return };
    let dates = unit.due_dates(now, index, due);
    fields.put("due", dates.likely);
    fields.put("due_earliest", dates.earliest);
    fields.put("due_latest", dates.latest);
    fields.put("order_by", dates.order_by);
    fields.put("due_binds", due.binding.map(Binding::key));
    fields.put("why", unit.due_text(now, index, due));
}
