//! The metrics as people look for them: a few rows under a few headings.

use super::{additions, probe::Answer};
use crate::{
    config::UnitSettings,
    core::Lack,
    metrics::{self, Metric},
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

/// Named at most; more is not read.
const MOST_NAMES: usize = 6;

/// What the probe found, by the names that these rows have; of metrics and of alerts the first few.
pub(super) fn in_words(found: &[String]) -> String {
    let (alerts, values): (Vec<&str>, Vec<&str>) = found
        .iter()
        .map(String::as_str)
        .partition(|name| name.starts_with(ALERT));
    let mut values: Vec<String> = values.into_iter().map(name).collect();
    let mut seen = std::collections::BTreeSet::new();
    values.retain(|value| seen.insert(value.clone()));
    let alerts: Vec<String> = alerts
        .into_iter()
        .map(|alert| alert.trim_start_matches(ALERT).to_owned())
        .collect();
    let parts = [("", values), (ALERT, alerts)];
    let parts = parts.into_iter().filter(|(_, names)| !names.is_empty());
    let parts: Vec<String> = parts
        .map(|(before, names)| {
            let before = if before.is_empty() || names.len() == 1 {
                before
            } else {
                "the alerts "
            };
            let more = names.len().saturating_sub(MOST_NAMES);
            let shown = names.get(..MOST_NAMES).unwrap_or(&names).join(", ");
            let more = if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            };
            format!("{before}{shown}{more}")
        })
        .collect();
    parts.join("; ")
}

/// How the probe begins the name of an alert.
const ALERT: &str = "the alert ";

/// The row of a metric, or what is left of a stage.
fn name(found: &str) -> String {
    if let Some((_, stage)) = found.split_once(" of ") {
        return format!("what is left of {stage}");
    }
    for (heading, rows) in GROUPS {
        for (row, metrics) in *rows {
            let is_it = |metric: &Metric| metric.description().name == found;
            if metrics.iter().any(is_it) {
                return in_full(heading, row);
            }
        }
    }
    found.to_owned()
}

/// The headings and rows of the unit's metrics, and the rows of those that it lacks.
pub(super) fn metrics(unit: &UnitSettings, answer: &Answer) -> (Vec<String>, Vec<String>) {
    let (mut lines, mut lacking) = (Vec::new(), Vec::new());
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
            let words = (!shown.is_empty()).then(|| words(unit, answer, &shown))?;
            if words.starts_with(ABSENT) {
                lacking.push(row(&in_full(heading, name), &words));
                return None;
            }
            Some(row(name, &words))
        }));
        if lines.len() > before {
            lines.insert(before, format!("  {heading}"));
        }
    }
    (lines, lacking)
}

/// The name of a row as it is understood without its heading.
fn in_full(heading: &str, name: &str) -> String {
    if heading.starts_with("The membrane over its life") && !name.contains(':') {
        format!("{name} over its life")
    } else {
        name.to_owned()
    }
}

/// How the words of what is not there begin.
const ABSENT: &str = "absent: ";

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
    format!("{ABSENT}{}", told.join("; "))
}
