//! What is asked, as typed: quantities with their units, in the ranges of the configuration.

use std::ops::RangeInclusive;

use clap::Args;

use crate::{
    config::{
        RECOVERY_RANGE, Settings, UnitSettings, feed_conductivity_range, pressure_range,
        temperature_range,
    },
    core::expect::Asked,
    quantity::{Conductivity, Pressure, Quantity, Tds},
};

/// The question. Without any condition: at the configured `boost_pressure`.
#[derive(Clone, Debug, Default, Args)]
pub struct Question {
    /// The unit's id; not needed where there is only one
    #[arg(long, value_name = "ID")]
    pub unit: Option<String>,
    /// Pressure at the membrane, such as "80 psi"; the configured boost_pressure when nothing is asked
    #[arg(long, value_name = "PRESSURE", allow_hyphen_values = true)]
    pub pressure: Option<String>,
    /// Temperature of the feed, such as "6 degC"
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub temperature: Option<String>,
    /// TDS (in the unit's scale) or conductivity of the feed, such as "400 mg/L" or "800 uS/cm"
    #[arg(long, value_name = "TDS", allow_hyphen_values = true)]
    pub tds: Option<String>,
    /// Pressure on the permeate, such as "20 psi" of a tank
    #[arg(long, value_name = "PRESSURE", allow_hyphen_values = true)]
    pub back_pressure: Option<String>,
    /// Share of the feed that becomes permeate, such as 0.25 or "25 %"
    #[arg(long, value_name = "SHARE", allow_hyphen_values = true)]
    pub recovery: Option<String>,
}

impl Question {
    /// The unit that is asked about.
    pub(super) fn unit<'s>(&self, settings: &'s Settings) -> Result<&'s UnitSettings, String> {
        super::super::unit::chosen(settings, self.unit.as_deref())
    }

    /// The conditions, read.
    pub(super) fn asked(&self, unit: &UnitSettings) -> Result<Asked, String> {
        let pressures = pressure_range();
        let asked = Asked {
            pressure: quantity("--pressure", self.pressure.as_deref(), &pressures)?,
            back_pressure: quantity(
                "--back-pressure",
                self.back_pressure.as_deref(),
                &(Pressure::ZERO..=*pressures.end()),
            )?,
            temperature: quantity(
                "--temperature",
                self.temperature.as_deref(),
                &temperature_range(),
            )?,
            feed: self
                .tds
                .as_deref()
                .map(|text| feed(unit, text))
                .transpose()?,
            recovery: self.recovery.as_deref().map(share).transpose()?,
        };
        if asked == Asked::default() {
            return Ok(Asked {
                pressure: Some(unit.supply.boost_pressure),
                ..asked
            });
        }
        Ok(asked)
    }
}

fn quantity<Q: Quantity>(
    option: &str,
    text: Option<&str>,
    range: &RangeInclusive<Q>,
) -> Result<Option<Q>, String> {
    let Some(text) = text else { return Ok(None) };
    let quantity = Q::parse(text).map_err(|error| format!("{option}: {error}"))?;
    within(option, text, quantity.base(), range, &Q::UNITS[..2]).map(|()| Some(quantity))
}

/// TDS in the unit's scale, or conductivity.
fn feed(unit: &UnitSettings, text: &str) -> Result<Conductivity, String> {
    let option = "--tds";
    let range = feed_conductivity_range();
    if let Ok(conductivity) = Conductivity::parse(text) {
        within(
            option,
            text,
            conductivity.base(),
            &range,
            &Conductivity::UNITS[..1],
        )?;
        return Ok(conductivity);
    }
    let tds = Tds::parse(text)
        .map_err(|error| format!("{option}: {error}, or as a conductivity in uS/cm"))?;
    let scale = unit.tds_scale;
    let tds_range = scale.tds(*range.start())..=scale.tds(*range.end());
    within(option, text, tds.base(), &tds_range, &Tds::UNITS[..1])?;
    Ok(scale.conductivity(tds))
}

/// `0.25` or `"25 %"`.
fn share(text: &str) -> Result<f64, String> {
    let trimmed = text.trim();
    let number = match trimmed.strip_suffix('%') {
        Some(per_cent) => per_cent.trim().parse::<f64>().map(|value| value / 100.0),
        None => trimmed.parse(),
    };
    match number {
        Ok(share) if RECOVERY_RANGE.contains(&share) => Ok(share),
        Ok(_) => Err(format!(
            "--recovery: {text:?} is out of range; allowed is {} to {} (in per cent: \"1 %\" to \
             \"95 %\")",
            RECOVERY_RANGE.start(),
            RECOVERY_RANGE.end()
        )),
        Err(_) => Err(format!(
            "--recovery: {text:?} is no share; write it as 0.25 or \"25 %\""
        )),
    }
}

/// Says in each of `units` what is allowed.
fn within<Q: Quantity>(
    option: &str,
    text: &str,
    base: f64,
    range: &RangeInclusive<Q>,
    units: &[crate::quantity::Unit],
) -> Result<(), String> {
    let (low, high) = (range.start().base(), range.end().base());
    if (low..=high).contains(&base) {
        return Ok(());
    }
    let allowed: Vec<String> = units
        .iter()
        .map(|unit| {
            let end = |base| super::table::short(unit.from_base(base), 4);
            format!("{} to {} {}", end(low), end(high), unit.symbol())
        })
        .collect();
    Err(format!(
        "{option}: {text:?} is out of range; allowed is {}",
        allowed.join(" (or ") + if units.len() > 1 { ")" } else { "" }
    ))
}
