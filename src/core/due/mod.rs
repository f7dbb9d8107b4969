//! When a stage falls due, and the reason in words: what is left of it over the use to be expected, or
//! its age, or the membrane's wear.

mod calendar;
#[cfg(test)]
mod tests;
mod words;

pub use calendar::{DueDates, Task};
pub(super) use calendar::{dates, lead_days};
pub(super) use words::due_text;

use super::{
    known::{Basis, Finding, Known, Lack},
    left::{Binding, StageFindings},
    load::{Ends, LEAST, LIKELY, MOST},
    membrane::{Way, Ways},
    stage::Stage,
    usage::{FARTHEST, Rate, Span, Start},
};
use crate::time::{Now, SECONDS_PER_DAY, Wall};

/// The use of the first days is not judged on less than this.
const LEAST_DAYS_OF_USE: f64 = 3.0;
/// A spent stage with more left than this was replaced, or was never spent.
const NOT_SPENT: f64 = 0.02;

/// When a stage falls due.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// Days from now; infinite where it is not in sight.
    pub days: Finding<Span>,
    /// The limit that is reached first.
    pub binding: Option<Binding>,
    /// Litres that a stage reckoned in ions can still treat: least, likely, most.
    pub(super) litres: Finding<Ends>,
    /// The use until then, L/day, where it goes by that.
    per_day: Option<f64>,
}

impl Due {
    /// A number of days, if it is in sight.
    pub(super) fn seen(&self, which: fn(Span) -> f64) -> Finding<f64> {
        let days = self.days?.map(which);
        if days.value <= FARTHEST {
            Ok(days)
        } else {
            Err(Lack::NotInSight)
        }
    }

    /// The days to reckon with when something has to be there in time: the low end of the band, for a
    /// stage that is spent too soon costs more than one ordered too soon; but no less than half the
    /// likely days, or a stage of which little is known would be ordered a year ahead.
    #[must_use]
    pub fn safe_days(&self) -> Option<f64> {
        let days = self.days.ok()?.value;
        Some(days.low.max(days.likely / 2.0))
    }
}

/// What the days are counted from.
type Limit = (Finding<Span>, Binding);

impl Stage {
    /// When it falls due. `rate` is the use of its water to be expected; without it, that since the
    /// stage was first seen.
    pub(super) fn due(
        &self,
        now: Now,
        ways: Option<&Ways>,
        rate: Option<&Rate>,
        start: Option<Start>,
    ) -> Due {
        let first = rate.is_none().then(|| self.first_use(now));
        let rate = match &first {
            None => rate.ok_or(Lack::TooEarly),
            Some(found) => found.as_ref().map_err(|lack| *lack),
        };
        let by_use = |litres: Finding<Ends>| {
            let litres = litres?;
            if litres.value[LIKELY] <= 0.0 && rate.is_err() {
                return Ok(litres.map(|_| Span::OVER));
            }
            let (rate, start) = (rate?, start.ok_or(Lack::NoDate)?);
            Ok(litres
                .map(|litres| rate.span(litres, start))
                .at_best(Basis::Inferred))
        };
        let by_load = self.litres_by_load();
        let by_volume = match self.settings.life_volume {
            Some(_) => self.left_volume(self.treated(), Err(Lack::NoLife)),
            None => Err(Lack::NoLife),
        };
        let by_volume = by_volume.map(|known| known.map(|litres| [litres; 3]));
        let worn = |way: fn(&Ways) -> &Way| ways.map_or(Err(Lack::NoLife), |ways| way(ways).days);
        let limits = [
            (by_use(by_load), Binding::Load),
            (by_use(by_volume), Binding::Volume),
            (self.days_by_age(now), Binding::Age),
            (worn(|ways| &ways.flow), Binding::Flow),
            (worn(|ways| &ways.salt), Binding::Salt),
        ];
        let (days, binding) = match self.seen_spent() {
            Some(binding) => (Ok(Known::measured(Span::OVER)), Some(binding)),
            None => first_of(&limits),
        };
        let litres = match binding {
            Some(Binding::Load) => by_load.ok(),
            Some(Binding::Volume) => by_volume.ok(),
            Some(
                Binding::Age
                | Binding::Breakthrough
                | Binding::Flow
                | Binding::PressureDrop
                | Binding::Salt
                | Binding::Test,
            )
            | None => None,
        };
        let per_day = litres.zip(days.ok()).and_then(|(litres, days)| {
            let (litres, days) = (litres.value[LIKELY], days.value.likely);
            (litres > 0.0 && days.is_finite()).then(|| litres / days)
        });
        Due {
            days,
            binding,
            litres: self.room().ok_or(Lack::NoLife).and(by_load),
            per_day,
        }
    }

    /// What shows that it is spent, whatever was reckoned; nothing foresees these.
    fn seen_spent(&self) -> Option<Binding> {
        let is_gone = |left: Finding<f64>| left.is_ok_and(|left| left.value <= 0.0);
        if self.standing.is_spent {
            Some(Binding::Breakthrough)
        } else if is_gone(self.evidence.by_test) {
            Some(Binding::Test)
        } else if is_gone(self.evidence.by_drop) {
            Some(Binding::PressureDrop)
        } else {
            None
        }
    }

    /// Litres left by the load, in each reckoning.
    fn litres_by_load(&self) -> Finding<Ends> {
        let used = self.used();
        let left = |end: usize| {
            let alike = used.map(|known| known.map(|used| [used[end]; 3]));
            self.left_volume(Err(Lack::NoLife), alike)
        };
        let (least, likely, most) = (left(MOST)?, left(LIKELY)?, left(LEAST)?);
        Ok(likely.map(|likely| {
            let (least, most) = (least.value.min(likely), most.value.max(likely));
            [least, likely, most]
        }))
    }

    fn days_by_age(&self, now: Now) -> Finding<Span> {
        let life = self.settings.life_time.ok_or(Lack::NoLife)?;
        let left = |age: f64| (life.as_secs_f64() / SECONDS_PER_DAY - age).max(0.0);
        Ok(self.age_days(now)?.map(|age| Span {
            low: left(age),
            likely: left(age),
            high: left(age),
        }))
    }

    /// The use of the first days, from when the stage was first seen.
    fn first_use(&self, now: Now) -> Result<Rate, Lack> {
        let seen = self.state.seen.ok_or(Lack::NoDate)?;
        let days = now.wall.since(seen).ok_or(Lack::NoDate)?.as_secs_f64() / SECONDS_PER_DAY;
        let per_day = self.state.treated.litres() / days;
        if days < LEAST_DAYS_OF_USE || per_day <= 0.0 {
            return Err(Lack::TooEarly);
        }
        Ok(Rate::even(per_day, days))
    }

    /// When it was spent by age, if that is over.
    fn life_ended(&self) -> Option<Wall> {
        let life = i64::try_from(self.settings.life_time?.as_millis()).ok()?;
        let from = self.state.installed.or(self.state.seen)?;
        from.0.checked_add(life).map(Wall)
    }

    /// Whether it is spent, which was not noted yet.
    fn is_newly_spent(&self, now: Now, found: &StageFindings) -> bool {
        self.state.spent.is_none()
            && found.left_unworn.is_ok_and(|left| left.value <= 0.0)
            && now.date().is_some()
    }

    /// Notes since when nothing is left of it. Returns whether that changed.
    fn note_spent(&mut self, now: Now, found: &StageFindings) -> bool {
        let (Ok(left), Some(date)) = (found.left_unworn, now.date()) else {
            return false;
        };
        let before = self.state.spent;
        if left.value <= 0.0 {
            let ended = self.life_ended().filter(|ended| ended.0 < date.0);
            self.state.spent = before.or(ended).or(Some(date));
        } else if left.value > NOT_SPENT {
            self.state.spent = None;
        }
        self.state.spent != before
    }
}

/// The limit reached first; its band is that of whichever comes first.
fn first_of(limits: &[Limit]) -> (Finding<Span>, Option<Binding>) {
    let known = limits
        .iter()
        .filter_map(|(days, binding)| Some((days.ok()?, *binding)))
        .reduce(|best, next| {
            let (first, other) = if next.0.value.likely < best.0.value.likely {
                (next, best)
            } else {
                (best, next)
            };
            let days = first.0.map(|days| Span {
                low: days.low.min(other.0.value.low),
                likely: days.likely,
                high: days.high.min(other.0.value.high),
            });
            (days, first.1)
        });
    if let Some((days, binding)) = known {
        let in_sight = days.value.likely.is_finite();
        return (Ok(days), in_sight.then_some(binding));
    }
    let mut lacks = limits.iter().filter_map(|(days, _)| days.err());
    let lack = lacks.find(|lack| *lack != Lack::NoLife);
    (Err(lack.unwrap_or(Lack::NoLife)), None)
}
