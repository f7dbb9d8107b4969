//! What the keeper did and tested by hand, as the maintenance log holds now: corrections are taken in,
//! what was withdrawn stands struck out.

use maud::{Markup, html};

use super::{
    facts::Facts,
    parts::{head, nothing, section, table, text, when},
};
use crate::core::{Deed, Entry, Holding};

/// The section.
#[must_use]
pub fn upkeep(facts: &Facts) -> Markup {
    let log = facts.log();
    let rows: Vec<Vec<Markup>> = log.iter().map(|held| entry(facts, held)).collect();
    let tests: Vec<Vec<Markup>> = log.iter().filter_map(|held| test(facts, held)).collect();
    let content = html! {
        @if rows.is_empty() {
            p { "Nothing was told to the maintenance log in this period." }
        } @else {
            (table("Maintenance log", 4..5, &head(["No.", "Date", "What", "Lot", "Price", "Note"]), rows, None))
        }
        @if !tests.is_empty() {
            (table("Tests by hand", 2..3, &head(["Date", "Test", "Found", "Behind", "Note"]), tests, None))
        }
    };
    section("upkeep", "Maintenance and tests by hand", &content)
}

/// Whether an entry says something of its own: corrections and withdrawals are folded into what they are
/// about.
pub(super) fn stands_alone(entry: &Entry) -> bool {
    match entry.deed {
        Deed::Corrected { .. } | Deed::Withdrawn { .. } => false,
        Deed::HoldTest { .. }
        | Deed::Note
        | Deed::Replaced { .. }
        | Deed::Sanitised
        | Deed::Test { .. } => true,
    }
}

fn entry(facts: &Facts, held: &Holding) -> Vec<Markup> {
    let entry = &held.entry;
    let particulars = entry.particulars();
    let numbers: Vec<String> = held.corrected_by.iter().map(u64::to_string).collect();
    let what = html! {
        (entry.deed.in_words(facts.owner.zone()))
        @if let Deed::HoldTest { why, .. } = &entry.deed { br; span.small { (why) } }
        @if !numbers.is_empty() { br; span.small { "corrected by entry " (numbers.join(", ")) } }
    };
    let what = match held.withdrawn_by {
        Some(by) => html! { del { (what) } br; span.small { "withdrawn by entry " (by) } },
        None => what,
    };
    vec![
        text(entry.number.to_string()),
        date(facts, entry),
        what,
        particulars.lot.map_or_else(nothing, text),
        particulars
            .price
            .map_or_else(nothing, |price| text(facts.money(price))),
        particulars.note.map_or_else(nothing, text),
    ]
}

fn test(facts: &Facts, held: &Holding) -> Option<Vec<Markup>> {
    let Deed::Test { test, value, after } = &held.entry.deed else {
        return None;
    };
    if held.withdrawn_by.is_some() {
        return None;
    }
    let behind = after.as_ref().map(|stage| facts.stage_name(stage));
    Some(vec![
        date(facts, &held.entry),
        text(test.title()),
        html! { data value=(value) { (test.value_text(*value)) } },
        behind.map_or_else(nothing, text),
        held.entry.note.as_ref().map_or_else(nothing, text),
    ])
}

fn date(facts: &Facts, entry: &Entry) -> Markup {
    match (entry.date, entry.entered) {
        (Some(date), _) => when(facts.owner.moment(date)),
        (None, Some(told)) => text(format!("unknown, told {}", facts.owner.moment(told))),
        (None, None) => text("unknown"),
    }
}
