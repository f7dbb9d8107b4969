//! `[unit.*.supply]`, `[unit.*.membrane]` and `[unit.*.storage]`: what is known of the water, of
//! the element's rating and of what the product runs into.

use std::ops::RangeInclusive;

use super::super::{
    defaults,
    field::Field,
    ranges,
    reader::Reader,
    settings::{Membrane, Storage, Supply},
    tree::Value,
};
use super::chemistry;
use crate::quantity::{
    Conductivity, Pressure, Quantity, QuantityError, Tds, TdsScale, Temperature, Volume,
};

pub(super) const SUPPLY_KEYS: &[&str] = &[
    "pressure",
    "temperature",
    "tds",
    "conductivity",
    "waste_ratio",
    "alkalinity",
    "calcium",
    "hardness",
    "tested",
    "ph",
    "disinfectant",
    "disinfectant_level",
    "silica",
    "boost_pressure",
];
pub(super) const MEMBRANE_KEYS: &[&str] = &[
    "rated_flow",
    "rated_pressure",
    "rated_temperature",
    "rated_tds",
    "rated_recovery",
    "rated_rejection",
    "elements",
    "baseline_runs",
    "break_in_time",
    "break_in_volume",
];
pub(super) const STORAGE_KEYS: &[&str] = &["kind", "pressure"];

pub(super) fn supply(reader: &Reader<'_>, scale: TdsScale) -> Supply {
    reader.not_both("tds", "conductivity");
    let tds = reader
        .field("tds")
        .and_then(|field| dissolved(&field, Some(scale), &ranges::feed_conductivity_range()));
    let conductivity = reader
        .field("conductivity")
        .and_then(|field| dissolved(&field, None, &ranges::feed_conductivity_range()));
    Supply {
        pressure: reader
            .field("pressure")
            .and_then(|field| field.quantity_in(ranges::pressure_range())),
        temperature: reader
            .field("temperature")
            .and_then(|field| field.quantity_in(ranges::temperature_range())),
        conductivity: conductivity.or(tds),
        waste_ratio: reader
            .field("waste_ratio")
            .and_then(|field| waste_ratio(&field)),
        chemistry: chemistry::chemistry(reader),
        boost_pressure: reader
            .field("boost_pressure")
            .and_then(|field| field.quantity_in(ranges::pressure_range()))
            .unwrap_or_else(|| Pressure::from_psi(defaults::BOOST_PSI)),
    }
}

/// `4.0` or `"4:1"`: parts of concentrate to one part of permeate.
fn waste_ratio(field: &Field<'_>) -> Option<f64> {
    let ratio = match &field.node.value {
        Value::Text(text) if text.contains(':') => {
            let parts = text
                .split_once(':')
                .and_then(|(waste, product)| {
                    Some((
                        waste.trim().parse::<f64>().ok()?,
                        product.trim().parse::<f64>().ok()?,
                    ))
                })
                .filter(|(waste, product)| *waste > 0.0 && *product > 0.0);
            let Some((waste, product)) = parts else {
                field.wrong(format!(
                    "{text:?} is no ratio; write \"4:1\" for four parts of waste to one of product"
                ));
                return None;
            };
            waste / product
        }
        _ => field.number()?,
    };
    if !defaults::WASTE_RATIO_RANGE.contains(&ratio) {
        field.wrong(format!(
            "a waste ratio of {ratio} is out of range; allowed is {} to {} parts of waste to one \
             of product",
            defaults::WASTE_RATIO_RANGE.start(),
            defaults::WASTE_RATIO_RANGE.end()
        ));
        return None;
    }
    Some(ratio)
}

/// The rating; `None` when a part of it is missing or wrong.
pub(super) fn membrane(reader: &Reader<'_>) -> Option<Membrane> {
    for (key, example) in [
        ("rated_flow", "rated_flow = \"75 gal/d\""),
        ("rated_pressure", "rated_pressure = \"60 psi\""),
        ("rated_tds", "rated_tds = \"250 mg/L\""),
        ("rated_recovery", "rated_recovery = 0.15"),
    ] {
        if !reader.has(key) {
            reader.missing(&format!(
                "{key:?} is missing: a rating means something only with the conditions of its \
                 test, which stand on the element's data sheet; write for example {example}"
            ));
        }
    }
    let flow = reader
        .field("rated_flow")
        .and_then(|field| field.quantity_in(ranges::rated_flow_range()));
    let pressure = reader
        .field("rated_pressure")
        .and_then(|field| field.quantity_in(ranges::pressure_range()));
    let temperature = reader
        .field("rated_temperature")
        .and_then(|field| field.quantity_in(ranges::temperature_range()))
        .unwrap_or_else(|| Temperature::from_celsius(defaults::RATED_CELSIUS));
    // Makers test with table salt, whatever scale the owner's meter has.
    let conductivity = reader.field("rated_tds").and_then(|field| {
        dissolved(
            &field,
            Some(TdsScale::NACL),
            &ranges::feed_conductivity_range(),
        )
    });
    let recovery = reader
        .field("rated_recovery")
        .and_then(|field| field.share(defaults::RECOVERY_RANGE));
    let rejection = reader
        .field("rated_rejection")
        .and_then(|field| field.share(defaults::REJECTION_RANGE));
    let elements = reader
        .field("elements")
        .and_then(|field| field.whole(defaults::ELEMENTS_RANGE))
        .unwrap_or(1);
    let baseline_runs = reader
        .field("baseline_runs")
        .and_then(|field| field.whole(defaults::BASELINE_RUNS_RANGE))
        .unwrap_or(defaults::BASELINE_RUNS);
    let break_in_time = reader
        .field("break_in_time")
        .and_then(|field| field.duration_in(defaults::BREAK_IN_TIME_RANGE))
        .unwrap_or(defaults::BREAK_IN_TIME);
    let break_in_volume = reader
        .field("break_in_volume")
        .and_then(|field| field.quantity_in(ranges::break_in_range()))
        .unwrap_or_else(|| Volume::from_litres(defaults::BREAK_IN_LITRES));
    Some(Membrane {
        flow: flow? * f64::from(elements),
        pressure: pressure?,
        temperature,
        conductivity: conductivity?,
        recovery: recovery?,
        rejection,
        baseline_runs: baseline_runs as usize,
        break_in_time,
        break_in_volume,
    })
}

pub(super) fn storage(reader: &Reader<'_>) -> Storage {
    #[derive(Clone, Copy, PartialEq)]
    enum Kind {
        Open,
        Pressurised,
    }
    reader.require("kind", "kind = \"open\"");
    let kind = reader.field("kind").and_then(|field| {
        field.one_of(
            "kind of storage",
            &[("open", Kind::Open), ("pressurised", Kind::Pressurised)],
        )
    });
    let pressure: Option<Pressure> = reader
        .field("pressure")
        .and_then(|field| field.quantity_in(ranges::pressure_range()));
    match kind {
        Some(Kind::Open) => {
            reader.misplaced(
                "pressure",
                "an open storage has no pressure; leave it out or write kind = \"pressurised\"",
            );
            Storage::Open
        }
        Some(Kind::Pressurised) => Storage::Pressurised(pressure),
        None => Storage::Unstated,
    }
}

/// TDS (when a scale is given) or conductivity.
pub(super) fn dissolved(
    field: &Field<'_>,
    scale: Option<TdsScale>,
    range: &RangeInclusive<Conductivity>,
) -> Option<Conductivity> {
    let text = match &field.node.value {
        Value::Text(text) => text.clone(),
        Value::Integer(_) | Value::Float(_) => field.typed(),
        _ => {
            field.wrong_kind("a text with a number and a unit");
            return None;
        }
    };
    let conductivity = match (scale, Conductivity::parse(&text)) {
        (_, Ok(conductivity)) => conductivity,
        (None, Err(error)) => {
            field.wrong(error.to_string());
            return None;
        }
        (Some(scale), Err(_)) => match Tds::parse(&text) {
            Ok(tds) => scale.conductivity(tds),
            Err(error) => {
                field.wrong(with_conductivity(error).to_string());
                return None;
            }
        },
    };
    if (range.start().base()..=range.end().base()).contains(&conductivity.base()) {
        return Some(conductivity);
    }
    let shown = |end: &Conductivity| {
        scale.map_or_else(|| end.us_per_cm(), |scale| scale.tds(*end).mg_per_l())
    };
    field.wrong(format!(
        "{text:?} is out of range; allowed is {} to {} {}",
        shown(range.start()),
        shown(range.end()),
        if scale.is_some() { "mg/L" } else { "uS/cm" }
    ));
    None
}

/// Where TDS may be written, conductivity may be, too.
fn with_conductivity(error: QuantityError) -> QuantityError {
    match error {
        QuantityError::Unit {
            found,
            unit,
            quantity,
            mut allowed,
        } => {
            allowed.extend(Conductivity::UNITS.iter().map(|unit| unit.symbol()));
            QuantityError::Unit {
                found,
                unit,
                quantity,
                allowed,
            }
        }
        other => other,
    }
}
