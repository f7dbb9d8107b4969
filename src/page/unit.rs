//! A unit's page: the sentence that says how it is, and in which order the rest is told.

use maud::{Markup, html};

use super::{
    Snapshot, View, alerts, costs, due, frame, frame::Masthead, graphs, log, membrane, runs,
    sensors, train, words,
};
use crate::{
    config::UnitSettings,
    core::{
        RunState, StageFindings, Task, Unit, Values,
        alert::{Alert, Condition, Severity},
    },
    metrics::{Metric, StageMetric},
    past::Past,
    time::{Now, Wall},
};

/// What falls due later than this is no news.
const SOON_DAYS: f64 = 90.0;

/// A unit at one moment, looked at once for all parts of the page.
pub(super) struct Look<'a> {
    pub unit: &'a Unit,
    pub settings: &'a UnitSettings,
    pub now: Now,
    pub values: Values,
    pub stages: Vec<StageFindings>,
    pub tasks: Vec<Task>,
}

impl<'a> Look<'a> {
    pub fn at(unit: &'a Unit, now: Now) -> Self {
        Self {
            unit,
            settings: unit.settings(),
            now,
            values: unit.values(now),
            stages: unit.stage_findings(now),
            tasks: unit.tasks(now),
        }
    }

    /// A moment by the owner's clock.
    pub fn moment(&self, at: Wall) -> String {
        words::moment(at, self.now.date(), &self.settings.time_zone)
    }

    /// What the configuration calls a stage.
    pub fn stage_name(&self, index: usize) -> &'a str {
        let stage = self.settings.stages.get(index);
        stage.map_or("a stage", |stage| stage.name.as_str())
    }

    /// Whether this configuration can give it at all.
    pub fn can_give(&self, metric: Metric) -> bool {
        self.unit.possible().contains(&metric)
    }
}

pub(super) fn page(
    snapshot: &Snapshot,
    unit: &Unit,
    view: &View,
    past: Option<Result<&Past, &str>>,
) -> Markup {
    let look = Look::at(unit, snapshot.now);
    let settings = look.settings;
    let headline = headline(&look);
    let title = format!("{} – {headline}", settings.name);
    let top = Masthead {
        moment: (snapshot.now.date()).and_then(|now| words::long_moment(now, &settings.time_zone)),
        list: (snapshot.units.len() > 1).then(|| view.list()),
        name: &settings.name,
    };
    let troubles = frame::troubles(snapshot, &settings.time_zone);
    let body = html! {
        div .lead {
            h1 .headline { bdi { (headline) } }
            @for sentence in standing(&look) { p { (sentence) } }
            @for trouble in &troubles { p .trouble { (trouble) } }
        }
        (alerts::section(&look))
        (train::section(&look))
        (due::section(&look))
        (membrane::section(&look))
        @match past {
            Some(Ok(past)) => {
                (graphs::section(&look, view, past))
                (runs::section(&look, past))
                (log::section(&look, past))
            }
            Some(Err(why)) => { (unreadable(why)) }
            None => {}
        }
        (costs::section(&look))
        (sensors::section(&look))
    };
    frame::document(view, &title, &top, &body)
}

fn unreadable(why: &str) -> Markup {
    let body = html! {
        p { "What is kept of the past cannot be read now: " (why) "." }
    };
    frame::section("over-time", "Over time", &body)
}

/// How the unit is, in one sentence.
pub(super) fn headline(look: &Look<'_>) -> String {
    let open = alerts::open(look.unit);
    let (first, more) = (open.first(), open.len().saturating_sub(1));
    let more = match more {
        0 => String::new(),
        1 => ", and one thing more".to_owned(),
        more => format!(", and {more} things more"),
    };
    let named = |alert: &Alert| words::within(&alerts::name(look, alert));
    match (look.unit.condition(look.now), first) {
        (Condition::NoData, _) => "Nothing is heard of this unit".to_owned(),
        (Condition::Act, Some(alert)) => format!("Act now: {}{more}", named(alert)),
        (Condition::Attention, Some(alert)) if alert.severity() > Severity::Notice => {
            format!("Wants a look: {}{more}", named(alert))
        }
        (Condition::Attention, Some(alert)) => {
            format!("{}; to note: {}{more}", working(look), named(alert))
        }
        (Condition::Ok | Condition::Attention | Condition::Act, _) => {
            format!("{}; {}", working(look), next_due(look))
        }
    }
}

/// What can be said of its work while nothing is wrong.
fn working(look: &Look<'_>) -> &'static str {
    let is_judged = [Metric::Rejection, Metric::ProductTds, Metric::PermeateTds]
        .iter()
        .any(|metric| look.values.of(*metric).is_ok());
    match look.unit.run_state() {
        _ if is_judged => "Works well",
        RunState::Settling | RunState::Producing | RunState::Flushing => "Makes water",
        RunState::Standby => "Stands by",
        RunState::Unknown => "Is heard",
    }
}

fn next_due(look: &Look<'_>) -> String {
    let next = look.tasks.iter().find(|task| task.days.is_some());
    match next.and_then(|task| Some((task, task.days?))) {
        None => "nothing is known to fall due".to_owned(),
        Some((task, days)) if days <= 0.0 => {
            format!("{} is due", look.stage_name(task.stage))
        }
        Some((task, days)) if days <= SOON_DAYS => format!(
            "{} due in about {}",
            look.stage_name(task.stage),
            words::days_ahead(days)
        ),
        Some((_, days)) => format!("nothing due for about {}", words::days_ahead(days)),
    }
}

/// What it does now, and what the last run gave.
fn standing(look: &Look<'_>) -> Vec<String> {
    let now = match (look.unit.run_state(), look.unit.open_run(look.now)) {
        (RunState::Unknown, _) => "Nothing tells yet what it does.".to_owned(),
        (RunState::Standby, _) => "It stands by.".to_owned(),
        (state, open) => {
            let doing = match state {
                RunState::Settling => {
                    "It makes water; the salt that crept in while it stood is being washed out"
                }
                RunState::Producing => "It makes water",
                RunState::Flushing => "It flushes the membrane",
                RunState::Standby | RunState::Unknown => "It works",
            };
            match open {
                Some((Some(started), seconds)) => format!(
                    "{doing}, for {} now (since {}).",
                    words::length(seconds),
                    look.moment(started)
                ),
                Some((None, seconds)) => format!("{doing}, for {} now.", words::length(seconds)),
                None => format!("{doing}."),
            }
        }
    };
    let last = look.unit.last_run().map(|run| runs::sentence(look, run));
    let unheard = (!look.unit.is_heard(look.now.mono)).then(|| {
        let heard = look.unit.train().sensors().iter();
        let newest = heard.filter_map(crate::core::Sensor::heard_at).max();
        newest.map_or_else(
            || {
                "No sensor was heard since the service started. Check that the boards send to the broker, and the \
                 topics in the configuration (permeated check)."
                    .to_owned()
            },
            |at| {
                let ago = words::length(look.now.mono.since(at).as_secs_f64());
                format!("The last sensor was heard {ago} ago. Check the boards' power and network.")
            },
        )
    });
    unheard
        .into_iter()
        .chain([match last {
            Some(last) => format!("{now} {last}"),
            None => now,
        }])
        .collect()
}

/// What is left of a stage, in per cent, if it is known.
pub(super) fn left(found: &StageFindings, metric: StageMetric) -> Option<f64> {
    found.of(metric).ok().map(|known| known.value)
}
