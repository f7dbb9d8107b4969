//! Where a board says that it is there: by the usual names of such topics and the usual words.

use std::collections::BTreeMap;

use super::{announced::Presence, board, heard::Topic, series::Series};

/// Names of a last level under which boards say so.
const NAMES: &[&str] = &[
    "lwt",
    "status",
    "online",
    "availability",
    "available",
    "connected",
    "connection",
    "state",
    "will",
    "alive",
];
/// Words for up and down: ESPHome and hubs, Tasmota (the same in capitals), ESPEasy, and others.
const PAIRS: &[(&str, &str)] = &[
    ("online", "offline"),
    ("connected", "connection lost"),
    ("connected", "disconnected"),
    ("alive", "dead"),
    ("up", "down"),
];
/// Words that say so only under a name that asks.
const FLAGS: &[(&str, &str)] = &[("true", "false"), ("1", "0"), ("yes", "no")];
const ASKING: &[&str] = &["online", "availability", "available", "connected", "alive"];

/// A topic that says so.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Said {
    pub(super) presence: Presence,
    /// What it said last.
    pub(super) is_up: bool,
}

/// The presences of all boards, by board.
pub(super) fn all(topics: &BTreeMap<String, Topic>) -> BTreeMap<String, Said> {
    let mut found = BTreeMap::new();
    for (topic, record) in topics {
        if let Some(said) = of(topic, record) {
            found.entry(board_of(topic)).or_insert(said);
        }
    }
    found
}

/// The board of such a topic: what stands before its last level.
fn board_of(topic: &str) -> String {
    let board = board::of(topic);
    if board.is_known {
        return board.key;
    }
    topic
        .rsplit_once('/')
        .map_or("", |(before, _)| before)
        .to_owned()
}

/// Whether a topic is one, and in which words.
pub(super) fn of(topic: &str, record: &Topic) -> Option<Said> {
    let name = topic.rsplit('/').next()?.to_lowercase();
    if !NAMES.contains(&name.as_str()) {
        return None;
    }
    [None, Some("/state".to_owned())]
        .into_iter()
        .find_map(|pointer| {
            let series = record.values.get(&pointer)?;
            let (up, down) = pair(&name, series)?;
            Some(Said {
                is_up: series.last.eq_ignore_ascii_case(&up),
                presence: Presence {
                    topic: topic.to_owned(),
                    pointer,
                    up,
                    down,
                },
            })
        })
}

fn pair(name: &str, series: &Series) -> Option<(String, String)> {
    let flags = if ASKING.contains(&name) { FLAGS } else { &[] };
    let heard: Vec<String> = match &series.numbers {
        Some(numbers) if numbers.whole => vec![format!("{}", numbers.last)],
        Some(_) => return None,
        None => series.words.iter().cloned().collect(),
    };
    // "offline" is a word for no value, too; where it is the only one it is heard as none.
    let is_offline = heard.is_empty() && series.last == "offline";
    let fits = |(up, down): &&(&str, &str)| heard.iter().all(|word| word == up || word == down);
    let (up, down) = if is_offline {
        ("online", "offline")
    } else if heard.is_empty() {
        return None;
    } else {
        *PAIRS.iter().chain(flags).find(fits)?
    };
    Some((up.to_owned(), down.to_owned()))
}
