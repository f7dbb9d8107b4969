//! The catalogue's metrics under the names scrapers expect: base units, written out, at the end of
//! the name; a share from 0 to 1 instead of per cent. The exceptions are quantities that nobody
//! would recognise in base units: TDS, conductivity and specific flow keep those of the trade.

use super::Kind;
use crate::metrics::{Description, Metric, StageMetric};

/// A metric as it is exposed.
#[derive(Clone, Debug, PartialEq)]
pub struct Exposed {
    /// Name without the prefix, with its unit.
    pub name: String,
    /// The unit the name ends in; empty for a pure number.
    pub unit: &'static str,
    /// Counter or gauge.
    pub kind: Kind,
    /// A value of the catalogue times this is the value exposed.
    pub factor: f64,
}

/// A unit of the catalogue, how its names end, and what becomes of both.
const UNITS: &[(&str, &str, &str, f64)] = &[
    ("", "", "", 1.0),
    ("%", "_pct", "ratio", 0.01),
    ("%/month", "_pct_month", "ratio_per_month", 0.01),
    ("K", "_k", "kelvins", 1.0),
    ("L", "_l", "liters", 1.0),
    ("L/d", "_l_d", "liters_per_second", 1.0 / 86_400.0),
    ("L/h/bar", "_l_h_bar", "liters_per_hour_bar", 1.0),
    ("L/min", "_l_min", "liters_per_second", 1.0 / 60.0),
    ("bar", "_bar", "pascals", 1e5),
    // Which currency, a label tells.
    ("currency", "_cost", "cost", 1.0),
    ("currency/L", "_cost_per_l", "cost_per_liter", 1.0),
    ("d", "_d", "seconds", 86_400.0),
    ("g", "_g", "grams", 1.0),
    ("h", "_h", "seconds", 3600.0),
    ("meq", "_meq", "equivalents", 1e-3),
    ("mg", "_mg", "grams", 1e-3),
    ("mg/L", "_mg_l", "milligrams_per_liter", 1.0),
    ("ppm·h", "_ppm_h", "milligram_hours_per_liter", 1.0),
    ("s", "_s", "seconds", 1.0),
    ("°C", "_c", "celsius", 1.0),
    ("µS/cm", "_us_cm", "microsiemens_per_centimeter", 1.0),
];

/// Metrics that only grow; every other is a gauge.
const COUNTERS: &[Metric] = &[
    Metric::FeedVolume,
    Metric::PermeateVolume,
    Metric::ConcentrateVolume,
    Metric::UnsplitVolume,
    Metric::UnmatchedVolume,
    Metric::ProducingTime,
    Metric::UnmeasuredTime,
    Metric::Runs,
    Metric::PermeateSalt,
    Metric::CreepSalt,
];

/// How a metric is exposed; `None` for a unit this file does not know, which a test excludes.
#[must_use]
pub fn exposed(metric: Metric) -> Option<Exposed> {
    of(metric.description(), "", COUNTERS.contains(&metric))
}

/// The same for a metric of a stage.
#[must_use]
pub fn exposed_stage(metric: StageMetric) -> Option<Exposed> {
    let grows = metric.is_sum();
    of(metric.description(), "stage_", grows)
}

fn of(description: &Description, of_what: &str, grows: bool) -> Option<Exposed> {
    let row = UNITS.iter().find(|row| row.0 == description.unit)?;
    let (_, ending, unit, factor) = *row;
    let stem = description.name.strip_suffix(ending)?;
    let joint = if unit.is_empty() { "" } else { "_" };
    Some(Exposed {
        name: format!("{of_what}{stem}{joint}{unit}"),
        unit,
        kind: if grows { Kind::Counter } else { Kind::Gauge },
        factor,
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::metrics::Group;

    #[test]
    fn every_metric_has_a_name_of_its_own_that_ends_in_its_unit() {
        let all = Metric::ALL
            .iter()
            .map(|metric| (metric.description().name, exposed(*metric)));
        let stages = StageMetric::ALL.iter();
        let stages = stages.map(|metric| (metric.description().name, exposed_stage(*metric)));
        let mut seen = BTreeSet::new();
        for (name, exposed) in all.chain(stages) {
            let exposed = exposed.unwrap_or_else(|| panic!("{name}: add its unit to UNITS"));
            assert!(exposed.name.ends_with(exposed.unit), "{name}");
            assert!(seen.insert(exposed.name.clone()), "{} twice", exposed.name);
        }
    }

    /// A new sum is a counter; a new mean over days is not, and is named here.
    #[test]
    fn every_total_is_a_counter_or_known_as_a_mean() {
        const MEANS: &[Metric] = &[
            Metric::StartsPerDay,
            Metric::LitresPerRun,
            Metric::CreepShare,
        ];
        for metric in Metric::ALL {
            let total = metric.group() == Group::Totals;
            let counter = COUNTERS.contains(metric);
            assert_eq!(total, counter || MEANS.contains(metric), "{metric:?}");
        }
    }

    #[test]
    fn units_become_base_units() {
        let told = |metric| {
            let exposed = exposed(metric).unwrap();
            (exposed.name, exposed.factor)
        };
        assert_eq!(
            told(Metric::FeedPressure),
            ("feed_pressure_pascals".to_owned(), 1e5)
        );
        assert_eq!(
            told(Metric::Rejection),
            ("rejection_ratio".to_owned(), 0.01)
        );
        assert_eq!(
            told(Metric::FeedTemperature),
            ("feed_temperature_celsius".to_owned(), 1.0)
        );
        assert_eq!(
            told(Metric::PermeateVolume),
            ("permeate_liters".to_owned(), 1.0)
        );
        assert_eq!(
            told(Metric::ProducingTime),
            ("producing_seconds".to_owned(), 3600.0)
        );
        let stage = exposed_stage(StageMetric::LeftTime).unwrap();
        assert_eq!(stage.name, "stage_left_seconds");
    }
}
