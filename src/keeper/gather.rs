//! What the units have to be kept, as rows of the store.

use super::parts::readable_parts;
use crate::{
    core::{
        Keep, MAY_WAIT,
        alert::{Episode, Notice},
    },
    edge::store::{AlertRow, Checkpoint, EntryRow, RunRow, SampleRow, StageRow},
    installation::{Installation, Record},
    time::Wall,
    wire::recorded,
};

/// What waits for others before it is kept or handed on.
#[derive(Debug, Default)]
pub struct Gathered {
    /// Samples, to be written together.
    pub samples: Vec<SampleRow>,
    /// Notices, for which the state has to be durable first, with their units.
    pub notices: Vec<(String, Box<Notice>)>,
}

/// Puts what changed since last asked into a checkpoint: unless `is_whole`, without what changes with every reading
/// and may wait, of units of which nothing is urgent.
pub fn gather(
    installation: &mut Installation,
    checkpoint: &mut Checkpoint,
    is_whole: bool,
) -> Gathered {
    for (keep, id, state) in installation.changed() {
        match readable_parts(&state) {
            Ok(mut parts) => {
                if keep < Keep::Now && !is_whole {
                    parts.retain(|part, _| !MAY_WAIT.contains(&part.as_str()));
                }
                checkpoint.units.entry(id).or_default().extend(parts);
            }
            // What was kept before stays as it is.
            Err(error) => tracing::error!("the state of {id} cannot be written down: {error}"),
        }
    }
    let mut gathered = Gathered::default();
    for record in installation.take_records() {
        match record {
            Record::Alert(unit, episode) => checkpoint.alerts.push(alert_row(unit, &episode)),
            Record::Entry(unit, entry) => checkpoint.entries.push(EntryRow {
                unit,
                number: entry.number,
                document: serde_json::to_string(&entry).unwrap_or_default(),
            }),
            Record::Notice(unit, notice) => gathered.notices.push((unit, notice)),
            Record::Run(unit, run) => checkpoint.runs.push(RunRow {
                unit,
                started: run.started.map(Wall::to_rfc3339),
                ended: run.ended.map(Wall::to_rfc3339),
                document: recorded::text(&run),
            }),
            Record::Sample(unit, sample) => gathered.samples.push(SampleRow {
                unit,
                start: sample.start.0,
                seconds: sample.seconds,
                document: serde_json::to_string(&sample.figures).unwrap_or_default(),
            }),
            Record::Stage(unit, stage) => checkpoint.stages_replaced.push(StageRow {
                unit,
                stage: stage.stage.clone(),
                replaced: stage.replaced.map(Wall::to_rfc3339),
                document: serde_json::to_string(&stage).unwrap_or_default(),
            }),
        }
    }
    gathered
}

/// An episode as it is stored: with the moments between which it is looked for.
#[must_use]
pub fn alert_row(unit: String, episode: &Episode) -> AlertRow {
    let ended = episode.end.and_then(|end| end.at);
    let since = episode.raised.or(ended);
    AlertRow {
        unit,
        number: episode.number,
        since: since.map(|since| since.0),
        // Of one that ended without a clock nothing is known but that it is over.
        until: episode.end.and(ended.or(since)).map(|until| until.0),
        document: serde_json::to_string(episode).unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{
        config,
        core::{Arrival, UnitState},
        installation::Incoming,
        time::{Mono, Now},
    };

    const CONFIGURATION: &str = r#"
[broker]
url = "mqtt://localhost"
[unit.u]
[unit.u.supply]
waste_ratio = "4:1"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "flow"
pulses_per_litre = 100
kind = "increments"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "temperature"
unit = "degC"
"#;

    /// The parts that a checkpoint holds after a message.
    fn kept(installation: &mut Installation, topic: &str, is_whole: bool) -> Vec<String> {
        let message = Incoming {
            topic,
            payload: b"7",
            arrival: Arrival::Live,
            packet: None,
        };
        let now = Now {
            mono: Mono(1000),
            wall: Wall(1_780_293_601_000),
        };
        installation.hear(now, message);
        let mut checkpoint = Checkpoint::default();
        gather(installation, &mut checkpoint, is_whole);
        let parts = checkpoint.units.remove("u").unwrap_or_default();
        parts.into_keys().collect()
    }

    #[test]
    fn what_changes_with_every_reading_waits_unless_something_is_urgent() {
        let settings = config::from_text("u.toml", CONFIGURATION, &BTreeMap::new(), None).unwrap();
        let now = Now {
            mono: Mono(0),
            wall: Wall(1_780_293_600_000),
        };
        let mut units = Installation::new(&settings, |_| UnitState::default(), now);
        gather(&mut units, &mut Checkpoint::default(), true);
        let waits = |parts: &[String]| MAY_WAIT.map(|part| !parts.iter().any(|own| own == part));
        let usual = kept(&mut units, "temperature", false);
        assert!(usual.iter().any(|part| part == "totals"));
        assert_eq!(waits(&usual), [true; 2]);
        assert_eq!(waits(&kept(&mut units, "temperature", true)), [false; 2]);
        // An increment cannot be had again.
        assert_eq!(waits(&kept(&mut units, "flow", false)), [false; 2]);
    }
}
