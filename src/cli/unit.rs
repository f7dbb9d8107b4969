//! Which unit a command is about.

use crate::config::{Settings, UnitSettings};

/// More are not named in one sentence.
const MOST_NAMED: usize = 20;

/// The unit of that id; without one, the only unit there is.
pub(super) fn chosen<'s>(
    settings: &'s Settings,
    id: Option<&str>,
) -> Result<&'s UnitSettings, String> {
    let ids = || {
        let ids: Vec<&str> = settings.units.iter().map(|unit| unit.id.as_str()).collect();
        match ids.split_at_checked(MOST_NAMED) {
            Some((named, more)) if !more.is_empty() => {
                format!("{} and {} more", named.join(", "), more.len())
            }
            Some(_) | None => ids.join(", "),
        }
    };
    match (id, settings.units.as_slice()) {
        (Some(id), units) => units
            .iter()
            .find(|unit| unit.id == id)
            .ok_or_else(|| format!("--unit: there is no unit {id:?}; configured: {}", ids())),
        (None, [only]) => Ok(only),
        (None, _) => Err(format!(
            "there are several units; say --unit with one of {}",
            ids()
        )),
    }
}
