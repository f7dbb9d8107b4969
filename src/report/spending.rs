//! What the product of the period cost.

use maud::{Markup, html};

use super::{
    facts::Facts,
    parts::{head, listed, nothing, section, table, text},
    period::{Slot, Step},
    units::figure,
};
use crate::{metrics::Metric, time::Wall};

/// The kinds of cost, and what each is called.
pub const KINDS: [(Metric, &str); 3] = [
    (Metric::CartridgesLife, "Fillings"),
    (Metric::WaterLife, "Water in"),
    (Metric::WasteLife, "Waste"),
];

/// What was spent in a time, in the order of [`KINDS`]; what was not kept is not there.
#[must_use]
pub fn spent(facts: &Facts, from: Wall, to: Wall) -> [Option<f64>; KINDS.len()] {
    KINDS.map(|(sum, _)| facts.grew(sum, from, to))
}

/// The section; nothing where no prices are configured.
#[must_use]
pub fn spending(facts: &Facts) -> Markup {
    if facts.settings().costs.is_none() {
        return html! {};
    }
    let period = facts.period();
    let all = spent(facts, period.begin(), period.end());
    if all.iter().all(Option::is_none) {
        let content = html! { p { "No costs were booked in this period." } };
        return section("costs", TITLE, &content);
    }
    let by = match period.step() {
        Step::Day => "day",
        Step::Month => "month",
        Step::Year => "year",
    };
    let slots = facts.slots();
    let row = |slot: &Slot| {
        line(
            facts,
            text(&slot.label),
            &spent(facts, slot.from, slot.to),
            facts.grew(Metric::PermeateVolume, slot.from, slot.to),
        )
    };
    let rows = slots.iter().map(row).collect();
    let made = facts.grew_in_all(Metric::PermeateVolume);
    let foot = line(facts, text("All"), &all, made);
    let mut titles = head([by]);
    titles.extend(KINDS.map(|(_, name)| name.to_owned()));
    titles.extend(["Together".to_owned(), facts.per_volume_title()]);
    let content = html! {
        (super::pictures::costs(facts, &slots))
        (table(&format!("Costs by {by}, {}", facts.currency()), 1..6, &titles, rows, Some(foot)))
        p.small { "The price of a filling is spread over its life, as what is left of it tells; water and waste are your prices times the litres." (unpriced(facts)) }
    };
    section("costs", TITLE, &content)
}

const TITLE: &str = "Costs";

fn line(
    facts: &Facts,
    title: Markup,
    spent: &[Option<f64>; KINDS.len()],
    litres: Option<f64>,
) -> Vec<Markup> {
    let money = |amount: f64| figure(amount, &facts.money(amount));
    let together: f64 = spent.iter().flatten().sum();
    let is_known = spent.iter().any(Option::is_some);
    let mut cells = vec![title];
    cells.extend(spent.map(|amount| amount.map_or_else(nothing, money)));
    cells.push(if is_known { money(together) } else { nothing() });
    let each = litres.filter(|litres| *litres > 0.0 && is_known);
    cells.push(each.map_or_else(nothing, |litres| {
        text(facts.money_per_volume(together / litres))
    }));
    cells
}

fn unpriced(facts: &Facts) -> String {
    let stages = facts.material.unit.stages().iter();
    let names: Vec<String> = stages
        .filter(|stage| stage.price().is_none())
        .map(|stage| stage.settings().name.clone())
        .collect();
    if names.is_empty() {
        String::new()
    } else {
        format!(" Without a price, and left out: {}.", listed(&names))
    }
}
