//! When the alerts about tests by hand, rinses and scale are raised, and what they say.

use std::time::Duration;

use super::{
    Alert, Subject,
    life::Verdict,
    rules::{Circumstances, Judgement, above, at_once, held},
    text::day_text,
};
use crate::{
    core::{care::test_text, known::Known},
    quantity::Volume,
    time::SECONDS_PER_DAY,
};

/// A clock that is put right a moment later asks for no test.
const DATE_HOLD: Duration = Duration::from_secs(300);

impl Circumstances<'_> {
    /// By the newest test behind all carbon; unknown until there is one.
    pub(super) fn breakthrough(&self) -> Option<Judgement> {
        let test = self.care.found.newest?;
        let verdict = if self.care.found.is_through {
            Verdict::Beyond
        } else {
            Verdict::Well
        };
        Some(Judgement {
            limit: self.settings.alerts.care.positive.mg_per_l(),
            ..at_once(verdict, Known::measured(test.value))
        })
    }

    pub(super) fn describe_breakthrough(&self, judgement: &Judgement) -> String {
        let found = self.care.found.newest.map_or_else(
            || format!("{:.2} mg/L of total chlorine", judgement.value),
            |test| test_text(&test, self.settings),
        );
        let exposure = self.care.exposure_text(self.settings);
        let exposure = exposure.map_or_else(String::new, |text| format!(" {text}"));
        format!(
            "Chlorine passes all carbon: {found}; {:.2} mg/L or more is positive.{exposure}",
            judgement.limit
        )
    }

    /// By the calendar; not judged while the clock is not set.
    pub(super) fn test_due(&self) -> Option<Judgement> {
        let every = self.settings.alerts.care.test_due?;
        let since = self.now.date()?.since(self.care.test_since?)?;
        let verdict = if since >= every {
            Verdict::Beyond
        } else {
            Verdict::Well
        };
        Some(Judgement {
            limit: every.as_secs_f64() / SECONDS_PER_DAY,
            hold: DATE_HOLD,
            ..at_once(
                verdict,
                Known::measured(since.as_secs_f64() / SECONDS_PER_DAY),
            )
        })
    }

    pub(super) fn describe_test_due(&self, judgement: &Judgement) -> String {
        format!(
            "No test for total chlorine behind the carbon, and no new carbon, for {}; one is due every {}.",
            day_text(judgement.value.floor()),
            day_text(judgement.limit)
        )
    }

    pub(super) fn rinse_due(&self, index: usize) -> Judgement {
        let mut rinses = self.care.rinses.iter();
        let left = rinses.find(|(place, _)| *place == index);
        let (verdict, left) = match left {
            Some((_, left)) => (Verdict::Beyond, left.litres()),
            None => (Verdict::Well, 0.0),
        };
        at_once(verdict, Known::measured(left))
    }

    pub(super) fn describe_rinse(&self, alert: &Alert, left: f64) -> String {
        let (display, left) = (self.settings.display, Volume::from_litres(left));
        let rinse = match alert.subject {
            Subject::Stage(index) => self.settings.stages.get(index).and_then(|own| own.rinse),
            Subject::Sensor(_) | Subject::Unit => None,
        };
        format!(
            "{} is new: {} are to wash its fines to the drain. Until {} more have passed the unit, its figures \
             teach nothing and raise no alert about quality.",
            self.stage_name(alert),
            display.whole_volume(rinse.unwrap_or(left)),
            display.whole_volume(left),
        )
    }

    pub(super) fn scaling(&self) -> Option<Judgement> {
        let limit = self.settings.alerts.care.scaling_risk?;
        if self.care.scale.moot.is_some() {
            return Some(held(
                &limit,
                Verdict::Well,
                Known::assumed(limit.clear),
                limit.raise,
            ));
        }
        let index = self.care.scale.index.ok()?;
        Some(held(&limit, above(index.value, &limit), index, limit.raise))
    }

    pub(super) fn describe_scaling(&self) -> String {
        let limit = self.settings.alerts.care.scaling_risk;
        let advice = self.care.scale.advice(limit).unwrap_or_default();
        format!("Calcium carbonate may fall out in the membrane. {advice}")
    }
}
