//! The configuration of the demonstration's household.

use std::{net::SocketAddr, path::Path};

use jiff::{ToSpan, civil::Date};

use super::super::demo::{Described, InDocument, SENSORS, head, sensors};
use crate::config::Point;

/// What of the service can be reached besides the broker, and where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Outlets {
    /// The page.
    pub page: Option<SocketAddr>,
    /// Metrics for scrapers.
    pub metrics: Option<SocketAddr>,
}

/// How old the carbon is when the unit's story begins, days.
const CARBON_DAYS: i64 = 100;

const MORE: &[Described] = &[
    ("ANALOG/A1", Point::SupplyPressure, Some(InDocument::Gauge)),
    ("leak", Point::Leak, None),
];

/// The configuration with which `permeated run` understands the boards of a household that began on
/// that day. `broker_url` as `mqtt://127.0.0.1:1883`; `directory` is where state is kept.
#[must_use]
pub fn household_configuration(
    broker_url: &str,
    directory: &Path,
    outlets: Outlets,
    began: Date,
) -> String {
    let mut text = head(broker_url, directory);
    if let Some(listen) = outlets.page {
        text += &format!("[page]\nlisten = \"{listen}\"\nurl = \"http://{listen}\"\n\n");
    }
    if let Some(listen) = outlets.metrics {
        text += &format!("[metrics]\nlisten = \"{listen}\"\n\n");
    }
    text += UNIT;
    let carbon = began.saturating_sub(CARBON_DAYS.days());
    text += &stages(began, carbon);
    text += &sensors(SENSORS);
    text += &sensors(MORE);
    text
}

const UNIT: &str = r#"[unit.basement]
name = "Basement"
tds_scale = 0.5

[unit.basement.supply]
disinfectant = "chlorine"
disinfectant_level = "0.5 mg/L"

[unit.basement.membrane]
rated_flow = "100 gal/d"
rated_pressure = "60 psi"
rated_temperature = "25 degC"
rated_tds = "250 mg/L"
rated_recovery = 0.15
rated_rejection = 0.96

[unit.basement.storage]
kind = "open"

[unit.basement.costs]
currency = "EUR"
water = "2.10 /m3"
waste_water = "2.40 /m3"

"#;

fn stages(began: Date, carbon: Date) -> String {
    format!(
        r#"[[unit.basement.stage]]
id = "sediment"
kind = "sediment"
name = "Sediment"
life_time = "365 d"
installed = {began}
price = 7.90

[[unit.basement.stage]]
id = "carbon_1"
kind = "carbon"
name = "Carbon block 1"
life = "30000 L"
life_time = "180 d"
installed = {carbon}
price = 16.50

[[unit.basement.stage]]
id = "carbon_2"
kind = "carbon"
name = "Carbon block 2"
life = "60000 L"
life_time = "365 d"
installed = {carbon}
price = 16.50

[[unit.basement.stage]]
id = "membrane"
kind = "membrane"
name = "Membrane"
life_time = "1095 d"
installed = {began}
price = 55.00

[[unit.basement.stage]]
id = "mixed_bed"
kind = "mixed_bed"
name = "Mixed bed"
resin = "1 L"
installed = {began}
price = 21.00
"#
    )
}
