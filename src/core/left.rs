//! What is left of a stage, and which limit binds. For how long, `due` says.

use std::time::Duration;

use super::{
    capacity::Told,
    due::Due,
    known::{Finding, Known, Lack, sized},
    load::{LEAST, LIKELY, MOST},
    membrane::Ways,
    stage::Stage,
};
use crate::{
    config::{Capacity, Point, StageWater},
    metrics::StageMetric,
    quantity::{Mass, Tds, Volume},
    time::{Now, SECONDS_PER_DAY},
};

/// The limit that binds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Binding {
    /// Its age.
    Age,
    /// Salt breaks through: a probe behind it shows so.
    Breakthrough,
    /// The flow the membrane gives.
    Flow,
    /// What it has taken: ions, or disinfectant.
    Load,
    /// The pressure it takes.
    PressureDrop,
    /// The salt the membrane lets pass.
    Salt,
    /// A test by hand.
    Test,
    /// The water it has treated.
    Volume,
}

impl Binding {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Age => "age",
            Self::Breakthrough => "breakthrough",
            Self::Flow => "flow",
            Self::Load => "load",
            Self::PressureDrop => "pressure_drop",
            Self::Salt => "salt",
            Self::Test => "test",
            Self::Volume => "volume",
        }
    }

    /// Whether it is the membrane's wear.
    #[must_use]
    pub fn is_wear(self) -> bool {
        matches!(self, Self::Flow | Self::Salt)
    }
}

/// What is found of a stage at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct StageFindings {
    findings: [Finding<f64>; StageMetric::ALL.len()],
    /// The limit that binds, if any does.
    pub binding: Option<Binding>,
    /// The share left by every limit but the membrane's wear, of which other alerts tell.
    pub(super) left_unworn: Finding<f64>,
    /// What is let through, and the limit, µS/cm, while a front arrives; none where nothing tells.
    pub(super) leaking: Option<Option<(f64, f64)>>,
}

impl StageFindings {
    /// What is known of a metric, in its published unit.
    pub fn of(&self, metric: StageMetric) -> Finding<f64> {
        self.findings
            .get(metric as usize)
            .copied()
            .unwrap_or(Err(Lack::TooEarly))
    }

    /// Fills in what is known of the time that is left.
    pub(super) fn take(&mut self, due: &Due) {
        let end = |end: usize| due.litres.map(|known| known.map(|litres| litres[end]));
        for (metric, finding) in [
            (StageMetric::LeftTimeLow, due.seen(|days| days.low)),
            (StageMetric::LeftTime, due.seen(|days| days.likely)),
            (StageMetric::LeftTimeHigh, due.seen(|days| days.high)),
            (StageMetric::LeftVolumeLow, end(LEAST)),
            (StageMetric::LeftVolumeHigh, end(MOST)),
        ] {
            self.findings[metric as usize] = sized(finding);
        }
    }
}

fn percent(share: Known<f64>) -> Known<f64> {
    share.map(|share| (share * 100.0).max(0.0))
}

/// The limit that leaves least; a reason that may pass tells more than that a limit is not there.
fn least(limits: &[(Finding<f64>, Binding)]) -> (Finding<f64>, Option<Binding>) {
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
    /// What is left now; `tds` is what a probe behind the stage shows, `ways` how far a membrane is on
    /// its way to its limits.
    pub(super) fn find(&self, now: Now, tds: Finding<Tds>, ways: Option<&Ways>) -> StageFindings {
        let treated = self.treated();
        let age = self.age_days(now);
        let used = self.used();
        let by_volume = self.by_volume(treated);
        let by_age = self.by_age(age);
        let by_load = |end: usize| used.map(|known| known.map(|used| 1.0 - used[end]));
        let unworn = |end: usize| {
            if self.standing.is_spent {
                return (Ok(Known::measured(0.0)), Some(Binding::Breakthrough));
            }
            least(&[
                (by_load(end), Binding::Load),
                (by_volume, Binding::Volume),
                (by_age, Binding::Age),
                (self.evidence.by_drop, Binding::PressureDrop),
                (self.evidence.by_test, Binding::Test),
            ])
        };
        let with_wear = |unworn: (Finding<f64>, Option<Binding>), end: usize| {
            let Some(ways) = ways else { return unworn };
            let worn =
                |used: Finding<[f64; 3]>| used.map(|known| known.map(|used| 1.0 - used[end]));
            least(&[
                (worn(ways.flow.used), Binding::Flow),
                (worn(ways.salt.used), Binding::Salt),
                (unworn.0, unworn.1.unwrap_or(Binding::Age)),
            ])
        };
        let likely = unworn(LIKELY);
        let (left, binding) = with_wear(likely, LIKELY);
        let at = |end: usize| with_wear(unworn(end), end);
        let band = |end: usize| match self.settings.capacity {
            Some(Capacity::Disinfectant(_)) => Err(Lack::NoLife),
            None if self.room().is_none() => ways.map_or(Err(Lack::NoLife), |ways| {
                let worn = ways.flow.used.or(ways.salt.used);
                worn.and_then(|_| at(end).0)
            }),
            Some(Capacity::Ions(_)) | None => used.and_then(|_| at(end).0),
        };
        let capacity = |of: fn(Told) -> f64| match self.standing.told {
            Some(told) => Ok(Known::inferred(of(told))),
            None if self.standing.is_watched && self.is_probed => Err(Lack::TooEarly),
            None => Err(Lack::NoLife),
        };
        let by_test = self.evidence.by_test;
        let left_volume = by_test.or_else(|_| self.left_volume(treated, used));
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
                StageMetric::Capacity => capacity(|told| told.likely),
                StageMetric::CapacityLow => capacity(|told| told.low),
                StageMetric::CapacityHigh => capacity(|told| told.high),
                StageMetric::LeftVolume => left_volume,
                // `take` fills them in, where somebody asks.
                StageMetric::LeftTime
                | StageMetric::LeftTimeLow
                | StageMetric::LeftTimeHigh
                | StageMetric::LeftVolumeLow
                | StageMetric::LeftVolumeHigh => Err(Lack::TooEarly),
                StageMetric::Tds => tds.map(|known| known.map(Tds::mg_per_l)),
                StageMetric::Age => age,
                StageMetric::ContactTime => self.evidence.contact,
            });
        }
        let standing = &self.standing;
        StageFindings {
            findings,
            binding,
            left_unworn: likely.0,
            leaking: standing.is_watched.then_some(standing.leaking),
        }
    }

    /// The water it has treated, on the basis of what tells.
    pub(super) fn treated(&self) -> Finding<Volume> {
        let point = match self.settings.water {
            StageWater::Feed => Point::FeedFlow,
            StageWater::Permeate => Point::PermeateFlow,
        };
        self.basis
            .map(|basis| Known {
                value: self.state.treated,
                basis,
            })
            .ok_or(Lack::NoSensor(point))
    }

    pub(super) fn age_days(&self, now: Now) -> Finding<f64> {
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
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::{
        config::{StageKind, StageSettings},
        core::{Replacement, known::Basis, load::Offered, usage, water::Volumes},
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
            lead_time: None,
            price: None,
            media: None,
            rinse: None,
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
        let now = on_day(day);
        let mut found = stage.find(now, Err(Lack::TooEarly), None);
        let start = usage::start(now, &jiff::tz::TimeZone::UTC);
        found.take(&stage.due(now, None, None, start));
        found.of(metric).ok().map(|known| known.value)
    }

    #[test]
    fn the_limit_that_binds_is_the_one_that_leaves_least() {
        // 1000 L and 100 days; after 10 days 200 L: 80 % by volume, 90 % by age. 20 L a day leave
        // 800 / 20 = 40 days, fewer than the 90 by age. After 50 days: 50 % by age binds.
        let mut stage = stage(Some(1000.0), Some(100));
        stage.treat(on_day(0), &feed(0.0), &mut Offered::default());
        stage.treat(on_day(10), &feed(200.0), &mut Offered::default());
        let found = stage.find(on_day(10), Err(Lack::TooEarly), None);
        assert_eq!(found.binding, Some(Binding::Volume));
        assert_eq!(value(&stage, 10, StageMetric::Left), Some(80.0));
        assert_eq!(value(&stage, 10, StageMetric::LeftTime), Some(40.0));
        assert_eq!(value(&stage, 50, StageMetric::Left), Some(50.0));
        let found = stage.find(on_day(50), Err(Lack::TooEarly), None);
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
        let old = stage.record(on_day(40), None, 7, None);
        stage.refill(on_day(40), &Replacement::default(), 7);
        assert_eq!((old.treated.litres(), old.entry), (300.0, Some(7)));
        assert_eq!(old.installed, Some(Wall(START)));
        // 40 of 100 days leave less than 300 of 1000 L.
        assert_eq!(old.left_pct, Some(60.0));
        assert_eq!(old.binds.as_deref(), Some("age"));
        assert_eq!(stage.state().entry, Some(7));
        assert_eq!(value(&stage, 40, StageMetric::Left), Some(100.0));
        assert_eq!(value(&stage, 40, StageMetric::Treated), Some(0.0));
    }
}
