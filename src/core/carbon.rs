//! What tests by hand tell of carbon: which vessel lets chlorine through, since when, and what the
//! membrane has been exposed to meanwhile, in ppm·h. No sensor tells any of it. Limits and words are
//! the alerts'.
//!
//! Exposure is the level found times the hours of making water. The level between two tests is not
//! known, so it is reckoned three times: counted from the positive test only, from the middle between the
//! last good test and the positive one, and from the last good test. A new filling of the carbon counts
//! as a good test; where there was none, the time counts from when the program first saw the unit, or
//! from when the element came in, whichever is later. After a positive test its level goes on until a
//! good test or a new filling; between two positive tests the lower, the mean and the higher of both
//! stand. All of it is a sum over the element's life.

mod vessels;

use serde::{Deserialize, Serialize};

use super::hand_test::HandResult;
use crate::time::{Now, Wall};
pub(super) use vessels::Vessels;

/// Least, likely and most.
type Band = [f64; 3];

/// Tests and fillings kept; what is pushed out stays in the sum.
const KEPT: usize = 24;
/// Marks of how many hours had been run on which day: one a week, thinned when there are too many.
const MARKS: usize = 32;
/// More than any water holds, mg/L.
const LARGEST: f64 = 1e6;
const WEEK_MS: i64 = 7 * 86_400_000;

/// A test or a new filling.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Event {
    /// Hours of making water until then.
    hours: f64,
    date: Option<Wall>,
    #[serde(flatten)]
    what: What,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
enum What {
    /// A new filling of the stage.
    Filled { stage: String },
    /// Total chlorine found, mg/L.
    Tested {
        entry: u64,
        value: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<String>,
    },
}

/// What is kept across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CarbonState {
    /// In the order in which they happened.
    events: Vec<Event>,
    /// Exposure by what is no longer among them.
    past: Band,
    /// Hours of making water by the day, to date what is told late.
    marks: Vec<(Wall, f64)>,
    /// Hours of making water when the present element came in.
    pub(super) element_since: f64,
}

/// What an element that was replaced had been exposed to, in case it was not.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FormerExposure {
    past: Band,
    element_since: f64,
}

/// A positive test, or a good one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tested {
    /// Total chlorine, mg/L.
    pub value: f64,
    pub date: Option<Wall>,
}

/// What follows from the tests.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct CarbonFindings {
    /// The newest test behind all carbon, if no new filling came after it.
    pub newest: Option<Tested>,
    /// Whether it is positive: the membrane is exposed.
    pub is_through: bool,
    /// Exposure of the element, ppm·h; none where nothing was ever tested.
    pub exposure: Option<Band>,
    /// The positive test of each spent vessel, by its place in the train.
    pub spent: Vec<(usize, Tested)>,
    /// When the carbon was last tested, or its last vessel filled, if that is known.
    pub looked_after: Option<Wall>,
}

impl CarbonState {
    /// Takes over what the tests by hand are now: new ones come in, withdrawn ones go. `hours` is the time
    /// the unit has made water so far.
    pub(super) fn take(
        &mut self,
        results: &[HandResult],
        now: Now,
        hours: f64,
        vessels: &Vessels,
        limit: f64,
    ) {
        let known = |events: &[Event], entry: u64| {
            let is = |event: &Event| matches!(&event.what, What::Tested { entry: own, .. } if *own == entry);
            events.iter().position(is)
        };
        let oldest = results
            .iter()
            .filter_map(|result| known(&self.events, result.entry))
            .min();
        let mut at = 0;
        self.events.retain(|event| {
            at += 1;
            match &event.what {
                What::Filled { .. } => true,
                What::Tested { entry, .. } => {
                    let is_told = results.iter().any(|result| result.entry == *entry);
                    // Only so many results are kept there: an older one was not withdrawn.
                    is_told || oldest.is_some_and(|oldest| at - 1 < oldest)
                }
            }
        });
        for result in results {
            let what = What::Tested {
                entry: result.entry,
                // A slip of the keyboard must not make sums without end.
                value: result.value.clamp(0.0, LARGEST),
                after: result.after.clone(),
            };
            match known(&self.events, result.entry) {
                Some(at) if (result.date).is_none_or(|date| self.events[at].date == Some(date)) => {
                    self.events[at].what = what;
                }
                // New, or of another day than was told.
                other => {
                    if let Some(at) = other {
                        self.events.remove(at);
                    }
                    self.add(result.date, now, hours, what);
                }
            }
        }
        self.trim(hours, vessels, limit);
    }

    /// A stage was filled anew, on `date` or now.
    pub(super) fn filled(&mut self, stage: &str, date: Option<Wall>, now: Now, hours: f64) {
        let what = What::Filled {
            stage: stage.to_owned(),
        };
        self.add(date.or(now.date()), now, hours, what);
    }

    /// A new element begins without exposure.
    pub(super) fn new_element(
        &mut self,
        date: Option<Wall>,
        now: Now,
        hours: f64,
    ) -> FormerExposure {
        let former = FormerExposure {
            past: self.past,
            element_since: self.element_since,
        };
        self.past = [0.0; 3];
        self.element_since = date.map_or(hours, |date| self.hours_at(date, now, hours));
        former
    }

    /// The element was not replaced after all.
    pub(super) fn old_element(&mut self, former: FormerExposure) {
        self.past = former.past;
        self.element_since = former.element_since;
    }

    /// The stage's last filling was none.
    pub(super) fn unfilled(&mut self, id: &str) {
        let is_it = |event: &Event| matches!(&event.what, What::Filled { stage } if stage == id);
        if let Some(at) = self.events.iter().rposition(is_it) {
            self.events.remove(at);
        }
    }

    /// Whether [`Self::date`] has something to do: cheap enough for every look.
    pub(super) fn wants_date(&self, now: Now) -> bool {
        let due = |today: Wall| {
            let last = self.marks.last();
            last.is_none_or(|last| today < last.0 || today.0 - last.0.0 >= WEEK_MS)
                || self.events.iter().any(|event| event.date.is_none())
        };
        now.date().is_some_and(due)
    }

    /// Marks how many hours were run until today. What was told while the clock was not set is taken to
    /// be of the day on which it is.
    pub(super) fn date(&mut self, now: Now, hours: f64) {
        let Some(today) = now.date() else {
            return;
        };
        for event in &mut self.events {
            event.date.get_or_insert(today);
        }
        // A clock that was put back.
        self.marks.retain(|(date, _)| *date < today);
        if self.marks.len() >= MARKS {
            let mut keep = false;
            self.marks.retain(|_| {
                keep = !keep;
                keep
            });
        }
        self.marks.push((today, hours));
    }

    fn add(&mut self, date: Option<Wall>, now: Now, hours: f64, what: What) {
        let hours = date.map_or(hours, |date| self.hours_at(date, now, hours));
        let is_later = |event: &Event| match (event.date, date) {
            (Some(own), Some(date)) => own > date,
            (None, _) | (_, None) => event.hours > hours,
        };
        let before = self.events.iter().rposition(|event| !is_later(event));
        let at = before.map_or(0, |before| before + 1);
        self.events.insert(at, Event { hours, date, what });
    }

    /// Hours of making water until a day, between the marks around it.
    pub(super) fn hours_at(&self, date: Wall, now: Now, hours: f64) -> f64 {
        let Some(today) = now.date().filter(|today| date < *today) else {
            return hours;
        };
        let at = self.marks.partition_point(|(mark, _)| *mark <= date);
        let Some((from, before)) = at.checked_sub(1).and_then(|at| self.marks.get(at)) else {
            return self.marks.first().map_or(hours, |(_, first)| *first);
        };
        let (to, after) = self.marks.get(at).copied().unwrap_or((today, hours));
        #[allow(clippy::cast_precision_loss)]
        let share = (date.0 - from.0) as f64 / (to.0 - from.0).max(1) as f64;
        before + (after - before) * share.clamp(0.0, 1.0)
    }

    /// Lets go of the oldest; their exposure stays.
    fn trim(&mut self, hours: f64, vessels: &Vessels, limit: f64) {
        while self.events.len() > KEPT {
            let before = self.sum(hours, vessels, limit);
            self.events.remove(0);
            let after = self.sum(hours, vessels, limit);
            for (past, (before, after)) in self.past.iter_mut().zip(before.iter().zip(after)) {
                *past += before - after;
            }
        }
    }

    /// What follows from it all; a test of `limit` mg/L or more is positive.
    pub(super) fn find(&self, hours: f64, vessels: &Vessels, limit: f64) -> CarbonFindings {
        let mut found = CarbonFindings::default();
        let mut was_tested = false;
        let last = vessels.last();
        for event in &self.events {
            match &event.what {
                What::Filled { stage } => {
                    let is = |place: &usize| vessels.is(*place, stage);
                    found.spent.retain(|(place, _)| !is(place));
                    if last.as_ref().is_some_and(is) {
                        found.newest = None;
                        found.looked_after = event.date.or(found.looked_after);
                    }
                }
                What::Tested { value, after, .. } => {
                    let Some(place) = vessels.told_of(after.as_deref()) else {
                        continue;
                    };
                    let test = Tested {
                        value: *value,
                        date: event.date,
                    };
                    found.looked_after = event.date.or(found.looked_after);
                    found.spent.retain(|(own, _)| *own != place);
                    let is_positive = *value >= limit;
                    if is_positive {
                        found.spent.push((place, test));
                    }
                    // Water that is good behind the first vessel is good behind the last.
                    if Some(place) == last || !is_positive {
                        was_tested = true;
                        found.newest = Some(test);
                    }
                }
            }
        }
        found.is_through = found.newest.is_some_and(|test| test.value >= limit);
        found.exposure = (was_tested || self.past != [0.0; 3]).then(|| {
            let sum = self.sum(hours, vessels, limit);
            [0, 1, 2].map(|end| (self.past[end] + sum[end]).max(0.0))
        });
        found
    }

    /// Exposure of the element by the events that are kept.
    fn sum(&self, hours: f64, vessels: &Vessels, limit: f64) -> Band {
        let mut sum = [0.0; 3];
        let span = |from: f64, to: f64| {
            (to.max(self.element_since) - from.max(self.element_since)).max(0.0)
        };
        let mut add = |levels: Band, from: Band, to: f64| {
            for end in 0..3 {
                sum[end] += levels[end] * span(from[end], to);
            }
        };
        // Hours of the last test or filling, and the level if it was positive.
        let (mut since, mut leaking) = (0.0, None::<f64>);
        for event in &self.events {
            let level = match &event.what {
                What::Filled { stage } => vessels
                    .last()
                    .is_some_and(|last| vessels.is(last, stage))
                    .then_some(None),
                What::Tested { value, after, .. } => {
                    let place = vessels.told_of(after.as_deref());
                    let is_positive = *value >= limit;
                    let counts = place.is_some() && (place == vessels.last() || !is_positive);
                    counts.then_some(is_positive.then_some(*value))
                }
            };
            let Some(level) = level else { continue };
            let at = event.hours;
            match (leaking, level) {
                (None, Some(found)) => {
                    let middle = f64::midpoint(since, at);
                    add([found; 3], [at, middle, since], at);
                }
                (Some(before), Some(found)) => {
                    let middle = f64::midpoint(before, found);
                    add(
                        [before.min(found), middle, before.max(found)],
                        [since; 3],
                        at,
                    );
                }
                (Some(before), None) => add([before; 3], [since; 3], at),
                (None, None) => {}
            }
            (since, leaking) = (at, level);
        }
        if let Some(level) = leaking {
            add([level; 3], [since; 3], hours);
        }
        sum
    }
}

#[cfg(test)]
mod tests;
