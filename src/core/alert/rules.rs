//! When each alert is raised: the present readings against the limits.

use std::time::Duration;

use super::{
    Alert, Code, Seen, Subject, hydraulic,
    life::Verdict,
    text::{figure, share_text, tds_text},
    wear::forgotten,
};
use crate::{
    config::{Limit, UnitSettings},
    core::{
        breakthrough::Fillings,
        care::Care,
        cycling::RunFacts,
        doubt::Doubt,
        due::Due,
        known::{Basis, Known},
        left::StageFindings,
        live::Live,
        membrane::{MembraneState, Wear},
        run::RunState,
        sensor::Sensor,
        stage::Stage,
        taught::Taught,
        train::Train,
        watch::Watch,
    },
    metrics::Metric,
    quantity::{Conductivity, Pressure, Tds, duration_text},
    time::Now,
};

/// What the rules look at.
pub(crate) struct Circumstances<'a> {
    pub settings: &'a UnitSettings,
    pub state: RunState,
    /// What is measured and computed now, whether water is made or not.
    pub live: &'a Live<'a>,
    pub sensors: &'a [Sensor],
    pub train: &'a Train,
    pub watch: &'a Watch,
    pub care: &'a Care,
    /// What is found of each stage.
    pub stages: &'a [StageFindings],
    /// The stages themselves, what their resin is like, and when each falls due.
    pub vessels: &'a [Stage],
    pub fillings: &'a Fillings,
    pub dues: &'a [Due],
    pub membrane: &'a MembraneState,
    pub taught: &'a Taught,
    pub runs: RunFacts,
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
    pub(super) basis: Basis,
    /// The sensor that is doubted while the alert is active, and why.
    pub casts: Option<(usize, Doubt)>,
}

/// Judges one alert; `None` when the readings say nothing.
pub(crate) fn judge(alert: &Alert, around: &Circumstances) -> Option<Judgement> {
    let limits = &around.settings.alerts;
    match (alert.code, alert.subject) {
        (Code::FeedPressureHigh, _) => around.pressure_high(),
        (Code::FeedPressureLow, _) => around.pressure_low(),
        (Code::FlushMissed, _) => around.flush_missed(),
        (Code::NormalizedFlowFalling, _) => around.taught.flow_falling.or_else(|| forgotten(alert)),
        (Code::NormalizedFlowLow, _) => around.flow_low().map(|(judgement, _)| judgement),
        (Code::PermeateTdsHigh, _) => {
            around.tds_high(Metric::PermeateConductivity, limits.permeate_tds_high)
        }
        (Code::ProductTdsHigh, _) => {
            around.tds_high(Metric::ProductConductivity, limits.product_tds_high)
        }
        (Code::RejectionLow, _) => around.rejection_low(),
        (Code::RunTooLong, _) => around.run_too_long(),
        (Code::SaltPassageRising, _) => around.taught.salt_rising.or_else(|| forgotten(alert)),
        (Code::ShortCycling, _) => around.short_cycling(),
        (Code::SensorSilent, Subject::Sensor(index)) => around.silent(index),
        (Code::StageExhausted, Subject::Stage(index)) => around.stage_exhausted(index),
        (Code::StageLeaking, Subject::Stage(index)) => around.stage_leaking(index),
        (Code::StageLow, Subject::Stage(index)) => around.stage_low(index),
        (Code::StageOverdue, Subject::Stage(index)) => around.stage_overdue(index),
        (Code::BalanceOpen, _) => around.balance_open(),
        (Code::FeedTemperatureOutOfRange, _) => around.temperature(),
        (Code::Leak, _) => around.leak(),
        (Code::PrefilterClogging, _) => around.prefilter(),
        (Code::PumpNotLifting, _) => around.lift(),
        (Code::RecoveryOutOfRange, _) => around.recovery(),
        (Code::SensorImplausible, Subject::Sensor(index)) => around.implausible(alert, index),
        (Code::SensorStuck, Subject::Sensor(index)) => around.stuck(index),
        (Code::ShutoffLeaking, _) => around.shutoff(),
        (Code::ChlorineBreakthrough, _) => around.breakthrough().or_else(|| forgotten(alert)),
        (Code::RinseDue, Subject::Stage(index)) => Some(around.rinse_due(index)),
        (Code::ScalingRisk, _) => around.scaling(),
        (Code::TestDue, _) => around.test_due(),
        (
            Code::RinseDue
            | Code::SensorImplausible
            | Code::SensorSilent
            | Code::SensorStuck
            | Code::StageExhausted
            | Code::StageLeaking
            | Code::StageLow
            | Code::StageOverdue,
            _,
        ) => None,
    }
}

/// What to say about a judgement: costs some formatting, so it is asked only when it is told.
pub(crate) fn describe(alert: &Alert, judgement: &Judgement, around: &Circumstances) -> Seen {
    let (value, limit) = (judgement.value, judgement.limit);
    let display = around.settings.display;
    let pressure = |bar: f64| display.pressure(Pressure::from_bar(bar));
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
        Code::FlushMissed | Code::RunTooLong | Code::ShortCycling => {
            around.describe_runs(alert.code, judgement)
        }
        Code::NormalizedFlowFalling => return around.describe_trend(Wear::Flow, judgement),
        Code::NormalizedFlowLow => return around.describe_flow_low(judgement),
        Code::SaltPassageRising => return around.describe_trend(Wear::Salt, judgement),
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
        Code::StageExhausted => (around.describe_exhausted(alert), "%"),
        Code::StageLeaking => (around.describe_leaking(alert), "mg/L"),
        Code::StageLow => return around.describe_low(alert, judgement),
        Code::StageOverdue => (around.describe_overdue(alert, judgement), "d"),
        Code::BalanceOpen => (around.describe_balance(judgement), "%"),
        Code::FeedTemperatureOutOfRange => {
            (hydraulic::temperature_text(display, value, limit), "°C")
        }
        Code::Leak => return Seen::words(around.describe_leak()),
        Code::PrefilterClogging => (around.describe_prefilter(value, limit), "bar"),
        Code::PumpNotLifting => (hydraulic::lift_text(display, value, limit), "bar"),
        Code::RecoveryOutOfRange => (hydraulic::split_text(value, limit), "%"),
        Code::SensorImplausible | Code::SensorStuck => {
            return around.describe_doubt(alert, judgement);
        }
        Code::ShutoffLeaking => (hydraulic::leaking_text(display, value, limit), "L/min"),
        Code::ChlorineBreakthrough => (around.describe_breakthrough(judgement), "mg/L"),
        Code::RinseDue => (around.describe_rinse(alert, value), "L"),
        Code::ScalingRisk => (around.describe_scaling(), ""),
        Code::TestDue => (around.describe_test_due(judgement), "d"),
    };
    figure(with_caution(sentence, judgement.basis), value, limit, unit)
}

/// Says so where a figure stands on what the owner configured.
pub(super) fn with_caution(sentence: String, basis: Basis) -> String {
    if basis == Basis::Assumed {
        format!("{sentence} Part of this is configured, not measured.")
    } else {
        sentence
    }
}

/// Above the limit is bad.
pub(super) fn above<Q: PartialOrd>(value: Q, limit: &Limit<Q>) -> Verdict {
    if value > limit.raise {
        Verdict::Beyond
    } else if value > limit.clear {
        Verdict::Between
    } else {
        Verdict::Well
    }
}

/// Below the limit is bad.
pub(super) fn below<Q: PartialOrd>(value: Q, limit: &Limit<Q>) -> Verdict {
    if value < limit.raise {
        Verdict::Beyond
    } else if value < limit.clear {
        Verdict::Between
    } else {
        Verdict::Well
    }
}

pub(super) fn held<Q>(
    limit: &Limit<Q>,
    verdict: Verdict,
    value: Known<f64>,
    raise: f64,
) -> Judgement {
    Judgement {
        verdict,
        hold: limit.hold,
        clear_hold: limit.clear_hold,
        value: value.value,
        limit: raise,
        basis: value.basis,
        casts: None,
    }
}

pub(super) fn at_once(verdict: Verdict, value: Known<f64>) -> Judgement {
    let (hold, clear_hold) = (Duration::ZERO, Duration::ZERO);
    Judgement {
        verdict,
        hold,
        clear_hold,
        value: value.value,
        limit: 0.0,
        basis: value.basis,
        casts: None,
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
        if !self.state.makes_water() || !self.watch.hydraulics.feed_gauge_told(self.train) {
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

    pub(super) fn producing(&self, metric: Metric) -> Option<Known<f64>> {
        // Fines and air of a new filling are no quality of the water.
        if self.state == RunState::Producing && !self.care.rinsed_in_run {
            self.live.of(metric).ok()
        } else {
            None
        }
    }

    fn silent(&self, index: usize) -> Option<Judgement> {
        let grace = self.settings.alerts.sensor_silent?;
        let sensor = self.sensors.get(index)?;
        let silent_at = sensor.silent_at();
        let is_silent = self.now.mono >= silent_at;
        let verdict = if is_silent && self.now.mono >= silent_at.after(grace) {
            Verdict::Beyond
        } else if is_silent || sensor.is_offline() {
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
}

#[cfg(test)]
mod tests;
