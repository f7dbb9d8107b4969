//! Samples of a unit for graphs and reports: means over a minute while it does something, over a
//! quarter of an hour while it stands. Pure; what becomes of them with age is the store's business.

use std::{collections::BTreeMap, time::Duration};

use serde::{Deserialize, Serialize};

use crate::{
    core::{RunState, StageFindings, Unit, Values},
    metrics::{Group, Metric, StageMetric, rounded},
    time::{Mono, Now, Wall},
};

/// A sample while the unit makes water or flushes …
const BUSY: Duration = Duration::from_secs(60);
/// … and while it stands: little changes then, and memory cards wear.
const STANDING: Duration = Duration::from_secs(900);

/// Figures of the membrane that graphs show. They are sampled while its water counts; what is held
/// between two runs is no measurement.
const OF_MEMBRANE: &[Metric] = &[
    Metric::Rejection,
    Metric::Recovery,
    Metric::NetDrivingPressure,
    Metric::NormalizedFlowOfRating,
    Metric::NormalizedFlowOfBaseline,
    Metric::SaltPassageOfBaseline,
    Metric::Shortfall,
    Metric::ShortfallPressure,
    Metric::ShortfallBackPressure,
    Metric::ShortfallTemperature,
    Metric::ShortfallSalinity,
    Metric::ShortfallMembrane,
];
/// TDS says the same.
const NOT_SAMPLED: &[Metric] = &[
    Metric::FeedConductivity,
    Metric::PermeateConductivity,
    Metric::ProductConductivity,
];
/// Sums whose last value is kept.
const SUMS: &[Metric] = &[
    Metric::FeedVolume,
    Metric::PermeateVolume,
    Metric::ConcentrateVolume,
    Metric::ProducingTime,
    Metric::UnmeasuredTime,
    Metric::CartridgesLife,
    Metric::WaterLife,
    Metric::WasteLife,
];

/// What a unit was like for a while.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// When it began.
    pub start: Wall,
    /// How long it lasted.
    pub seconds: u32,
    /// Its figures.
    pub figures: Figures,
}

/// Figures of a sample by the names of the catalogue; `<stage>/<name>` for one of a stage. What was
/// not there is not in it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// Means over its time.
    pub mean: BTreeMap<String, f64>,
    /// Of ever-growing sums, the last.
    pub last: BTreeMap<String, f64>,
}

/// Gathers looks at a unit into samples.
#[derive(Clone, Debug, Default)]
pub struct Sampler {
    open: Option<Open>,
}

#[derive(Clone, Debug)]
struct Open {
    began: Now,
    /// Whether the unit only stands.
    stands: bool,
    /// Sum and number of looks by name.
    sums: BTreeMap<String, (f64, u32)>,
    last: BTreeMap<String, f64>,
}

impl Sampler {
    /// Takes a look at the unit; gives the sample that ended with it, if one did.
    pub fn look(
        &mut self,
        now: Now,
        unit: &Unit,
        values: &Values,
        stages: &[StageFindings],
    ) -> Option<Sample> {
        let stands = unit.run_state() == RunState::Standby;
        let is_over = |open: &Open| {
            let long = if open.stands { STANDING } else { BUSY };
            open.stands != stands || now.mono.since(open.began.mono) >= long
        };
        let ended = if self.open.as_ref().is_some_and(is_over) {
            self.open.take().and_then(|open| open.close(now.mono))
        } else {
            None
        };
        let open = self.open.get_or_insert_with(|| Open {
            began: now,
            stands,
            sums: BTreeMap::new(),
            last: BTreeMap::new(),
        });
        open.take(unit, values, stages);
        ended
    }
}

impl Open {
    fn take(&mut self, unit: &Unit, values: &Values, stages: &[StageFindings]) {
        let flowing = Metric::ALL
            .iter()
            .filter(|metric| metric.group() == Group::Now && !NOT_SAMPLED.contains(metric));
        let of_membrane = (unit.run_state() == RunState::Producing).then_some(OF_MEMBRANE);
        for metric in flowing.chain(of_membrane.unwrap_or_default()) {
            if let Ok(known) = values.of(*metric) {
                self.add(metric.description().name, known.value);
            }
        }
        for (stage, found) in unit.stages().iter().zip(stages) {
            if let Ok(known) = found.of(StageMetric::Left) {
                let name = StageMetric::Left.description().name;
                self.add(&format!("{}/{name}", stage.settings().id), known.value);
            }
        }
        for metric in SUMS {
            if let Ok(known) = values.of(*metric) {
                let description = metric.description();
                let value = description.round(known.value);
                self.last.insert(description.name.to_owned(), value);
            }
        }
    }

    fn add(&mut self, name: &str, value: f64) {
        if let Some((sum, looks)) = self.sums.get_mut(name) {
            *sum += value;
            *looks += 1;
        } else {
            self.sums.insert(name.to_owned(), (value, 1));
        }
    }

    /// `None` for one that has no place on a graph: the clock was not set.
    fn close(self, now: Mono) -> Option<Sample> {
        let start = self.began.date()?;
        let mean =
            |(name, (sum, looks)): (String, (f64, u32))| (name, rounded(sum / f64::from(looks), 4));
        Some(Sample {
            start,
            seconds: u32::try_from(now.since(self.began.mono).as_secs()).unwrap_or(u32::MAX),
            figures: Figures {
                mean: self.sums.into_iter().map(mean).collect(),
                last: self.last,
            },
        })
    }
}
