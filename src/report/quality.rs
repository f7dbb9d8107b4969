//! Quality and flow: the figures of the runs' steady parts, over time and at their worst.

use maud::{Markup, html};

use super::{
    facts::{Facts, bases, over_runs, steady},
    parts::{count, head, nothing, section, table, text, when},
    units::figure,
};
use crate::{core::RunRecord, metrics::Metric, time::Wall};

/// What is told of the runs, in the order of the table.
const TOLD: [Metric; 11] = [
    Metric::Rejection,
    Metric::FeedTds,
    Metric::PermeateTds,
    Metric::ProductTds,
    Metric::NormalizedFlowOfBaseline,
    Metric::NormalizedFlowOfRating,
    Metric::SaltPassageOfBaseline,
    Metric::FeedTemperature,
    Metric::FeedPressure,
    Metric::PermeateFlow,
    Metric::Recovery,
];

/// So many of the worst runs are shown.
const WORST: usize = 5;

/// The lowest, the middle and the highest of some values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Half of the values lie below it.
    pub middle: f64,
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
    /// How many there are.
    pub number: usize,
}

impl Spread {
    /// Of some values; `None` of none.
    #[must_use]
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Self> {
        let mut values: Vec<f64> = values
            .into_iter()
            .filter(|value| value.is_finite())
            .collect();
        values.sort_by(f64::total_cmp);
        let number = values.len();
        let (low, high) = (*values.first()?, *values.last()?);
        let middle = f64::midpoint(values[(number - 1) / 2], values[number / 2]);
        Some(Self {
            middle,
            low,
            high,
            number,
        })
    }
}

/// A figure over the period, from the runs; where no run has it, as sampled.
#[must_use]
pub fn series(facts: &Facts, metric: Metric) -> Vec<(Wall, f64)> {
    let runs = over_runs(&facts.runs, metric);
    if !runs.is_empty() {
        return runs;
    }
    let name = metric.description().name;
    let sample =
        |sample: &crate::sampler::Sample| Some((sample.start, *sample.figures.mean.get(name)?));
    facts.samples().filter_map(sample).collect()
}

/// The section.
#[must_use]
pub fn quality(facts: &Facts) -> Markup {
    let rows: Vec<Vec<Markup>> = TOLD
        .iter()
        .filter_map(|metric| row(facts, *metric))
        .collect();
    let titles = head([
        "Figure",
        "Middle",
        "Lowest",
        "Highest",
        "From",
        "Measured / inferred / assumed",
    ]);
    let content = html! {
        (super::pictures::quality(facts))
        @if rows.is_empty() {
            p { "No run of this period has figures." }
        } @else {
            (table("Figures of the runs once they had settled", 1..4, &titles, rows, None))
            p.small { "The middle is the median of the runs; a figure of a run is that of its steady part." }
        }
        (without(&facts.runs))
        (worst(facts))
    };
    section("quality", "Quality and flow", &content)
}

fn row(facts: &Facts, metric: Metric) -> Option<Vec<Markup>> {
    let values = series(facts, metric);
    let spread = Spread::of(values.iter().map(|(_, value)| *value))?;
    let counts = bases(&facts.runs, metric);
    let shown = |value: f64| {
        let shown = facts.owner.shown(metric.description(), value);
        figure(value, &shown.to_string())
    };
    let is_of_runs = counts.iter().sum::<usize>() > 0;
    let from = if is_of_runs {
        count(spread.number, "run", "runs")
    } else {
        count(spread.number, "sample", "samples")
    };
    let [measured, inferred, assumed] = counts;
    let basis = if is_of_runs {
        text(format!("{measured} / {inferred} / {assumed}"))
    } else {
        nothing()
    };
    Some(vec![
        text(title(metric)),
        shown(spread.middle),
        shown(spread.low),
        shown(spread.high),
        when(from),
        basis,
    ])
}

/// What a metric is called in a table or on a picture: the beginning of its meaning.
#[must_use]
pub fn title(metric: Metric) -> &'static str {
    let meaning = metric.description().meaning;
    let end = meaning.find([',', ':', '.']).unwrap_or(meaning.len());
    &meaning[..end]
}

/// Runs without figures, by the reason.
fn without(runs: &[&RunRecord]) -> Markup {
    let mut reasons: Vec<(&str, usize)> = Vec::new();
    for run in runs {
        let Some(why) = run.no_figures.as_deref() else {
            continue;
        };
        let kind = why.split(':').next().unwrap_or(why);
        match reasons.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, number)) => *number += 1,
            None => reasons.push((kind, 1)),
        }
    }
    reasons.sort_by_key(|(_, number)| std::cmp::Reverse(*number));
    let lacking: usize = reasons.iter().map(|(_, number)| number).sum();
    let words: Vec<String> = reasons
        .iter()
        .map(|(why, number)| format!("{why} ({number})"))
        .collect();
    html! {
        @if lacking > 0 {
            p { "Of " (count(runs.len(), "run", "runs")) " " (lacking) " gave no figures of the membrane: " (words.join("; ")) "." }
        }
    }
}

/// The runs that held back least.
fn worst(facts: &Facts) -> Markup {
    let mut runs: Vec<(&&RunRecord, f64)> = (facts.runs.iter())
        .filter_map(|run| Some((run, steady(run, Metric::Rejection)?.value)))
        .collect();
    if runs.len() <= WORST {
        return html! {};
    }
    runs.sort_by(|one, other| one.1.total_cmp(&other.1));
    let shown = |run: &RunRecord, metric: Metric| {
        steady(run, metric).map_or_else(nothing, |known| {
            text(
                facts
                    .owner
                    .shown(metric.description(), known.value)
                    .to_string(),
            )
        })
    };
    let columns = [
        Metric::Rejection,
        Metric::PermeateTds,
        Metric::FeedTds,
        Metric::FeedTemperature,
        Metric::FeedPressure,
    ];
    let row = |(run, _): &(&&RunRecord, f64)| {
        let began = run
            .started
            .map_or_else(|| "unknown".to_owned(), |at| facts.owner.moment(at));
        let litres = run.volumes.permeate.litres();
        let mut cells = vec![
            text(began),
            figure(litres, &facts.owner.volume(litres).to_string()),
        ];
        cells.extend(columns.map(|metric| shown(run, metric)));
        cells
    };
    let rows = runs.iter().take(WORST).map(row).collect();
    let mut titles = head(["Run", "Made"]);
    titles.extend(columns.map(|metric| title(metric).to_owned()));
    table("The runs that held back least", 1..7, &titles, rows, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_is_the_median() {
        let spread = Spread::of([3.0, 1.0, f64::NAN, 10.0, 2.0]).unwrap();
        assert_eq!(
            (spread.low, spread.middle, spread.high, spread.number),
            (1.0, 2.5, 10.0, 4)
        );
        assert_eq!(Spread::of([]), None);
    }

    #[test]
    fn titles_are_short() {
        for metric in TOLD {
            assert!(title(metric).len() <= 60, "{}", title(metric));
        }
    }
}
