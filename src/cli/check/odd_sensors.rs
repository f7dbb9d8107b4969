//! What is allowed in a sensor's settings but rarely meant. The usual values are common practice, no
//! source.

use std::time::Duration;

use super::{odd, short};
use crate::{
    config::{
        CountConversion, Curve, Measure, Point, RateConversion, Sensed, SensorSettings,
        UnitSettings,
    },
    quantity::duration_text,
};

/// Most firmwares speak every 10 to 300 s, …
const SHORTEST_AGE: Duration = Duration::from_secs(30);
/// … and of contacts many only when they change.
const SHORTEST_CONTACT_AGE: Duration = Duration::from_secs(3600);
/// A tiny oval-gear meter has some thousand pulses to the litre, a turbine for drips some ten thousand.
const MOST_PULSES: f64 = 100_000.0;

pub(super) fn suspicions(unit: &UnitSettings) -> Vec<String> {
    let of_one = |(at, sensor): (usize, &SensorSettings)| {
        let before = unit.sensors.get(..at).unwrap_or_default();
        [
            named_otherwise(sensor),
            not_plausible(sensor),
            lets_faults_pass(sensor),
            soon_stale(sensor),
            half_json(sensor, before),
            other_scale(sensor, before),
            many_pulses(sensor),
            less_than_the_membrane(sensor, unit),
        ]
    };
    let sensors = unit.sensors.iter().enumerate();
    sensors.flat_map(of_one).flatten().collect()
}

/// Words in topics, and the unit that each of them tells.
const TELLING: &[(&str, &[&str])] = &[
    ("psi", &["psi"]),
    ("bar", &["bar"]),
    ("mbar", &["mbar"]),
    ("kpa", &["kPa"]),
    ("fahrenheit", &["degF"]),
    ("degf", &["degF"]),
    ("celsius", &["degC"]),
    ("degc", &["degC"]),
    ("gpm", &["gal/min"]),
    ("gpd", &["gal/d"]),
    ("lpm", &["L/min"]),
    ("ppm", &["mg/L"]),
    ("conductivity", &["uS/cm", "mS/cm", "mS/m", "S/m"]),
    ("ec", &["uS/cm", "mS/cm", "mS/m", "S/m"]),
];

/// The topic's own last word speaks of another unit.
fn named_otherwise(sensor: &SensorSettings) -> Option<String> {
    let convert = match &sensor.measure {
        Measure::Gauge { convert, .. }
        | Measure::Rate {
            convert: RateConversion::Flow(convert),
            ..
        } => convert,
        Measure::Rate { .. }
        | Measure::Pulses { .. }
        | Measure::Increments { .. }
        | Measure::Contact { .. } => return None,
    };
    // What is calibrated need not be sent in the unit.
    if convert.curve != Curve::IDENTITY {
        return None;
    }
    let topic = sensor.topic.as_written();
    let place = sensor.pointer.as_deref().unwrap_or(topic);
    let last = place.rsplit('/').next()?.to_lowercase();
    let mut words = last.split(|letter: char| !letter.is_ascii_alphanumeric());
    let unit = convert.unit.symbol();
    let (word, _) = words.find_map(|word| {
        let telling = TELLING.iter().find(|(telling, _)| *telling == word)?;
        (!telling.1.contains(&unit)).then_some(telling)
    })?;
    Some(format!(
        "{} is read in {unit}, but {place} speaks of {word}; is the unit right?",
        sensor.id
    ))
}

/// What a unit's water has, in base units, with its words.
fn usual(point: Point) -> Option<(f64, f64, &'static str)> {
    match point {
        Point::SupplyPressure | Point::FeedPressure | Point::ConcentratePressure => Some((
            *odd::USUAL_BAR.start(),
            *odd::USUAL_BAR.end(),
            "2 to 8 bar (30 to 115 psi)",
        )),
        Point::FeedTemperature => Some((
            *odd::USUAL_CELSIUS.start(),
            *odd::USUAL_CELSIUS.end(),
            "4 to 28 °C",
        )),
        Point::FeedTds => Some((40.0, 2000.0, "20 to 1000 mg/L")),
        Point::PermeateTds => Some((2.0, 100.0, "1 to 50 mg/L")),
        Point::ProductTds => Some((0.1, 10.0, "0 to 5 mg/L")),
        Point::PermeatePressure
        | Point::StageTds
        | Point::ConcentrateTds
        | Point::FeedFlow
        | Point::PermeateFlow
        | Point::ConcentrateFlow
        | Point::InletValve
        | Point::FlushValve
        | Point::Pump
        | Point::Leak
        | Point::StorageLevel => None,
    }
}

/// The believable range has nothing in it that is usual there, or reaches to where only another unit's
/// numbers lie.
fn not_plausible(sensor: &SensorSettings) -> Option<String> {
    let (low, high) = sensor.plausible?;
    let (least, most, words) = usual(sensor.at)?;
    let is_apart = high < least || low > most;
    let is_far = sensor.at.sensed() == Sensed::Pressure && high > 25.0;
    (is_apart || is_far).then(|| {
        let what = if is_apart {
            "leaves out"
        } else {
            "reaches far beyond"
        };
        format!(
            "plausible of {} {what} what is usual there, {words}; is its unit right?",
            sensor.id
        )
    })
}

/// 85 °C is what a common cheap probe shows that has not measured yet.
fn lets_faults_pass(sensor: &SensorSettings) -> Option<String> {
    let (_, high) = sensor.plausible?;
    let lets_pass = sensor.at.sensed() == Sensed::Temperature && high >= 85.0;
    lets_pass.then(|| {
        format!(
            "plausible of {} takes 85 °C for a temperature, by which many cheap probes tell a fault; 60 degC is \
             enough for water",
            sensor.id
        )
    })
}

fn soon_stale(sensor: &SensorSettings) -> Option<String> {
    let (shortest, words) = match sensor.measure {
        Measure::Contact { .. } => (
            SHORTEST_CONTACT_AGE,
            "many firmwares tell a contact only when it changes",
        ),
        Measure::Gauge { .. }
        | Measure::Rate { .. }
        | Measure::Pulses { .. }
        | Measure::Increments { .. } => (SHORTEST_AGE, "most firmwares speak every 10 to 300 s"),
    };
    (sensor.max_age < shortest).then(|| {
        format!(
            "max_age of {} is {}; {words}: if this one does, its value is stale in between. Twice its interval \
             is good",
            sensor.id,
            duration_text(sensor.max_age)
        )
    })
}

/// The same payload read as a plain number and as JSON.
fn half_json(sensor: &SensorSettings, before: &[SensorSettings]) -> Option<String> {
    let other = before.iter().find(|other| {
        other.topic == sensor.topic && other.pointer.is_some() != sensor.pointer.is_some()
    })?;
    let (plain, json) = if sensor.pointer.is_none() {
        (sensor, other)
    } else {
        (other, sensor)
    };
    Some(format!(
        "{} reads {} as a plain value and {} reads JSON from it: one of them will find nothing. Does {} lack its \
         pointer?",
        plain.id, plain.topic, json.id, plain.id
    ))
}

/// Meters of two scales are right only if they are two makes.
fn other_scale(sensor: &SensorSettings, before: &[SensorSettings]) -> Option<String> {
    let scale = |sensor: &SensorSettings| match &sensor.measure {
        Measure::Gauge { probe, .. } => probe.and_then(|probe| probe.scale),
        Measure::Rate { .. }
        | Measure::Pulses { .. }
        | Measure::Increments { .. }
        | Measure::Contact { .. } => None,
    };
    let own = scale(sensor)?.factor();
    if !(0.45..=0.75).contains(&own) {
        return Some(format!(
            "tds_scale of {} is {own} mg/L for each uS/cm; meters have 0.5 (most) to 0.7",
            sensor.id
        ));
    }
    let other = before.iter().find_map(|other| {
        let scale = scale(other)?.factor();
        ((scale - own).abs() > 0.01).then_some((other, scale))
    });
    let (other, scale) = other?;
    Some(format!(
        "tds_scale is {scale} for {} and {own} for {}; that is right only if the two meters are made so. If in \
         doubt, hold both into the same water",
        other.id, sensor.id
    ))
}

fn many_pulses(sensor: &SensorSettings) -> Option<String> {
    let pulses = match &sensor.measure {
        Measure::Rate {
            convert: RateConversion::Frequency { pulses_per_litre },
            ..
        } => *pulses_per_litre,
        Measure::Pulses {
            litres: CountConversion::Litres(litres),
            ..
        }
        | Measure::Increments {
            litres: CountConversion::Litres(litres),
            ..
        } => 1.0 / litres,
        Measure::Gauge { .. }
        | Measure::Rate { .. }
        | Measure::Pulses { .. }
        | Measure::Increments { .. }
        | Measure::Contact { .. } => return None,
    };
    // A firmware that counts millilitres or less has a million or a thousand to the litre, exactly.
    let is_unit = (pulses / 1e6).fract() == 0.0;
    (pulses > MOST_PULSES && !is_unit).then(|| {
        format!(
            "{} has {pulses:.0} pulses to the litre; meters have 300 to 40000. Is it to the gallon, or has it been \
             multiplied by 60 twice?",
            sensor.id
        )
    })
}

/// A maximum below what the membrane gives makes every count unbelievable.
fn less_than_the_membrane(sensor: &SensorSettings, unit: &UnitSettings) -> Option<String> {
    let rated = unit.membrane.as_ref()?.flow.l_per_min();
    let ratio = unit.supply.waste_ratio.unwrap_or(1.0);
    let expected = match sensor.at {
        Point::PermeateFlow => rated,
        Point::ConcentrateFlow => rated * ratio,
        Point::FeedFlow => rated * (1.0 + ratio),
        _ => return None,
    };
    let maximum = match &sensor.measure {
        Measure::Rate { maximum, .. }
        | Measure::Pulses { maximum, .. }
        | Measure::Increments { maximum, .. } => maximum.l_per_min(),
        Measure::Gauge { .. } | Measure::Contact { .. } => return None,
    };
    let plausible = sensor
        .plausible
        .map_or(maximum, |(_, high)| high.min(maximum));
    (plausible < expected).then(|| {
        format!(
            "{} believes no more than {} L/min, and {} L/min is to be expected there by the membrane's rating",
            sensor.id,
            short(plausible),
            short(expected)
        )
    })
}
