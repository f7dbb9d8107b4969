//! Which board a topic comes from and what in it names the value, by the layouts of common firmware
//! (their documentation and sources).

use super::words::words;

/// A topic, taken apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Board {
    /// What the topics of one board share.
    pub(super) key: String,
    /// Words that name the value.
    pub(super) leaf: Vec<String>,
    /// Words around it.
    pub(super) around: Vec<String>,
    /// The layout says what belongs to one board; else it is only the level above.
    pub(super) is_known: bool,
    /// Which of several topics with the same value to take: the lowest.
    pub(super) rank: u8,
}

/// Names of a last level that name nothing.
const GENERAL: &[&str] = &[
    "state",
    "value",
    "status",
    "data",
    "json",
    "sensor",
    "sensors",
    "telemetry",
    "reading",
    "readings",
    "measurement",
    "up",
    "events",
    "result",
    "raw",
    "attributes",
];
/// Kinds of entities, as ESPHome and hubs name a level.
const COMPONENTS: &[&str] = &[
    "sensor",
    "binary_sensor",
    "text_sensor",
    "switch",
    "number",
    "valve",
    "button",
    "select",
    "input_boolean",
];

/// Takes a topic apart.
pub(super) fn of(topic: &str) -> Board {
    let levels: Vec<&str> = topic.split('/').collect();
    tasmota(&levels)
        .or_else(|| shelly(&levels))
        .or_else(|| zigbee(&levels))
        .or_else(|| states_of_a_hub(&levels))
        .or_else(|| esphome(&levels))
        .unwrap_or_else(|| plain(&levels))
}

fn board(key: &[&str], leaf: &[&str], is_known: bool, rank: u8) -> Board {
    Board {
        key: key.join("/"),
        leaf: words(&leaf.join("/")),
        around: words(&key.join("/")),
        is_known,
        rank,
    }
}

/// `tele/<board>/SENSOR`, or with the prefix elsewhere; `stat/…/STATUS8` says the same when asked.
fn tasmota(levels: &[&str]) -> Option<Board> {
    let prefix = levels
        .iter()
        .position(|level| ["tele", "stat"].contains(level))?;
    let (last, before) = levels.split_last()?;
    let is_theirs = last
        .chars()
        .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit());
    if !is_theirs || before.len() < 2 {
        return None;
    }
    let key: Vec<&str> = (before.iter().enumerate())
        .filter(|(at, _)| *at != prefix)
        .map(|(_, level)| *level)
        .collect();
    let rank = if levels[prefix] == "tele" { 0 } else { 2 };
    Some(board(&key, &[], true, rank))
}

/// `<board>/status/<component>:<id>` and `<board>/events/rpc` of second-generation boards.
fn shelly(levels: &[&str]) -> Option<Board> {
    match levels {
        [key @ .., "status", component] if component.contains(':') && !key.is_empty() => {
            // An input is a socket, no place in the water.
            let named = component.strip_prefix("input:").unwrap_or(component);
            Some(board(key, &[named], true, 0))
        }
        [key @ .., "events", "rpc"] if !key.is_empty() => Some(board(key, &[], true, 2)),
        _ => None,
    }
}

fn zigbee(levels: &[&str]) -> Option<Board> {
    match levels {
        ["zigbee2mqtt", name @ .., "availability"] | ["zigbee2mqtt", name @ ..]
            if !name.is_empty() =>
        {
            Some(Board {
                key: format!("zigbee2mqtt/{}", name.join("/")),
                leaf: Vec::new(),
                around: words(&name.join("/")),
                is_known: true,
                rank: 0,
            })
        }
        _ => None,
    }
}

/// A hub's own states, each an entity by itself; where the board is heard too, that is better.
fn states_of_a_hub(levels: &[&str]) -> Option<Board> {
    match levels {
        ["homeassistant" | "statestream", component, name, _] if COMPONENTS.contains(component) => {
            Some(board(&["homeassistant", name], &[name], false, 3))
        }
        _ => None,
    }
}

/// `<board>/<component>/<name>/state`.
fn esphome(levels: &[&str]) -> Option<Board> {
    match levels {
        [key @ .., component, name, "state"]
            if COMPONENTS.contains(component) && !key.is_empty() =>
        {
            Some(board(key, &[name], true, 0))
        }
        _ => None,
    }
}

fn plain(levels: &[&str]) -> Board {
    let named = (levels.iter())
        .rposition(|level| !level.is_empty() && !GENERAL.contains(&level.to_lowercase().as_str()));
    let (key, leaf) = levels.split_at(named.unwrap_or(0));
    // A topic of one level is its own board.
    let key = if key.iter().all(|level| level.is_empty()) {
        &levels[..=named.unwrap_or(0)]
    } else {
        key
    };
    board(key, leaf, false, 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layouts_of_common_firmware_are_known() {
        for (topic, key, leaf, is_known) in [
            ("tele/rodi/SENSOR", "rodi", "", true),
            ("cellar/rodi/tele/SENSOR", "cellar/rodi", "", true),
            ("stat/rodi/STATUS8", "rodi", "", true),
            ("rodi/sensor/feed_tds/state", "rodi", "feed tds", true),
            (
                "home/rodi/sensor/feed_tds/state",
                "home/rodi",
                "feed tds",
                true,
            ),
            (
                "shelly-rodi/status/temperature:100",
                "shelly-rodi",
                "temperature 100",
                true,
            ),
            ("shelly-rodi/events/rpc", "shelly-rodi", "", true),
            (
                "zigbee2mqtt/cellar/RO leak",
                "zigbee2mqtt/cellar/RO leak",
                "",
                true,
            ),
            (
                "zigbee2mqtt/RO leak/availability",
                "zigbee2mqtt/RO leak",
                "",
                true,
            ),
            (
                "homeassistant/sensor/ro_tds/state",
                "homeassistant/ro_tds",
                "ro tds",
                false,
            ),
            ("/home/rodi/flow", "/home/rodi", "flow", false),
            ("rodi/feed/state", "rodi", "feed state", false),
            ("water", "water", "water", false),
            ("/", "", "", false),
        ] {
            let board = of(topic);
            assert_eq!(
                (
                    board.key.as_str(),
                    board.leaf.join(" ").as_str(),
                    board.is_known
                ),
                (key, leaf, is_known),
                "{topic}"
            );
        }
    }
}
