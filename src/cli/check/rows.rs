//! The metrics as people look for them: a few rows under a few headings.

use super::{additions, probe::Answer};
use crate::{
    config::{StageSettings, StageWater, UnitSettings},
    core::{Finding, StageFindings},
    metrics::{Metric, StageMetric},
    quantity::duration_text,
};

/// A heading, and under it a name for the metrics of each row.
type Group = (&'static str, &'static [(&'static str, &'static [Metric])]);

/// Every metric, each in one row.
pub(super) const GROUPS: &[Group] = &[
    (
        "Water",
        &[
            (
                "feed flow and volume",
                &[Metric::FeedFlow, Metric::FeedVolume],
            ),
            (
                "permeate flow and volume",
                &[Metric::PermeateFlow, Metric::PermeateVolume],
            ),
            (
                "concentrate flow, volume",
                &[Metric::ConcentrateFlow, Metric::ConcentrateVolume],
            ),
            (
                "recovery and waste ratio",
                &[Metric::Recovery, Metric::WasteRatio],
            ),
            (
                "runs and their time",
                &[Metric::Runs, Metric::ProducingTime],
            ),
            (
                "water unaccounted for",
                &[
                    Metric::UnsplitVolume,
                    Metric::UnmatchedVolume,
                    Metric::UnmeasuredTime,
                ],
            ),
            ("level of the storage", &[Metric::StorageLevel]),
        ],
    ),
    (
        "Quality",
        &[
            (
                "TDS of the feed",
                &[Metric::FeedTds, Metric::FeedConductivity],
            ),
            (
                "TDS after the membrane",
                &[Metric::PermeateTds, Metric::PermeateConductivity],
            ),
            (
                "TDS of the product",
                &[Metric::ProductTds, Metric::ProductConductivity],
            ),
            ("TDS of the concentrate", &[Metric::ConcentrateTds]),
            (
                "rejection, salt passage",
                &[Metric::Rejection, Metric::SaltPassage],
            ),
            ("normalised salt passage", &[Metric::NormalizedSaltPassage]),
        ],
    ),
    (
        "Pressure, temperature and the membrane's flow",
        &[
            ("line pressure", &[Metric::SupplyPressure]),
            ("feed pressure", &[Metric::FeedPressure]),
            ("concentrate pressure", &[Metric::ConcentratePressure]),
            ("back-pressure", &[Metric::PermeatePressure]),
            ("feed temperature", &[Metric::FeedTemperature]),
            ("temperature correction", &[Metric::TemperatureCorrection]),
            ("flow at 25 °C", &[Metric::FlowAt25C]),
            ("net driving pressure", &[Metric::NetDrivingPressure]),
            ("flow for each bar", &[Metric::SpecificFlux]),
            (
                "normalised permeate flow",
                &[
                    Metric::NormalizedFlow,
                    Metric::NormalizedFlowOfRating,
                    Metric::NormalizedFlowOfBaseline,
                ],
            ),
            ("expected permeate flow", &[Metric::ExpectedFlow]),
        ],
    ),
];

/// What nothing but its own sensor can give: its absence is no news.
const ONLY_READ: &[Metric] = &[
    Metric::SupplyPressure,
    Metric::FeedPressure,
    Metric::ConcentratePressure,
    Metric::PermeatePressure,
    Metric::StorageLevel,
    Metric::UnsplitVolume,
    Metric::UnmatchedVolume,
    Metric::UnmeasuredTime,
];

/// A name and what is said of it, aligned.
pub(super) fn row(name: &str, words: &str) -> String {
    format!("    {name:<26}{words}")
}

/// The headings and rows of the unit's metrics.
pub(super) fn metrics(unit: &UnitSettings, answer: &Answer) -> Vec<String> {
    let mut lines = Vec::new();
    for (heading, rows) in GROUPS {
        lines.push(format!("  {heading}"));
        lines.extend(rows.iter().filter_map(|(name, metrics)| {
            let shown: Vec<Metric> = metrics
                .iter()
                .copied()
                .filter(|metric| answer.values.of(*metric).is_ok() || !ONLY_READ.contains(metric))
                .collect();
            (!shown.is_empty()).then(|| row(name, &words(unit, answer, &shown)))
        }));
    }
    lines
}

/// One word for all metrics of a row where it holds for all, else one for each.
fn words(unit: &UnitSettings, answer: &Answer, metrics: &[Metric]) -> String {
    let said: Vec<String> = metrics
        .iter()
        .map(|metric| match answer.values.of(*metric) {
            Ok(known) => known.basis.key().to_owned(),
            Err(lack) => absent(&additions::lacks(unit, *metric, lack)),
        })
        .collect();
    match said.as_slice() {
        [first, others @ ..] if others.iter().all(|other| other == first) => first.clone(),
        _ => metrics
            .iter()
            .zip(said)
            .map(|(metric, words)| format!("{} {words}", metric.description().name))
            .collect::<Vec<_>>()
            .join("; "),
    }
}

/// `absent: no sensor: feed_tds, permeate_tds; no …`: what has the same beginning is said in one.
fn absent(lacks: &[String]) -> String {
    let mut told: Vec<String> = Vec::new();
    for lack in lacks {
        let same = lack.split_once(": ").and_then(|(kind, point)| {
            let before = told.iter_mut().find(|said| said.starts_with(kind))?;
            Some((before, point))
        });
        match same {
            Some((before, point)) => *before = format!("{before}, {point}"),
            None => told.push(lack.clone()),
        }
    }
    format!("absent: {}", told.join("; "))
}

/// How what is left of a stage is told: each of its limits, and how well it is known.
pub(super) fn stage(stage: &StageSettings, found: &StageFindings) -> String {
    let water = match stage.water {
        StageWater::Feed => "feed",
        StageWater::Permeate => "permeate",
    };
    let volume = stage
        .life_volume
        .map(|life| format!("{} L of {water}", life.litres()))
        .map(|words| limit(words, found.of(StageMetric::LeftVolume)));
    let age = stage.life_time.map(|life| {
        let since = stage
            .installed
            .map_or("it was first seen".to_owned(), |day| day.to_string());
        let words = format!("{} since {since}", duration_text(life));
        limit(words, found.of(StageMetric::Age))
    });
    let tds = found.of(StageMetric::Tds).ok();
    let tds = tds.map(|known| format!("TDS behind it ({})", known.basis.key()));
    let parts: Vec<String> = [volume, age, tds].into_iter().flatten().collect();
    match found.of(StageMetric::Left) {
        Err(lack) if parts.is_empty() => format!("absent: {lack}"),
        Ok(_) | Err(_) => parts.join(", "),
    }
}

fn limit(words: String, finding: Finding<f64>) -> String {
    match finding {
        Ok(known) => format!("{words} ({})", known.basis.key()),
        Err(lack) => format!("{words} (absent: {lack})"),
    }
}
