//! The newest entries of the maintenance log, as they hold now.

use maud::{Markup, html};

use super::{frame, runs, unit::Look, words};
use crate::{
    core::{Deed, Holding, as_it_holds},
    past::Past,
    quantity::Volume,
};

/// So many are shown.
const SHOWN: usize = 8;

pub(super) fn section(look: &Look<'_>, past: &Past) -> Markup {
    let log = as_it_holds(&past.entries);
    let is_told = |held: &&Holding| match held.entry.deed {
        // What they changed is shown where it counts.
        Deed::Corrected { .. } | Deed::Withdrawn { .. } => false,
        Deed::HoldTest { .. }
        | Deed::Note
        | Deed::Replaced { .. }
        | Deed::Sanitised
        | Deed::Test { .. } => held.withdrawn_by.is_none(),
    };
    let newest: Vec<&Holding> = log.iter().rev().filter(is_told).take(SHOWN).collect();
    if newest.is_empty() {
        return html! {};
    }
    let body = html! {
        (frame::table("Maintenance", &html! {
            thead { tr {
                th scope="col" { "When" }
                th scope="col" { "What" }
                th scope="col" { "Note" }
            } }
            tbody { @for held in newest { (row(look, held)) } }
        }))
        p .fine { "Tell it more with " code { "permeated log" } ", or from your hub." }
    };
    frame::section("log", "Maintenance", &body)
}

fn row(look: &Look<'_>, held: &Holding) -> Markup {
    let entry = &held.entry;
    let told = match &entry.deed {
        Deed::Replaced {
            stage, treated_l, ..
        } => {
            let stages = &look.settings.stages;
            let named = stages.iter().find(|own| own.id == *stage);
            let name = named.map_or(stage, |own| &own.name);
            let treated = runs::volume(look, Volume::from_litres(*treated_l));
            format!("{name} replaced after {treated}")
        }
        deed @ (Deed::HoldTest { .. }
        | Deed::Note
        | Deed::Sanitised
        | Deed::Test { .. }
        | Deed::Corrected { .. }
        | Deed::Withdrawn { .. }) => words::capital(&deed.in_words(&look.settings.time_zone)),
    };
    html! {
        tr {
            th scope="row" {
                @match entry.date.or(entry.entered) {
                    Some(at) => { (look.moment(at)) }
                    None => { "unknown" }
                }
            }
            td { bdi { (told) }
                @if !held.corrected_by.is_empty() { span .fine { " (corrected)" } }
            }
            td { @if let Some(note) = &entry.note { bdi { (note) } } }
        }
    }
}
