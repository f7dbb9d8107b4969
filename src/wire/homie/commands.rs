//! What a keeper can tell a unit by Homie: the same commands as on `do/…`, under the names of properties.

use super::properties::{Property, stage_node};
use crate::{
    config::{UnitSettings, homie_id},
    core::HandTest,
    wire::hub::short,
};

/// The word that says a stage was replaced …
const REPLACED: &str = "replaced";
/// … and the one that acknowledges all alerts.
const ALL: &str = "all";

/// A command as on `do/…`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// What stands behind `do/`.
    pub path: String,
    /// The payload.
    pub payload: Vec<u8>,
    /// Whether the property is a moment and not a state: what was done is said on it once.
    pub is_moment: bool,
}

/// The properties that only take commands, where any are taken. They are moments: nothing of them is retained.
pub(super) fn buttons(settings: &UnitSettings) -> Vec<Property> {
    let moment = |property: Property, word: &str| {
        let property = property.with("format", word);
        property.with("settable", true).with("retained", false)
    };
    if !settings.takes_commands {
        return Vec::new();
    }
    let stages = settings.stages.iter().map(|stage| {
        let (node, name) = (stage_node(&stage.id), short(&stage.name));
        let property = Property::new(&node, &name, "replaced", "was replaced", "enum");
        moment(property, REPLACED)
    });
    let alerts = Property::new("alerts", "Alerts", "acknowledge", "Acknowledge", "enum");
    stages.chain([moment(alerts, ALL)]).collect()
}

/// The command that setting a property is; `None` for a property that cannot be set.
///
/// # Errors
/// A sentence that says what was wrong and what is allowed.
pub fn asked(
    settings: &UnitSettings,
    node: &str,
    property: &str,
    payload: &[u8],
) -> Option<Result<Asked, String>> {
    let button = |path: String, word: &str| {
        if payload == word.as_bytes() {
            return Ok(Asked {
                path,
                payload: Vec::new(),
                is_moment: true,
            });
        }
        let found =
            String::from_utf8_lossy(payload.get(..payload.len().min(40)).unwrap_or(payload));
        Err(format!(
            "{found:?} is nothing that {node}/{property} takes; it takes {word:?}"
        ))
    };
    match (node, property) {
        ("alerts", "acknowledge") => Some(button("alert/all/acknowledge".to_owned(), ALL)),
        ("tests", name) => {
            let mut tests = HandTest::ALL.into_iter();
            let test = tests.find(|test| homie_id(test.key()) == name)?;
            Some(Ok(Asked {
                path: format!("test/{}", test.key()),
                payload: payload.to_vec(),
                is_moment: false,
            }))
        }
        (node, "replaced") => {
            let mut stages = settings.stages.iter();
            let stage = stages.find(|stage| stage_node(&stage.id) == node)?;
            Some(button(format!("stage/{}/replaced", stage.id), REPLACED))
        }
        _ => None,
    }
}
