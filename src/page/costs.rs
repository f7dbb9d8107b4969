//! What the product costs, where prices are configured.

use maud::{Markup, html};

use super::{frame, unit::Look};
use crate::{config::Display, metrics::Metric, quantity::Volume};

/// Rows of the table: what, then all of it, fillings, water, waste.
const ROWS: [(&str, [Metric; 4]); 3] = [
    (
        "Today",
        [
            Metric::CostToday,
            Metric::CartridgesToday,
            Metric::WaterToday,
            Metric::WasteToday,
        ],
    ),
    (
        "This month",
        [
            Metric::CostMonth,
            Metric::CartridgesMonth,
            Metric::WaterMonth,
            Metric::WasteMonth,
        ],
    ),
    (
        "Since prices are configured",
        [
            Metric::CostLife,
            Metric::CartridgesLife,
            Metric::WaterLife,
            Metric::WasteLife,
        ],
    ),
];
const LITRE: [Metric; 4] = [
    Metric::CostLitre,
    Metric::CartridgesLitre,
    Metric::WaterLitre,
    Metric::WasteLitre,
];

pub(super) fn section(look: &Look<'_>) -> Markup {
    let Some(costs) = &look.settings.costs else {
        return html! {};
    };
    let (volume, words) = match look.settings.display {
        Display::Metric => (1.0, "A litre of product"),
        Display::Us => (Volume::from_gallons(1.0).litres(), "A gallon of product"),
    };
    let cell = |metric: Metric, factor: f64, decimals: usize| match look.values.of(metric) {
        Ok(known) => format!("{:.decimals$}", known.value * factor),
        Err(_) => "–".to_owned(),
    };
    let row = |words: &str, metrics: [Metric; 4], factor: f64, decimals: usize| {
        html! {
            tr {
                th scope="row" { (words) }
                @for metric in metrics { td .number { (cell(metric, factor, decimals)) } }
            }
        }
    };
    let body = frame::table(
        "Costs",
        &html! {
            thead { tr {
                th scope="col" { bdi { (costs.currency) } }
                th scope="col" .number { "All" }
                th scope="col" .number { "Fillings" }
                th scope="col" .number { "Water" }
                th scope="col" .number { "Waste" }
            } }
            tbody {
                @for (words, metrics) in ROWS { (row(words, metrics, 1.0, 2)) }
                (row(words, LITRE, volume, 4))
            }
        },
    );
    frame::section(
        "costs",
        "Costs",
        &html! {
            (body)
            p .fine { "Your prices times what was counted; fillings are spread over their lives." }
        },
    )
}
