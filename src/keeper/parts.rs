//! A unit's state in the parts that are stored, and back.

use serde_json::{Map, Value};

use crate::{core::UnitState, edge::store::Parts};

/// A unit's state as it is stored: the JSON of each of its fields by the field's name, whatever fields
/// there are.
///
/// # Errors
/// When a field cannot be written as JSON.
pub fn state_parts(state: &UnitState) -> Result<Parts, serde_json::Error> {
    let fields: Map<String, Value> = serde_json::from_value(serde_json::to_value(state)?)?;
    let parts = fields.into_iter();
    Ok(parts
        .map(|(name, field)| (name, field.to_string()))
        .collect())
}

/// The parts of a state, if it can be read back from them: JSON has no word for infinity, and a state that
/// could not be read would keep the service from starting.
pub(super) fn readable_parts(state: &UnitState) -> Result<Parts, serde_json::Error> {
    let parts = state_parts(state)?;
    state_of_parts(&parts).map(|_| parts)
}

/// The state of which [`state_parts`] made the parts.
///
/// # Errors
/// When a part is no JSON, or not of its field.
pub fn state_of_parts(parts: &Parts) -> Result<UnitState, serde_json::Error> {
    let fields = parts
        .iter()
        .map(|(name, text)| Ok((name.clone(), serde_json::from_str(text)?)))
        .collect::<Result<Map<String, Value>, serde_json::Error>>()?;
    serde_json::from_value(Value::Object(fields))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_field_of_a_state_is_a_part_and_a_missing_one_has_its_default() {
        let mut state = UnitState::default();
        state.totals.runs = 7;
        let held = crate::core::Known::inferred(96.4);
        state.membrane.held.insert("rejection_pct".to_owned(), held);
        let mut parts = state_parts(&state).unwrap();
        assert_eq!(parts["open_run"], "null");
        assert!(parts["membrane"].contains(r#""rejection_pct":[96.4,"i"]"#));
        assert_eq!(state_of_parts(&parts).unwrap(), state);
        parts.remove("totals");
        let read = state_of_parts(&parts).unwrap();
        assert_eq!((read.totals.runs, read.membrane), (0, state.membrane));
        let mut endless = state_of_parts(&parts).unwrap();
        endless.totals.producing_seconds = f64::INFINITY;
        assert!(readable_parts(&endless).is_err());
        for wrong in ["7", "{", ""] {
            parts.insert("totals".to_owned(), wrong.to_owned());
            assert!(state_of_parts(&parts).is_err(), "{wrong:?}");
        }
    }
}
