//! A state as the store gives it back: JSON.

use permeated::core::UnitState;
use serde_json::Value;

use super::world::{World, written_and_read};

/// No count or figure of a unit is larger; those that are belong to no store that we wrote.
const LARGEST: f64 = 1e12;

/// A state that reads writes and reads again to the same. A unit can begin with it, whatever it says, and
/// what is kept of it then reads, too.
pub fn take(bytes: &[u8]) {
    let Ok(value) = serde_json::from_slice::<Value>(bytes) else {
        return;
    };
    if !is_of_a_unit(&value) {
        return;
    }
    let Ok(state) = serde_json::from_value::<UnitState>(value) else {
        return;
    };
    assert_eq!(written_and_read(&state), state);
    let mut world = World::of(&state);
    world.pass(10);
    for (topic, payload) in [
        ("p", "120"),
        ("j", r#"{"a":[4.1],"t":65,"n":20,"on":1}"#),
        ("permeated/u/do/stage/bed/replaced", ""),
    ] {
        world.hear(topic, payload.as_bytes(), permeated::core::Arrival::Live);
        world.pass(70);
    }
    let kept = world.state();
    assert_eq!(written_and_read(&kept), kept);
}

fn is_of_a_unit(value: &Value) -> bool {
    match value {
        Value::Number(number) => number.as_f64().is_some_and(|size| size.abs() <= LARGEST),
        Value::Array(values) => values.iter().all(is_of_a_unit),
        Value::Object(fields) => fields.values().all(is_of_a_unit),
        Value::Null | Value::Bool(_) | Value::String(_) => true,
    }
}
