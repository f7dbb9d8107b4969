//! What the store held when it was opened, as the core knows it.

use std::collections::BTreeMap;

use super::AppError;
use crate::{core::UnitState, edge::store::Loaded, keeper::state_of_parts};

pub(super) fn read_states(loaded: &Loaded) -> Result<BTreeMap<String, UnitState>, AppError> {
    loaded
        .units
        .iter()
        .map(|(unit, parts)| match state_of_parts(parts) {
            Ok(state) => Ok((unit.clone(), state)),
            Err(source) => Err(AppError::State {
                unit: unit.clone(),
                source,
            }),
        })
        .collect()
}
