//! What is left of a stage, which limit binds, and for how long.

use std::time::Duration;

use super::{
    known::{Basis, Finding, Known, Lack, sized},
    load::{LEAST, LIKELY, MOST},
    stage::Stage,
};
use crate::{
    config::{Capacity, Point, StageWater},
    metrics::StageMetric,
    quantity::{Mass, Tds, Volume},
    time::Now,
};

/// The limit that binds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Binding {
    /// Its age.
    Age,
    /// What it has taken: ions, or disinfectant.
    Load,
    /// The water it has treated.
    Volume,
}

impl Binding {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Age => "age",
            Self::Load => "load",
            Self::Volume => "volume",
        }
    }
}

/// What is found of a stage at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct StageFindings {
    findings: [Finding<f64>; StageMetric::ALL.len()],
    /// The limit that binds, if any does.
    pub binding: Option<Binding>,
}

impl StageFindings {
    /// What is known of a metric, in its published unit.
    pub fn of(&self, metric: StageMetric) -> Finding<f64> {
        self.findings
            .get(metric as usize)
            .copied()
            .unwrap_or(Err(Lack::TooEarly))
    }
}

const SECONDS_PER_DAY: f64 = 86_400.0;
/// Use per day is not judged on less than this.
const LEAST_DAYS_OF_USE: f64 = 3.0;

fn percent(share: Known<f64>) -> Known<f64> {
    share.map(|share| (share * 100.0).max(0.0))
}

/// The limit that leaves least; a reason that may pass tells more than that a limit is not there.
fn least(limits: [(Finding<f64>, Binding); 3]) -> (Finding<f64>, Option<Binding>) {
    let known = limits
        .iter()
        .filter_map(|(left, binding)| Some((left.ok()?, *binding)))
        .reduce(|best, next| {
            if next.0.value < best.0.value {
                next
            } else {
                best
            }
        });
    if let Some((left, binding)) = known {
        return (Ok(left), Some(binding));
    }
    let mut lacks = limits.iter().rev().filter_map(|(left, _)| left.err());
    let lack = lacks.find(|lack| *lack != Lack::NoLife);
    (Err(lack.unwrap_or(Lack::NoLife)), None)
}

impl Stage {
    /// What is left now; `tds` is what a probe behind the stage shows.
    pub(super) fn find(&self, now: Now, tds: Finding<Tds>) -> StageFindings {
        let point = match self.settings.water {
            StageWater::Feed => Point::FeedFlow,
            StageWater::Permeate => Point::PermeateFlow,
        };
        let treated = self
            .basis
            .map(|basis| Known {
                value: self.state.treated,
                basis,
            })
            .ok_or(Lack::NoSensor(point));
        let age = self.age_days(now);
        let used = self.used();
        let by_volume = self.by_volume(treated);
        let by_age = self.by_age(age);
        let at = |end: usize| {
            let by_load = used.map(|known| known.map(|used| 1.0 - used[end]));
            least([
                (by_load, Binding::Load),
                (by_volume, Binding::Volume),
                (by_age, Binding::Age),
            ])
        };
        let (left, binding) = at(LIKELY);
        let band = |end: usize| match self.settings.capacity {
            Some(Capacity::Ions(_)) => used.and_then(|_| at(end).0),
            Some(Capacity::Disinfectant(_)) | None => Err(Lack::NoLife),
        };
        let left_volume = self.left_volume(treated, used);
        let mut findings = [Err(Lack::TooEarly); StageMetric::ALL.len()];
        for (slot, metric) in findings.iter_mut().zip(StageMetric::ALL) {
            *slot = sized(match metric {
                StageMetric::Treated => treated.map(|known| known.map(Volume::litres)),
                StageMetric::Left => left.map(percent),
                StageMetric::LeftLow => band(MOST).map(percent),
                StageMetric::LeftHigh => band(LEAST).map(percent),
                StageMetric::CationLoad => self.ions(true),
                StageMetric::AnionLoad => self.ions(false),
                StageMetric::DisinfectantLoad => {
                    self.disinfectant().map(|known| known.map(Mass::grams))
                }
                StageMetric::LeftVolume => left_volume,
                StageMetric::LeftTime => self.days_left(now, age, left_volume),
                StageMetric::Tds => tds.map(|known| known.map(Tds::mg_per_l)),
                StageMetric::Age => age,
            });
        }
        StageFindings { findings, binding }
    }

    fn age_days(&self, now: Now) -> Finding<f64> {
        let installed = self
            .state
            .installed
            .or(self.state.seen)
            .ok_or(Lack::NoDate)?;
        let date = now.date().ok_or(Lack::NoDate)?;
        // By the calendar: a stage may be older than any date this program could have seen.
        let age = u64::try_from(date.0 - installed.0).map_or(Duration::ZERO, Duration::from_millis);
        let age = age.as_secs_f64() / SECONDS_PER_DAY;
        Ok(if self.state.installed.is_some() {
            Known::measured(age)
        } else {
            Known::assumed(age)
        })
    }

    /// Share left by volume, at most 1.
    fn by_volume(&self, treated: Finding<Volume>) -> Finding<f64> {
        let life = self.settings.life_volume.ok_or(Lack::NoLife)?;
        Ok(treated?.map(|treated| 1.0 - treated / life))
    }

    /// Share left by age, at most 1.
    fn by_age(&self, age: Finding<f64>) -> Finding<f64> {
        let life = self.settings.life_time.ok_or(Lack::NoLife)?;
        Ok(age?.map(|days| 1.0 - days * SECONDS_PER_DAY / life.as_secs_f64()))
    }

    /// The fewer of the days left by age and of those left by volume at the use seen so far.
    fn days_left(&self, now: Now, age: Finding<f64>, left_volume: Finding<f64>) -> Finding<f64> {
        let by_age = match self.settings.life_time {
            Some(life) => {
                Some(age?.map(|days| (life.as_secs_f64() / SECONDS_PER_DAY - days).max(0.0)))
            }
            None => None,
        };
        let by_use = left_volume.and_then(|left| {
            let seen = self.state.seen.ok_or(Lack::NoDate)?;
            let days = now.wall.since(seen).ok_or(Lack::NoDate)?.as_secs_f64() / SECONDS_PER_DAY;
            let per_day = self.state.treated.litres() / days;
            if days < LEAST_DAYS_OF_USE || per_day <= 0.0 {
                return Err(Lack::TooEarly);
            }
            Ok(left.map(|litres| litres / per_day).at_best(Basis::Inferred))
        });
        match (by_age, by_use) {
            (Some(age), Ok(used)) => Ok(if used.value < age.value { used } else { age }),
            (Some(age), Err(_)) => Ok(age),
            (None, used) => used,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::{
        config::{StageKind, StageSettings},
        core::{load::Offered, water::Volumes},
        time::Wall,
    };

    const DAY: i64 = 86_400_000;
    /// 2026-03-01T00:00:00Z, in milliseconds.
    const START: i64 = 1_772_323_200_000;

    fn on_day(day: i64) -> Now {
        Now {
            mono: crate::time::Mono(0),
            wall: Wall(START + day * DAY),
        }
    }

    fn stage(life_volume: Option<f64>, life_days: Option<u64>) -> Stage {
        let settings = StageSettings {
            id: "carbon".to_owned(),
            name: "Carbon".to_owned(),
            kind: StageKind::Carbon,
            water: StageWater::Feed,
            life_volume: life_volume.map(Volume::from_litres),
            capacity: None,
            life_time: life_days.map(|days| Duration::from_secs(days * 86_400)),
            installed: Some(jiff::civil::date(2026, 3, 1)),
        };
        Stage::new(settings, None, Some(Basis::Inferred), None)
    }

    fn feed(litres: f64) -> Volumes {
        Volumes {
            feed: Volume::from_litres(litres),
            ..Volumes::default()
        }
    }

    fn value(stage: &Stage, day: i64, metric: StageMetric) -> Option<f64> {
        let found = stage.find(on_day(day), Err(Lack::TooEarly));
        found.of(metric).ok().map(|known| known.value)
    }

    #[test]
    fn the_limit_that_binds_is_the_one_that_leaves_least() {
        // 1000 L and 100 days; after 10 days 200 L: 80 % by volume, 90 % by age. 20 L a day leave
        // 800 / 20 = 40 days, fewer than the 90 by age. After 50 days: 50 % by age binds.
        let mut stage = stage(Some(1000.0), Some(100));
        stage.treat(on_day(0), &feed(0.0), &mut Offered::default());
        stage.treat(on_day(10), &feed(200.0), &mut Offered::default());
        let found = stage.find(on_day(10), Err(Lack::TooEarly));
        assert_eq!(found.binding, Some(Binding::Volume));
        assert_eq!(value(&stage, 10, StageMetric::Left), Some(80.0));
        assert_eq!(value(&stage, 10, StageMetric::LeftTime), Some(40.0));
        assert_eq!(value(&stage, 50, StageMetric::Left), Some(50.0));
        let found = stage.find(on_day(50), Err(Lack::TooEarly));
        assert_eq!(found.binding, Some(Binding::Age));
    }

    #[test]
    fn nothing_falls_below_nothing() {
        let mut stage = stage(Some(100.0), Some(10));
        stage.treat(on_day(0), &feed(500.0), &mut Offered::default());
        for metric in [
            StageMetric::Left,
            StageMetric::LeftVolume,
            StageMetric::LeftTime,
        ] {
            assert_eq!(value(&stage, 400, metric), Some(0.0), "{metric:?}");
        }
        // A clock before the installation: no negative age, not more than all of it.
        assert_eq!(value(&stage, -5, StageMetric::Age), Some(0.0));
    }

    #[test]
    fn use_is_not_judged_on_less_than_three_days() {
        let mut stage = stage(Some(1000.0), None);
        stage.treat(on_day(0), &feed(100.0), &mut Offered::default());
        assert_eq!(value(&stage, 2, StageMetric::LeftTime), None);
        assert_eq!(value(&stage, 5, StageMetric::LeftTime), Some(45.0));
    }

    #[test]
    fn a_new_filling_begins_anew_and_the_old_one_is_handed_over() {
        let mut stage = stage(Some(1000.0), Some(100));
        stage.treat(on_day(0), &feed(300.0), &mut Offered::default());
        let old = stage.replace(on_day(40), None);
        assert_eq!(old.treated.litres(), 300.0);
        assert_eq!(old.installed, Some(Wall(START)));
        assert_eq!(value(&stage, 40, StageMetric::Left), Some(100.0));
        assert_eq!(value(&stage, 40, StageMetric::Treated), Some(0.0));
    }
}
