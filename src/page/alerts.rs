//! What is wrong, what to check first and the caution that fits; the worst first, what another alert
//! explains beneath it.

use maud::{Markup, html};

use super::{frame, unit::Look, words};
use crate::core::{
    Unit,
    alert::{self, Alert, Severity, Subject},
};

/// The alerts that a person should look at now, the worst and oldest first: active, not acknowledged, and
/// not explained by another.
pub(super) fn open(unit: &Unit) -> Vec<&Alert> {
    let mut open: Vec<&Alert> = active(unit)
        .filter(|alert| !alert.care.is_acknowledged() && alert.because.is_none())
        .collect();
    sort(&mut open);
    if open.is_empty() {
        // Whatever explains the others was acknowledged: they still want a look.
        open = active(unit)
            .filter(|alert| !alert.care.is_acknowledged())
            .collect();
        sort(&mut open);
    }
    open
}

fn active(unit: &Unit) -> impl Iterator<Item = &Alert> {
    unit.alerts().iter().filter(|alert| alert.is_active())
}

fn sort(alerts: &mut [&Alert]) {
    alerts.sort_by_key(|alert| {
        let since = alert.since().map_or(i64::MAX, |since| since.0);
        (std::cmp::Reverse(alert.severity()), since)
    });
}

/// What an alert tells, and of what.
pub(super) fn name(look: &Look<'_>, alert: &Alert) -> String {
    let title = alert::title(alert.code);
    match alert.subject {
        Subject::Unit => title.to_owned(),
        Subject::Stage(stage) => format!("{title} ({})", look.stage_name(stage)),
        Subject::Sensor(_) => format!("{title} ({})", alert.subject_id),
    }
}

pub(super) fn section(look: &Look<'_>) -> Markup {
    let mut shown: Vec<&Alert> = active(look.unit)
        .filter(|alert| alert.because.is_none() || cause(look.unit, alert).is_none())
        .collect();
    sort(&mut shown);
    shown.sort_by_key(|alert| alert.care.is_acknowledged());
    if shown.is_empty() {
        return html! {};
    }
    let body = html! {
        @for alert in shown { (article(look, alert)) }
    };
    frame::section("alerts", "What wants a look", &body)
}

fn cause<'a>(unit: &'a Unit, alert: &Alert) -> Option<&'a Alert> {
    let key = alert.because.as_deref()?;
    active(unit).find(|other| other.key() == key)
}

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Critical => "Act now",
        Severity::Warning => "Look within a day",
        Severity::Notice => "Can wait",
    }
}

fn article(look: &Look<'_>, alert: &Alert) -> Markup {
    let is_acknowledged = alert.care.is_acknowledged();
    let explains: Vec<&Alert> = active(look.unit)
        .filter(|other| other.because.as_deref() == Some(&*alert.key()))
        .collect();
    html! {
        article class={
            "alert " (alert.severity().key()) @if is_acknowledged { " acknowledged" }
        } {
            h3 {
                bdi { (name(look, alert)) }
                " " span .severity { (severity(alert.severity())) }
            }
            @if let Some(seen) = alert.told() { p { (seen.sentence) } }
            p { strong { "Check first. " } (alert::check_first(alert.code)) }
            @if let Some(caution) = alert::caution(alert.code) {
                p .caution { strong { "Caution. " } (caution) }
            }
            @if !explains.is_empty() {
                p { strong { "It explains: " }
                    @for (place, other) in explains.iter().enumerate() {
                        @if place > 0 { "; " }
                        (words::within(&name(look, other)))
                        @if let Some(seen) = other.told() { " (" (seen.sentence.trim_end_matches('.')) ")" }
                    }
                    "."
                }
            }
            p .fine { (life(look, alert)) }
        }
    }
}

/// Since when it is active, and what was said to it.
fn life(look: &Look<'_>, alert: &Alert) -> String {
    // Its sentence is of its raising; what the rest of the page tells is of now.
    let of_then = match alert.told() {
        Some(seen) if seen.sentence.contains(|c: char| c.is_ascii_digit()) => {
            "; its figures are of then"
        }
        Some(_) | None => "",
    };
    let since = alert.since().map_or_else(
        || format!("Active; since when is not known, for the clock was not set{of_then}."),
        |since| format!("Since {}{of_then}.", look.moment(since)),
    );
    let acknowledged = alert.care.acknowledged().map(|(at, note)| {
        let at = at.map(|at| format!(" {}", look.moment(at)));
        let note = note.map(|note| format!(": “{note}”"));
        let (at, note) = (at.unwrap_or_default(), note.unwrap_or_default());
        format!(" Acknowledged{at}{note}.")
    });
    let snoozed = alert.care.is_snoozed().then(|| {
        let until = alert.care.snoozed_until();
        until.map_or_else(
            || " Snoozed.".to_owned(),
            |until| format!(" Snoozed until {}.", look.moment(until)),
        )
    });
    [Some(since), acknowledged, snoozed]
        .into_iter()
        .flatten()
        .collect()
}
