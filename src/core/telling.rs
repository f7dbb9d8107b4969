//! Judges the unit's alerts, and tells what happened.

use std::time::Duration;

use super::{
    Keep,
    alert::{self, Change, Circumstances},
    live::Live,
    output::{Event, EventKind, Output},
    performance::Readings,
    run::RunState,
    unit::Unit,
    values::Values,
    water::Flows,
};
use crate::time::Now;

/// Litres and age wear a stage over days: so seldom is enough to judge what is left of it, and sensors
/// may tell many times a second.
const STAGES_SELDOM: Duration = Duration::from_secs(5);

impl Unit {
    pub(super) fn judge_alerts(&mut self, now: Now, flows: &Flows) {
        let mut found = std::mem::take(&mut self.found);
        let is_young = |at| now.mono.since(at) < STAGES_SELDOM;
        if !self.found_at.is_some_and(is_young) {
            self.find_stages(now, &mut found);
            self.found_at = Some(now.mono);
        }
        self.find_dues(now, &found);
        let readings = Readings {
            settings: &self.settings,
            train: &self.train,
            flows,
            membrane: &self.membrane,
            taught: &self.taught,
            now: now.mono,
        };
        let producing = self.runs.state == RunState::Producing;
        let mut judged = Values::default();
        readings.set_judged(&mut judged, producing);
        let live = Live::new(&readings, producing, &judged);
        let around = Circumstances {
            settings: &self.settings,
            state: self.runs.state,
            live: &live,
            sensors: self.train.sensors(),
            train: &self.train,
            watch: &self.watch,
            care: &self.care,
            stages: &found,
            vessels: &self.stages,
            fillings: &self.fillings,
            dues: &self.dues,
            membrane: &self.membrane,
            taught: &self.taught,
            runs: self.run_facts(now.mono),
            now,
        };
        let mut changed = Vec::new();
        for (index, alert) in self.alerts.iter_mut().enumerate() {
            let judgement = alert::judge(alert, &around);
            let change = alert.take(now, judgement.as_ref());
            if let (Some(Change::Raised), Some(judgement)) = (change, &judgement) {
                let seen = alert::describe(alert, judgement, &around);
                alert.seen = Some(Box::new(seen));
            }
            if let Some(change) = change {
                changed.push((index, change));
            }
        }
        self.found = found;
        if !changed.is_empty() {
            self.train.doubt(&self.alerts);
        }
        let attend = !changed.is_empty() || self.is_attention_due(now.mono);
        for (index, change) in changed {
            self.tell_alert(now, index, change);
        }
        if attend {
            self.attend(now);
        }
    }

    fn tell_alert(&mut self, now: Now, index: usize, change: Change) {
        self.outputs.push_back(Output::AlertChanged(index));
        let Some(alert) = self.alerts.get(index) else {
            return;
        };
        let key = alert.key();
        let sentence = alert
            .seen
            .as_ref()
            .map(|seen| seen.sentence.clone())
            .unwrap_or_default();
        match change {
            Change::Known => {}
            Change::Raised => {
                let text = format!("{sentence} {}", alert::check_first(alert.code));
                self.event(now, EventKind::AlertRaised, Some(key), text);
                self.begin_episode(now, index);
                self.keep = Keep::Now;
            }
            Change::Cleared => {
                let text = format!("{}: over.", alert::title(alert.code));
                self.event(now, EventKind::AlertCleared, Some(key), text);
                self.end_episode(now, index);
                self.keep = Keep::Now;
            }
        }
    }

    pub(super) fn event(
        &mut self,
        now: Now,
        event: EventKind,
        about: Option<String>,
        text: String,
    ) {
        self.outputs.push_back(Output::Event(Event {
            event,
            time: now.date(),
            about,
            text,
        }));
    }
}
