//! When a stage is nearly spent, spent, or spent for long, and what is said of it. The three follow
//! each other; of one stage only one is active at a time. What wears the membrane out is told by the
//! alerts about its flow and its salt: here it only tells when to order.

use std::time::Duration;

use super::{
    Alert, Seen, Subject,
    life::Verdict,
    rules::{Circumstances, Judgement, at_once, below, held, with_caution},
    text::{day_text, figure, figure_if_passed, share_text},
};
use crate::{
    core::{
        due::{self, Due},
        known::{Known, Lack},
        left::{Binding, StageFindings},
        stage::Stage,
    },
    metrics::StageMetric,
    quantity::Conductivity,
    time::SECONDS_PER_DAY,
};

/// Few days left clear only beyond so many times the limit: a forecast breathes with the weeks.
const DAYS_CLEAR: f64 = 1.25;
/// How long they must be few. A clock that is put right a moment later raises nothing.
const DAYS_HOLD: Duration = Duration::from_secs(3600);
/// The same for what is spent by a date alone.
const AGE_HOLD: Duration = Duration::from_secs(300);
/// A spent stage is spent until more than this is left, per cent.
const SPENT_CLEAR: f64 = 2.0;

impl Circumstances<'_> {
    fn found(&self, index: usize) -> Option<&StageFindings> {
        self.stages.get(index)
    }

    fn stage(&self, index: usize, metric: StageMetric) -> Option<Known<f64>> {
        self.found(index)?.of(metric).ok()
    }

    fn index_of(alert: &Alert) -> Option<usize> {
        match alert.subject {
            Subject::Stage(index) => Some(index),
            Subject::Sensor(_) | Subject::Unit => None,
        }
    }

    fn filling(&self, alert: &Alert) -> Option<(&Stage, &Due)> {
        let index = Self::index_of(alert)?;
        Some((self.vessels.get(index)?, self.dues.get(index)?))
    }

    pub(super) fn stage_name<'a>(&'a self, alert: &'a Alert) -> &'a str {
        let stage = Self::index_of(alert).and_then(|index| self.settings.stages.get(index));
        stage.map_or(&alert.subject_id, |stage| stage.name.as_str())
    }

    pub(super) fn binding_text(&self, alert: &Alert) -> &'static str {
        let found = Self::index_of(alert).and_then(|index| self.found(index));
        match found.and_then(|found| found.binding) {
            Some(Binding::Load) => "by the load it has taken",
            Some(Binding::Age) => "by its age",
            Some(Binding::Breakthrough) => "by the salt that breaks through",
            Some(Binding::Flow) => "by the flow it gives",
            Some(Binding::Salt) => "by the salt it lets pass",
            Some(Binding::PressureDrop) => "by the pressure it takes",
            Some(Binding::Test) => "by a test by hand",
            Some(Binding::Volume) => "by the water it has treated",
            None => "by its configured life",
        }
    }

    /// What is left by every limit but wear, per cent; never below nothing.
    fn unworn(&self, index: usize) -> Option<Known<f64>> {
        let left = self.found(index)?.left_unworn.ok()?;
        Some(left.map(|share| (share * 100.0).max(0.0)))
    }

    /// Salt behind it grows run by run, and is not at the limit yet.
    pub(super) fn stage_leaking(&self, index: usize) -> Option<Judgement> {
        let shown = |us_per_cm| {
            let conductivity = Conductivity::from_us_per_cm(us_per_cm);
            self.settings.tds_scale.tds(conductivity).mg_per_l()
        };
        Some(match self.stages.get(index)?.leaking? {
            Some((level, limit)) => Judgement {
                limit: shown(limit),
                ..at_once(Verdict::Beyond, Known::measured(shown(level)))
            },
            None => at_once(Verdict::Well, Known::measured(0.0)),
        })
    }

    pub(super) fn describe_leaking(&self, alert: &Alert) -> String {
        let stage = match alert.subject {
            Subject::Stage(index) => self.vessels.get(index),
            Subject::Sensor(_) | Subject::Unit => None,
        };
        let sentence = stage.and_then(|stage| {
            let settings = self.settings;
            (self.fillings).leaking_sentence(stage, settings.tds_scale, settings.display)
        });
        sentence
            .unwrap_or_else(|| format!("{} begins to let salt through.", self.stage_name(alert)))
    }

    pub(super) fn stage_exhausted(&self, index: usize) -> Option<Judgement> {
        let left = self.unworn(index)?;
        let is_late = self.is_overdue(index) == Some(true);
        let verdict = if is_late || left.value > SPENT_CLEAR {
            Verdict::Well
        } else if left.value <= 0.0 {
            Verdict::Beyond
        } else {
            Verdict::Between
        };
        let by_age = self.found(index)?.binding == Some(Binding::Age);
        Some(Judgement {
            hold: if by_age { AGE_HOLD } else { Duration::ZERO },
            // It goes when the next one comes.
            clear_hold: if is_late { DAYS_HOLD } else { Duration::ZERO },
            ..at_once(verdict, left)
        })
    }

    /// Low by share, or by days against the time that an order takes. A spent stage is told as spent,
    /// not low. The membrane is low by what is surely gone: its level is an estimate.
    pub(super) fn stage_low(&self, index: usize) -> Option<Judgement> {
        let limit = self.settings.alerts.stage_low?;
        let found = self.found(index)?;
        let is_worn = found.binding.is_some_and(Binding::is_wear);
        let left = self.stage(index, StageMetric::Left)?;
        let share = if is_worn {
            self.stage(index, StageMetric::LeftHigh).unwrap_or(left)
        } else {
            left
        };
        let told =
            self.settings.alerts.stage_exhausted || self.settings.alerts.stage_overdue.is_some();
        let spent = left.value <= 0.0 && (told || is_worn);
        let by_share = below(share.value / 100.0, &limit);
        let by_days = self.few_days(index);
        let verdict = match (by_share, by_days) {
            _ if spent => Verdict::Well,
            (Verdict::Beyond, _) | (_, Verdict::Beyond) => Verdict::Beyond,
            (Verdict::Well, Verdict::Well) => Verdict::Well,
            (_, Verdict::Between | Verdict::Unjudged)
            | (Verdict::Between | Verdict::Unjudged, _) => Verdict::Between,
        };
        let judgement = held(&limit, verdict, left, limit.raise * 100.0);
        let hold = if by_share == Verdict::Beyond {
            limit.hold
        } else {
            limit.hold.max(DAYS_HOLD)
        };
        Some(Judgement { hold, ..judgement })
    }

    /// Whether the days left are too few to order in time. What is not known for now changes nothing.
    fn few_days(&self, index: usize) -> Verdict {
        let Some(due) = self.dues.get(index) else {
            return Verdict::Between;
        };
        let lead = due::lead_days(self.settings, index);
        match (due.safe_days(), due.days) {
            (Some(days), _) if days < lead => Verdict::Beyond,
            (Some(days), _) if days < lead * DAYS_CLEAR => Verdict::Between,
            (Some(_), _) => Verdict::Well,
            (None, Err(lack)) if lack.is_permanent() || lack == Lack::NotInSight => Verdict::Well,
            (None, _) => Verdict::Between,
        }
    }

    /// Days since it was spent.
    fn days_spent(&self, index: usize) -> Option<f64> {
        let spent = self.vessels.get(index)?.state().spent?;
        let days = self.now.date()?.since(spent)?;
        Some(days.as_secs_f64() / SECONDS_PER_DAY)
    }

    /// `None` when nothing tells whether it is spent, or how long.
    fn is_overdue(&self, index: usize) -> Option<bool> {
        let Some(limit) = self.settings.alerts.stage_overdue else {
            return Some(false);
        };
        if self.unworn(index)?.value > SPENT_CLEAR
            || self.vessels.get(index)?.state().spent.is_none()
        {
            return Some(false);
        }
        Some(self.days_spent(index)? * SECONDS_PER_DAY >= limit.as_secs_f64())
    }

    pub(super) fn stage_overdue(&self, index: usize) -> Option<Judgement> {
        let limit = self.settings.alerts.stage_overdue?;
        let left = self.unworn(index)?;
        let verdict = match self.is_overdue(index)? {
            true => Verdict::Beyond,
            // Once told it stands until there is a new one.
            false if left.value <= SPENT_CLEAR => Verdict::Between,
            false => Verdict::Well,
        };
        Some(Judgement {
            hold: DAYS_HOLD,
            limit: limit.as_secs_f64() / SECONDS_PER_DAY,
            value: self.days_spent(index).unwrap_or_default(),
            ..at_once(verdict, left)
        })
    }

    /// The reason with its figures and dates, after a colon; empty when there is none.
    fn why(&self, alert: &Alert) -> String {
        let why = self
            .filling(alert)
            .and_then(|(stage, due)| self.due_text(stage, due, Self::index_of(alert)?));
        why.map_or_else(String::new, |why| format!(": {why}"))
    }

    fn due_text(&self, stage: &Stage, due: &Due, index: usize) -> Option<String> {
        let dates = due::dates(self.settings, self.now, stage, index, due);
        let today = self.now.wall.day_in(&self.settings.time_zone);
        due::due_text(
            stage,
            due,
            &dates,
            &self.taught.ways,
            today,
            self.settings.display,
        )
    }

    pub(super) fn describe_low(&self, alert: &Alert, judgement: &Judgement) -> Seen {
        let (name, binding) = (self.stage_name(alert), self.binding_text(alert));
        let left = share_text(judgement.value / 100.0);
        let mut basis = judgement.basis;
        let by_days =
            Self::index_of(alert).filter(|index| self.few_days(*index) == Verdict::Beyond);
        let order = by_days.map_or(String::new(), |index| {
            let due = self.dues.get(index);
            let days = due.and_then(|due| due.days.ok());
            basis = basis.max(days.map_or(basis, |days| days.basis));
            let lead = due::lead_days(self.settings, index);
            let safe = due.and_then(Due::safe_days).unwrap_or_default();
            format!(
                " Reckon with {}; an order takes {}.",
                day_text(safe),
                day_text(lead)
            )
        });
        let sentence = format!(
            "{name} has {left} left {binding}{}.{order}",
            self.why(alert)
        );
        let sentence = with_caution(sentence, basis);
        let seen = figure(sentence, judgement.value, judgement.limit, "%");
        // Days too few to order in are told before the share is low.
        figure_if_passed(seen, judgement.value < judgement.limit)
    }

    pub(super) fn describe_exhausted(&self, alert: &Alert) -> String {
        let (name, binding) = (self.stage_name(alert), self.binding_text(alert));
        format!("{name} is spent {binding}{}.", self.why(alert))
    }

    pub(super) fn describe_overdue(&self, alert: &Alert, judgement: &Judgement) -> String {
        let (name, binding) = (self.stage_name(alert), self.binding_text(alert));
        format!(
            "{name} was spent {binding} {} ago and is still in use, longer than {}{}.",
            day_text(judgement.value.floor()),
            day_text(judgement.limit),
            self.why(alert)
        )
    }
}
