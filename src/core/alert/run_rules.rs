//! When the alerts about runs are raised, and what they say: short cycling, a run without end, runs
//! without a flush.

use super::{
    Code,
    life::Verdict,
    rules::{Circumstances, Judgement, above, at_once, held},
};
use crate::{
    core::{
        cycling::{LONGER, Pace},
        known::Known,
    },
    quantity::{Volume, duration_text},
};

impl Circumstances<'_> {
    /// Starts that make little water, a day.
    pub(super) fn short_cycling(&self) -> Option<Judgement> {
        let limit = self.settings.alerts.short_cycling?;
        let starts = self.runs.pace?.short_starts_per_day;
        let verdict = above(starts, &limit);
        Some(held(&limit, verdict, Known::measured(starts), limit.raise))
    }

    /// Hours of the run that goes on.
    pub(super) fn run_too_long(&self) -> Option<Judgement> {
        let longest = self.settings.alerts.run_too_long?.as_secs_f64();
        if !self.runs.can_be_seen {
            return None;
        }
        let seconds = self.runs.seconds;
        let verdict = if seconds >= longest {
            Verdict::Beyond
        } else {
            Verdict::Well
        };
        Some(Judgement {
            limit: longest / 3600.0,
            ..at_once(verdict, Known::measured(seconds / 3600.0))
        })
    }

    /// Runs in a row without a flush.
    pub(super) fn flush_missed(&self) -> Option<Judgement> {
        let most = self.settings.alerts.flush_missed?;
        let missed = self.runs.unflushed?;
        let verdict = if missed >= most {
            Verdict::Beyond
        } else {
            Verdict::Well
        };
        Some(Judgement {
            limit: f64::from(most),
            ..at_once(verdict, Known::measured(f64::from(missed)))
        })
    }

    /// The sentence of one of these alerts, and the unit of its figures.
    pub(super) fn describe_runs(
        &self,
        code: Code,
        judgement: &Judgement,
    ) -> (String, &'static str) {
        let alerts = &self.settings.alerts;
        match (code, self.runs.pace) {
            (Code::ShortCycling, Some(pace)) => {
                (self.describe_cycling(pace, judgement.limit), "1/d")
            }
            (Code::RunTooLong, _) => {
                let longest = alerts.run_too_long.unwrap_or_default();
                let sentence = format!(
                    "The unit has made water for {} without a pause.",
                    duration_text(longest)
                );
                (sentence, "h")
            }
            _ => {
                let runs = if judgement.value == 1.0 {
                    "run".to_owned()
                } else {
                    format!("{:.0} runs", judgement.value)
                };
                let sentence = format!(
                    "The last {runs} of {} or more ended without a flush.",
                    duration_text(alerts.flush_missed_run)
                );
                (sentence, "")
            }
        }
    }

    fn describe_cycling(&self, pace: Pace, limit: f64) -> String {
        let display = self.settings.display;
        let starts = format!(
            "The unit starts {:.0} times a day; {:.0} of these runs make less than {} (more than \
             {limit:.0} is much), {} a run on the mean.",
            pace.starts_per_day,
            pace.short_starts_per_day,
            display.volume(self.settings.alerts.short_run),
            display.volume(Volume::from_litres(pace.litres_per_run))
        );
        match (pace.creep_share, pace.saving()) {
            (Some(share), Some(saving)) => format!(
                "{starts} Creep brings {:.0} % of the salt in the permeate, which the DI stages take \
                 up; runs {LONGER:.0} times as long would save up to {:.0} % of it.",
                share * 100.0,
                saving * 100.0
            ),
            (None, _) | (_, None) => starts,
        }
    }
}
