//! Reads a scenario: text → configuration and a list of what happens when.

use std::{collections::BTreeMap, fs, path::Path};

use permeated::{
    config::{self, Settings},
    core::Arrival,
    time::Wall,
};

/// A scenario.
pub struct Script {
    pub file: String,
    pub settings: Settings,
    /// The wall clock at the beginning.
    pub start: Wall,
    /// By time; messages before expectations of the same time.
    pub steps: Vec<Step>,
    pub guards: Vec<Guard>,
}

/// What happens, when (milliseconds from the beginning) and where it is written.
pub struct Step {
    pub at: u64,
    pub line: usize,
    pub action: Action,
}

pub enum Action {
    Message {
        topic: String,
        content: Content,
        arrival: Arrival,
    },
    Stop,
    Start,
    SetClock(Wall),
    ShiftClock(i64),
    Expect(Expectation),
}

#[derive(Clone)]
pub enum Content {
    Text(String),
    /// A count that starts at a number.
    CountFrom(f64),
    /// A count that goes on by a step.
    CountOn(f64),
}

/// `always UNIT value METRIC LOW to HIGH`.
pub struct Guard {
    pub line: usize,
    pub unit: String,
    pub metric: String,
    pub low: f64,
    pub high: f64,
}

pub struct Expectation {
    pub unit: String,
    pub what: String,
    pub key: String,
    pub expected: String,
}

const DEFAULT_START: &str = "2026-03-02T06:00:00Z";

impl Script {
    /// Reads a scenario.
    pub fn read(file: &str, text: &str, folder: &Path) -> Result<Self, String> {
        let mut toml = String::new();
        let mut start = DEFAULT_START.to_owned();
        let (mut steps, mut guards) = (Vec::new(), Vec::new());
        let mut in_block = false;
        for (index, row) in text.lines().enumerate() {
            let line = index + 1;
            let wrong = |why: &str| format!("{file}:{line}: {why} in {row:?}");
            if in_block {
                in_block = row.trim() != "---";
                if in_block {
                    toml += &format!("{row}\n");
                }
                continue;
            }
            let row = row.trim();
            if row.is_empty() || row.starts_with('#') {
                continue;
            }
            if let Some(name) = row.strip_prefix("config:") {
                in_block = name.trim().is_empty();
                if !in_block {
                    toml += &fs::read_to_string(folder.join(name.trim()))
                        .map_err(|error| wrong(&error.to_string()))?;
                }
            } else if let Some(time) = row.strip_prefix("start:") {
                start = time.trim().to_owned();
            } else if let Some(rest) = row.strip_prefix("always ") {
                guards.push(guard(line, rest).ok_or_else(|| wrong("no such always"))?);
            } else {
                read_row(line, row, &mut steps).map_err(|why| wrong(&why))?;
            }
        }
        let settings = config::from_text(file, &toml, &BTreeMap::new(), None)
            .map_err(|problems| format!("{file}:0: {problems}"))?;
        steps.sort_by_key(|step: &Step| (step.at, matches!(step.action, Action::Expect(_))));
        let start = if start == "unset" {
            Wall(0)
        } else {
            Wall::from_rfc3339(&start).ok_or_else(|| format!("{file}:0: no time: {start:?}"))?
        };
        Ok(Self {
            file: file.to_owned(),
            settings,
            start,
            steps,
            guards,
        })
    }
}

fn guard(line: usize, rest: &str) -> Option<Guard> {
    let words: Vec<&str> = rest.split_whitespace().collect();
    let [unit, "value", metric, low, "to", high] = words.as_slice() else {
        return None;
    };
    Some(Guard {
        line,
        unit: (*unit).to_owned(),
        metric: (*metric).to_owned(),
        low: low.parse().ok()?,
        high: high.parse().ok()?,
    })
}

fn read_row(line: usize, row: &str, steps: &mut Vec<Step>) -> Result<(), String> {
    if let Some(rest) = row.strip_prefix("every ") {
        return repeat(line, rest, steps);
    }
    let (at, rest) = time(row)?;
    let action = match word(rest) {
        ("stop", "") => Action::Stop,
        ("start", "") => Action::Start,
        ("clock", to) => match to.strip_prefix('-') {
            Some(back) => Action::ShiftClock(-i64::try_from(time(back)?.0).unwrap()),
            None => Action::SetClock(Wall::from_rfc3339(to).ok_or("no time")?),
        },
        ("expect", rest) => Action::Expect(expectation(rest)?),
        _ => {
            let (topic, content, arrival) = message(rest)?;
            Action::Message {
                topic,
                content,
                arrival,
            }
        }
    };
    steps.push(Step { at, line, action });
    Ok(())
}

/// `10 s from 00:00:00 to 01:00:00 TOPIC PAYLOAD`
fn repeat(line: usize, rest: &str, steps: &mut Vec<Step>) -> Result<(), String> {
    const FORM: &str = "every N s from TIME to TIME TOPIC PAYLOAD is expected";
    let (seconds, rest) = word(rest);
    let step = seconds.parse::<f64>().map_err(|_| FORM)? * 1000.0;
    let rest = rest.strip_prefix("s from ").ok_or(FORM)?;
    let (from, rest) = time(rest).map_err(|_| FORM)?;
    let rest = rest.strip_prefix("to ").ok_or(FORM)?;
    let (to, rest) = time(rest).map_err(|_| FORM)?;
    let (topic, content, arrival) = message(rest)?;
    let (first, others) = match content {
        Content::Text(text) => match count_from(&text) {
            Some((start, step)) => (Content::CountFrom(start), Content::CountOn(step)),
            None => (Content::Text(text.clone()), Content::Text(text)),
        },
        counted => (counted.clone(), counted),
    };
    for index in 0.. {
        let at = from + (f64::from(index) * step).round() as u64;
        if at > to {
            break;
        }
        steps.push(Step {
            at,
            line,
            action: Action::Message {
                topic: topic.clone(),
                content: if index == 0 { &first } else { &others }.clone(),
                arrival,
            },
        });
    }
    Ok(())
}

/// `1000 += 25`
fn count_from(text: &str) -> Option<(f64, f64)> {
    let (start, step) = text.split_once("+=")?;
    Some((start.trim().parse().ok()?, step.trim().parse().ok()?))
}

fn message(rest: &str) -> Result<(String, Content, Arrival), String> {
    let (arrival, rest) = match word(rest) {
        ("retained", rest) => (Arrival::Retained, rest),
        ("late", rest) => (Arrival::Late, rest),
        _ => (Arrival::Live, rest),
    };
    let (topic, payload) = word(rest);
    let content = match payload {
        "" => return Err("no payload ('' is the empty one)".to_owned()),
        "''" => Content::Text(String::new()),
        text => match text.strip_prefix("+=") {
            Some(step) => Content::CountOn(step.trim().parse().map_err(|_| "no step")?),
            None => Content::Text(text.to_owned()),
        },
    };
    Ok((topic.to_owned(), content, arrival))
}

fn expectation(rest: &str) -> Result<Expectation, String> {
    let (unit, rest) = word(rest);
    let (what, rest) = word(rest);
    let (key, expected) = word(rest);
    if key.is_empty() {
        return Err("expect UNIT WHAT KEY VALUE is expected".to_owned());
    }
    Ok(Expectation {
        unit: unit.to_owned(),
        what: what.to_owned(),
        key: key.to_owned(),
        expected: expected.to_owned(),
    })
}

/// `[DAYS d ]HH:MM:SS` and what follows, in milliseconds.
fn time(text: &str) -> Result<(u64, &str), String> {
    let (mut first, mut rest) = word(text);
    let mut days = 0;
    if let Some(number) = first.strip_suffix('d').and_then(|days| days.parse().ok()) {
        days = number;
        (first, rest) = word(rest);
    }
    let parts: Option<Vec<u64>> = first.split(':').map(|part| part.parse().ok()).collect();
    match parts.as_deref() {
        Some([hours, minutes, seconds]) => Ok((
            (((days * 24 + hours) * 60 + minutes) * 60 + seconds) * 1000,
            rest,
        )),
        _ => Err(format!("{first:?} is no time")),
    }
}

fn word(text: &str) -> (&str, &str) {
    let text = text.trim();
    let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    (word, rest.trim())
}
