//! Plays a scenario through the core and compares what it publishes with what is expected.

use std::collections::{BTreeMap, HashMap};

use permeated::{
    core::UnitState,
    installation::{Incoming, Installation, Record},
    time::{Mono, Now, Wall},
};
use serde_json::Value;

use super::script::{Action, Content, Expectation, Script};

/// Plays it; every failure in words.
pub fn play(script: &Script) -> Vec<String> {
    let mut player = Player::new(script);
    for step in &script.steps {
        player.go_to(step.at);
        match &step.action {
            Action::Message {
                topic,
                content,
                arrival,
            } => {
                let payload = player.payload(topic, content);
                let now = player.now();
                if let Some(installation) = &mut player.installation {
                    installation.hear(
                        now,
                        Incoming {
                            topic,
                            payload: payload.as_bytes(),
                            arrival: *arrival,
                            packet: None,
                        },
                    );
                }
                player.collect();
            }
            Action::Stop => player.stop(),
            Action::Start => player.start(),
            Action::SetClock(wall) => player.wall_at_zero = Wall(wall.0 - player.at as i64),
            Action::ShiftClock(by) => player.wall_at_zero.0 += by,
            Action::Expect(expectation) => {
                if let Err(found) = player.check(expectation) {
                    let Expectation {
                        unit,
                        what,
                        key,
                        expected,
                    } = expectation;
                    player.failures.push(format!(
                        "{}:{}: {unit} {what} {key}: found {found}, expected {expected}",
                        script.file, step.line
                    ));
                }
            }
        }
    }
    player.failures
}

struct Player<'a> {
    script: &'a Script,
    installation: Option<Installation>,
    kept: BTreeMap<String, String>,
    /// Milliseconds since the scenario began, and when the service last started.
    at: u64,
    started: u64,
    wall_at_zero: Wall,
    counts: HashMap<String, f64>,
    /// The last retained message by topic.
    told: HashMap<String, String>,
    /// Unit, kind, `about: text`.
    events: Vec<(String, String, String)>,
    records: Vec<(String, &'static str)>,
    failures: Vec<String>,
}

impl<'a> Player<'a> {
    fn new(script: &'a Script) -> Self {
        let mut player = Self {
            script,
            installation: None,
            kept: BTreeMap::new(),
            at: 0,
            started: 0,
            wall_at_zero: script.start,
            counts: HashMap::new(),
            told: HashMap::new(),
            events: Vec::new(),
            records: Vec::new(),
            failures: Vec::new(),
        };
        player.start();
        player
    }

    /// Both clocks; the monotonic one begins anew with the service.
    fn now(&self) -> Now {
        Now {
            mono: Mono(self.at - self.started),
            wall: Wall(self.wall_at_zero.0 + self.at as i64),
        }
    }

    fn start(&mut self) {
        self.started = self.at;
        let kept = |id: &str| {
            let text = self.kept.get(id);
            text.map_or_else(UnitState::default, |text| {
                serde_json::from_str(text).expect("a state that was kept reads again")
            })
        };
        self.installation = Some(Installation::new(&self.script.settings, kept, self.now()));
        self.collect();
    }

    fn stop(&mut self) {
        for unit in self.installation.iter().flat_map(Installation::units) {
            let text = serde_json::to_string(&unit.state()).unwrap();
            self.kept.insert(unit.settings().id.clone(), text);
        }
        self.installation = None;
    }

    fn go_to(&mut self, at: u64) {
        while let Some(due) = self
            .installation
            .as_ref()
            .and_then(Installation::deadline)
            .map(|due| due.0 + self.started)
            .filter(|due| *due <= at)
        {
            self.at = self.at.max(due);
            let now = self.now();
            if let Some(installation) = &mut self.installation {
                installation.advance(now);
            }
            self.collect();
        }
        self.at = at;
    }

    fn payload(&mut self, topic: &str, content: &Content) -> String {
        let count = match content {
            Content::Text(text) => return text.clone(),
            Content::CountFrom(start) => *start,
            Content::CountOn(step) => self.counts.get(topic).copied().unwrap_or(0.0) + step,
        };
        self.counts.insert(topic.to_owned(), count);
        count.to_string()
    }

    fn collect(&mut self) {
        let Some(installation) = &mut self.installation else {
            return;
        };
        while let Some(message) = installation.drain() {
            // What hubs are told has tests of its own.
            let Some(topic) = message.topic.strip_prefix("permeated/") else {
                continue;
            };
            let topic = topic.to_owned();
            if message.retain {
                check_guards(self.script, &topic, &message.payload, &mut self.failures);
                self.told.insert(topic, message.payload);
            } else {
                let event: Value = serde_json::from_str(&message.payload).unwrap();
                let unit = topic.strip_suffix("/event").unwrap().to_owned();
                let words = |key: &str| event[key].as_str().unwrap_or_default().to_owned();
                self.events.push((
                    unit,
                    words("event"),
                    format!("{}: {}", words("about"), words("text")),
                ));
            }
        }
        for record in installation.take_records() {
            self.records.push(match record {
                Record::Entry(unit, _) => (unit, "entry"),
                Record::Notice(unit, notice) => {
                    installation.delivered(&unit, notice.number);
                    self.events.push((
                        unit.clone(),
                        format!("notice_{}", notice.kind.key()),
                        format!("{}: {}: {}", notice.key(), notice.title, notice.text),
                    ));
                    (unit, "notice")
                }
                Record::Run(unit, _) => (unit, "run"),
                // One for every minute; one beside each event of an alert.
                Record::Alert(..) | Record::Sample(..) => continue,
                Record::Stage(unit, _) => (unit, "stage"),
            });
        }
    }

    /// What was found instead, if it is not as expected.
    fn check(&self, expectation: &Expectation) -> Result<(), String> {
        let Expectation {
            unit,
            what,
            key,
            expected,
        } = expectation;
        match what.as_str() {
            "event" => {
                let last = self.events_of(unit, key).last().ok_or("no such event")?;
                let part = expected.trim_matches('"');
                same(last.contains(part), || format!("{last:?}"))
            }
            "events" => {
                let found = self.events_of(unit, key).count().to_string();
                same(found == *expected, || found.clone())
            }
            "records" => {
                let own = |record: &&(String, &str)| record.0 == *unit && record.1 == key;
                let found = self.records.iter().filter(own).count().to_string();
                same(found == *expected, || found.clone())
            }
            "alert" => {
                let document = self.document(&format!("{unit}/alert/{key}"))?;
                let found = document["state"].as_str().unwrap_or_default();
                same(found == expected, || format!("{found} ({document})"))
            }
            "value" => {
                let topic = format!("{unit}/value/{key}");
                let found = self.told.get(&topic).ok_or("nothing published")?;
                let value = found
                    .parse::<f64>()
                    .map_or_else(|_| Value::from(found.as_str()), Value::from);
                compare(&value, None, None, expected)
            }
            document => {
                let found = self.document(&format!("{unit}/{document}"))?;
                let pointer = format!("/{key}");
                let value = found.pointer(&pointer);
                if expected == "absent" {
                    return same(value.is_none(), || format!("{found}"));
                }
                let value = value.ok_or_else(|| format!("no such key in {found}"))?;
                let word = |map: &str| found[map][key.as_str()].as_str();
                compare(value, word("basis"), word("missing"), expected)
            }
        }
    }

    /// The texts of a unit's events of a kind (`KIND` or `KIND@ABOUT`).
    fn events_of(&self, unit: &str, key: &str) -> impl DoubleEndedIterator<Item = &String> {
        let (kind, about) = key.split_once('@').unwrap_or((key, ""));
        let about = if about.is_empty() {
            String::new()
        } else {
            format!("{about}: ")
        };
        let (unit, kind) = (unit.to_owned(), kind.to_owned());
        let own = move |event: &&(String, String, String)| {
            event.0 == unit && event.1 == kind && event.2.starts_with(&about)
        };
        self.events.iter().filter(own).map(|event| &event.2)
    }

    fn document(&self, topic: &str) -> Result<Value, String> {
        let text = self.told.get(topic).ok_or("nothing published")?;
        serde_json::from_str(text).map_err(|_| format!("no JSON: {text}"))
    }
}

fn check_guards(script: &Script, topic: &str, payload: &str, failures: &mut Vec<String>) {
    for guard in &script.guards {
        let Ok(value) = payload.parse::<f64>() else {
            continue;
        };
        let own = format!("{}/value/{}", guard.unit, guard.metric);
        if topic == own && !(guard.low..=guard.high).contains(&value) {
            failures.push(format!(
                "{}:{}: {own}: found {value}, expected always {} to {}",
                script.file, guard.line, guard.low, guard.high
            ));
        }
    }
}

fn same(is: bool, found: impl Fn() -> String) -> Result<(), String> {
    if is { Ok(()) } else { Err(found()) }
}

/// `250 ±0.1 measured`, `null "reason"`, a word.
fn compare(
    value: &Value,
    basis: Option<&str>,
    missing: Option<&str>,
    expected: &str,
) -> Result<(), String> {
    let found = || match (basis, missing) {
        (Some(basis), _) => format!("{value} {basis}"),
        (None, Some(missing)) => format!("{value} ({missing})"),
        (None, None) => value.to_string(),
    };
    if let Some(reason) = expected.strip_prefix("null") {
        let reason = reason.trim().trim_matches('"');
        let told = reason.is_empty() || missing.is_some_and(|missing| missing.contains(reason));
        return same(value.is_null() && told, found);
    }
    let mut words = expected.split_whitespace();
    let first = words.next().unwrap_or_default();
    let Ok(number) = first.parse::<f64>() else {
        // As a word, or as JSON has it (true, false).
        let json = value.to_string();
        let word = value.as_str() == Some(expected.trim_matches('"'));
        return same(word || json == expected, found);
    };
    let mut tolerance = 1e-9;
    let mut wanted_basis = None;
    for word in words {
        match word.strip_prefix('±') {
            Some(width) => tolerance = width.parse().map_err(|_| "a number after ±".to_owned())?,
            None => wanted_basis = Some(word),
        }
    }
    let close = value
        .as_f64()
        .is_some_and(|value| (value - number).abs() <= tolerance + 1e-9);
    same(
        close && wanted_basis.is_none_or(|wanted| basis == Some(wanted)),
        found,
    )
}
