//! What the unit gave less than its rating, by cause: means of the runs, weighted by their time, so that
//! the parts still add up.

use maud::{Markup, html};

use super::{
    facts::{Facts, steady},
    parts::{count, head, section, table, text},
    units::figure,
};
use crate::metrics::Metric;

/// The parts, in the order of the water.
pub const PARTS: [(Metric, &str); 5] = [
    (Metric::ShortfallPressure, "feed pressure"),
    (Metric::ShortfallBackPressure, "back-pressure"),
    (Metric::ShortfallTemperature, "temperature"),
    (Metric::ShortfallSalinity, "salinity"),
    (Metric::ShortfallMembrane, "the membrane itself"),
];

/// The mean shortfall of a period, L/day.
#[derive(Clone, Debug, PartialEq)]
pub struct Shortfall {
    /// What the element is rated for.
    pub rated: f64,
    /// What it gave.
    pub given: f64,
    /// What each cause cost, in the order of [`PARTS`]; negative: it gained.
    pub parts: [f64; PARTS.len()],
    /// Runs that told.
    pub runs: usize,
}

impl Shortfall {
    /// Of the runs that tell all of it; `None` where none does.
    #[must_use]
    pub fn of(facts: &Facts) -> Option<Self> {
        let rated = facts.settings().membrane.as_ref()?.flow.l_per_day();
        let mut weight = 0.0;
        let mut sums = [0.0; PARTS.len() + 1];
        let mut runs = 0;
        for run in &facts.runs {
            let value = |metric| steady(run, metric).map(|known| known.value);
            let parts: Option<Vec<f64>> = PARTS.iter().map(|(metric, _)| value(*metric)).collect();
            let (Some(whole), Some(parts)) = (value(Metric::Shortfall), parts) else {
                continue;
            };
            if run.seconds <= 0.0 {
                continue;
            }
            runs += 1;
            weight += run.seconds;
            for (sum, part) in sums.iter_mut().zip(parts.iter().chain([&whole])) {
                *sum += part * run.seconds;
            }
        }
        let [parts @ .., whole] = sums.map(|sum| sum / weight);
        (runs > 0).then_some(Self {
            rated,
            given: rated - whole,
            parts,
            runs,
        })
    }
}

/// The section; nothing where the element has no rating.
#[must_use]
pub fn shortfall(facts: &Facts) -> Markup {
    if facts.settings().membrane.is_none() {
        return html! {};
    }
    let Some(shortfall) = Shortfall::of(facts) else {
        let content =
            html! { p { "No run of this period tells what the unit gave less than its rating." } };
        return section("shortfall", TITLE, &content);
    };
    let shown = |value: f64| {
        let shown = facts.owner.shown(Metric::Shortfall.description(), value);
        figure(value, &shown.to_string())
    };
    let line = |title: &str, value: f64| vec![text(title), shown(value)];
    let mut rows = vec![line("Rated", shortfall.rated)];
    for ((_, name), part) in PARTS.iter().zip(shortfall.parts) {
        let verb = if part < 0.0 { "gained by" } else { "lost by" };
        rows.push(line(&format!("{verb} {name}"), -part));
    }
    let foot = line("Given", shortfall.given);
    let content = html! {
        (super::pictures::shortfall(facts, &shortfall))
        (table("What a day of running gave", 1..2, &head(["", "A day"]), rows, Some(foot)))
        p.small { "Mean of " (count(shortfall.runs, "run", "runs")) ", weighted by the time each lasted. Cold water and low pressure cost flow without any wear." }
    };
    section("shortfall", TITLE, &content)
}

const TITLE: &str = "Shortfall against the rating";
