//! The stages: what each treated, how fillings ended, what is left now and when each falls due.

use maud::{Markup, html};

use super::{
    facts::Facts,
    parts::{head, nothing, section, table, text, when},
    units::{figure, number},
    water::Litres,
};
use crate::{
    config::StageWater,
    core::{Due, Stage, StageFindings, StageRecord},
    metrics::StageMetric,
    time::Wall,
};

/// The section; nothing where no stage is configured or was replaced.
#[must_use]
pub fn stages(facts: &Facts) -> Markup {
    let unit = facts.material.unit;
    if unit.stages().is_empty() && facts.ended.is_empty() {
        return html! {};
    }
    let now = facts.material.now;
    let findings = unit.stage_findings(now);
    let dues = unit.dues(now);
    let rows: Vec<Vec<Markup>> = (unit
        .stages()
        .iter()
        .zip(&findings)
        .zip(dues.iter())
        .enumerate())
    .map(|(index, ((stage, found), due))| present(facts, index, stage, found, due))
    .collect();
    let titles = head([
        "Stage",
        "Treated in the period",
        "Treated since it was installed",
        "Installed",
        "Left now",
        "Due",
        "Why",
    ]);
    let advice: Vec<(&str, &[String])> = (unit.stages().iter())
        .map(|stage| (stage.settings().name.as_str(), stage.advice()))
        .filter(|(_, advice)| !advice.is_empty())
        .collect();
    let content = html! {
        @if !rows.is_empty() {
            (super::pictures::stages(facts, &findings))
            (table(&format!("As it stands on {}", facts.owner.moment(now.wall)), 1..3, &titles, rows, None))
        }
        @for (name, advice) in advice {
            p { strong { (name) ": " } (advice.join(" ")) }
        }
        (ended(facts))
    };
    section("stages", "Stages", &content)
}

fn present(
    facts: &Facts,
    index: usize,
    stage: &Stage,
    found: &StageFindings,
    due: &Due,
) -> Vec<Markup> {
    let unit = facts.material.unit;
    let now = facts.material.now;
    let settings = stage.settings();
    let all = Litres::of_all(facts);
    let in_period = match settings.water {
        StageWater::Feed => all.feed,
        StageWater::Permeate => all.permeate,
    };
    let volume = |litres: Option<f64>| {
        litres.map_or_else(nothing, |litres| {
            figure(litres, &facts.owner.volume(litres).to_string())
        })
    };
    let dates = unit.due_dates(now, index, due);
    let due_on = match (dates.likely, dates.earliest, dates.latest) {
        (Some(likely), Some(earliest), Some(latest)) if earliest != latest => {
            html! { (when(likely.to_string())) br; span.small { (earliest) " to " (latest) } }
        }
        (Some(likely), _, _) => when(likely.to_string()),
        (None, Some(earliest), _) => html! { "not before " (earliest) },
        (None, None, _) => nothing(),
    };
    vec![
        html! { (settings.name) br; span.small { (settings.id) } },
        volume(in_period),
        volume(found.of(StageMetric::Treated).ok().map(|known| known.value)),
        day(facts, stage.state().installed),
        left(found),
        due_on,
        unit.due_text(now, index, due).map_or_else(nothing, text),
    ]
}

/// What is left, with its band and the limit that binds; else why it is not known.
fn left(found: &StageFindings) -> Markup {
    let of = |metric| found.of(metric).ok().map(|known| known.value);
    match found.of(StageMetric::Left) {
        Ok(left) => html! {
            (figure(left.value, &format!("{}\u{a0}%", number(left.value, 0))))
            @if let (Some(low), Some(high)) = (of(StageMetric::LeftLow), of(StageMetric::LeftHigh)) {
                br; span.small { (number(low, 0)) " to " (number(high, 0)) "\u{a0}%" }
            }
            @if let Some(binding) = found.binding {
                br; span.small { "by " (binding.key().replace('_', " ")) }
            }
        },
        Err(lack) => html! { span.small { (lack.to_string()) } },
    }
}

fn day(facts: &Facts, at: Option<Wall>) -> Markup {
    at.map_or_else(nothing, |at| when(facts.owner.day(at)))
}

/// The fillings that ended in the period.
fn ended(facts: &Facts) -> Markup {
    let rows: Vec<Vec<Markup>> = facts
        .ended
        .iter()
        .map(|record| end(facts, record))
        .collect();
    if rows.is_empty() {
        return html! { p { "No stage was replaced in this period." } };
    }
    let titles = head([
        "Stage",
        "Replaced",
        "Installed",
        "Had treated",
        "Was left",
        "Bound by",
        "Had taken",
        "Lot",
        "Had cost",
    ]);
    table("Fillings that ended", 3..4, &titles, rows, None)
}

fn end(facts: &Facts, record: &StageRecord) -> Vec<Markup> {
    let litres = record.treated.litres();
    let mut taken = Vec::new();
    for (amount, unit) in [
        (record.cation_meq, "meq of positive ions"),
        (record.anion_meq, "meq of negative ions"),
        (record.disinfectant_g, "g of disinfectant"),
    ] {
        taken.extend(amount.map(|amount| format!("{} {unit}", number(amount, 1))));
    }
    let words = |words: Option<String>| words.map_or_else(nothing, text);
    vec![
        text(facts.stage_name(&record.stage)),
        day(facts, record.replaced),
        day(facts, record.installed),
        figure(litres, &facts.owner.volume(litres).to_string()),
        words(
            record
                .left_pct
                .map(|left| format!("{}\u{a0}%", number(left, 0))),
        ),
        words(record.binds.as_ref().map(|binds| binds.replace('_', " "))),
        words((!taken.is_empty()).then(|| taken.join(", "))),
        words(record.lot.clone()),
        words(record.price.map(|price| facts.money(price))),
    ]
}
