//! What was kept of a unit over a span of time, read back: for reports and for the pictures of a page.
//! Pure; the store gives the rows.

use std::collections::BTreeMap;

use jiff::{civil::Date, tz::TimeZone};

use crate::{
    core::{Entry, Holding, RunRecord, StageRecord, Volumes, alert::Episode, as_it_holds},
    sampler::Sample,
    time::Wall,
};

/// An alert from its raising to its end, as it was kept.
pub type PastAlert = Episode;

/// What was kept of a unit from one moment to another: what began at `from` or later, and before `to`.
/// What happened while the clock was not set has no place in time and is not here.
#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    /// The first moment of it.
    pub from: Wall,
    /// The first moment after it.
    pub to: Wall,
    /// Figures over time, each as fine as it is still kept, in their order.
    pub samples: Vec<Sample>,
    /// Runs that began then, in their order.
    pub runs: Vec<RunRecord>,
    /// Fillings that ended then, those of stages that left the configuration, too. A replacement that was
    /// withdrawn did not happen; a corrected date counts.
    pub replaced: Vec<StageRecord>,
    /// The whole maintenance log, for later entries correct earlier ones; [`Past::log`] has what holds.
    pub entries: Vec<Entry>,
    /// Alerts that were active at some time of it, in the order of their raising; some began before.
    pub alerts: Vec<PastAlert>,
    /// Rows that could not be read, each in words: another version, or another program, wrote them.
    pub unread: Vec<String>,
}

impl Past {
    /// A figure over time: the means by a name of the catalogue (`rejection_pct`), of a stage by
    /// `<stage>/<name>` (`carbon/left_pct`); each at the middle of the time it stands for.
    #[must_use]
    pub fn series(&self, name: &str) -> Vec<(Wall, f64)> {
        let point = |sample: &Sample| {
            let value = sample.figures.mean.get(name)?;
            Some((middle(sample), *value))
        };
        self.samples.iter().filter_map(point).collect()
    }

    /// An ever-growing sum over time by its name (`permeate_l`): the last value of each sample, at its end.
    #[must_use]
    pub fn sum_series(&self, name: &str) -> Vec<(Wall, f64)> {
        let point = |sample: &Sample| {
            let value = sample.figures.last.get(name)?;
            let end = sample.start.0 + i64::from(sample.seconds) * 1000;
            Some((Wall(end), *value))
        };
        self.samples.iter().filter_map(point).collect()
    }

    /// A figure of the runs' steady parts by its name, at the run's end.
    #[must_use]
    pub fn run_series(&self, name: &str) -> Vec<(Wall, f64)> {
        let point = |run: &RunRecord| {
            let (_, known) = run.steady.iter().find(|(kept, _)| kept == name)?;
            Some((run.ended.or(run.started)?, known.value))
        };
        self.runs.iter().filter_map(point).collect()
    }

    /// Litres of the runs by the day on which they began, in that time zone. Days without a run are not
    /// there.
    #[must_use]
    pub fn litres_by_day(&self, zone: &TimeZone) -> BTreeMap<Date, Volumes> {
        let mut days: BTreeMap<Date, Volumes> = BTreeMap::new();
        for run in &self.runs {
            let began = run.started.or(run.ended);
            if let Some(day) = began.and_then(|began| began.day_in(zone)) {
                let litres = days.entry(day).or_default();
                litres.feed += run.volumes.feed;
                litres.permeate += run.volumes.permeate;
                litres.concentrate += run.volumes.concentrate;
            }
        }
        days
    }

    /// The maintenance log as it holds now, of this span: what was done in it, or told in it where that is
    /// not known.
    #[must_use]
    pub fn log(&self) -> Vec<Holding> {
        let mut log = as_it_holds(&self.entries);
        log.retain(|held| {
            let date = held.entry.date.or(held.entry.entered);
            date.is_some_and(|date| self.holds(date))
        });
        log
    }

    /// Whether a moment lies in this span.
    #[must_use]
    pub fn holds(&self, moment: Wall) -> bool {
        self.from <= moment && moment < self.to
    }

    /// Leaves only those replacements that hold and lie in this span, dated as the log has it now.
    pub(crate) fn settle_replacements(&mut self) {
        let log = as_it_holds(&self.entries);
        let told = |record: &StageRecord| {
            let number = record.entry?;
            log.iter().find(|held| held.entry.number == number)
        };
        let span = self.from..self.to;
        self.replaced.retain_mut(|record| {
            if let Some(held) = told(record) {
                record.replaced = held.entry.date.or(record.replaced);
                if held.withdrawn_by.is_some() {
                    return false;
                }
            }
            record.replaced.is_some_and(|date| span.contains(&date))
        });
        self.replaced.sort_by_key(|record| record.replaced);
    }
}

fn middle(sample: &Sample) -> Wall {
    Wall(sample.start.0 + i64::from(sample.seconds) * 500)
}
