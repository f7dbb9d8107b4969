//! The days of the calendar on which stages fall due, and what to order with the next order.

use std::{borrow::Cow, time::Duration};

use jiff::civil::Date;

use super::{Due, words::due_text};
use crate::{
    config::{StageKind, UnitSettings},
    core::{
        Keep, Volumes,
        left::StageFindings,
        membrane::Ways,
        stage::Stage,
        unit::Unit,
        usage::{self, FARTHEST},
    },
    metrics::Metric,
    quantity::Volume,
    time::{Now, SECONDS_PER_DAY},
};

/// How often it is worked out: days do not run faster.
const SELDOM: Duration = Duration::from_secs(60);

/// The owner's days on which something falls due; `None` beyond the years anybody plans for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DueDates {
    /// At the earliest.
    pub earliest: Option<Date>,
    /// The likely day.
    pub likely: Option<Date>,
    /// At the latest.
    pub latest: Option<Date>,
    /// The day to order on, so that a new one is there in time; a past one tells that it is late.
    pub order_by: Option<Date>,
}

/// Something that has to be done on a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Index of the stage.
    pub stage: usize,
    /// When.
    pub dates: DueDates,
    /// Days until the likely day.
    pub days: Option<f64>,
    /// Whether it is to be ordered with the next order.
    pub order_now: bool,
    /// The reason in words.
    pub why: String,
}

impl Unit {
    /// Follows the calendar.
    pub(in crate::core) fn follow_days(&mut self, now: Now) {
        let zone = &self.settings.time_zone;
        if self.usage.look(now, &self.totals, zone) {
            self.dues_at = None;
            self.found_at = None;
            self.keep = self.keep.max(Keep::Soon);
        }
    }

    /// Where nothing can ever be taught of the element, that is the reason, not that it is early.
    pub(in crate::core) fn rule_out_wear(&mut self) {
        let flow = self.never(Metric::NormalizedFlowOfBaseline);
        let salt = self.never(Metric::SaltPassageOfBaseline);
        self.taught.ways = self.taught.ways.or_never(flow, salt);
    }

    /// Works out when the stages fall due, once a minute, and when one is spent: what is said of it must
    /// not still foresee that.
    pub(in crate::core) fn find_dues(&mut self, now: Now, found: &[StageFindings]) {
        let is_young = |at| now.mono.since(at) < SELDOM;
        let is_current = self.dues_at.is_some_and(is_young) && self.dues.len() == self.stages.len();
        let mut stages = self.stages.iter().zip(found);
        if is_current && !stages.any(|(stage, found)| stage.is_newly_spent(now, found)) {
            return;
        }
        self.dues_at = Some(now.mono);
        for (stage, found) in self.stages.iter_mut().zip(found) {
            if stage.note_spent(now, found) {
                self.keep = self.keep.max(Keep::Soon);
            }
        }
        self.dues = self.look_ahead(now);
    }

    /// When each stage falls due, in the order of the train, as of the last minute.
    #[must_use]
    pub fn dues(&self, now: Now) -> Cow<'_, [Due]> {
        if self.dues.len() == self.stages.len() {
            Cow::Borrowed(&self.dues)
        } else {
            Cow::Owned(self.look_ahead(now))
        }
    }

    fn look_ahead(&self, now: Now) -> Vec<Due> {
        let start = usage::start(now, &self.settings.time_zone);
        let due = |stage: &Stage| {
            let ways = self.ways_of(stage);
            let rate = self.usage.rate(stage.settings().water);
            stage.due(now, ways.as_ref(), rate, start)
        };
        self.stages.iter().map(due).collect()
    }

    /// How far the element is on its way to its limits, of a membrane stage whose element has a rating.
    pub(in crate::core) fn ways_of(&self, stage: &Stage) -> Option<Ways> {
        let worn = stage.settings().kind == StageKind::Membrane && self.settings.membrane.is_some();
        worn.then_some(self.taught.ways)
    }

    /// The days on which a stage falls due, and on which to order.
    #[must_use]
    pub fn due_dates(&self, now: Now, index: usize, due: &Due) -> DueDates {
        let stage = self.stages.get(index);
        stage.map_or_else(DueDates::default, |stage| {
            dates(&self.settings, now, stage, index, due)
        })
    }

    /// Why a stage falls due then, in words; `None` when it is not in sight.
    #[must_use]
    pub fn due_text(&self, now: Now, index: usize, due: &Due) -> Option<String> {
        let dates = self.due_dates(now, index, due);
        let today = now.wall.day_in(&self.settings.time_zone);
        due_text(
            self.stages.get(index)?,
            due,
            &dates,
            &self.taught.ways,
            today,
            self.settings.display,
        )
    }

    /// What falls due, the first first: what is not in sight is left out.
    #[must_use]
    pub fn tasks(&self, now: Now) -> Vec<Task> {
        let ahead = self.settings.order_ahead.as_secs_f64() / SECONDS_PER_DAY;
        let dues = self.dues(now);
        let mut tasks: Vec<Task> = dues
            .iter()
            .enumerate()
            .filter_map(|(stage, due)| {
                let lead = lead_days(&self.settings, stage);
                Some(Task {
                    stage,
                    dates: self.due_dates(now, stage, due),
                    days: due.seen(|days| days.likely).ok().map(|days| days.value),
                    order_now: due.safe_days().is_some_and(|days| days - lead <= ahead),
                    why: self.due_text(now, stage, due)?,
                })
            })
            .collect();
        let days = |task: &Task| task.days.unwrap_or(f64::INFINITY);
        tasks.sort_by(|one, other| days(one).total_cmp(&days(other)));
        tasks
    }

    /// Litres since the owner's day began, as far as the clock was set; `None` before it was.
    #[must_use]
    pub fn used_today(&self) -> Option<Volumes> {
        self.usage.today(&self.totals)
    }

    /// Litres since the owner's month began, as far as the clock was set; `None` before it was.
    #[must_use]
    pub fn used_this_month(&self) -> Option<Volumes> {
        self.usage.month_so_far(&self.totals)
    }

    /// Litres of feed and permeate that no day of use could be found for: their day was not seen
    /// whole. The forecast leaves them out.
    #[must_use]
    pub fn use_left_out(&self) -> [Volume; 2] {
        self.usage.left_out()
    }
}

/// The days on which a stage falls due. A spent one fell due when it was spent.
pub(in crate::core) fn dates(
    settings: &UnitSettings,
    now: Now,
    stage: &Stage,
    index: usize,
    due: &Due,
) -> DueDates {
    let zone = &settings.time_zone;
    let Ok(days) = due.days else {
        return DueDates::default();
    };
    let spent = stage.state().spent.and_then(|spent| spent.day_in(zone));
    let on = |days: f64| {
        let day = (days <= FARTHEST).then(|| usage::day_ahead(now, days, zone))?;
        day.map(|day| {
            if days <= 0.0 {
                spent.unwrap_or(day)
            } else {
                day
            }
        })
    };
    let lead = lead_days(settings, index);
    let order_by = due.safe_days().filter(|days| *days <= FARTHEST);
    DueDates {
        earliest: on(days.value.low),
        likely: on(days.value.likely),
        latest: on(days.value.high),
        order_by: order_by.and_then(|days| usage::day_ahead(now, days - lead, zone)),
    }
}

/// Days that an order of a stage takes.
pub(in crate::core) fn lead_days(settings: &UnitSettings, index: usize) -> f64 {
    let own = settings.stages.get(index).and_then(|stage| stage.lead_time);
    own.map_or(settings.alerts.stage_low_days, |lead| {
        lead.as_secs_f64() / SECONDS_PER_DAY
    })
}
