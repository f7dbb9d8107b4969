//! The alerts that were active in the period: raised and cleared when, and what they said.

use maud::{Markup, html};

use super::{
    facts::Facts,
    parts::{count, head, nothing, section, table, text, when},
    recorded::hours_between,
    units::hours,
};
use crate::{
    core::alert::{self, Ending},
    past::PastAlert,
    time::Wall,
};

/// The section.
#[must_use]
pub fn alerts(facts: &Facts) -> Markup {
    let alerts = facts.alerts();
    if alerts.is_empty() {
        let content = html! { p { "No alert was active in this period." } };
        return section("alerts", TITLE, &content);
    }
    let rows = alerts.iter().map(|alert| row(facts, alert)).collect();
    let titles = head(["Alert", "Raised", "Cleared", "Lasted", "What it said"]);
    let content = html! {
        (super::pictures::alerts(facts, &alerts))
        (table(&count(alerts.len(), "alert", "alerts"), 3..4, &titles, rows, None))
    };
    section("alerts", TITLE, &content)
}

const TITLE: &str = "Alerts";

/// When it was over; none while it lasts.
#[must_use]
pub fn ended(alert: &PastAlert) -> Option<Wall> {
    alert.end.and_then(|end| end.at)
}

/// What it is called: its title and what it is about.
#[must_use]
pub fn name(alert: &PastAlert) -> String {
    let title = alert::title(alert.code);
    alert
        .about
        .as_ref()
        .map_or_else(|| title.to_owned(), |about| format!("{title}: {about}"))
}

fn row(facts: &Facts, alert: &PastAlert) -> Vec<Markup> {
    let moment = |at: Option<Wall>| at.map_or_else(nothing, |at| when(facts.owner.moment(at)));
    let over = match alert.end {
        None => text("still active"),
        Some(end) => html! {
            (end.at.map_or_else(|| text("unknown"), |at| when(facts.owner.moment(at))))
            @match end.how {
                Ending::Cleared => {},
                Ending::NoLongerWatched => { br; span.small { "no longer watched" } },
            }
        },
    };
    let until = if alert.end.is_some() {
        ended(alert)
    } else {
        Some(facts.material.now.wall)
    };
    let lasted = (alert.raised.zip(until)).map_or_else(nothing, |(raised, until)| {
        text(hours(hours_between(raised, until)))
    });
    vec![
        html! { (name(alert)) br; span.small { (alert.severity.key()) } },
        moment(alert.raised),
        over,
        lasted,
        html! {
            (alert.sentence)
            @if alert.times > 1 { " " span.small { "Raised " (alert.times) " times." } }
            @if let Some(acknowledged) = &alert.acknowledged {
                " " span.small { "Acknowledged" @if let Some(note) = &acknowledged.note { ": " (note) } "." }
            }
        },
    ]
}
