//! What a report rests on, cut to its period: sums, runs, and what of the time was recorded.

use std::collections::BTreeMap;

use super::{
    Material,
    growth::{Growth, Pour},
    period::{Period, Slot},
    recorded::{Extent, Gap, extents, gaps, hours_between, measured_hours},
    units::Owner,
    upkeep::stands_alone,
};
use crate::{
    config::UnitSettings,
    core::{Basis, Holding, Known, RunRecord, StageRecord, as_it_holds},
    metrics::Metric,
    past::PastAlert,
    sampler::Sample,
    time::Wall,
};

/// The newest sample reaches the store so much later than its beginning, milliseconds: it lasts a
/// quarter of an hour, and waits ten minutes for others.
const LATEST_SAMPLE: i64 = 25 * 60 * 1000;

/// What a run tells of when a sum grew.
type Amount = fn(&RunRecord) -> f64;

/// Sums of which samples keep the last, and what of each came with a run.
const SUMS: [(Metric, Amount); 8] = [
    (Metric::FeedVolume, |run| run.volumes.feed.litres()),
    (Metric::PermeateVolume, |run| run.volumes.permeate.litres()),
    (Metric::ConcentrateVolume, |run| {
        run.volumes.concentrate.litres()
    }),
    (Metric::ProducingTime, |run| run.seconds),
    (Metric::UnmeasuredTime, |_| 0.0),
    (Metric::CartridgesLife, |run| run.volumes.permeate.litres()),
    (Metric::WaterLife, |run| run.volumes.feed.litres()),
    (Metric::WasteLife, |run| run.volumes.concentrate.litres()),
];

/// The facts of a period.
pub struct Facts<'a> {
    /// All that is known.
    pub material: &'a Material<'a>,
    /// How the owner reads figures.
    pub owner: Owner,
    /// The period's end, or now while it is not over.
    pub until: Wall,
    /// The runs that began in it, in the order of time.
    pub runs: Vec<&'a RunRecord>,
    /// The fillings that ended in it, in the order of time.
    pub ended: Vec<&'a StageRecord>,
    /// The maintenance log as it holds, of the whole past.
    log: Vec<Holding>,
    /// What was recorded.
    pub extents: Vec<Extent>,
    sums: BTreeMap<&'static str, Growth>,
}

impl<'a> Facts<'a> {
    /// Takes what is known apart.
    #[must_use]
    pub fn of(material: &'a Material<'a>) -> Self {
        let period = material.period;
        let past = material.past;
        let within = |at: Option<Wall>| at.is_some_and(|at| period.contains(at));
        let extents = extents(&past.samples);
        Self {
            owner: Owner::of(material.unit.settings()),
            until: period.end().min(material.now.wall),
            sums: sums(material, &extents),
            material,
            runs: past.runs.iter().filter(|run| within(began(run))).collect(),
            ended: (past.replaced.iter())
                .filter(|record| within(record.replaced))
                .collect(),
            log: as_it_holds(&past.entries),
            extents,
        }
    }

    /// The period.
    #[must_use]
    pub fn period(&self) -> &'a Period {
        self.material.period
    }

    /// The unit's settings.
    #[must_use]
    pub fn settings(&self) -> &'a UnitSettings {
        self.material.unit.settings()
    }

    fn growth(&self, sum: Metric) -> Option<&Growth> {
        self.sums.get(sum.description().name)
    }

    /// What a sum grew by in a part of the period; `None` for one that was not kept then.
    #[must_use]
    pub fn grew(&self, sum: Metric, from: Wall, to: Wall) -> Option<f64> {
        let growth = self.growth(sum)?;
        let (first, last) = growth.known()?;
        (first < to && from < last).then(|| growth.between(from, to))
    }

    /// What it grew by in the whole period.
    #[must_use]
    pub fn grew_in_all(&self, sum: Metric) -> Option<f64> {
        self.grew(sum, self.period().begin(), self.period().end())
    }

    /// The days, months or years that have begun.
    #[must_use]
    pub fn slots(&self) -> Vec<Slot> {
        let mut slots = self.period().slots();
        slots.retain(|slot| slot.from < self.until);
        slots
    }

    /// Hours of the period so far, and how many of them were measured.
    #[must_use]
    pub fn hours(&self) -> (f64, f64) {
        let begin = self.period().begin();
        let all = hours_between(begin, self.until);
        (
            all,
            measured_hours(&self.extents, begin, self.until).min(all),
        )
    }

    /// When nothing was measured.
    #[must_use]
    pub fn gaps(&self) -> Vec<Gap> {
        gaps(&self.extents, self.period(), self.until)
    }

    /// The samples of the period.
    pub fn samples(&self) -> impl Iterator<Item = &'a Sample> {
        let period = self.period();
        (self.material.past.samples.iter()).filter(|sample| period.contains(sample.start))
    }

    /// The maintenance log of the period, as it holds; what has no date at all may be of it.
    #[must_use]
    pub fn log(&self) -> Vec<&Holding> {
        let is_in = |held: &&Holding| {
            let at = held.entry.date.or(held.entry.entered);
            stands_alone(&held.entry) && at.is_none_or(|at| self.period().contains(at))
        };
        self.log.iter().filter(is_in).collect()
    }

    /// The alerts that were active at some time of it.
    #[must_use]
    pub fn alerts(&self) -> Vec<&'a PastAlert> {
        let period = self.period();
        let is_in = |alert: &&PastAlert| {
            let ended_before = match alert.end {
                None => false,
                Some(end) => end.at.or(alert.raised).is_none_or(|at| at < period.begin()),
            };
            alert.raised.is_none_or(|at| at < period.end()) && !ended_before
        };
        self.material.past.alerts.iter().filter(is_in).collect()
    }

    /// What people call a stage; its id where it left the configuration.
    #[must_use]
    pub fn stage_name(&self, id: &str) -> String {
        let stages = &self.settings().stages;
        let stage = stages.iter().find(|stage| stage.id == id);
        stage.map_or_else(|| id.to_owned(), |stage| stage.name.clone())
    }

    /// Whether anything at all was recorded in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        let period = self.period();
        let within = |at: Option<Wall>| at.is_some_and(|at| period.contains(at));
        self.runs.is_empty()
            && self.ended.is_empty()
            && self.samples().next().is_none()
            && !(self.log.iter()).any(|held| within(held.entry.date.or(held.entry.entered)))
            && !(self.material.past.alerts.iter()).any(|alert| within(alert.raised))
    }
}

/// When a run began, or ended where that is not known.
#[must_use]
pub fn began(run: &RunRecord) -> Option<Wall> {
    run.started.or(run.ended)
}

/// A figure of the steady part of a run.
#[must_use]
pub fn steady(run: &RunRecord, metric: Metric) -> Option<Known<f64>> {
    let name = metric.description().name;
    let found = run.steady.iter().find(|(kept, _)| kept == name);
    found.map(|(_, known)| *known)
}

/// Values over time and how well they are known.
#[must_use]
pub fn over_runs(runs: &[&RunRecord], metric: Metric) -> Vec<(Wall, f64)> {
    let point = |run: &&RunRecord| Some((began(run)?, steady(run, metric)?.value));
    runs.iter().filter_map(point).collect()
}

/// The number of runs in which a figure was measured, inferred and assumed.
#[must_use]
pub fn bases(runs: &[&RunRecord], metric: Metric) -> [usize; 3] {
    let known = runs.iter().filter_map(|run| steady(run, metric));
    known.fold([0; 3], |mut counts, known| {
        counts[match known.basis {
            Basis::Measured => 0,
            Basis::Inferred => 1,
            Basis::Assumed => 2,
        }] += 1;
        counts
    })
}

fn sums(material: &Material, extents: &[Extent]) -> BTreeMap<&'static str, Growth> {
    let now = material.unit.values(material.now);
    let newest = extents.last().map(|extent| {
        let reach = Wall(extent.to.0.saturating_add(LATEST_SAMPLE));
        reach.min(material.now.wall).max(extent.to)
    });
    let mut sums = BTreeMap::new();
    for (metric, amount) in SUMS {
        let description = metric.description();
        let kept = (material.past.samples.iter().zip(extents)).filter_map(|(sample, extent)| {
            Some((extent.to, *sample.figures.last.get(description.name)?))
        });
        let mut points: Vec<(Wall, f64)> = kept.collect();
        let Some(first) = material.past.samples.first().zip(extents.first()) else {
            continue;
        };
        if points.is_empty() {
            continue;
        }
        // A unit's sums begin at nothing with its first sample. One that came later with another version
        // or configuration is known from its first value on.
        if first.0.figures.last.contains_key(description.name) {
            points.insert(0, (first.1.from, 0.0));
        }
        // What came after the newest sample is in the unit's state already.
        if let (Some(at), Ok(known)) = (newest, now.of(metric)) {
            points.push((at, description.round(known.value)));
        }
        sums.insert(
            description.name,
            Growth::of(points, &pours(&material.past.runs, amount)),
        );
    }
    sums
}

/// The runs as they tell when a sum grew.
fn pours(runs: &[RunRecord], amount: Amount) -> Vec<Pour> {
    let pour = |run: &RunRecord| {
        Some(Pour {
            from: run.started?,
            to: run.ended?,
            amount: amount(run),
        })
    };
    let pours = runs.iter().filter_map(pour);
    pours.filter(|pour| pour.amount > 0.0).collect()
}
