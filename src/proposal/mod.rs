//! What a keeper's broker carries → what looks like a sensor of the unit, why, and a configuration to
//! start from. Pure: messages in, text out.
//!
//! The way of a message: [`Heard`] keeps each value's course (`series`) within limits and what hubs are
//! told of it (`announced`); `board` takes topics apart, `words` and `units` know names; `judge` says
//! what a value is taken for; `settle` gives each point one sensor; `report` and `configuration` write.

mod announced;
mod board;
mod configuration;
mod finding;
mod heard;
mod judge;
mod presence;
mod report;
mod series;
mod settle;
mod units;
mod walk;
mod words;

#[cfg(test)]
mod tests;

pub use configuration::Entry;
pub use heard::{Heard, LeftOut, Message};

use std::collections::{BTreeMap, BTreeSet};

use announced::Announced;
use board::Board;
use finding::Finding;
use judge::{Judged, Value};
use series::Series;
use words::Elsewhere;

/// What came of the listening.
#[derive(Debug)]
pub struct Proposal {
    findings: Vec<Finding>,
    passed: Vec<Passed>,
    /// Boards that said that they are away.
    away: Vec<String>,
    /// Payloads of several numbers, which no sensor can be read from.
    lists: Vec<(String, String)>,
    /// Boards that said that they are there and nothing else.
    silent: Vec<String>,
    messages: u64,
    topics: usize,
    values: usize,
    ours: u64,
    left_out: LeftOut,
}

/// A value that is not proposed.
#[derive(Clone, Debug, PartialEq)]
struct Passed {
    place: String,
    last: String,
    often: String,
    why: Elsewhere,
    is_reading: bool,
}

impl Proposal {
    /// Proposes from what was heard.
    #[must_use]
    pub fn of(heard: &Heard) -> Self {
        let (messages, topics, values) = heard.counts();
        let boards: BTreeMap<&str, Board> = heard
            .topics
            .keys()
            .map(|topic| (topic.as_str(), board::of(topic)))
            .collect();
        let told = told(&heard.announced);
        let beside = beside(heard);
        let presences = presence::all(&heard.topics);
        let spoken: BTreeSet<&str> = presences
            .values()
            .map(|said| said.presence.topic.as_str())
            .collect();
        let mut proposal = Self {
            findings: Vec::new(),
            passed: Vec::new(),
            away: Vec::new(),
            lists: Vec::new(),
            silent: Vec::new(),
            messages,
            topics,
            values,
            ours: heard.ours,
            left_out: heard.left_out,
        };
        let mut all: Vec<Value<'_>> = Vec::with_capacity(values);
        for (topic, record) in &heard.topics {
            let Some(board) = boards.get(topic.as_str()) else {
                continue;
            };
            if let Some(list) = &record.list {
                proposal.lists.push((topic.clone(), list.clone()));
            }
            if spoken.contains(topic.as_str()) || record.list.is_some() {
                continue;
            }
            all.extend(record.values.iter().map(|(pointer, series)| {
                Value {
                    topic,
                    pointer: pointer.as_deref(),
                    board,
                    series,
                    record,
                    told: told
                        .get(&(topic.as_str(), pointer.as_deref()))
                        .copied()
                        .or_else(|| beside.get(topic.as_str())),
                }
            }));
        }
        let wet: BTreeSet<&str> = (all.iter())
            .filter(|value| value.of_the_trade().is_some())
            .map(|value| value.board.key.as_str())
            .collect();
        for value in &all {
            let in_company = wet.contains(value.board.key.as_str());
            match judge::judge(value, in_company) {
                Judged::Finding(mut finding) => {
                    let said = presences.get(&finding.board);
                    finding.presence = finding
                        .presence
                        .filter(|presence| !heard.is_ours(&presence.topic));
                    if finding.presence.is_none() {
                        finding.presence = said.map(|said| said.presence.clone());
                    }
                    if said.is_some_and(|said| !said.is_up) {
                        finding
                            .decide
                            .push("its board says that it is away".to_owned());
                    }
                    proposal.findings.push(*finding);
                }
                Judged::Passed(why) => proposal.passed.push(Passed::of(value, why)),
            }
        }
        settle::settle(&mut proposal.findings);
        proposal.findings.sort_by_key(|finding| {
            (
                finding.mirror_of.is_some(),
                std::cmp::Reverse(finding.sureness),
                finding.point(),
            )
        });
        proposal.boards(&presences, &wet, &all);
        proposal
    }

    /// What boards said of themselves.
    fn boards(
        &mut self,
        presences: &BTreeMap<String, presence::Said>,
        wet: &BTreeSet<&str>,
        all: &[Value<'_>],
    ) {
        let speaking: BTreeSet<&str> = all.iter().map(|value| value.board.key.as_str()).collect();
        for (board, said) in presences {
            let of_the_trade = words::any(&words::words(board), words::OF_THE_TRADE).is_some();
            if !said.is_up && (wet.contains(board.as_str()) || of_the_trade) {
                self.away.push(said.presence.topic.clone());
            } else if of_the_trade && !speaking.contains(board.as_str()) {
                self.silent.push(said.presence.topic.clone());
            }
        }
    }

    /// Whether there is anything to configure.
    #[must_use]
    pub fn has_sensors(&self) -> bool {
        self.findings.iter().any(Finding::is_active)
    }

    /// Sensors that stand in the configuration, and those that wait for a decision.
    #[must_use]
    pub fn counts(&self) -> (usize, usize) {
        let active = self
            .findings
            .iter()
            .filter(|finding| finding.is_active())
            .count();
        let mirrors = self
            .findings
            .iter()
            .filter(|finding| finding.mirror_of.is_some())
            .count();
        (active, self.findings.len() - active - mirrors)
    }
}

impl Passed {
    fn of(value: &Value<'_>, why: Elsewhere) -> Self {
        Self {
            place: value.pointer.map_or_else(
                || value.topic.to_owned(),
                |pointer| format!("{} {pointer}", value.topic),
            ),
            last: value.series.last.clone(),
            often: value.series.often(),
            why,
            is_reading: is_reading(value.series),
        }
    }
}

/// A number, or a word of a contact.
fn is_reading(series: &Series) -> bool {
    const WORDS: &[&str] = &[
        "on", "off", "true", "false", "yes", "no", "open", "closed", "wet", "dry",
    ];
    series.numbers.is_some()
        || (!series.words.is_empty()
            && series
                .words
                .iter()
                .all(|word| WORDS.contains(&word.as_str())))
}

/// What hubs are told, by topic and pointer.
fn told(announced: &[Announced]) -> BTreeMap<(&str, Option<&str>), &Announced> {
    announced
        .iter()
        .map(|told| ((told.topic.as_str(), told.pointer.as_deref()), told))
        .collect()
}

/// What a hub that publishes its states tells in topics beside them.
fn beside(heard: &Heard) -> BTreeMap<&str, Announced> {
    let attribute = |parent: &str, name: &str| {
        let topic = heard.topics.get(&format!("{parent}/{name}"))?;
        let series = topic.values.get(&None)?;
        (series.numbers.is_none() && !series.last.is_empty()).then(|| series.last.clone())
    };
    (heard.topics.keys())
        .filter_map(|topic| {
            let parent = topic.strip_suffix("/state")?;
            let (unit, class) = (
                attribute(parent, "unit_of_measurement"),
                attribute(parent, "device_class"),
            );
            let name = attribute(parent, "friendly_name");
            (unit.is_some() || class.is_some() || name.is_some()).then(|| {
                let told = Announced {
                    topic: topic.clone(),
                    unit,
                    class,
                    name,
                    ..Announced::default()
                };
                (topic.as_str(), told)
            })
        })
        .collect()
}
