//! What a sensor sends and how it becomes a quantity: kind, unit, limits, words.

use super::{
    super::{
        defaults,
        field::Field,
        ranges,
        reader::Reader,
        sensor::{Conversion, Measure, Point, Probe, Sensed},
    },
    conversion, supply,
    unit::tds_scale,
};
use crate::quantity::{
    Conductivity, Flow, Pressure, Quantity, Tds, TdsScale, Temperature, Unit, Volume,
};

/// What a sensor sends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    Gauge,
    Rate,
    Pulses,
    Increments,
    Contact,
}

const KINDS: [(&str, Kind); 5] = [
    ("gauge", Kind::Gauge),
    ("rate", Kind::Rate),
    ("pulses", Kind::Pulses),
    ("increments", Kind::Increments),
    ("contact", Kind::Contact),
];

/// Keys that mean something only for some kinds.
const ONLY_FOR: &[(&str, &[Kind])] = &[
    (
        "unit",
        &[Kind::Gauge, Kind::Rate, Kind::Pulses, Kind::Increments],
    ),
    (
        "scale",
        &[Kind::Gauge, Kind::Rate, Kind::Pulses, Kind::Increments],
    ),
    (
        "offset",
        &[Kind::Gauge, Kind::Rate, Kind::Pulses, Kind::Increments],
    ),
    (
        "calibration",
        &[Kind::Gauge, Kind::Rate, Kind::Pulses, Kind::Increments],
    ),
    (
        "plausible",
        &[Kind::Gauge, Kind::Rate, Kind::Pulses, Kind::Increments],
    ),
    (
        "pulses_per_litre",
        &[Kind::Rate, Kind::Pulses, Kind::Increments],
    ),
    ("minimum", &[Kind::Rate, Kind::Pulses, Kind::Increments]),
    ("maximum", &[Kind::Rate, Kind::Pulses, Kind::Increments]),
    ("wrap", &[Kind::Pulses]),
    ("smoothing", &[Kind::Gauge, Kind::Rate]),
    ("on", &[Kind::Contact]),
    ("off", &[Kind::Contact]),
];

impl Kind {
    fn key(self) -> &'static str {
        match self {
            Self::Gauge => "gauge",
            Self::Rate => "rate",
            Self::Pulses => "pulses",
            Self::Increments => "increments",
            Self::Contact => "contact",
        }
    }

    /// The kinds that fit what is sensed, the default first.
    fn fitting(sensed: Sensed) -> &'static [Self] {
        match sensed {
            Sensed::Flow => &[Self::Rate, Self::Pulses, Self::Increments],
            Sensed::Contact => &[Self::Contact],
            Sensed::Pressure | Sensed::Temperature | Sensed::Dissolved | Sensed::Volume => {
                &[Self::Gauge]
            }
        }
    }
}

/// The kind, written or by the point; keys of other kinds are reported.
pub(super) fn kind(reader: &Reader<'_>, at: Point) -> Option<Kind> {
    let fitting = Kind::fitting(at.sensed());
    let kind = match reader.field("kind") {
        None => fitting[0],
        Some(field) => {
            let kind = field.one_of("kind of sensor", &KINDS)?;
            if !fitting.contains(&kind) {
                let names: Vec<&str> = fitting.iter().map(|kind| kind.key()).collect();
                field.wrong(format!(
                    "{} takes no sensor of the kind {:?}; allowed: {}",
                    at.key(),
                    kind.key(),
                    names.join(", ")
                ));
                return None;
            }
            kind
        }
    };
    for (key, kinds) in ONLY_FOR {
        if !kinds.contains(&kind) {
            let names: Vec<&str> = kinds.iter().map(|kind| kind.key()).collect();
            reader.misplaced(
                key,
                format!(
                    "it means nothing for a sensor of the kind {:?}, only for: {}",
                    kind.key(),
                    names.join(", ")
                ),
            );
        }
    }
    if at.sensed() != Sensed::Dissolved {
        for key in ["tds_scale", "compensated"] {
            reader.misplaced(key, "it belongs to TDS and conductivity probes only");
        }
    }
    Some(kind)
}

pub(super) fn measure(
    reader: &Reader<'_>,
    at: Point,
    kind: Kind,
    unit_scale: TdsScale,
) -> Option<Measure> {
    match kind {
        Kind::Gauge => gauge(reader, at.sensed(), unit_scale),
        Kind::Rate => {
            let (minimum, maximum) = flow_limits(reader);
            conversion::rate(reader).map(|convert| Measure::Rate {
                convert,
                minimum,
                maximum,
            })
        }
        Kind::Pulses => {
            let (minimum, maximum) = flow_limits(reader);
            let wrap = reader
                .field("wrap")
                .and_then(|field| field.number_in(defaults::WRAP_RANGE));
            conversion::counts(reader).map(|litres| Measure::Pulses {
                litres,
                wrap,
                minimum,
                maximum,
            })
        }
        Kind::Increments => {
            let (minimum, maximum) = flow_limits(reader);
            conversion::counts(reader).map(|litres| Measure::Increments {
                litres,
                minimum,
                maximum,
            })
        }
        Kind::Contact => Some(contact(reader)),
    }
}

fn gauge(reader: &Reader<'_>, sensed: Sensed, unit_scale: TdsScale) -> Option<Measure> {
    let units = units(sensed);
    let what = match sensed {
        Sensed::Pressure => "pressure",
        Sensed::Temperature => "temperature",
        Sensed::Dissolved => "TDS or conductivity",
        Sensed::Volume => "volume",
        Sensed::Flow => "flow",
        Sensed::Contact => "a contact",
    };
    if !reader.has("unit") {
        let allowed: Vec<&str> = units.iter().copied().flatten().map(Unit::symbol).collect();
        reader.missing(&format!(
            "\"unit\" is missing: a {what} is sent in one of {}",
            allowed.join(", ")
        ));
    }
    let unit = reader
        .field("unit")
        .and_then(|field| conversion::unit(&field, what, units));
    let curve = conversion::curve(reader);
    let probe = (sensed == Sensed::Dissolved).then(|| probe(reader, unit, unit_scale));
    unit.map(|unit| Measure::Gauge {
        convert: Conversion { curve, unit },
        probe,
    })
}

fn units(sensed: Sensed) -> &'static [&'static [Unit]] {
    match sensed {
        Sensed::Pressure => &[Pressure::UNITS],
        Sensed::Temperature => &[Temperature::UNITS],
        Sensed::Dissolved => &[Tds::UNITS, Conductivity::UNITS],
        Sensed::Volume => &[Volume::UNITS],
        Sensed::Flow => &[Flow::UNITS],
        Sensed::Contact => &[],
    }
}

fn probe(reader: &Reader<'_>, unit: Option<&'static Unit>, unit_scale: TdsScale) -> Probe {
    let in_tds = unit.is_none_or(|unit| Tds::unit(unit.symbol()).is_some());
    let scale = reader
        .field("tds_scale")
        .and_then(|field| tds_scale(&field));
    if !in_tds {
        reader.misplaced(
            "tds_scale",
            "the sensor sends conductivity, which needs no TDS scale; leave it out",
        );
    }
    Probe {
        scale: in_tds.then(|| scale.unwrap_or(unit_scale)),
        compensated: reader
            .field("compensated")
            .and_then(|field| field.flag())
            .unwrap_or(true),
    }
}

fn flow_limits(reader: &Reader<'_>) -> (Flow, Flow) {
    let limit = |key| {
        reader
            .field(key)
            .and_then(|field| field.quantity_in(ranges::flow_range()))
    };
    let minimum = limit("minimum").unwrap_or(defaults::MINIMUM);
    let maximum =
        limit("maximum").unwrap_or_else(|| Flow::from_l_per_min(defaults::MAXIMUM_L_PER_MIN));
    if minimum >= maximum {
        let key = if reader.has("maximum") {
            "maximum"
        } else {
            "minimum"
        };
        reader.misplaced(
            key,
            format!(
                "the least flow ({} L/min) must be below the greatest ({} L/min)",
                minimum.l_per_min(),
                maximum.l_per_min()
            ),
        );
    }
    (minimum, maximum)
}

fn contact(reader: &Reader<'_>) -> Measure {
    let on = words(reader, "on", &defaults::ON_WORDS);
    let off = words(reader, "off", &defaults::OFF_WORDS);
    if let Some(word) = on.iter().find(|word| off.contains(word)) {
        let key = if reader.has("off") { "off" } else { "on" };
        reader.misplaced(key, format!("{word:?} cannot mean both on and off"));
    }
    Measure::Contact { on, off }
}

/// Words of a contact, in lower case.
fn words(reader: &Reader<'_>, key: &str, default: &[&str]) -> Vec<String> {
    let wanted = "a list of words such as [\"on\", \"true\"]";
    let Some(field) = reader.field(key) else {
        return default.iter().map(|word| (*word).to_owned()).collect();
    };
    let Some(words) = field.list(wanted) else {
        return Vec::new();
    };
    if words.is_empty() {
        field.wrong("at least one word is needed");
    }
    words
        .iter()
        .filter_map(|word| word.text().map(|text| text.trim().to_lowercase()))
        .collect()
}

pub(super) fn smoothing(reader: &Reader<'_>, kind: Kind) -> usize {
    let default = match kind {
        Kind::Gauge => defaults::GAUGE_SMOOTHING,
        Kind::Rate | Kind::Pulses | Kind::Increments | Kind::Contact => defaults::FLOW_SMOOTHING,
    };
    let Some(field) = reader.field("smoothing") else {
        return default as usize;
    };
    let of = field.whole(defaults::SMOOTHING_RANGE).unwrap_or(default);
    if of % 2 == 0 {
        field.wrong(format!(
            "a median has a middle only for an odd number of values: {} or {}, not {of}",
            of - 1,
            of + 1
        ));
    }
    of as usize
}

/// The believable range in the base unit (µS/cm for TDS, too).
pub(super) fn plausible(
    reader: &Reader<'_>,
    sensed: Sensed,
    scale: Option<TdsScale>,
) -> Option<(f64, f64)> {
    let default = match sensed {
        Sensed::Pressure => Some(defaults::PLAUSIBLE_BAR),
        Sensed::Temperature => Some(defaults::PLAUSIBLE_CELSIUS),
        Sensed::Dissolved => Some(defaults::PLAUSIBLE_US_PER_CM),
        // The greatest flow bounds a flow; the size of a storage is not known.
        Sensed::Flow | Sensed::Volume | Sensed::Contact => None,
    };
    let Some(field) = reader.field("plausible") else {
        return default;
    };
    let wanted = "a pair of texts with units such as [\"0 bar\", \"10 bar\"]";
    let ends = field.list(wanted)?;
    let [low, high] = ends.as_slice() else {
        field.wrong(format!(
            "{wanted} is wanted here, not a list of {}",
            ends.len()
        ));
        return None;
    };
    let (low, high) = (end(low, sensed, scale), end(high, sensed, scale));
    if let (Some(low), Some(high)) = (low, high) {
        if low >= high {
            field.wrong("the lowest plausible value must lie below the highest");
        }
        return Some((low, high));
    }
    None
}

fn end(field: &Field<'_>, sensed: Sensed, scale: Option<TdsScale>) -> Option<f64> {
    match sensed {
        Sensed::Pressure => field.quantity::<Pressure>().map(Quantity::base),
        Sensed::Temperature => field.quantity::<Temperature>().map(Quantity::base),
        Sensed::Flow => field.quantity::<Flow>().map(Quantity::base),
        Sensed::Volume => field.quantity::<Volume>().map(Quantity::base),
        Sensed::Dissolved => {
            let range = Conductivity::ZERO..=Conductivity::from_us_per_cm(1e6);
            supply::dissolved(field, scale, &range).map(Quantity::base)
        }
        Sensed::Contact => None,
    }
}
