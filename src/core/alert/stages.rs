//! When a stage is nearly spent or spent, and what is said of it.

use super::{
    Alert, Subject,
    life::Verdict,
    rules::{Circumstances, Judgement, at_once, below, held},
    text::{day_text, share_text},
};
use crate::{
    core::{known::Known, left::Binding},
    metrics::StageMetric,
};

impl Circumstances<'_> {
    fn stage(&self, index: usize, metric: StageMetric) -> Option<Known<f64>> {
        self.stages.get(index)?.of(metric).ok()
    }

    pub(super) fn stage_name<'a>(&'a self, alert: &'a Alert) -> &'a str {
        let Subject::Stage(index) = alert.subject else {
            return &alert.subject_id;
        };
        self.settings
            .stages
            .get(index)
            .map_or(&alert.subject_id, |stage| stage.name.as_str())
    }

    pub(super) fn binding_text(&self, alert: &Alert) -> &'static str {
        let Subject::Stage(index) = alert.subject else {
            return "by its configured life";
        };
        match self.stages.get(index).and_then(|stage| stage.binding) {
            Some(Binding::Load) => "by the load it has taken",
            Some(Binding::Age) => "by its age",
            Some(Binding::Volume) => "by the water it has treated",
            None => "by its configured life",
        }
    }

    pub(super) fn stage_exhausted(&self, index: usize) -> Option<Judgement> {
        let left = self.stage(index, StageMetric::Left)?;
        Some(at_once(
            if left.value <= 0.0 {
                Verdict::Beyond
            } else {
                Verdict::Well
            },
            left,
        ))
    }

    /// Low by share, or by days at the use seen so far. A spent stage is told as spent, not low.
    pub(super) fn stage_low(&self, index: usize) -> Option<Judgement> {
        let limit = self.settings.alerts.stage_low?;
        let left = self.stage(index, StageMetric::Left)?;
        let days = self.stage(index, StageMetric::LeftTime);
        let few_days = days.is_some_and(|days| days.value < self.settings.alerts.stage_low_days);
        let spent = left.value <= 0.0 && self.settings.alerts.stage_exhausted;
        let verdict = match below(left.value / 100.0, &limit) {
            _ if spent => Verdict::Well,
            _ if few_days => Verdict::Beyond,
            verdict => verdict,
        };
        Some(held(&limit, verdict, left, limit.raise * 100.0))
    }

    pub(super) fn describe_low(&self, alert: &Alert, left: f64) -> String {
        let (name, binding) = (self.stage_name(alert), self.binding_text(alert));
        let days = match alert.subject {
            Subject::Stage(index) => self.stage(index, StageMetric::LeftTime),
            Subject::Sensor(_) | Subject::Unit => None,
        };
        let days = days.map_or(String::new(), |days| {
            format!(", about {}", day_text(days.value))
        });
        format!(
            "{name} has {} left {binding}{days}.",
            share_text(left / 100.0)
        )
    }
}
