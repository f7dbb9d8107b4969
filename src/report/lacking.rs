//! When nothing was measured, and how much that is.

use maud::{Markup, html};

use super::{
    facts::Facts,
    parts::{count, head, section, table, text},
    recorded::{Gap, hours_between},
    units::{figure, hours},
    water::share,
};

/// So many of the longest gaps are listed.
const LISTED: usize = 20;
/// A gap that is so much shorter than the time it lies in was within it somewhere, hours.
const CLEAR: f64 = 0.1;

/// The section.
#[must_use]
pub fn lacking(facts: &Facts) -> Markup {
    let (all, measured) = facts.hours();
    let gaps = facts.gaps();
    let interrupted = facts.runs.iter().filter(|run| run.interrupted).count();
    let mut longest: Vec<&Gap> = gaps.iter().collect();
    longest.sort_by(|one, other| other.hours.total_cmp(&one.hours));
    longest.truncate(LISTED);
    longest.sort_by_key(|gap| gap.from);
    let rows: Vec<Vec<Markup>> = longest.iter().map(|gap| row(facts, gap)).collect();
    let lack = (all - measured).max(0.0);
    let content = html! {
        p {
            "Of " (hours(all)) " " (figure(measured, &hours(measured))) " were measured (" (share(measured, all))
            "); of " (figure(lack, &hours(lack))) " nothing is known (" (share(lack, all)) ")."
            " A meter that counts makes up for the litres of such a time, nothing for the quality."
            @if interrupted > 0 {
                " " (count(interrupted, "run was", "runs were")) " cut short by a stop of the service or of the sensors."
            }
        }
        @if !rows.is_empty() {
            (super::pictures::gaps(facts, &gaps))
            (table(&listed(gaps.len()), 1..2, &head(["When", "How long", "Why"]), rows, None))
        }
        (unread(facts))
    };
    section("gaps", "Data gaps", &content)
}

fn listed(number: usize) -> String {
    if number > LISTED {
        format!("The {LISTED} longest of {number} gaps")
    } else {
        count(number, "gap", "gaps")
    }
}

fn row(facts: &Facts, gap: &Gap) -> Vec<Markup> {
    let (from, to) = (facts.owner.moment(gap.from), facts.owner.moment(gap.to));
    let is_within = hours_between(gap.from, gap.to) - gap.hours > CLEAR;
    let when = if is_within {
        format!("within {from} to {to}")
    } else {
        format!("{from} to {to}")
    };
    let why = if gap.silent {
        "no sensor was heard"
    } else {
        "the service did not run, or kept nothing"
    };
    vec![text(when), figure(gap.hours, &hours(gap.hours)), text(why)]
}

/// Rows of the store that could not be read are said, not passed over.
fn unread(facts: &Facts) -> Markup {
    let unread = &facts.material.past.unread;
    html! {
        @if !unread.is_empty() {
            p { (count(unread.len(), "row", "rows")) " of the store could not be read and is left out. The first: " (unread[0]) "." }
        }
    }
}
