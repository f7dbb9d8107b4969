//! The metrics as people look for them: a few rows under a few headings.

use super::{additions, probe::Answer};
use crate::{
    config::{Capacity, StageKind, StageSettings, StageWater, UnitSettings},
    core::{Finding, Lack, StageFindings},
    metrics::{self, Metric, StageMetric},
    quantity::{Equivalents, duration_text},
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
                "starts and their size",
                &[Metric::StartsPerDay, Metric::LitresPerRun],
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
            (
                "salt in the permeate",
                &[Metric::PermeateSalt, Metric::CreepSalt, Metric::CreepShare],
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
            ("loss in the pre-filters", &[Metric::PrefilterDrop]),
            ("feed temperature", &[Metric::FeedTemperature]),
            ("temperature correction", &[Metric::TemperatureCorrection]),
            ("flow at 25 °C", &[Metric::FlowAt25C]),
            ("net driving pressure", &[Metric::NetDrivingPressure]),
            ("flow for each bar", &[Metric::SpecificFlux]),
            (
                "normalised permeate flow",
                &[Metric::NormalizedFlow, Metric::NormalizedFlowOfRating],
            ),
            ("expected permeate flow", &[Metric::ExpectedFlow]),
            (
                "shortfall and its causes",
                &[
                    Metric::Shortfall,
                    Metric::ShortfallPressure,
                    Metric::ShortfallBackPressure,
                    Metric::ShortfallTemperature,
                    Metric::ShortfallSalinity,
                    Metric::ShortfallMembrane,
                ],
            ),
            ("flow with a booster pump", &[Metric::BoostedFlow]),
        ],
    ),
    (
        "The membrane over its life, against its own baseline",
        &[
            ("flow", &[Metric::NormalizedFlowOfBaseline]),
            ("salt passage", &[Metric::SaltPassageOfBaseline]),
            (
                "flow: response, trend",
                &[
                    Metric::FlowResponse,
                    Metric::FlowResponseMargin,
                    Metric::ResponseToHandbook,
                    Metric::FlowTrend,
                    Metric::FlowTrendMargin,
                    Metric::FlowChange,
                    Metric::FlowChangeMargin,
                    Metric::SmallestFlowChange,
                ],
            ),
            (
                "flow: days to its limit",
                &[
                    Metric::FlowLimitEarliest,
                    Metric::FlowLimitLikely,
                    Metric::FlowLimitLatest,
                ],
            ),
            (
                "salt: response, trend",
                &[
                    Metric::SaltResponse,
                    Metric::SaltResponseMargin,
                    Metric::SaltTrend,
                    Metric::SaltTrendMargin,
                    Metric::SaltChange,
                    Metric::SaltChangeMargin,
                    Metric::SmallestSaltChange,
                ],
            ),
            (
                "salt: days to its limit",
                &[
                    Metric::SaltLimitEarliest,
                    Metric::SaltLimitLikely,
                    Metric::SaltLimitLatest,
                ],
            ),
        ],
    ),
    (
        "Costs",
        &[
            (
                "today",
                &[
                    Metric::CostToday,
                    Metric::CartridgesToday,
                    Metric::WaterToday,
                    Metric::WasteToday,
                ],
            ),
            (
                "this month",
                &[
                    Metric::CostMonth,
                    Metric::CartridgesMonth,
                    Metric::WaterMonth,
                    Metric::WasteMonth,
                ],
            ),
            (
                "since prices were written",
                &[
                    Metric::CostLife,
                    Metric::CartridgesLife,
                    Metric::WaterLife,
                    Metric::WasteLife,
                ],
            ),
            (
                "of a litre of product",
                &[
                    Metric::CostLitre,
                    Metric::CartridgesLitre,
                    Metric::WaterLitre,
                    Metric::WasteLitre,
                ],
            ),
            (
                "of a litre, last month",
                &[
                    Metric::CostLitreLastMonth,
                    Metric::CartridgesLitreLastMonth,
                    Metric::WaterLitreLastMonth,
                    Metric::WasteLitreLastMonth,
                ],
            ),
        ],
    ),
    (
        "By tests by hand and the feed's analysis",
        &[
            (
                "scale in the membrane",
                &[Metric::ScalingIndex, Metric::SafeRecovery],
            ),
            (
                "exposure to chlorine",
                &[
                    Metric::ChlorineExposureLow,
                    Metric::ChlorineExposure,
                    Metric::ChlorineExposureHigh,
                ],
            ),
        ],
    ),
];

/// What nothing but its own sensor can give: its absence is no news.
const ONLY_READ: &[Metric] = &[
    Metric::SupplyPressure,
    Metric::FeedPressure,
    Metric::ConcentratePressure,
    Metric::PermeatePressure,
    Metric::PrefilterDrop,
    Metric::StorageLevel,
    Metric::UnsplitVolume,
    Metric::UnmatchedVolume,
    Metric::UnmeasuredTime,
];

/// A name and what is said of it, aligned.
pub(super) fn row(name: &str, words: &str) -> String {
    format!("    {name:<30}{words}")
}

/// The headings and rows of the unit's metrics.
pub(super) fn metrics(unit: &UnitSettings, answer: &Answer) -> Vec<String> {
    let mut lines = Vec::new();
    for (heading, rows) in GROUPS {
        let before = lines.len();
        lines.extend(rows.iter().filter_map(|(name, metrics)| {
            let shown: Vec<Metric> = metrics
                .iter()
                .copied()
                .filter(|metric| match answer.values.of(*metric) {
                    Ok(_) => true,
                    // Who wrote no price asks for no cost.
                    Err(lack) => lack != Lack::NoPrice && !ONLY_READ.contains(metric),
                })
                .collect();
            (!shown.is_empty()).then(|| row(name, &words(unit, answer, &shown)))
        }));
        if lines.len() > before {
            lines.insert(before, format!("  {heading}"));
        }
    }
    lines
}

/// One word for all metrics of a row where it holds for all, else one for each.
fn words(unit: &UnitSettings, answer: &Answer, metrics: &[Metric]) -> String {
    let said: Vec<String> = metrics
        .iter()
        .map(|metric| match answer.values.of(*metric) {
            // A probe of some minutes teaches nothing; weeks of use do.
            Ok(_) | Err(Lack::TooEarly) if metric.group() == metrics::Group::Wear => {
                "learned from settled runs".to_owned()
            }
            Err(Lack::TooEarly) if metric.group() == metrics::Group::Costs => {
                "comes with use".to_owned()
            }
            Err(Lack::TooEarly) if metric.group() == metrics::Group::Chemistry => {
                "from settled runs".to_owned()
            }
            Err(Lack::Untested) => "from tests by hand".to_owned(),
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
    let load = capacity(stage).map(|words| {
        let loads = [
            StageMetric::DisinfectantLoad,
            StageMetric::AnionLoad,
            StageMetric::CationLoad,
        ];
        let mut known = loads.into_iter().map(|metric| found.of(metric));
        let own = known.find(|load| *load != Err(Lack::NoLife));
        limit(words, own.unwrap_or(Err(Lack::NoLife)))
    });
    let tds = found.of(StageMetric::Tds).ok();
    let tds = tds.map(|known| format!("TDS behind it ({})", known.basis.key()));
    let parts: Vec<String> = [load, volume, age, tds].into_iter().flatten().collect();
    match found.of(StageMetric::Left) {
        Err(lack) if parts.is_empty() => format!("absent: {lack}"),
        Ok(_) if parts.is_empty() && stage.kind == StageKind::Membrane => {
            "by its wear, learned from settled runs".to_owned()
        }
        Ok(_) | Err(_) => parts.join(", "),
    }
}

/// What it can take, in words: the side of a mixed bed that is spent first.
fn capacity(stage: &StageSettings) -> Option<String> {
    Some(match stage.capacity? {
        Capacity::Disinfectant(mass) => format!("{:.1} g of disinfectant", mass.grams()),
        Capacity::Ions(ions) => {
            let sides = [ions.cation, ions.anion].into_iter().flatten();
            let least = sides.map(Equivalents::meq).fold(f64::INFINITY, f64::min);
            let [most, _, least_used] = ions.usable;
            if least_used < most {
                let (from, to) = (least * least_used, least * most);
                format!("{from:.0} to {to:.0} meq of ions")
            } else {
                format!("{least:.0} meq of ions")
            }
        }
    })
}

fn limit(words: String, finding: Finding<f64>) -> String {
    match finding {
        Ok(known) => format!("{words} ({})", known.basis.key()),
        Err(lack) => format!("{words} (absent: {lack})"),
    }
}
