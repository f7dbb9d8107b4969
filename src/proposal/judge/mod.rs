//! One value: what is sensed, whether it belongs to such a unit, where, in which unit, and how surely.

mod belonging;
mod kinds;
mod points;

use super::{
    announced::Announced,
    board::Board,
    finding::{Finding, Kind, Sureness},
    heard::Topic,
    series::Series,
    units::{self, Stated},
    words::{self, Elsewhere, words},
};
use crate::config::{Point, Sensed};
use belonging::{belongs, stranger};

/// A value with all that is known of it.
#[derive(Clone, Copy)]
pub(super) struct Value<'a> {
    pub(super) topic: &'a str,
    pub(super) pointer: Option<&'a str>,
    pub(super) board: &'a Board,
    pub(super) series: &'a Series,
    pub(super) record: &'a Topic,
    pub(super) told: Option<&'a Announced>,
}

/// What became of a value.
#[derive(Debug)]
pub(super) enum Judged {
    Finding(Box<Finding>),
    Passed(Elsewhere),
}

impl Value<'_> {
    /// Words that name the value itself.
    pub(super) fn names(&self) -> Vec<String> {
        let mut names = self.board.leaf.clone();
        names.extend(words(&pointer_text(self.pointer)));
        names.extend(self.series.name.iter().flat_map(|name| words(name)));
        names.extend(
            (self.told.and_then(|told| told.name.as_deref()))
                .into_iter()
                .flat_map(words),
        );
        names
    }

    /// Words around it.
    pub(super) fn around(&self) -> Vec<String> {
        let mut around = self.board.around.clone();
        around.extend(
            (self.told.and_then(|told| told.device.as_deref()))
                .into_iter()
                .flat_map(words),
        );
        around
    }

    /// The unit as stated, and who states it.
    fn unit(&self, names: &[String], sensed: Option<Sensed>) -> Option<(Stated, String)> {
        let told = self
            .told
            .filter(|told| !told.computed)
            .and_then(|told| told.unit.as_deref());
        let by_hub =
            told.and_then(|text| Some((units::stated(text)?, format!("hubs are told {text:?}"))));
        let by_payload = || {
            let text = self.series.unit.as_deref()?;
            Some((units::stated(text)?, format!("the payload says {text:?}")))
        };
        let beside = || {
            let text = self.series.stated_unit.as_deref()?;
            Some((
                units::stated(text)?,
                format!("the unit beside it is {text:?}"),
            ))
        };
        let by_board = || {
            let (key, text) = self.record.units.iter().find(|(key, _)| {
                let start = key.trim_end_matches("unit").trim_end_matches('_');
                !start.is_empty() && names.iter().any(|name| name.starts_with(start))
            })?;
            Some((units::stated(text)?, format!("{key:?} is {text:?}")))
        };
        let by_name = || {
            let (stated, text) = units::in_name(names, sensed)?;
            Some((stated, format!("{text:?} in the name")))
        };
        by_payload()
            .or(by_hub)
            .or_else(beside)
            .or_else(by_board)
            .or_else(by_name)
    }

    fn class(&self) -> Option<Class> {
        let told = self.told.filter(|told| !told.computed)?;
        Some(match told.class.as_deref()? {
            "pressure" => Class::Of(Sensed::Pressure),
            "temperature" => Class::Of(Sensed::Temperature),
            "conductivity" => Class::Of(Sensed::Dissolved),
            "volume_flow_rate" | "water" | "volume" => Class::Of(Sensed::Flow),
            "volume_storage" => Class::Of(Sensed::Volume),
            // Of these the name says more.
            "moisture" | "problem" | "running" | "opening" | "power" | "switch" | "valve" => {
                Class::Silent
            }
            "humidity"
            | "atmospheric_pressure"
            | "carbon_dioxide"
            | "aqi"
            | "wind_speed"
            | "precipitation"
            | "illuminance"
            | "pm25"
            | "pm10" => Class::Elsewhere(Elsewhere::Air),
            "battery" | "signal_strength" => Class::Elsewhere(Elsewhere::Radio),
            "energy" | "current" | "voltage" | "apparent_power" | "power_factor" | "frequency" => {
                Class::Elsewhere(Elsewhere::Electricity)
            }
            "duration" | "data_size" | "data_rate" | "timestamp" => {
                Class::Elsewhere(Elsewhere::Board)
            }
            "gas" => Class::Elsewhere(Elsewhere::Heat),
            "ph" => Class::Elsewhere(Elsewhere::Life),
            _unknown => Class::Silent,
        })
    }
}

/// What the class told to hubs means.
enum Class {
    Of(Sensed),
    Elsewhere(Elsewhere),
    Silent,
}

/// The pointer with its escapes undone, as names.
fn pointer_text(pointer: Option<&str>) -> String {
    pointer
        .unwrap_or_default()
        .replace("~1", "/")
        .replace("~0", "~")
}

/// What a value is taken for. `in_company`: its board tells something that only such a unit has.
pub(super) fn judge(value: &Value<'_>, in_company: bool) -> Judged {
    let (names, around) = (value.names(), value.around());
    let class = value.class();
    if let Some(Class::Elsewhere(what)) = class {
        return Judged::Passed(what);
    }
    let by_class = match class {
        Some(Class::Of(sensed)) => Some(sensed),
        Some(Class::Elsewhere(_) | Class::Silent) | None => None,
    };
    let by_name = by_class.or_else(|| quantity(&names));
    let is_leak = by_name == Some(Sensed::Contact);
    if let Some((what, _)) = words::elsewhere(&names).filter(|_| !is_leak && by_class.is_none()) {
        return Judged::Passed(what);
    }
    let unit = value.unit(&names, by_name.or_else(|| quantity(&around)));
    let by_unit = unit.as_ref().and_then(|(stated, _)| match stated {
        Stated::Of(Sensed::Volume, _) if by_name != Some(Sensed::Volume) => Some(Sensed::Flow),
        Stated::Of(sensed, _) => Some(*sensed),
        Stated::Hertz | Stated::Percent | Stated::Other => None,
    });
    if kinds::is_raw(value, &names) {
        return kinds::raw(value, &names, &around, in_company);
    }
    let Some(sensed) = by_unit.or(by_name).or_else(|| quantity(&around)) else {
        return Judged::Passed(nothing_of_ours(value, in_company));
    };
    if let Some(what) = not_like(value, sensed, unit.as_ref().map(|(stated, _)| *stated)) {
        return Judged::Passed(what);
    }
    let belonging = value.belonging(&names, &around, in_company);
    if let Some(what) = stranger(sensed, &belonging, &names, &around) {
        return Judged::Passed(what);
    }
    let high = value.series.numbers.as_ref().map(|numbers| numbers.high);
    let sites = points::sites(sensed, &names, &around, high);
    if sites.points.is_empty() {
        return Judged::Passed(Elsewhere::NoPoint);
    }
    let mut finding = blank(value, sites.points, sites.sureness);
    finding
        .reasons
        .push(said(value, sensed, by_class.is_some(), &names, &around));
    finding.reasons.extend(sites.reason);
    finding.decide.extend(sites.decide.map(str::to_owned));
    belongs(&mut finding, &belonging, sensed);
    kinds::measure(&mut finding, value, sensed, unit, &names);
    confirm(&mut finding, value);
    Judged::Finding(Box::new(finding))
}

/// What the words name first.
fn quantity(names: &[String]) -> Option<Sensed> {
    let named = (words::QUANTITIES.iter()).find(|(_, list)| words::any(names, list).is_some());
    named.map(|(sensed, _)| *sensed).or_else(|| {
        // "COUNTER/C1", "counts/total": a count says not of what.
        words::any(names, words::COUNTS).map(|_| Sensed::Flow)
    })
}

/// Why a value without any name of ours is passed over.
fn nothing_of_ours(value: &Value<'_>, in_company: bool) -> Elsewhere {
    if value.series.numbers.is_none() {
        Elsewhere::Text
    } else if in_company || value.of_the_trade().is_some() {
        Elsewhere::NoPoint
    } else {
        Elsewhere::NoWater
    }
}

/// Whether the values themselves speak against it.
fn not_like(value: &Value<'_>, sensed: Sensed, unit: Option<Stated>) -> Option<Elsewhere> {
    let series = value.series;
    let is_switch = series
        .numbers
        .as_ref()
        .is_none_or(|numbers| numbers.low >= 0.0 && numbers.high <= 1.0 && numbers.whole);
    match (sensed, &series.numbers) {
        (Sensed::Contact, _) if !is_switch => Some(Elsewhere::NoPoint),
        (Sensed::Contact, None) if series.words.len() > 2 => Some(Elsewhere::Text),
        (Sensed::Contact, _) => None,
        (_, None) if !series.words.is_empty() => Some(Elsewhere::Text),
        // The air's pressure: gauges of water show it above that.
        (Sensed::Pressure, Some(numbers))
            if (850.0..1100.0).contains(&numbers.low)
                && (850.0..1100.0).contains(&numbers.high) =>
        {
            Some(Elsewhere::Air)
        }
        (Sensed::Volume, _) => None,
        // "W" on a board of the house; but "ppt" of a named TDS is for a person to look at.
        (_, _) if unit == Some(Stated::Other) && value.of_the_trade().is_none() => {
            Some(Elsewhere::NoPoint)
        }
        (_, _) if unit == Some(Stated::Percent) => Some(Elsewhere::NoPoint),
        (Sensed::Dissolved | Sensed::Pressure | Sensed::Temperature | Sensed::Flow, _) => None,
    }
}

fn blank(value: &Value<'_>, points: Vec<Point>, sureness: Sureness) -> Finding {
    Finding {
        topic: value.topic.to_owned(),
        pointer: value.pointer.map(str::to_owned),
        board: value.board.key.clone(),
        rank: value.board.rank,
        kind: Kind::Gauge,
        points,
        unit: None,
        words: None,
        sureness,
        sited: sureness,
        reasons: Vec::new(),
        decide: Vec::new(),
        lacking: Vec::new(),
        presence: value.told.and_then(|told| told.presence.clone()),
        time: time_beside(value),
        last: value.series.last.clone(),
        often: value.series.often(),
        mirror_of: None,
    }
}

/// The pointer to a time that shares the most with the value's.
fn time_beside(value: &Value<'_>) -> Option<String> {
    let pointer = value.pointer?;
    let shared = |time: &&String| {
        pointer
            .chars()
            .zip(time.chars())
            .take_while(|(one, other)| one == other)
            .count()
    };
    value.record.times.iter().max_by_key(shared).cloned()
}

/// Which name or class says what is sensed.
fn said(
    value: &Value<'_>,
    sensed: Sensed,
    by_class: bool,
    names: &[String],
    around: &[String],
) -> String {
    let class = value
        .told
        .and_then(|told| told.class.as_deref())
        .filter(|_| by_class);
    if let Some(class) = class {
        return format!("hubs are told it is of class {class:?}");
    }
    let list = (words::QUANTITIES.iter())
        .find(|(of, _)| *of == sensed)
        .map_or("", |(_, list)| list);
    let word = words::any(names, list)
        .or_else(|| words::any(names, words::COUNTS).filter(|_| sensed == Sensed::Flow))
        .or_else(|| words::any(around, list));
    let sensed = match sensed {
        Sensed::Contact => "a contact",
        Sensed::Dissolved => "TDS or conductivity",
        Sensed::Flow => "a flow or count",
        Sensed::Pressure => "a pressure",
        Sensed::Temperature => "a temperature",
        Sensed::Volume => "a level",
    };
    match word {
        Some(word) => format!("{word:?} names {sensed}"),
        None => format!("the unit is that of {sensed}"),
    }
}

/// What the way it was heard leaves open.
fn confirm(finding: &mut Finding, value: &Value<'_>) {
    let series = value.series;
    if series.no_value == series.heard {
        finding
            .doubt("it never had a value while it was listened to: look whether the sensor lives");
    } else if series.retained_only() {
        finding.at_most(Sureness::Likely);
        finding.decide.push(
            "only a kept message was heard, of unknown age: look whether the sensor still lives"
                .to_owned(),
        );
    }
    let is_step = |step: &str| !step.is_empty() && step.chars().all(|c| c.is_ascii_digit());
    if value
        .pointer
        .is_some_and(|pointer| pointer.split('/').skip(1).any(is_step))
    {
        finding.at_most(Sureness::Likely);
        finding
            .reasons
            .push("it stands in a list: right only while the order stays".to_owned());
    }
    if value.told.is_some_and(|told| told.computed) {
        finding.decide.push(
            "hubs are told a formula for this payload, perhaps of another value in it: compare"
                .to_owned(),
        );
        finding.at_most(Sureness::Likely);
    }
}
