//! A log as a table of comma-separated values (RFC 4180), by its header: the columns `time`, `topic`,
//! `payload` and, where they are there, `retain` and `late`; or `time` and one column for each sensor,
//! by its id.

use std::borrow::Cow;

use csv::StringRecord;
use jiff::{
    civil::DateTime,
    tz::{AmbiguousOffset, TimeZone},
};

use super::{Entry, Message, Reading, What};
use crate::{
    config::{Measure, SensorSettings, Settings},
    core::Arrival,
    time::Wall,
    wire::payload::{NoReading, Payload},
};

/// How the records of a table are read.
#[derive(Clone, Debug)]
pub struct Table {
    names: Vec<String>,
    time: usize,
    form: Form,
    /// Where times without a zone are of.
    zone: TimeZone,
}

#[derive(Clone, Debug)]
enum Form {
    Messages {
        topic: usize,
        payload: usize,
        retain: Option<usize>,
        late: Option<usize>,
    },
    Sensors(Vec<Column>),
}

#[derive(Clone, Debug)]
struct Column {
    place: usize,
    unit: usize,
    sensor: usize,
    settings: SensorSettings,
}

/// Why a header is none.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HeaderError {
    /// No column of that name.
    #[error("the header has no column `{0}`; {FORMS}: {1}")]
    Lacks(&'static str, String),
    /// A column nobody knows.
    #[error("column {0} of the header, {1:?}, is neither; {FORMS}: {2}")]
    Unknown(usize, String, String),
    /// The same name twice.
    #[error("column {0} of the header, {1:?}, is there twice")]
    Twice(usize, String),
}

const FORMS: &str = "a table has the columns time, topic, payload and perhaps retain and late, or time and \
    one for each sensor, of which there are";

/// What is wrong in a cell.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("column {column} ({name}): {reason}")]
pub struct CellError {
    /// Counted from 1.
    pub column: usize,
    /// Its name in the header.
    pub name: String,
    /// What was found and what is allowed.
    pub reason: String,
}

/// What separates the cells of a table that begins with this line: spreadsheets of places with a decimal
/// comma write semicolons.
#[must_use]
pub fn delimiter(header: &str) -> u8 {
    // Whoever reads the table passes over blank lines, too.
    let mut lines = header.lines().filter(|line| !line.trim().is_empty());
    let line = lines.next().unwrap_or_default();
    [b',', b';', b'\t']
        .into_iter()
        .find(|byte| line.bytes().any(|other| other == *byte))
        .unwrap_or(b',')
}

impl Table {
    /// Reads the header.
    ///
    /// # Errors
    /// When it is of neither form.
    pub fn new(header: &StringRecord, settings: &Settings) -> Result<Self, HeaderError> {
        let names: Vec<String> = header.iter().map(|name| name.trim().to_owned()).collect();
        for (place, name) in names.iter().enumerate() {
            if names[..place].contains(name) {
                return Err(HeaderError::Twice(place + 1, name.clone()));
            }
        }
        let place = |name: &str| names.iter().position(|other| other == name);
        let known = sensors(settings);
        let lacks = |name| HeaderError::Lacks(name, listed(&known));
        let time = place("time").ok_or_else(|| lacks("time"))?;
        let form = if place("topic").is_some() || place("payload").is_some() {
            Form::Messages {
                topic: place("topic").ok_or_else(|| lacks("topic"))?,
                payload: place("payload").ok_or_else(|| lacks("payload"))?,
                retain: place("retain"),
                late: place("late"),
            }
        } else {
            let columns = (0..names.len()).filter(|place| *place != time);
            let column = |place: usize| {
                let column = known.iter().find(|(name, _)| *name == names[place]);
                column
                    .map(|(_, column)| Column {
                        place,
                        ..column.clone()
                    })
                    .ok_or_else(|| {
                        HeaderError::Unknown(place + 1, names[place].clone(), listed(&known))
                    })
            };
            Form::Sensors(columns.map(column).collect::<Result<_, _>>()?)
        };
        if let (Form::Messages { .. }, Some(place)) = (
            &form,
            names
                .iter()
                .position(|name| !MESSAGE.contains(&name.as_str())),
        ) {
            return Err(HeaderError::Unknown(
                place + 1,
                names[place].clone(),
                listed(&known),
            ));
        }
        // One zone is configured for all units.
        let zone = settings
            .units
            .first()
            .map_or(TimeZone::UTC, |unit| unit.time_zone.clone());
        Ok(Self {
            names,
            time,
            form,
            zone,
        })
    }

    /// Reads a record.
    ///
    /// # Errors
    /// When a cell is wrong.
    pub fn read(&self, record: &StringRecord) -> Result<Entry<'static>, CellError> {
        let cell = |place: usize| record.get(place).unwrap_or_default();
        let wrong = |place: usize, reason: String| CellError {
            column: place + 1,
            name: self.names.get(place).cloned().unwrap_or_default(),
            reason,
        };
        let time = when(cell(self.time), &self.zone).map_err(|reason| wrong(self.time, reason))?;
        let what = match &self.form {
            Form::Messages {
                topic,
                payload,
                retain,
                late,
            } => {
                let is = |place: &Option<usize>| {
                    place.map_or(Ok(false), |place| {
                        yes(cell(place)).map_err(|reason| wrong(place, reason))
                    })
                };
                if cell(*topic).is_empty() {
                    return Err(wrong(*topic, "is empty: a message has a topic".to_owned()));
                }
                What::Message(Message {
                    topic: Cow::Owned(cell(*topic).to_owned()),
                    payload: Cow::Owned(cell(*payload).as_bytes().to_vec()),
                    arrival: match (is(retain)?, is(late)?) {
                        (true, _) => Arrival::Retained,
                        (false, true) => Arrival::Late,
                        (false, false) => Arrival::Live,
                    },
                    packet: None,
                })
            }
            Form::Sensors(columns) => {
                let mut readings = Vec::new();
                // An empty cell is nothing said.
                for column in columns
                    .iter()
                    .filter(|column| !cell(column.place).trim().is_empty())
                {
                    let text = cell(column.place).trim();
                    check(text, &column.settings.measure)
                        .map_err(|reason| wrong(column.place, reason))?;
                    let Column { unit, sensor, .. } = *column;
                    readings.push(Reading {
                        unit,
                        sensor,
                        text: text.to_owned(),
                    });
                }
                What::Readings(readings)
            }
        };
        Ok(Entry {
            time,
            mono: None,
            what,
        })
    }
}

const MESSAGE: [&str; 5] = ["time", "topic", "payload", "retain", "late"];

/// The columns there may be: a sensor's id, with its unit before it where there are several.
fn sensors(settings: &Settings) -> Vec<(String, Column)> {
    let several = settings.units.len() > 1;
    let units = settings.units.iter().enumerate();
    units
        .flat_map(|(unit, own)| {
            own.sensors
                .iter()
                .enumerate()
                .map(move |(sensor, settings)| {
                    let name = if several {
                        format!("{}/{}", own.id, settings.id)
                    } else {
                        settings.id.clone()
                    };
                    let settings = settings.clone();
                    (
                        name,
                        Column {
                            place: 0,
                            unit,
                            sensor,
                            settings,
                        },
                    )
                })
        })
        .collect()
}

fn listed(known: &[(String, Column)]) -> String {
    let names: Vec<&str> = known.iter().map(|(name, _)| name.as_str()).collect();
    names.join(", ")
}

/// A cell typed by hand is a reading, or one of the words for none.
fn check(text: &str, measure: &Measure) -> Result<(), String> {
    let payload = Payload::new(text.as_bytes());
    let read = match measure {
        Measure::Contact { on, off } => payload.contact(None, on, off).map(|_| ()),
        measure => payload.number(None, measure.unit()).map(|_| ()),
    };
    match read {
        Ok(()) | Err(NoReading::Empty | NoReading::NoValue(_)) => Ok(()),
        Err(why) => Err(why.to_string()),
    }
}

fn yes(text: &str) -> Result<bool, String> {
    match text.trim().to_ascii_lowercase().as_str() {
        "" | "false" | "0" | "no" => Ok(false),
        "true" | "1" | "yes" => Ok(true),
        other => Err(format!("{other:?} is neither true nor false")),
    }
}

/// A time with a zone or an offset, or one of the owner's clock.
fn when(text: &str, zone: &TimeZone) -> Result<Wall, String> {
    let text = text.trim();
    if let Ok(time) = text.parse::<jiff::Timestamp>() {
        return Ok(Wall(time.as_millisecond()));
    }
    let has_zone = text.ends_with(['Z', 'z', ']']);
    let Some(local) = text.parse::<DateTime>().ok().filter(|_| !has_zone) else {
        return Err(format!(
            "{text:?} is no time; write 2026-11-25T09:00:00Z, or 2026-11-25 09:00:00 of your `time_zone`"
        ));
    };
    let ambiguous = zone.to_ambiguous_timestamp(local);
    match ambiguous.offset() {
        AmbiguousOffset::Unambiguous { .. } => {}
        AmbiguousOffset::Gap { .. } => {
            return Err(format!(
                "{text:?} is no time of your `time_zone`: the clocks went forward over it"
            ));
        }
        AmbiguousOffset::Fold { before, after } => {
            return Err(format!(
                "{text:?} came twice in your `time_zone`, for the clocks went back: write its offset, {before} \
                 or {after}, as in {local}{before}:00"
            ));
        }
    }
    let time = ambiguous.unambiguous().map_err(|error| error.to_string())?;
    Ok(Wall(time.as_millisecond()))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    const UNIT: &str = "time_zone = \"Europe/Berlin\"\n[[unit.u.sensor]]\nat = \"feed_tds\"\ntopic = \"a\"\n\
        pointer = \"/x\"\nunit = \"ppm\"\n[[unit.u.sensor]]\nat = \"pump\"\ntopic = \"b\"\n";

    fn table(text: &str, header: &[&str]) -> Result<Table, HeaderError> {
        let settings = crate::config::from_text("t", text, &BTreeMap::new(), None).unwrap();
        Table::new(&StringRecord::from(header.to_vec()), &settings)
    }

    fn read(table: &Table, cells: &[&str]) -> Result<Entry<'static>, String> {
        table
            .read(&StringRecord::from(cells.to_vec()))
            .map_err(|error| error.to_string())
    }

    #[test]
    fn a_column_for_each_sensor_gives_its_readings() {
        let table = table(UNIT, &["pump", "time", "feed_tds"]).unwrap();
        let entry = read(&table, &["", "2026-06-01 08:00", "250,5"]).unwrap();
        // Berlin is two hours ahead of UTC in summer.
        assert_eq!(entry.time.to_rfc3339(), "2026-06-01T06:00:00.000Z");
        let reading = Reading {
            unit: 0,
            sensor: 0,
            text: "250,5".to_owned(),
        };
        assert_eq!(entry.what, What::Readings(vec![reading]));
        for (cells, expected) in [
            (
                ["ajar", "2026-06-01 08:00", "1"],
                "column 1 (pump): \"ajar\"",
            ),
            (
                ["on", "yesterday", "1"],
                "column 2 (time): \"yesterday\" is no time",
            ),
            (
                ["on", "2026-06-01 08:00", "much"],
                "column 3 (feed_tds): \"much\" is not a number",
            ),
            (["on", "2026-10-25 02:30", "1"], "came twice"),
            (["on", "2026-03-29 02:30", "1"], "went forward"),
        ] {
            let error = read(&table, &cells).unwrap_err();
            assert!(error.contains(expected), "{error}");
        }
        assert!(read(&table, &["nan", "2026-10-25T02:30:00+02:00", ""]).is_ok());
    }

    #[test]
    fn a_column_for_topics_gives_messages() {
        let table = table(UNIT, &["time", "topic", "payload", "retain"]).unwrap();
        let entry = read(&table, &["2026-06-01T06:00:00Z", "a", "{\"x\":1}", "true"]).unwrap();
        let What::Message(message) = entry.what else {
            panic!("a message")
        };
        assert_eq!((&*message.topic, message.arrival), ("a", Arrival::Retained));
        assert!(
            read(&table, &["2026-06-01T06:00:00Z", "a", "", "perhaps"])
                .unwrap_err()
                .contains("column 4")
        );
        assert!(
            read(&table, &["2026-06-01T06:00:00Z", "", "", ""])
                .unwrap_err()
                .contains("column 2")
        );
    }

    #[test]
    fn a_wrong_header_is_told_with_what_there_may_be() {
        for (header, expected) in [
            (&["when", "feed_tds"][..], "no column `time`"),
            (
                &["time", "feed_tsd"],
                "column 2 of the header, \"feed_tsd\"",
            ),
            (&["time", "topic"], "no column `payload`"),
            (
                &["time", "topic", "payload", "colour"],
                "column 4 of the header",
            ),
            (
                &["time", "pump", "pump"],
                "column 3 of the header, \"pump\", is there twice",
            ),
        ] {
            let error = table(UNIT, header).unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
            assert!(
                error.contains("twice") || error.contains("feed_tds, pump"),
                "{error}"
            );
        }
        let two = format!("{UNIT}[[unit.w.sensor]]\nat = \"pump\"\ntopic = \"c\"\n");
        assert!(table(&two, &["time", "w/pump", "u/feed_tds"]).is_ok());
        assert!(table(&two, &["time", "pump"]).is_err());
    }

    #[test]
    fn the_header_shows_what_separates() {
        for (header, expected) in [
            ("time,a;b\n1;2", b','),
            ("time;a\n1,5;2,5", b';'),
            ("time\ta", b'\t'),
            ("\n\r\ntime;a\n", b';'),
        ] {
            assert_eq!(delimiter(header), expected);
        }
    }
}
