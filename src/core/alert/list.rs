//! Which alerts a unit has: those that its settings switch on and its train can have.

use std::time::Duration;

use super::{Alert, AlertState, Care, Code, Life, Subject};
use crate::{
    config::{SensorSettings, StageKind, StageWater, UnitSettings},
    core::{
        breakthrough::watched_stages,
        doubt::{can_be_implausible, can_be_stuck},
    },
};

/// The alerts a unit's settings switch on, in a fixed order.
pub(in crate::core) fn alerts_of(
    settings: &UnitSettings,
    mut kept: impl FnMut(&str) -> Option<AlertState>,
) -> Vec<Alert> {
    let limits = &settings.alerts;
    let hydraulics = &limits.hydraulics;
    let mut list = Vec::new();
    for code in Code::ALL {
        let (on, subjects): (bool, Vec<(Subject, String)>) = match code {
            Code::FeedPressureHigh => (limits.feed_pressure_high.is_some(), unit()),
            Code::FeedPressureLow => (limits.feed_pressure_low.is_some(), unit()),
            Code::FlushMissed => (
                limits.flush_missed.is_some() && settings.run.flush_expected,
                unit(),
            ),
            Code::NormalizedFlowFalling => (limits.normalized_flow_falling.is_some(), unit()),
            Code::NormalizedFlowLow => (limits.normalized_flow_low.is_some(), unit()),
            Code::PermeateTdsHigh => (limits.permeate_tds_high.is_some(), unit()),
            Code::ProductTdsHigh => (limits.product_tds_high.is_some(), unit()),
            Code::RejectionLow => (limits.rejection_low.is_some(), unit()),
            Code::RunTooLong => (limits.run_too_long.is_some(), unit()),
            Code::SaltPassageRising => (limits.salt_passage_rising.is_some(), unit()),
            Code::SensorSilent => (
                limits.sensor_silent.is_some(),
                settings
                    .sensors
                    .iter()
                    .enumerate()
                    .map(|(index, sensor)| (Subject::Sensor(index), sensor.id.clone()))
                    .collect(),
            ),
            Code::ShortCycling => (limits.short_cycling.is_some(), unit()),
            Code::BalanceOpen => (limits.doubts.balance_open.is_some(), unit()),
            Code::SensorImplausible => (
                limits.doubts.sensor_implausible.is_some(),
                sensors(settings, |sensor| can_be_implausible(sensor.at)),
            ),
            Code::SensorStuck => (
                limits.doubts.sensor_stuck.is_some(),
                sensors(settings, |sensor| {
                    can_be_stuck(settings, sensor.at, &sensor.measure)
                }),
            ),
            Code::FeedTemperatureOutOfRange => {
                (hydraulics.feed_temperature_out_of_range.is_some(), unit())
            }
            Code::Leak => (hydraulics.leak, unit()),
            Code::PrefilterClogging => (hydraulics.prefilter_clogging.is_some(), unit()),
            Code::PumpNotLifting => (hydraulics.pump_not_lifting.is_some(), unit()),
            Code::RecoveryOutOfRange => (hydraulics.recovery_out_of_range.is_some(), unit()),
            Code::ShutoffLeaking => (hydraulics.shutoff_leaking.is_some(), unit()),
            Code::StageExhausted => (limits.stage_exhausted, stages(settings)),
            Code::StageLeaking => (limits.stage_leaking, watched(settings)),
            Code::StageLow => (limits.stage_low.is_some(), stages(settings)),
            Code::StageOverdue => (limits.stage_overdue.is_some(), stages(settings)),
            Code::ChlorineBreakthrough => (
                limits.care.chlorine_breakthrough && has_carbon(settings),
                unit(),
            ),
            Code::RinseDue => (limits.care.rinse_due, rinsed(settings)),
            Code::ScalingRisk => (
                limits.care.scaling_risk.is_some() && has_membrane(settings),
                unit(),
            ),
            Code::TestDue => (
                limits.care.test_due.is_some() && has_carbon(settings),
                unit(),
            ),
        };
        if on {
            list.extend(subjects.into_iter().map(|(subject, subject_id)| Alert {
                code,
                subject,
                subject_id,
                life: Life::default(),
                seen: None,
                care: Care::default(),
                because: None,
                episode: None,
                hold: Duration::ZERO,
                casts: None,
                due: None,
            }));
        }
    }
    for alert in &mut list {
        if let Some(state) = kept(&alert.key()) {
            alert.life = Life::new(state.life);
            alert.seen = state.seen;
            alert.care = state.care;
            alert.episode = state.episode;
            alert.casts = state.casts.and_then(|(id, doubt)| {
                let at = settings.sensors.iter().position(|sensor| sensor.id == id);
                Some((at?, doubt))
            });
        }
    }
    // It never grows, and with thousands of units its spare room would be most of their memory.
    list.shrink_to_fit();
    list
}

fn unit() -> Vec<(Subject, String)> {
    vec![(Subject::Unit, String::new())]
}

fn sensors(
    settings: &UnitSettings,
    fits: impl Fn(&SensorSettings) -> bool,
) -> Vec<(Subject, String)> {
    settings
        .sensors
        .iter()
        .enumerate()
        .filter(|(_, sensor)| fits(sensor))
        .map(|(index, sensor)| (Subject::Sensor(index), sensor.id.clone()))
        .collect()
}

/// DI stages with a probe that would show what they let through.
fn watched(settings: &UnitSettings) -> Vec<(Subject, String)> {
    let indices = watched_stages(settings).into_iter();
    indices
        .filter_map(|index| {
            let stage = settings.stages.get(index)?;
            Some((Subject::Stage(index), stage.id.clone()))
        })
        .collect()
}

/// Stages that have a configured life or capacity, or a probe that shows them spent, and a membrane
/// whose wear can be told: the others can not be judged.
fn stages(settings: &UnitSettings) -> Vec<(Subject, String)> {
    let watched = watched_stages(settings);
    settings
        .stages
        .iter()
        .enumerate()
        .filter(|(index, stage)| {
            let has_life = stage.life_volume.is_some() || stage.life_time.is_some();
            let wears = stage.kind == StageKind::Membrane && settings.membrane.is_some();
            has_life || stage.capacity.is_some() || wears || watched.contains(index)
        })
        .map(|(index, stage)| (Subject::Stage(index), stage.id.clone()))
        .collect()
}

/// Stages whose new filling has to be rinsed.
fn rinsed(settings: &UnitSettings) -> Vec<(Subject, String)> {
    let stages = settings.stages.iter().enumerate();
    let rinsed = stages.filter(|(_, stage)| stage.rinse.is_some());
    rinsed
        .map(|(index, stage)| (Subject::Stage(index), stage.id.clone()))
        .collect()
}

fn has_carbon(settings: &UnitSettings) -> bool {
    settings.stages.iter().any(|stage| {
        let is_carbon = matches!(stage.kind, StageKind::Carbon | StageKind::CatalyticCarbon);
        is_carbon && stage.water == StageWater::Feed
    })
}

fn has_membrane(settings: &UnitSettings) -> bool {
    let mut stages = settings.stages.iter();
    stages.any(|stage| stage.kind == StageKind::Membrane)
}

#[cfg(test)]
mod tests;
