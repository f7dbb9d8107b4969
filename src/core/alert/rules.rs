//! When each alert is raised: the present readings against the limits.

use std::time::Duration;

use super::{
    Alert, Code, Seen, Subject,
    life::Verdict,
    text::{day_text, figure, pressure_text, share_text, tds_text},
};
use crate::{
    config::{Limit, UnitSettings},
    core::{
        known::{Basis, Known},
        run::RunState,
        sensor::Sensor,
        stage::{Binding, StageFindings},
        values::Values,
    },
    metrics::{Metric, StageMetric},
    quantity::{Conductivity, Pressure, Tds, duration_text},
    time::Now,
};

/// What the rules look at.
pub(crate) struct Circumstances<'a> {
    pub settings: &'a UnitSettings,
    pub state: RunState,
    /// What is measured and computed now, whether water is made or not.
    pub live: &'a Values,
    pub sensors: &'a [Sensor],
    pub stages: &'a [StageFindings],
    pub now: Now,
}

/// A judgement, its holding times and its figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Judgement {
    pub verdict: Verdict,
    pub hold: Duration,
    pub clear_hold: Duration,
    /// What is seen, in the alert's unit.
    pub value: f64,
    /// The raising limit, in the alert's unit.
    pub limit: f64,
    /// Against what the value is: how good the figures are.
    basis: Basis,
}

/// Judges one alert; `None` when the readings say nothing.
pub(crate) fn judge(alert: &Alert, around: &Circumstances) -> Option<Judgement> {
    let limits = &around.settings.alerts;
    match (alert.code, alert.subject) {
        (Code::FeedPressureHigh, _) => around.pressure_high(),
        (Code::FeedPressureLow, _) => around.pressure_low(),
        (Code::NormalizedFlowLow, _) => around.flow_low().map(|(judgement, _)| judgement),
        (Code::PermeateTdsHigh, _) => {
            around.tds_high(Metric::PermeateConductivity, limits.permeate_tds_high)
        }
        (Code::ProductTdsHigh, _) => {
            around.tds_high(Metric::ProductConductivity, limits.product_tds_high)
        }
        (Code::RejectionLow, _) => around.rejection_low(),
        (Code::SensorSilent, Subject::Sensor(index)) => around.silent(index),
        (Code::StageExhausted, Subject::Stage(index)) => around.stage_exhausted(index),
        (Code::StageLow, Subject::Stage(index)) => around.stage_low(index),
        (Code::SensorSilent | Code::StageExhausted | Code::StageLow, _) => None,
    }
}

/// What to say about a judgement: costs some formatting, so it is asked only when it is told.
pub(crate) fn describe(alert: &Alert, judgement: &Judgement, around: &Circumstances) -> Seen {
    let (value, limit) = (judgement.value, judgement.limit);
    let pressure = |bar: f64| pressure_text(Pressure::from_bar(bar));
    let tds = |shown: f64| tds_text(Tds::from_mg_per_l(shown));
    let share = |per_cent: f64| share_text(per_cent / 100.0);
    let (sentence, unit) = match alert.code {
        Code::FeedPressureHigh => (
            format!(
                "Feed pressure is {}, above {}.",
                pressure(value),
                pressure(limit)
            ),
            "bar",
        ),
        Code::FeedPressureLow => (
            format!(
                "Feed pressure is {} while the unit makes water, below {}.",
                pressure(value),
                pressure(limit)
            ),
            "bar",
        ),
        Code::NormalizedFlowLow => {
            let reference = around
                .flow_low()
                .map_or("its reference", |(_, reference)| reference);
            (
                format!(
                    "At the same pressure, temperature and salinity the membrane gives {} of {reference}, below {}.",
                    share(value),
                    share(limit)
                ),
                "%",
            )
        }
        Code::PermeateTdsHigh => (
            format!(
                "TDS after the membrane is {}, above {}.",
                tds(value),
                tds(limit)
            ),
            "mg/L",
        ),
        Code::ProductTdsHigh => (
            format!(
                "TDS of the product is {}, above {}.",
                tds(value),
                tds(limit)
            ),
            "mg/L",
        ),
        Code::RejectionLow => (
            format!(
                "The membrane rejects {}, below {}.",
                share(value),
                share(limit)
            ),
            "%",
        ),
        Code::SensorSilent => return around.describe_silence(alert),
        Code::StageExhausted => (
            format!(
                "{} is spent {}.",
                around.stage_name(alert),
                around.binding_text(alert)
            ),
            "%",
        ),
        Code::StageLow => (around.describe_low(alert, value), "%"),
    };
    let sentence = if judgement.basis == Basis::Assumed {
        format!("{sentence} Part of this is configured, not measured.")
    } else {
        sentence
    };
    figure(sentence, value, limit, unit)
}

/// Above the limit is bad.
fn above<Q: PartialOrd>(value: Q, limit: &Limit<Q>) -> Verdict {
    if value > limit.raise {
        Verdict::Beyond
    } else if value > limit.clear {
        Verdict::Between
    } else {
        Verdict::Well
    }
}

/// Below the limit is bad.
fn below<Q: PartialOrd>(value: Q, limit: &Limit<Q>) -> Verdict {
    if value < limit.raise {
        Verdict::Beyond
    } else if value < limit.clear {
        Verdict::Between
    } else {
        Verdict::Well
    }
}

fn held<Q>(limit: &Limit<Q>, verdict: Verdict, value: Known<f64>, raise: f64) -> Judgement {
    Judgement {
        verdict,
        hold: limit.hold,
        clear_hold: limit.clear_hold,
        value: value.value,
        limit: raise,
        basis: value.basis,
    }
}

fn at_once(verdict: Verdict, value: Known<f64>) -> Judgement {
    let (hold, clear_hold) = (Duration::ZERO, Duration::ZERO);
    Judgement {
        verdict,
        hold,
        clear_hold,
        value: value.value,
        limit: 0.0,
        basis: value.basis,
    }
}

impl Circumstances<'_> {
    fn pressure_high(&self) -> Option<Judgement> {
        let limit = self.settings.alerts.feed_pressure_high?;
        let known = self.live.of(Metric::FeedPressure).ok()?;
        Some(held(
            &limit,
            above(Pressure::from_bar(known.value), &limit),
            known,
            limit.raise.bar(),
        ))
    }

    fn pressure_low(&self) -> Option<Judgement> {
        let limit = self.settings.alerts.feed_pressure_low?;
        if !self.state.makes_water() {
            return None;
        }
        let known = self.live.of(Metric::FeedPressure).ok()?;
        Some(held(
            &limit,
            below(Pressure::from_bar(known.value), &limit),
            known,
            limit.raise.bar(),
        ))
    }

    /// Quality counts only once the creep of standing is washed out.
    fn tds_high(&self, metric: Metric, limit: Option<Limit<Conductivity>>) -> Option<Judgement> {
        let limit = limit?;
        let known = self.producing(metric)?;
        let scale = self.settings.tds_scale;
        let conductivity = Conductivity::from_us_per_cm(known.value);
        let shown = known.map(|_| scale.tds(conductivity).mg_per_l());
        Some(held(
            &limit,
            above(conductivity, &limit),
            shown,
            scale.tds(limit.raise).mg_per_l(),
        ))
    }

    fn rejection_low(&self) -> Option<Judgement> {
        let limit = self.settings.alerts.rejection_low?;
        let known = self.producing(Metric::Rejection)?;
        Some(held(
            &limit,
            below(known.value / 100.0, &limit),
            known,
            limit.raise * 100.0,
        ))
    }

    /// Against the element's own baseline, or, before there is one, against its rating; with the
    /// words for which.
    fn flow_low(&self) -> Option<(Judgement, &'static str)> {
        let limit = self.settings.alerts.normalized_flow_low?;
        if let Some(known) = self.producing(Metric::NormalizedFlowOfBaseline) {
            let verdict = below(known.value / 100.0, &limit);
            return Some((
                held(&limit, verdict, known, limit.raise * 100.0),
                "this element's own baseline",
            ));
        }
        let known = self.producing(Metric::NormalizedFlowOfRating)?;
        let raise = self.settings.alerts.normalized_flow_low_of_rating;
        // The same distance between raising and clearing as against the baseline.
        let limit = Limit {
            raise,
            clear: raise + (limit.clear - limit.raise),
            ..limit
        };
        let verdict = below(known.value / 100.0, &limit);
        Some((
            held(&limit, verdict, known, raise * 100.0),
            "the rated flow",
        ))
    }

    fn producing(&self, metric: Metric) -> Option<Known<f64>> {
        if self.state == RunState::Producing {
            self.live.of(metric).ok()
        } else {
            None
        }
    }

    fn silent(&self, index: usize) -> Option<Judgement> {
        let grace = self.settings.alerts.sensor_silent?;
        let sensor = self.sensors.get(index)?;
        let silent_at = sensor.silent_at();
        let verdict = if self.now.mono >= silent_at.after(grace) {
            Verdict::Beyond
        } else if self.now.mono >= silent_at || sensor.is_offline() {
            Verdict::Between
        } else if sensor.was_heard() {
            Verdict::Well
        } else {
            return None;
        };
        Some(at_once(verdict, Known::measured(0.0)))
    }

    fn describe_silence(&self, alert: &Alert) -> Seen {
        let id = &alert.subject_id;
        let Subject::Sensor(index) = alert.subject else {
            return Seen::words(format!("{id} is silent."));
        };
        let sentence = match self.sensors.get(index) {
            Some(sensor) if sensor.is_offline() => format!("The sensor {id} says it is offline."),
            Some(sensor) => {
                let span = self.now.mono.since(sensor.silent_at()) + sensor.settings().max_age;
                format!(
                    "Nothing was heard of the sensor {id} for {}.",
                    duration_text(span)
                )
            }
            None => format!("The sensor {id} is silent."),
        };
        Seen::words(sentence)
    }

    fn stage(&self, index: usize, metric: StageMetric) -> Option<Known<f64>> {
        self.stages.get(index)?.of(metric).ok()
    }

    fn stage_name<'a>(&'a self, alert: &'a Alert) -> &'a str {
        let Subject::Stage(index) = alert.subject else {
            return &alert.subject_id;
        };
        self.settings
            .stages
            .get(index)
            .map_or(&alert.subject_id, |stage| stage.name.as_str())
    }

    fn binding_text(&self, alert: &Alert) -> &'static str {
        let Subject::Stage(index) = alert.subject else {
            return "by its configured life";
        };
        match self.stages.get(index).and_then(|stage| stage.binding) {
            Some(Binding::Age) => "by its age",
            Some(Binding::Volume) => "by the water it has treated",
            None => "by its configured life",
        }
    }

    fn stage_exhausted(&self, index: usize) -> Option<Judgement> {
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
    fn stage_low(&self, index: usize) -> Option<Judgement> {
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

    fn describe_low(&self, alert: &Alert, left: f64) -> String {
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
