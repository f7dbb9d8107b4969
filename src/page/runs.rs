//! The last runs, and what the very last one gave in a sentence.

use maud::{Markup, html};

use super::{
    figures::{Shown, number, with_unit},
    frame,
    unit::Look,
    words,
};
use crate::{core::RunRecord, metrics::Metric, past::Past, quantity::Volume};

/// So many are shown.
const SHOWN: usize = 8;

/// A volume as the owner reads it.
pub(super) fn volume(look: &Look<'_>, volume: Volume) -> String {
    let shown = Shown::of(look.settings.display, Metric::PermeateVolume.description());
    with_unit(&number(shown.value(volume.litres()), 1), shown.unit)
}

fn steady(run: &RunRecord, metric: Metric) -> Option<f64> {
    let name = metric.description().name;
    let found = run.steady.iter().find(|(kept, _)| kept == name);
    found.map(|(_, known)| known.value)
}

/// What the last run gave, for the top of the page.
pub(super) fn sentence(look: &Look<'_>, run: &RunRecord) -> String {
    let ended = run.ended.map_or_else(String::new, |ended| {
        format!(", which ended {},", look.moment(ended))
    });
    let made = volume(look, run.volumes.permeate);
    let length = words::length(run.seconds);
    let held = steady(run, Metric::Rejection).map_or_else(String::new, |rejection| {
        let share = with_unit(&number(rejection, 1), "%");
        format!(", and {share} of the salt was held back")
    });
    format!("The last run{ended} made {made} in {length}{held}.")
}

pub(super) fn section(look: &Look<'_>, past: &Past) -> Markup {
    let runs: Vec<&RunRecord> = past.runs.iter().rev().take(SHOWN).collect();
    if runs.is_empty() {
        return html! {};
    }
    let rows = html! {
        thead { tr {
            th scope="col" { "Began" }
            th scope="col" .number { "Lasted" }
            th scope="col" .number { "Made" }
            th scope="col" .number { "To the drain" }
            th scope="col" .number { "Rejection" }
            th scope="col" { "Besides" }
        } }
        tbody { @for run in runs { (row(look, run)) } }
    };
    frame::section("runs", "Last runs", &frame::table("Last runs", &rows))
}

fn row(look: &Look<'_>, run: &RunRecord) -> Markup {
    let rejection = steady(run, Metric::Rejection);
    html! {
        tr {
            th scope="row" {
                @match run.started {
                    Some(started) => { (look.moment(started)) }
                    None => { "unknown" }
                }
            }
            td .number { (words::length(run.seconds)) }
            td .number { (volume(look, run.volumes.permeate)) }
            td .number { (volume(look, run.volumes.concentrate)) }
            td .number {
                @match rejection {
                    Some(rejection) => { (with_unit(&number(rejection, 1), "%")) }
                    None => { "–" }
                }
            }
            td { (besides(run)) }
        }
    }
}

fn besides(run: &RunRecord) -> String {
    let flushed = run.flushed.then(|| "flushed".to_owned());
    let parts: Vec<String> = flushed.into_iter().chain(run.no_figures.clone()).collect();
    parts.join("; ")
}
