//! What the end of a run brings: its record, what it teaches of the membrane, its event.

use std::time::Duration;

use super::{
    Keep,
    known::Known,
    membrane::{News, When},
    output::{EventKind, Output},
    record::RunRecord,
    unit::Unit,
};
use crate::{
    config::StageKind,
    time::{Now, Wall},
};

/// An element of which we saw little water, but which was installed longer ago than this beyond its
/// break-in, made its first litres unseen.
const LONGEST_BREAK_IN: Duration = Duration::from_secs(30 * 86_400);

impl Unit {
    pub(super) fn end_run(&mut self, now: Now, record: RunRecord) {
        self.cycling.end_run(now.mono, &record, &self.settings);
        self.totals.creep_salt_mg += record.creep.map_or(0.0, |creep| creep.salt_mg);
        if self.care.rinsed_in_run {
            // Fines and air of a new filling: its figures are no facts about the membrane.
        } else if record.taught_in_parts {
            self.membrane.hold(&record.steady, record.ended);
            self.take_in();
        } else if !record.interrupted {
            self.teach(now, &record.steady, record.ended);
        }
        self.take_run(now, &record);
        let text = record.sentence();
        self.event(now, EventKind::RunEnded, None, text);
        self.last_run = Some(record.clone());
        self.outputs.push_back(Output::RunEnded(Box::new(record)));
        self.keep = Keep::Now;
    }

    /// A run, or a part of a long one, is over: what its settled water was like behind the DI stages.
    pub(super) fn judge_fillings(&mut self, now: Now) {
        if self.fillings.end_of_run(&mut self.stages, now.date()) {
            self.keep = self.keep.max(Keep::Soon);
        }
    }

    /// Shows the figures of a run, or of a part of a long one, to the membrane's model.
    pub(super) fn teach(
        &mut self,
        now: Now,
        figures: &[(String, Known<f64>)],
        ended: Option<Wall>,
    ) {
        if self.care.rinsed_in_run {
            return;
        }
        let breaking_in = self.is_breaking_in(now);
        let since_last = self.taught_at.map(|at| now.mono.since(at));
        let when = When { ended, since_last };
        let news = self
            .membrane
            .take(figures, when, &self.settings, breaking_in);
        if news.is_some() {
            // The days since one that taught nothing are not lost: they count with the next.
            self.taught_at = Some(now.mono);
        }
        self.take_in();
        match news {
            Some(News::BaselineSet) => self.baseline_event(now),
            Some(News::Nothing) | None => {}
        }
    }

    /// Whether the element is so new that its figures do not count yet. One of unknown age is not.
    fn is_breaking_in(&self, now: Now) -> bool {
        let (time, volume) = self.settings.break_in();
        self.stages
            .iter()
            .filter(|stage| stage.settings().kind == StageKind::Membrane)
            .any(|stage| {
                let age = stage
                    .state()
                    .installed
                    .and_then(|day| now.date()?.since(day));
                age.is_some_and(|age| {
                    age < time || (stage.state().treated < volume && age < time + LONGEST_BREAK_IN)
                })
            })
    }

    fn baseline_event(&mut self, now: Now) {
        let text = match self.baseline_flow() {
            Some(flow) => format!(
                "The membrane's baseline is set: {:.1} L/day under the conditions of its rating.",
                flow.l_per_day()
            ),
            None => "The membrane's baseline is set.".to_owned(),
        };
        self.event(now, EventKind::BaselineSet, None, text);
    }
}
