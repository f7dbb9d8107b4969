//! A sensor in a line, and what looks odd about it.

use crate::config::{
    CountConversion, Measure, Point, RateConversion, SensorSettings, StageSettings, UnitSettings,
};

/// `rodi/tds /value → product_tds, a gauge in mg/L`.
pub(super) fn line(sensor: &SensorSettings, stages: &[StageSettings]) -> String {
    let pointer = sensor
        .pointer
        .as_ref()
        .map_or_else(String::new, |pointer| format!(" {pointer}"));
    let stage = sensor
        .after_stage
        .and_then(|stage| stages.get(stage))
        .map_or_else(String::new, |stage| format!(" behind {}", stage.id));
    let spare = if sensor.spare { ", the spare" } else { "" };
    format!(
        "{}{pointer} → {}{stage}, {}{spare}",
        sensor.topic,
        sensor.at.key(),
        kind(&sensor.measure)
    )
}

fn kind(measure: &Measure) -> String {
    match measure {
        Measure::Gauge { convert, .. } => format!("a gauge in {}", convert.unit.symbol()),
        Measure::Rate { convert, .. } => match convert {
            RateConversion::Flow(conversion) => format!("a rate in {}", conversion.unit.symbol()),
            RateConversion::Frequency { pulses_per_litre } => {
                format!("a rate in Hz at {pulses_per_litre} pulses to the litre")
            }
            RateConversion::CalibratedFrequency(_) => "a rate in Hz, calibrated".to_owned(),
        },
        Measure::Pulses { litres, .. } => format!("a growing count, {}", count(litres)),
        Measure::Increments { litres, .. } => {
            format!("counts since the message before, {}", count(litres))
        }
        Measure::Contact { on, .. } => format!("a contact, on is {}", on.join(" or ")),
    }
}

fn count(litres: &CountConversion) -> String {
    match litres {
        CountConversion::Litres(litres) if *litres >= 0.1 => {
            format!("{} L each", super::short(*litres))
        }
        CountConversion::Litres(litres) => {
            format!("{} to the litre", super::short(1.0 / litres))
        }
        CountConversion::Calibrated(_) => "calibrated".to_owned(),
    }
}

/// What is allowed but rarely meant.
pub(super) fn cautions(unit: &UnitSettings) -> Vec<String> {
    let temperature = unit.supply.temperature.is_some()
        || unit
            .sensors
            .iter()
            .any(|sensor| sensor.at == Point::FeedTemperature);
    unit.sensors
        .iter()
        .enumerate()
        .filter_map(|(at, sensor)| {
            few_pulses(sensor)
                .or_else(|| uncompensated(sensor, temperature, &unit.table))
                .or_else(|| same_value(sensor, &unit.sensors[..at]))
                .or_else(|| blind(sensor, unit))
        })
        .collect()
}

/// Usually a line that was copied and not changed.
fn same_value(sensor: &SensorSettings, before: &[SensorSettings]) -> Option<String> {
    let other = before
        .iter()
        .find(|other| other.topic == sensor.topic && other.pointer == sensor.pointer)?;
    Some(format!(
        "{} and {} read the same value on {}",
        other.id, sensor.id, sensor.topic
    ))
}

/// A meter for a garden hose sees nothing of a membrane's drips.
fn blind(sensor: &SensorSettings, unit: &UnitSettings) -> Option<String> {
    let rated = unit.membrane.as_ref()?.flow;
    let minimum = match &sensor.measure {
        Measure::Rate { minimum, .. }
        | Measure::Pulses { minimum, .. }
        | Measure::Increments { minimum, .. } => *minimum,
        Measure::Gauge { .. } | Measure::Contact { .. } => return None,
    };
    (sensor.at == Point::PermeateFlow && minimum >= rated).then(|| {
        format!(
            "{} sees nothing below {} L/min, and the membrane is rated at {} L/min",
            sensor.id,
            super::short(minimum.l_per_min()),
            super::short(rated.l_per_min())
        )
    })
}

/// A label such as "F = 7.5 × Q" (Hz, L/min) is often taken for pulses to the litre, sixty times
/// too few. Meters with 1 or 10 pulses to the litre do exist.
fn few_pulses(sensor: &SensorSettings) -> Option<String> {
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
        _ => return None,
    };
    let odd = pulses > 1.000_1 && pulses < 100.0 && (pulses - 10.0).abs() > 0.01;
    odd.then(|| {
        format!(
            "{} counts only {} pulses to the litre; if its label says F = {} × Q (Hz and L/min), \
             pulses_per_litre is {}",
            sensor.id,
            super::short(pulses),
            super::short(pulses),
            super::short(pulses * 60.0)
        )
    })
}

fn uncompensated(sensor: &SensorSettings, temperature: bool, unit: &str) -> Option<String> {
    match &sensor.measure {
        Measure::Gauge {
            probe: Some(probe), ..
        } if !probe.compensated && !temperature => Some(format!(
            "{} does not refer its value to 25 °C and no temperature is known; it needs a sensor \
             at feed_temperature, or temperature in [unit.{unit}.supply]",
            sensor.id
        )),
        _ => None,
    }
}
