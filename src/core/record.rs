//! What a run amounted to: its record, and why it gives no figures where it gives none.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{
    creep::{Creep, Passed},
    known::{Finding, Known, Lack},
    run::{OpenRun, OpenRunState},
    settling::SettledBy,
    steady::Results,
    water::{Totals, Volumes},
};
use crate::{
    config::UnitSettings,
    metrics::{Group, Metric},
    quantity::{Conductivity, Volume, duration_text},
    time::{Now, Wall},
};

/// A run that ended.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct RunRecord {
    /// When water began to be made.
    pub started: Option<Wall>,
    /// When it ceased.
    pub ended: Option<Wall>,
    /// Between the two, in seconds.
    pub seconds: f64,
    /// Litres of this run.
    pub volumes: Volumes,
    /// Seconds from the start until quality counted; none when the run was too short for that.
    pub settled_after_seconds: Option<f64>,
    /// Permeate until then, where litres are known.
    pub settled_after: Option<Volume>,
    /// What told that it had settled.
    pub settled_by: Option<SettledBy>,
    /// Salt that crept through while the unit stood before.
    pub creep: Option<Creep>,
    /// Why nothing is known of it, in words.
    pub no_creep: Option<String>,
    /// Whether a flush was seen in the run or within a minute after it.
    pub flushed: bool,
    /// Whether the service was stopped, or nothing was heard any more, before the run ended.
    pub interrupted: bool,
    /// Middle of the steady part, by metric: the median, or the mean of the middle half for what
    /// stands on a TDS probe.
    pub steady: Vec<(String, Known<f64>)>,
    /// Whether the run was so long that it was shown to the membrane's model in parts.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub taught_in_parts: bool,
    /// How far the main figures scatter (1.4826 × the median absolute deviation), by name: flows
    /// (`…_pct`) in per cent of the figure, the rest in the unit the name ends in.
    pub scatter: Vec<(String, f64)>,
    /// Samples of the steady part, ten seconds apart or more.
    pub samples: usize,
    /// Least share of these samples in which a main figure was there, 0–1, of the figures that ever
    /// were.
    pub coverage: Option<f64>,
    /// Why there are no figures of the membrane, in words.
    pub no_figures: Option<String>,
}

impl RunRecord {
    /// What it amounted to, in words.
    #[must_use]
    pub fn sentence(&self) -> String {
        let made = format!(
            "The unit made {:.2} L in {}.",
            self.volumes.permeate.litres(),
            duration_text(Duration::from_secs_f64(self.seconds.max(0.0)))
        );
        let Some(creep) = &self.creep else {
            return made;
        };
        let settled = match (self.settled_after, self.settled_after_seconds) {
            (Some(after), Some(seconds)) => format!(
                ", settled after {:.2} L and {}",
                after.litres(),
                duration_text(Duration::from_secs_f64(seconds.max(0.0)))
            ),
            (None, _) | (_, None) => ", not settled when it ended".to_owned(),
        };
        format!(
            "{made} Creep: {:.1} mg/L at first{settled}; {:.1} mg of salt more than settled permeate \
             holds ({:.3} meq as NaCl).",
            creep.peak_tds.mg_per_l(),
            creep.salt_mg,
            creep.salt_meq()
        )
    }
}

/// Samples that make a figure: half a minute.
const FEWEST_SAMPLES: usize = 3;

/// What else tells of a run that ends.
pub(super) struct Ending<'a> {
    pub settings: &'a UnitSettings,
    pub totals: &'a Totals,
    /// Salt of the run.
    pub passed: Passed,
    /// Whether its litres are known, and how well.
    pub litres: Finding<()>,
    /// Whether a permeate probe sits there.
    pub probe: Result<(), Lack>,
    /// The settled level of earlier runs, µS/cm.
    pub usual_level: Option<f64>,
    /// Nothing was heard any more that tells a run.
    pub unheard: bool,
}

/// When and how a run had settled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Settled {
    pub at: Now,
    pub by: SettledBy,
    /// Permeate until then.
    pub litres: Volume,
    /// Salt until then.
    pub passed: Passed,
}

impl OpenRun {
    /// The record of the run, and the level its permeate had settled at, µS/cm.
    pub(super) fn close(self, ending: &Ending) -> (RunRecord, Option<f64>) {
        let mut results = self.steady.results();
        let no_figures = no_figures(&results, self.settled.is_some(), ending.unheard);
        if results.samples < FEWEST_SAMPLES {
            (results.figures, results.scatter) = (Vec::new(), Vec::new());
        }
        let level = self.level(&results);
        let creep = self.creep(ending, level);
        let seconds = |until: Now| until.mono.since(self.started.mono).as_secs_f64();
        let litres_known = ending.litres.is_ok();
        let record = RunRecord {
            started: self.started.date(),
            ended: self.last_seen.date(),
            seconds: seconds(self.last_seen),
            volumes: ending.totals.since(&self.base),
            settled_after_seconds: self.settled.map(|settled| seconds(settled.at)),
            settled_after: self
                .settled
                .filter(|_| litres_known)
                .map(|settled| settled.litres),
            settled_by: self.settled.map(|settled| settled.by),
            no_creep: creep.as_ref().err().cloned(),
            creep: creep.ok(),
            flushed: self.flushed,
            interrupted: ending.unheard,
            coverage: (results.samples > 0).then_some(results.coverage),
            samples: results.samples,
            steady: results.figures,
            taught_in_parts: self.steady.told_in_parts,
            scatter: results.scatter,
            no_figures,
        };
        (record, level)
    }

    /// The level the permeate had settled at: that of the last stretch, or of the steady part where
    /// the stretches told too little.
    fn level(&self, results: &Results) -> Option<f64> {
        let by = self.settled?.by;
        let name = Metric::PermeateConductivity.description().name;
        let steady = results.figures.iter().find(|(metric, _)| metric == name);
        let stretch = self.settling.level();
        let steady = steady.map(|(_, known)| known.value);
        match by {
            SettledBy::Signal | SettledBy::Limit => stretch.or(steady),
            SettledBy::Volume | SettledBy::Time => steady,
        }
    }

    /// Of a run too short to settle, all of it is compared with the level of earlier runs.
    fn creep(&self, ending: &Ending, level: Option<f64>) -> Result<Creep, String> {
        ending.probe.map_err(|lack| lack.to_string())?;
        let litres = ending.litres.map_err(|lack| lack.to_string())?;
        let passed = self.settled.map_or(ending.passed, |settled| settled.passed);
        let peak = self
            .settling
            .peak()
            .filter(|_| passed.is_told())
            .ok_or("the probe did not tell of all of the first permeate")?;
        let level = level
            .or(ending.usual_level)
            .ok_or("too short, and no settled run before it tells the usual level")?;
        let peak = Conductivity::from_us_per_cm(peak);
        Ok(Creep {
            peak,
            peak_tds: ending.settings.tds_scale.tds(peak),
            salt_mg: passed.milligrams_above(level),
            run_salt_mg: ending.passed.milligrams(),
            basis: litres.basis,
        })
    }
}

/// Why a run gives no figures of the membrane, if so.
fn no_figures(results: &Results, settled: bool, unheard: bool) -> Option<String> {
    if !settled {
        return Some(if unheard {
            "interrupted: nothing was heard any more before it had settled".to_owned()
        } else {
            "too short: the first, salty permeate was not washed out yet".to_owned()
        });
    }
    if results.samples < FEWEST_SAMPLES {
        return Some(format!(
            "too short: samples after it had settled {}, needed {FEWEST_SAMPLES}",
            results.samples
        ));
    }
    let of_membrane = |metric: &Metric| metric.group() == Group::Membrane;
    let name = |metric: &Metric| metric.description().name;
    let some = Metric::ALL
        .iter()
        .filter(|metric| of_membrane(metric))
        .any(|metric| results.figures.iter().any(|(kept, _)| kept == name(metric)));
    if some {
        return None;
    }
    let scarce = results.scarce.iter().rev();
    let scarce = scarce.max_by_key(|(metric, seen)| (of_membrane(metric), *seen));
    match scarce {
        Some((metric, seen)) => Some(format!(
            "too patchy: {} was there in {seen} of {} samples, half are needed",
            name(metric),
            results.samples
        )),
        None if results.figures.is_empty() => {
            Some("no sensor gave a usable figure while it ran".to_owned())
        }
        None => None,
    }
}

/// The record of a run that a stop of the service cut short.
pub(super) fn interrupted(open: &OpenRunState, totals: &Totals) -> RunRecord {
    let seconds = match (open.started, open.last_seen) {
        (Some(started), Some(seen)) => seen.since(started).unwrap_or(Duration::ZERO).as_secs_f64(),
        (None, _) | (_, None) => 0.0,
    };
    RunRecord {
        started: open.started,
        ended: open.last_seen,
        seconds,
        volumes: totals.since(&open.base),
        interrupted: true,
        no_creep: Some("the service was stopped while it ran".to_owned()),
        no_figures: Some("interrupted: the service was stopped while it ran".to_owned()),
        ..RunRecord::default()
    }
}
