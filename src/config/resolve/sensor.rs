//! `[[unit.*.sensor]]`: where a sensor sits, what it says and on which topic.

use super::{
    super::{
        defaults,
        nearest::hint,
        reader::Reader,
        sensor::{Availability, Measure, Point, Sensed, SensorSettings},
        settings::StageSettings,
    },
    Context, measure, topic,
};
use crate::quantity::TdsScale;

pub(super) const KEYS: &[&str] = &[
    "at",
    "topic",
    "pointer",
    "time_pointer",
    "kind",
    "unit",
    "scale",
    "offset",
    "calibration",
    "pulses_per_litre",
    "wrap",
    "minimum",
    "maximum",
    "max_age",
    "plausible",
    "smoothing",
    "spare",
    "stage",
    "id",
    "tds_scale",
    "compensated",
    "on",
    "off",
    "availability",
];
pub(in super::super) const AVAILABILITY_KEYS: &[&str] = &["topic", "pointer", "up", "down"];

/// The sensors that could be read, in their order.
pub(super) fn sensors(
    unit: &Reader<'_>,
    stages: &[StageSettings],
    scale: TdsScale,
    context: &Context<'_>,
) -> Vec<SensorSettings> {
    let readers = unit.tables("sensor", KEYS);
    if readers.is_empty() && !unit.has("sensor") {
        unit.missing(&format!(
            "the unit has no sensor; at least one [[{}.sensor]] is needed",
            unit.path
        ));
    }
    let written = readers.len();
    let mut sensors: Vec<SensorSettings> = Vec::new();
    let mut kept: Vec<Reader<'_>> = Vec::new();
    for reader in readers {
        if let Some(sensor) = sensor(&reader, stages, scale, context) {
            sensors.push(sensor);
            kept.push(reader);
        }
    }
    for (at, reader) in kept.iter().enumerate() {
        refuse_twins(&sensors, at, reader);
        if sensors.len() == written {
            refuse_lone_spare(&sensors, at, reader);
        }
    }
    sensors
}

/// One sensor to a point, and one spare; every id once.
fn refuse_twins(sensors: &[SensorSettings], at: usize, reader: &Reader<'_>) {
    let (before, here) = (&sensors[..at], &sensors[at]);
    if !place_known(here) {
        return;
    }
    let point = here.at.key();
    if before
        .iter()
        .any(|other| same_place(other, here) && other.spare == here.spare)
    {
        reader.wrong(if here.spare {
            format!("{point} has a spare already; one spare is all a point may have")
        } else {
            format!("{point} has a sensor already; mark the one that stands in with spare = true")
        });
    } else if before.iter().any(|other| other.id == here.id) {
        let sentence = format!("another sensor has the id {:?} already", here.id);
        if reader.has("id") {
            reader.misplaced("id", sentence);
        } else {
            reader.wrong(format!("{sentence}; give this one an id of its own"));
        }
    }
}

fn refuse_lone_spare(sensors: &[SensorSettings], at: usize, reader: &Reader<'_>) {
    let here = &sensors[at];
    let stands_in = sensors
        .iter()
        .any(|other| same_place(other, here) && !other.spare);
    if here.spare && place_known(here) && !stands_in {
        let sentence = format!(
            "a spare stands in for another sensor, but {} has no other",
            here.at.key()
        );
        reader.misplaced("spare", sentence);
    }
}

fn same_place(one: &SensorSettings, other: &SensorSettings) -> bool {
    one.at == other.at && one.after_stage == other.after_stage
}

/// The stage of a `stage_tds` sensor may be missing; that has been reported.
fn place_known(sensor: &SensorSettings) -> bool {
    sensor.at != Point::StageTds || sensor.after_stage.is_some()
}

fn sensor(
    reader: &Reader<'_>,
    stages: &[StageSettings],
    unit_scale: TdsScale,
    context: &Context<'_>,
) -> Option<SensorSettings> {
    reader.require("at", "at = \"feed_pressure\"");
    reader.require("topic", "topic = \"rodi/feed_pressure\"");
    let points = Point::ALL.map(|point| (point.key(), point));
    let at = reader
        .field("at")
        .and_then(|field| field.one_of("point of the train", &points));
    let topic = reader
        .field("topic")
        .and_then(|field| topic::topic(&field, context.prefix));
    let pointer = |key| reader.field(key).and_then(|field| topic::pointer(&field));
    let (value_pointer, time_pointer) = (pointer("pointer"), pointer("time_pointer"));
    let id = reader
        .field("id")
        .and_then(|field| field.id().map(str::to_owned));
    let spare = reader
        .field("spare")
        .and_then(|field| field.flag())
        .unwrap_or(false);
    let max_age = reader
        .field("max_age")
        .and_then(|field| field.duration_in(defaults::MAX_AGE_RANGE));
    let availability = reader
        .table("availability", AVAILABILITY_KEYS)
        .and_then(|table| availability(&table, context));

    // Without its point nothing more can be said of a sensor.
    let at = at?;
    let after_stage = after_stage(reader, at, stages);
    let kind = measure::kind(reader, at);
    let how = kind.and_then(|kind| measure::measure(reader, at, kind, unit_scale));
    let probe_scale = match &how {
        Some(Measure::Gauge { probe, .. }) => probe.and_then(|probe| probe.scale),
        _ => None,
    };
    let plausible = measure::plausible(reader, at.sensed(), probe_scale.or(Some(unit_scale)));
    let smoothing = kind.map_or(1, |kind| measure::smoothing(reader, kind));
    let default_id = default_id(at, after_stage.and_then(|index| stages.get(index)), spare);
    // A sensor with a wrong measure or topic still counts as standing at its point.
    Some(SensorSettings {
        id: id.unwrap_or(default_id),
        at,
        after_stage,
        topic: topic.unwrap_or_default(),
        pointer: value_pointer,
        time_pointer,
        measure: how.unwrap_or(Measure::Contact {
            on: Vec::new(),
            off: Vec::new(),
        }),
        max_age: max_age.unwrap_or(match at.sensed() {
            Sensed::Contact => defaults::CONTACT_MAX_AGE,
            Sensed::Dissolved
            | Sensed::Flow
            | Sensed::Pressure
            | Sensed::Temperature
            | Sensed::Volume => defaults::MAX_AGE,
        }),
        plausible,
        smoothing,
        spare,
        availability,
    })
}

fn default_id(at: Point, stage: Option<&StageSettings>, spare: bool) -> String {
    let stage = stage.map_or_else(String::new, |stage| format!("_{}", stage.id));
    let spare = if spare { "_spare" } else { "" };
    format!("{}{stage}{spare}", at.key())
}

fn after_stage(reader: &Reader<'_>, at: Point, stages: &[StageSettings]) -> Option<usize> {
    if at != Point::StageTds {
        reader.misplaced(
            "stage",
            "only a sensor at stage_tds names the stage it sits behind",
        );
        return None;
    }
    let ids: Vec<(&str, usize)> = stages
        .iter()
        .map(|stage| stage.id.as_str())
        .zip(0..)
        .collect();
    let known: Vec<&str> = ids.iter().map(|(id, _)| *id).collect();
    let known = if known.is_empty() {
        "none".to_owned()
    } else {
        known.join(", ")
    };
    let Some(field) = reader.field("stage") else {
        reader.missing(&format!(
            "\"stage\" is missing: a sensor at stage_tds names the stage it sits behind; stages \
             of this unit: {known}"
        ));
        return None;
    };
    let text = field.text()?;
    let found = ids
        .iter()
        .find(|(id, _)| *id == text)
        .map(|(_, index)| *index);
    if found.is_none() {
        let names: Vec<&str> = ids.iter().map(|(id, _)| *id).collect();
        field.wrong(format!(
            "the unit has no stage {text:?}{}; it has {known}",
            hint(text, &names)
        ));
    }
    found
}

fn availability(reader: &Reader<'_>, context: &Context<'_>) -> Option<Availability> {
    reader.require("topic", "topic = \"rodi/status\"");
    let word = |key, default: &str| {
        reader.field(key).map_or_else(
            || default.to_owned(),
            |field| field.text().unwrap_or_default().to_owned(),
        )
    };
    let (up, down) = (
        word("up", defaults::UP_WORD),
        word("down", defaults::DOWN_WORD),
    );
    if up.to_lowercase() == down.to_lowercase() && !up.is_empty() {
        let key = if reader.has("down") { "down" } else { "up" };
        reader.misplaced(key, format!("{up:?} cannot mean both up and down"));
    }
    Some(Availability {
        pointer: reader
            .field("pointer")
            .and_then(|field| topic::pointer(&field)),
        topic: reader
            .field("topic")
            .and_then(|field| topic::topic(&field, context.prefix))?,
        up,
        down,
    })
}
