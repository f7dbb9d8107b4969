//! How a sensor's number becomes a quantity: unit, scale and offset, calibration, pulses.

use super::super::{
    defaults,
    field::Field,
    nearest::hint,
    reader::Reader,
    sensor::{Conversion, CountConversion, Curve, RateConversion},
};
use crate::quantity::{Flow, Quantity, Unit, Volume};

/// The unit of a sensor that sends a frequency.
const HERTZ: &str = "Hz";

/// The unit, which must be one of `units`.
pub(super) fn unit(
    field: &Field<'_>,
    what: &str,
    units: &[&'static [Unit]],
) -> Option<&'static Unit> {
    let text = field.text()?;
    let found = units
        .iter()
        .copied()
        .flatten()
        .find(|unit| unit.is_written(text));
    if found.is_none() {
        refuse_unit(field, text, what, units, &[]);
    }
    found
}

fn refuse_unit(
    field: &Field<'_>,
    text: &str,
    what: &str,
    units: &[&'static [Unit]],
    more: &[&'static str],
) {
    let units = units.iter().copied().flatten();
    let spellings: Vec<&str> = units
        .clone()
        .flat_map(|unit| unit.symbols.iter().copied())
        .chain(more.iter().copied())
        .collect();
    let allowed: Vec<&str> = units
        .map(Unit::symbol)
        .chain(more.iter().copied())
        .collect();
    field.wrong(format!(
        "{text:?} is no unit of {what}{}; allowed are {}",
        hint(text, &spellings),
        allowed.join(", ")
    ));
}

/// `scale` and `offset`, or `calibration`.
pub(super) fn curve(sensor: &Reader<'_>) -> Curve {
    sensor.not_both("scale", "calibration");
    sensor.not_both("offset", "calibration");
    if let Some(points) = calibration(sensor) {
        return Curve::Piecewise(points);
    }
    let offset = sensor.field("offset").and_then(|field| field.number());
    Curve::Linear {
        scale: scale(sensor).unwrap_or(1.0),
        offset: offset.unwrap_or(0.0),
    }
}

fn scale(sensor: &Reader<'_>) -> Option<f64> {
    let field = sensor.field("scale")?;
    let scale = field.number()?;
    if scale == 0.0 {
        field.wrong("a scale of 0 makes every reading the same");
        return None;
    }
    Some(scale)
}

/// At least two points, both columns strictly rising; `None` when absent or wrong.
fn calibration(sensor: &Reader<'_>) -> Option<Vec<(f64, f64)>> {
    const WANTED: &str = "a list of points such as [[0, 0], [512, 3.1]]";
    let field = sensor.field("calibration")?;
    let rows = field.list(WANTED)?;
    let points: Vec<Option<(f64, f64)>> = rows.iter().map(point).collect();
    for ((before, after), row) in points
        .iter()
        .zip(points.iter().skip(1))
        .zip(rows.iter().skip(1))
    {
        if let (Some(before), Some(after)) = (before, after)
            && (after.0 <= before.0 || after.1 <= before.1)
        {
            row.wrong(format!(
                "calibration points must rise strictly in both columns; [{}, {}] follows [{}, {}]",
                after.0, after.1, before.0, before.1
            ));
            return None;
        }
    }
    if rows.len() < 2 {
        field.wrong(format!(
            "a calibration needs at least 2 points, this one has {}",
            rows.len()
        ));
        return None;
    }
    points.into_iter().collect()
}

fn point(row: &Field<'_>) -> Option<(f64, f64)> {
    let values = row.list("a pair [raw, true]")?;
    let [raw, truth] = values.as_slice() else {
        row.wrong(format!(
            "a pair [raw, true] is wanted here, not a list of {}",
            values.len()
        ));
        return None;
    };
    match (raw.number(), truth.number()) {
        (Some(raw), Some(truth)) => Some((raw, truth)),
        _ => None,
    }
}

/// A flow unit, or Hz with pulses to the litre or a calibration.
pub(super) fn rate(sensor: &Reader<'_>) -> Option<RateConversion> {
    sensor.require(
        "unit",
        "unit = \"L/min\", or unit = \"Hz\" with pulses_per_litre",
    );
    let Some(field) = sensor.field("unit") else {
        pulses_per_litre(sensor);
        curve(sensor);
        return None;
    };
    let text = field.text()?;
    if text == HERTZ {
        return frequency(sensor);
    }
    let unit = Flow::unit(text);
    if unit.is_none() {
        refuse_unit(&field, text, "flow", &[Flow::UNITS], &[HERTZ]);
    }
    sensor.misplaced(
        "pulses_per_litre",
        "it belongs to a frequency: unit = \"Hz\" (or to kind = \"pulses\" or \"increments\")",
    );
    let curve = curve(sensor);
    unit.map(|unit| RateConversion::Flow(Conversion { curve, unit }))
}

fn frequency(sensor: &Reader<'_>) -> Option<RateConversion> {
    for key in ["scale", "offset"] {
        sensor.misplaced(
            key,
            "a frequency takes pulses_per_litre or calibration instead",
        );
    }
    sensor.not_both("pulses_per_litre", "calibration");
    if !sensor.has("pulses_per_litre") && !sensor.has("calibration") {
        sensor.missing(
            "a frequency needs pulses_per_litre, or calibration = [[Hz, L/min], …], to become a flow",
        );
    }
    let pulses = pulses_per_litre(sensor)
        .map(|pulses_per_litre| RateConversion::Frequency { pulses_per_litre });
    let points = calibration(sensor)
        .map(|points| RateConversion::CalibratedFrequency(Curve::Piecewise(points)));
    pulses.or(points)
}

/// Pulses to the litre, a calibration, or a volume unit when the firmware counts volume itself.
pub(super) fn counts(sensor: &Reader<'_>) -> Option<CountConversion> {
    sensor.not_both("unit", "pulses_per_litre");
    sensor.not_both("unit", "calibration");
    sensor.not_both("pulses_per_litre", "calibration");
    sensor.misplaced("offset", "only differences of a count matter; leave it out");
    if !["unit", "pulses_per_litre", "calibration"]
        .iter()
        .any(|key| sensor.has(key))
    {
        sensor.missing(
            "a count needs pulses_per_litre, calibration = [[pulses per second, L/min], …], or \
             unit = \"L\" when the firmware counts volume itself",
        );
    }
    if !sensor.has("unit") {
        sensor.misplaced("scale", "put it into pulses_per_litre");
    }
    let pulses = pulses_per_litre(sensor).map(|pulses| CountConversion::Litres(1.0 / pulses));
    let calibrated =
        calibration(sensor).map(|points| CountConversion::Calibrated(Curve::Piecewise(points)));
    let scale = scale(sensor).unwrap_or(1.0);
    if scale < 0.0 && sensor.has("unit") {
        sensor.misplaced(
            "scale",
            "water does not flow backwards; a scale above 0 is wanted",
        );
    }
    let volume = sensor
        .field("unit")
        .and_then(|field| unit(&field, "volume", &[Volume::UNITS]))
        .map(|unit| CountConversion::Litres(unit.to_base(scale)));
    pulses.or(calibrated).or(volume)
}

fn pulses_per_litre(sensor: &Reader<'_>) -> Option<f64> {
    sensor
        .field("pulses_per_litre")?
        .number_in(defaults::PULSES_PER_LITRE_RANGE)
}
