//! What falls due, when, within which band and why; what belongs into the next order.

use jiff::civil::Date;
use maud::{Markup, html};

use super::{frame, unit::Look, words};
use crate::{
    core::{StageFindings, Task},
    metrics::StageMetric,
};

/// The picture looks no farther than this, days.
const FARTHEST: f64 = 730.0;
/// And no less far.
const NEAREST: f64 = 30.0;

pub(super) fn section(look: &Look<'_>) -> Markup {
    if look.settings.stages.is_empty() {
        return html! {};
    }
    let today = look.now.wall.day_in(&look.settings.time_zone);
    let day = |date: Date| words::day(date, today);
    let order: Vec<&str> = (look.tasks.iter())
        .filter(|task| task.order_now)
        .map(|task| look.stage_name(task.stage))
        .collect();
    let scale = scale(look);
    let body = html! {
        @if look.tasks.is_empty() {
            p { (nothing(look)) }
        } @else {
            @if order.is_empty() {
                p { "Nothing needs to be ordered now." }
            } @else {
                p .order { strong { "Order now: " } bdi { (order.join(" · ")) } "." }
            }
            (frame::table("What falls due", &html! {
                thead { tr {
                    th scope="col" { "Stage" }
                    th scope="col" { "Due" }
                    th scope="col" .ahead { "The next " (words::days_ahead(scale)) }
                    th scope="col" { "Order by" }
                } }
                tbody {
                    @for task in &look.tasks { (row(look, task, scale, &day)) }
                }
            }))
        }
        (advice(look))
    };
    frame::section("due", "What falls due", &body)
}

fn nothing(look: &Look<'_>) -> &'static str {
    if look.now.date().is_none() {
        "What falls due waits for a clock that is set."
    } else {
        "Nothing is known to fall due: no stage has a life configured, or none is in sight yet."
    }
}

fn row(look: &Look<'_>, task: &Task, scale: f64, day: &dyn Fn(Date) -> String) -> Markup {
    let dates = &task.dates;
    let over = task.days.is_some_and(|days| days <= 0.0);
    html! {
        tr {
            th scope="row" { bdi { (look.stage_name(task.stage)) } }
            td {
                @match dates.likely {
                    Some(likely) => {
                        span .date { (day(likely)) }
                        @if over { span .over { " over" } }
                    }
                    None => { "not in sight" }
                }
            }
            td .ahead { @if let Some(found) = look.stages.get(task.stage) { (bar(found, task, scale)) } }
            td { @if let Some(by) = dates.order_by { (day(by)) } @else { "–" } }
        }
        tr .why { td colspan="4" { (words::capital(&task.why)) "." } }
    }
}

/// How far the picture looks: to the last likely day, and a little farther.
fn scale(look: &Look<'_>) -> f64 {
    let likely = look.tasks.iter().filter_map(|task| task.days);
    (1.25 * likely.fold(0.0, f64::max)).clamp(NEAREST, FARTHEST)
}

/// The days from today within which a stage falls due, and the likely one.
fn bar(found: &StageFindings, task: &Task, scale: f64) -> Markup {
    const WIDTH: f64 = 200.0;
    let days = |metric: StageMetric| found.of(metric).ok().map(|known| known.value);
    let at = |days: f64| (WIDTH * days / scale).clamp(0.0, WIDTH);
    let likely = task.days.unwrap_or(scale);
    let least = days(StageMetric::LeftTimeLow).unwrap_or(likely);
    let most = days(StageMetric::LeftTimeHigh).unwrap_or(scale);
    let told = format!(
        "in {} to {} days, likely {}",
        least.round(),
        most.round(),
        likely.round()
    );
    html! {
        svg .days viewBox="0 0 200 16" preserveAspectRatio="none" role="img" aria-label=(told) {
            line .axis x1="0" y1="8" x2="200" y2="8" {}
            rect .band x=(format!("{:.1}", at(least))) y="3"
                width=(format!("{:.1}", (at(most) - at(least)).max(1.0))) height="10" {}
            rect .likely x=(format!("{:.1}", (at(likely) - 1.0).max(0.0))) y="1" width="2.5" height="14" {}
        }
    }
}

/// What tests and gauges say of the stages.
fn advice(look: &Look<'_>) -> Markup {
    let notes: Vec<(&str, String)> = (look.unit.stages().iter())
        .flat_map(|stage| {
            let name = stage.settings().name.as_str();
            let notes = look.unit.stage_notes(stage).into_iter();
            let advice = stage.advice().to_vec();
            notes.chain(advice).map(move |note| (name, note))
        })
        .collect();
    html! {
        @if !notes.is_empty() {
            ul .notes {
                @for (name, note) in notes { li { bdi { (name) } ": " (note) } }
            }
        }
    }
}
