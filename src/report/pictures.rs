//! The pictures of the report: its figures as the shared pictures draw them.

use std::time::Duration;

use maud::{Markup, html};

use super::{
    facts::Facts,
    period::{Slot, Step},
    quality::{series, title},
    recorded::Gap,
    shortfall::{PARTS, Shortfall},
    spending::{KINDS, spent},
    timeline::{self, Row},
    water::Litres,
};
use crate::{
    core::StageFindings,
    metrics::{Metric, StageMetric},
    past::PastAlert,
    picture::{Band, Bar, Bars, Contributions, LeftBar, Limit, Line, Mark, Part, TimeChart, Tone},
    quantity::Conductivity,
    time::Wall,
};

/// With more points than this a line shows the middle of each day, on a band of its runs.
const MOST_POINTS: usize = 250;
/// Over a longer time without a run nothing is drawn.
const LONGEST_GAP: Duration = Duration::from_secs(2 * 86_400);

/// Water made and wasted.
pub fn water(facts: &Facts, slots: &[Slot]) -> Markup {
    let shown = |litres: Option<f64>| litres.map(|litres| facts.owner.volume(litres).value);
    let bars = slots.iter().map(|slot| {
        let litres = Litres::of_slot(facts, slot);
        bar(
            facts,
            slot,
            vec![shown(litres.permeate), shown(litres.concentrate)],
        )
    });
    let parts = vec![
        part("Made", Tone::Permeate),
        part("To the drain", Tone::Concentrate),
    ];
    stacked(
        "chart-water",
        "Water made and wasted",
        facts.owner.volume(0.0).unit,
        parts,
        bars.collect(),
    )
}

/// Costs.
pub fn costs(facts: &Facts, slots: &[Slot]) -> Markup {
    let bars = slots
        .iter()
        .map(|slot| bar(facts, slot, spent(facts, slot.from, slot.to).to_vec()));
    let tones = [Tone::Product, Tone::Feed, Tone::Concentrate];
    let parts = KINDS
        .iter()
        .zip(tones)
        .map(|((_, name), tone)| part(name, tone))
        .collect();
    let mut picture = bars_of(
        "chart-costs",
        "Costs",
        facts.currency(),
        parts,
        bars.collect(),
    );
    picture.decimals = 2;
    picture.draw()
}

fn stacked(id: &str, title: &str, unit: &str, parts: Vec<Part>, bars: Vec<Bar>) -> Markup {
    bars_of(id, title, unit, parts, bars).draw()
}

fn bars_of(id: &str, title: &str, unit: &str, parts: Vec<Part>, bars: Vec<Bar>) -> Bars {
    Bars {
        id: id.to_owned(),
        title: title.to_owned(),
        unit: unit.to_owned(),
        decimals: 1,
        parts,
        bars,
    }
}

fn part(name: &str, tone: Tone) -> Part {
    Part {
        name: name.to_owned(),
        tone,
    }
}

fn bar(facts: &Facts, slot: &Slot, values: Vec<Option<f64>>) -> Bar {
    match facts.period().step() {
        Step::Day => Bar::day(slot.day, values),
        Step::Month => Bar::month(slot.day, values),
        Step::Year => Bar {
            label: slot.label.clone(),
            values,
        },
    }
}

/// A chart of quality: its figures, each with its name and tone.
struct Chart {
    id: &'static str,
    title: &'static str,
    figures: &'static [(Metric, &'static str, Tone)],
    from_zero: bool,
}

const CHARTS: [Chart; 6] = [
    Chart {
        id: "chart-rejection",
        title: "Rejection",
        figures: &[(Metric::Rejection, "Rejection", Tone::Permeate)],
        from_zero: false,
    },
    Chart {
        id: "chart-tds",
        title: "TDS of permeate and product",
        figures: &[
            (Metric::PermeateTds, "Permeate", Tone::Permeate),
            (Metric::ProductTds, "Product", Tone::Product),
        ],
        from_zero: true,
    },
    Chart {
        id: "chart-feed-tds",
        title: "TDS of the feed",
        figures: &[(Metric::FeedTds, "Feed", Tone::Feed)],
        from_zero: true,
    },
    Chart {
        id: "chart-flow",
        title: "Normalised flow as a share of the baseline",
        figures: &[(Metric::NormalizedFlowOfBaseline, "Flow", Tone::Permeate)],
        from_zero: false,
    },
    Chart {
        id: "chart-salt",
        title: "Salt passage as a share of the baseline",
        figures: &[(
            Metric::SaltPassageOfBaseline,
            "Salt passage",
            Tone::Concentrate,
        )],
        from_zero: false,
    },
    Chart {
        id: "chart-temperature",
        title: "Feed temperature",
        figures: &[(Metric::FeedTemperature, "Feed", Tone::Warmth)],
        from_zero: false,
    },
];

/// Quality and flow over time, with what was replaced.
pub fn quality(facts: &Facts) -> Markup {
    html! { @for chart in &CHARTS { (chart.draw(facts)) } }
}

impl Chart {
    fn draw(&self, facts: &Facts) -> Markup {
        let found = self.figures.iter().filter_map(|(metric, name, tone)| {
            let points: Vec<(Wall, f64)> = (series(facts, *metric).into_iter())
                .map(|(at, value)| (at, facts.owner.shown(metric.description(), value).value))
                .collect();
            (!points.is_empty()).then_some((*metric, *name, *tone, points))
        });
        let found: Vec<_> = found.collect();
        let Some((metric, ..)) = self.figures.first().filter(|_| !found.is_empty()) else {
            return html! {};
        };
        let shown = facts.owner.shown(metric.description(), 0.0);
        let limits = found
            .iter()
            .filter_map(|(metric, ..)| limit(facts, *metric))
            .collect();
        let (mut lines, mut bands) = (Vec::new(), Vec::new());
        for (_, name, tone, points) in found {
            let (points, band) = by_day(facts, points);
            if !band.is_empty() {
                bands.push(Band {
                    name: format!("{name}, lowest to highest run of a day"),
                    tone,
                    points: band,
                    longest_gap: LONGEST_GAP,
                });
            }
            lines.push(Line {
                name: name.to_owned(),
                tone,
                points,
                longest_gap: LONGEST_GAP,
            });
        }
        let chart = TimeChart {
            id: self.id.to_owned(),
            title: self.title.to_owned(),
            unit: shown.unit.to_owned(),
            decimals: shown.decimals,
            from_zero: self.from_zero,
            from: facts.period().begin(),
            to: facts.period().end(),
            zone: facts.owner.zone().clone(),
            lines,
            bands,
            marks: marks(facts),
            limits,
        };
        chart.draw()
    }
}

/// Many points as the middle of each day's, with the lowest and the highest.
type Daily = (Vec<(Wall, f64)>, Vec<(Wall, f64, f64)>);

fn by_day(facts: &Facts, points: Vec<(Wall, f64)>) -> Daily {
    if points.len() <= MOST_POINTS {
        return (points, Vec::new());
    }
    let day = |at: Wall| at.day_in(facts.owner.zone());
    let days = points.chunk_by(|one, other| day(one.0) == day(other.0));
    let spread = |points: &[(Wall, f64)]| {
        let (at, _) = points.get(points.len() / 2)?;
        let spread = super::quality::Spread::of(points.iter().map(|(_, value)| *value))?;
        Some((*at, spread))
    };
    days.filter_map(spread)
        .map(|(at, spread)| ((at, spread.middle), (at, spread.low, spread.high)))
        .unzip()
}

fn marks(facts: &Facts) -> Vec<Mark> {
    let mark = |record: &&crate::core::StageRecord| {
        let text = format!("{} replaced", facts.stage_name(&record.stage));
        Some(Mark {
            at: record.replaced?,
            text,
        })
    };
    facts.ended.iter().filter_map(mark).collect()
}

/// The level at which an alert is raised.
fn limit(facts: &Facts, metric: Metric) -> Option<Limit> {
    let alerts = &facts.settings().alerts;
    let tds = |conductivity: Conductivity| facts.settings().tds_scale.tds(conductivity).mg_per_l();
    let limits = [
        (
            Metric::Rejection,
            alerts
                .rejection_low
                .as_ref()
                .map(|limit| limit.raise * 100.0),
        ),
        (
            Metric::PermeateTds,
            alerts
                .permeate_tds_high
                .as_ref()
                .map(|limit| tds(limit.raise)),
        ),
        (
            Metric::ProductTds,
            alerts
                .product_tds_high
                .as_ref()
                .map(|limit| tds(limit.raise)),
        ),
        (
            Metric::NormalizedFlowOfBaseline,
            alerts
                .normalized_flow_low
                .as_ref()
                .map(|limit| limit.raise * 100.0),
        ),
        (
            Metric::SaltPassageOfBaseline,
            alerts
                .salt_passage_rising
                .as_ref()
                .map(|limit| limit.raise * 100.0),
        ),
    ];
    let (_, raise) = limits.into_iter().find(|(known, _)| *known == metric)?;
    Some(Limit {
        value: raise?,
        text: format!(
            "alert: {}",
            title(metric).split(" as ").next().unwrap_or_default()
        ),
    })
}

/// From the rated production to what was given.
pub fn shortfall(facts: &Facts, shortfall: &Shortfall) -> Markup {
    let shown = |value: f64| facts.owner.shown(Metric::Shortfall.description(), value);
    let parts = PARTS.iter().zip(shortfall.parts);
    Contributions {
        id: "chart-shortfall".to_owned(),
        title: "From the rated flow to what was given".to_owned(),
        unit: shown(0.0).unit.to_owned(),
        decimals: 0,
        start: ("rated".to_owned(), shown(shortfall.rated).value),
        parts: parts
            .map(|((_, name), part)| ((*name).to_owned(), shown(-part).value))
            .collect(),
        end: ("given".to_owned(), shown(shortfall.given).value),
    }
    .draw()
}

/// What is left of each stage.
pub fn stages(facts: &Facts, findings: &[StageFindings]) -> Markup {
    let unit = facts.material.unit;
    let dues = unit.dues(facts.material.now);
    let stages = unit
        .stages()
        .iter()
        .zip(findings)
        .zip(dues.iter())
        .enumerate();
    let bars = stages.filter_map(|(index, ((stage, found), due))| {
        let of = |metric| found.of(metric).ok().map(|known| known.value);
        let due_on = unit.due_dates(facts.material.now, index, due).likely;
        Some(LeftBar {
            id: format!("chart-left-{index}"),
            title: stage.settings().name.clone(),
            left: Some(of(StageMetric::Left)?),
            band: of(StageMetric::LeftLow).zip(of(StageMetric::LeftHigh)),
            order_at: None,
            note: due_on.map_or_else(String::new, |day| format!("due {day}")),
        })
    });
    html! { div.lefts { @for bar in bars { (bar.draw()) } } }
}

/// The alerts over time.
pub fn alerts(facts: &Facts, alerts: &[&PastAlert]) -> Markup {
    let rows = timeline::rows_of(facts, alerts);
    timeline::draw(facts, "chart-alerts", "When alerts were active", &rows)
}

/// The gaps over time.
pub fn gaps(facts: &Facts, gaps: &[Gap]) -> Markup {
    let row = |silent: bool, name: &str| Row {
        name: name.to_owned(),
        class: "gap",
        times: (gaps.iter())
            .filter(|gap| gap.silent == silent)
            .map(|gap| (gap.from, gap.to))
            .collect(),
    };
    let mut rows = vec![
        row(false, "Nothing was recorded"),
        row(true, "No sensor was heard"),
    ];
    rows.retain(|row| !row.times.is_empty());
    timeline::draw(facts, "chart-gaps", "When nothing was measured", &rows)
}
