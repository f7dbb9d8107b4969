//! One cause is not told five times: which alerts explain which others. An explained alert keeps its
//! state, but is not told while its cause is active.
//!
//! A cause is never less urgent than what it explains, what is critical is always told itself, and the
//! table has no circles; the tests hold it to that.

use std::collections::BTreeSet;

use super::{Alert, Code, Severity, Subject};
use crate::{
    config::{Point, SensorSettings, StageKind, UnitSettings},
    core::{known::Finding, stage::Stage, train::Train},
    time::Mono,
};

/// The alerts that explain an alert of that code, the better reason first (common practice, no
/// source).
pub(super) fn causes(code: Code) -> &'static [Code] {
    match code {
        // A clogged filter or an idle pump is why the pressure is low.
        Code::FeedPressureLow => &[Code::PumpNotLifting, Code::PrefilterClogging],
        // What is there now says more than the trend it belongs to.
        Code::NormalizedFlowFalling => &[Code::NormalizedFlowLow],
        // Little pressure makes salty permeate; that the element itself lets more through says more
        // than what follows from it.
        Code::RejectionLow => &[Code::FeedPressureLow, Code::SaltPassageRising],
        Code::PermeateTdsHigh => &[
            Code::FeedPressureLow,
            Code::SaltPassageRising,
            Code::RejectionLow,
        ],
        // Spent resin, or more salt than it was meant for.
        Code::ProductTdsHigh => &[
            Code::StageExhausted,
            Code::StageOverdue,
            Code::PermeateTdsHigh,
        ],
        // The waste ratio is withdrawn while the meters contradict each other.
        Code::RecoveryOutOfRange => &[Code::BalanceOpen],
        // Of the same sensor: one that says nothing is neither stuck nor wrong.
        Code::SensorImplausible => &[Code::SensorSilent, Code::SensorStuck],
        Code::SensorStuck => &[Code::SensorSilent],
        Code::BalanceOpen
        | Code::ChlorineBreakthrough
        | Code::FeedPressureHigh
        | Code::FeedTemperatureOutOfRange
        | Code::FlushMissed
        | Code::Leak
        | Code::NormalizedFlowLow
        | Code::PrefilterClogging
        | Code::PumpNotLifting
        | Code::RinseDue
        | Code::RunTooLong
        | Code::SaltPassageRising
        | Code::ScalingRisk
        // See `board` for sensors that fall silent together.
        | Code::SensorSilent
        | Code::ShortCycling
        | Code::ShutoffLeaking
        | Code::StageExhausted
        | Code::StageLeaking
        | Code::StageLow
        | Code::StageOverdue
        | Code::TestDue => &[],
    }
}

/// The points without which an alert of that code says nothing any more: it is frozen while a sensor
/// there is silent or doubted, and is not told meanwhile.
fn needs(code: Code) -> &'static [Point] {
    match code {
        Code::BalanceOpen => &[
            Point::FeedFlow,
            Point::PermeateFlow,
            Point::ConcentrateFlow,
        ],
        Code::FeedPressureLow => &[Point::FeedPressure],
        Code::FeedTemperatureOutOfRange => &[Point::FeedTemperature],
        Code::NormalizedFlowFalling | Code::NormalizedFlowLow => &[
            Point::FeedPressure,
            Point::FeedTemperature,
        ],
        Code::PermeateTdsHigh => &[Point::PermeateTds],
        Code::PrefilterClogging | Code::PumpNotLifting => {
            &[Point::SupplyPressure, Point::FeedPressure]
        }
        Code::ProductTdsHigh => &[Point::ProductTds],
        Code::RejectionLow | Code::SaltPassageRising => &[Point::FeedTds, Point::PermeateTds],
        // Critical: told whatever becomes of the sensor.
        Code::FeedPressureHigh
        | Code::Leak
        // Each flow may follow from the others.
        | Code::RecoveryOutOfRange
        | Code::RunTooLong
        | Code::ShortCycling
        | Code::ShutoffLeaking
        | Code::FlushMissed
        // About sensors themselves.
        | Code::SensorImplausible
        | Code::SensorSilent
        | Code::SensorStuck
        // What is left does not come back when a probe dies.
        | Code::StageExhausted
        | Code::StageLeaking
        | Code::StageLow
        | Code::StageOverdue
        // By the keeper's own tests, and by dates.
        | Code::ChlorineBreakthrough
        | Code::RinseDue
        | Code::ScalingRisk
        | Code::TestDue => &[],
    }
}

/// What the causes of a unit's alerts are found in.
pub(super) struct Scene<'a> {
    pub alerts: &'a [Alert],
    pub settings: &'a UnitSettings,
    pub stages: &'a [Stage],
    pub train: &'a Train,
    pub now: Mono,
}

impl Scene<'_> {
    /// For each alert, the index of the active alert that is told instead of it: the root of the
    /// chain. Empty when fewer than two are active.
    pub(super) fn explained(&self) -> Vec<Option<usize>> {
        if self.alerts.iter().filter(|alert| alert.is_active()).count() < 2 {
            return Vec::new();
        }
        let silent = self.silent_together();
        let direct: Vec<Option<usize>> = (0..self.alerts.len())
            .map(|index| self.cause_of(index, &silent))
            .collect();
        (0..direct.len())
            .map(|index| root(&direct, index))
            .collect()
    }

    fn cause_of(&self, index: usize, silent: &[Option<usize>]) -> Option<usize> {
        let alert = self.alerts.get(index)?;
        if !alert.is_active() || alert.severity() == Severity::Critical {
            return None;
        }
        if let Some(first) = silent.get(index).copied().flatten() {
            return Some(first).filter(|first| *first != index);
        }
        let by_sensor = needs(alert.code).iter().find_map(|point| self.lost(*point));
        by_sensor.or_else(|| self.seen_spent(alert)).or_else(|| {
            causes(alert.code)
                .iter()
                .find_map(|code| self.active(*code, alert))
        })
    }

    /// A stage that is spent by what another alert tells of: the test that found chlorine behind it, or the
    /// pressure it takes.
    fn seen_spent(&self, alert: &Alert) -> Option<usize> {
        let (Code::StageExhausted | Code::StageOverdue, Subject::Stage(stage)) =
            (alert.code, alert.subject)
        else {
            return None;
        };
        let evidence = &self.stages.get(stage)?.evidence;
        let is_gone = |left: Finding<f64>| left.is_ok_and(|left| left.value <= 0.0);
        if is_gone(evidence.by_test) {
            self.active(Code::ChlorineBreakthrough, alert)
        } else if is_gone(evidence.by_drop) {
            self.active(Code::PrefilterClogging, alert)
        } else {
            None
        }
    }

    /// The active alert of that code, if it may be the cause of this one.
    fn active(&self, code: Code, of: &Alert) -> Option<usize> {
        let fits = |alert: &Alert| {
            alert.code == code
                && alert.is_active()
                && match (alert.subject, of.subject) {
                    (Subject::Sensor(one), Subject::Sensor(other)) => one == other,
                    (Subject::Stage(stage), _) => self.is_deionising(stage),
                    (Subject::Unit | Subject::Sensor(_), _) => true,
                }
        };
        self.alerts.iter().position(fits)
    }

    fn is_deionising(&self, stage: usize) -> bool {
        let stage = self.settings.stages.get(stage);
        stage.is_some_and(|stage| {
            matches!(
                stage.kind,
                StageKind::Cation | StageKind::Anion | StageKind::MixedBed
            )
        })
    }

    /// The alert that tells why nothing is measured at a point any more: one about its sensor, where no
    /// spare goes on.
    fn lost(&self, point: Point) -> Option<usize> {
        let (main, spare) = self.train.at(point);
        let main = self.about_sensor(main?)?;
        match spare {
            Some(spare) => self.about_sensor(spare).map(|_| main),
            None => Some(main),
        }
    }

    fn about_sensor(&self, sensor: usize) -> Option<usize> {
        let doubts = |alert: &Alert| {
            let about = matches!(
                alert.code,
                Code::SensorSilent | Code::SensorStuck | Code::SensorImplausible
            ) && alert.subject == Subject::Sensor(sensor);
            about && alert.is_active()
        };
        self.alerts.iter().position(doubts)
    }

    /// For each alert about a silent sensor whose board is down as a whole, the one of them that is
    /// told: the one people know of, else the first.
    fn silent_together(&self) -> Vec<Option<usize>> {
        let mut told = vec![None; self.alerts.len()];
        let boards: BTreeSet<&str> = self.settings.sensors.iter().map(board).collect();
        for name in boards {
            let silent: Vec<usize> = (0..self.alerts.len())
                .filter(|index| self.is_silent_on(*index, name))
                .collect();
            if silent.len() < 2 || self.lives(name, &silent) {
                continue;
            }
            let known = |index: &&usize| {
                let alert = self.alerts.get(**index);
                alert.is_some_and(|alert| alert.care.told.is_some())
            };
            let first = silent.iter().find(known).or_else(|| silent.first());
            for index in &silent {
                told[*index] = first.copied();
            }
        }
        told
    }

    fn is_silent_on(&self, index: usize, name: &str) -> bool {
        let Some(alert) = self.alerts.get(index) else {
            return false;
        };
        let Subject::Sensor(sensor) = alert.subject else {
            return false;
        };
        let own = self.settings.sensors.get(sensor);
        alert.code == Code::SensorSilent
            && alert.is_active()
            && own.is_some_and(|own| board(own) == name)
    }

    /// Whether a sensor of the board was heard after one of its others had been missed.
    fn lives(&self, name: &str, silent: &[usize]) -> bool {
        let sensors = self.train.sensors();
        let missed_at = silent
            .iter()
            .filter_map(|index| match self.alerts.get(*index)?.subject {
                Subject::Sensor(sensor) => Some(sensors.get(sensor)?.silent_at()),
                Subject::Stage(_) | Subject::Unit => None,
            })
            .min();
        let mut own = sensors
            .iter()
            .filter(|sensor| board(sensor.settings()) == name);
        own.any(|sensor| {
            let heard = sensor.heard_at().filter(|heard| *heard <= self.now);
            heard
                .zip(missed_at)
                .is_some_and(|(heard, missed)| heard > missed)
        })
    }
}

/// What sensors that fall silent together have in common: the availability topic of their firmware,
/// else the topic but for its last level, as firmware publishes it.
fn board(sensor: &SensorSettings) -> &str {
    match &sensor.availability {
        Some(availability) => availability.topic.as_written(),
        None if sensor.pointer.is_some() => sensor.topic.as_written(),
        None => {
            let topic = sensor.topic.as_written();
            topic.rsplit_once('/').map_or(topic, |(board, _)| board)
        }
    }
}

/// The end of the chain of causes, if there is one.
fn root(direct: &[Option<usize>], index: usize) -> Option<usize> {
    let mut found = direct.get(index).copied().flatten()?;
    // The chain cannot be longer than the list; a circle would end here rather than never.
    for _ in 0..direct.len() {
        match direct.get(found).copied().flatten() {
            Some(next) => found = next,
            None => return Some(found),
        }
    }
    None
}

#[cfg(test)]
mod tests;
