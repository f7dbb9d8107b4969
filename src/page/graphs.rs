//! Figures over time, with the replacements marked in them, and where the flow is likely to go.

mod foreseen;

use std::{collections::BTreeMap, time::Duration};

use jiff::civil::Date;
use maud::{Markup, html};

use super::{Span, View, figures::Shown, frame, unit::Look, words};
use crate::{
    metrics::Metric,
    past::Past,
    picture::{Bar, Bars, Limit, Line, Mark, Part, TimeChart, Tone},
    quantity::Conductivity,
    time::Wall,
};

const HOUR: u64 = 3600;
const DAY: u64 = 24 * HOUR;

pub(super) fn section(look: &Look<'_>, view: &View, past: &Past) -> Markup {
    let graphs = Graphs::of(look, view.span, past);
    let charts: Vec<Markup> = [
        graphs.production(),
        graphs.rejection(),
        graphs.flow(),
        graphs.purity(),
        graphs.stages(),
        graphs.temperature(),
        graphs.pressure(),
        graphs.feed(),
    ]
    .into_iter()
    .flatten()
    .collect();
    let body = html! {
        (spans(view))
        @if charts.is_empty() {
            p { "Nothing is kept of this time yet. Graphs begin with the first run." }
        } @else {
            (graphs.marked())
            div .charts { @for chart in charts { (chart) } }
        }
    };
    frame::wide("over-time", "Over time", &body)
}

/// The ways to other spans.
pub(super) fn spans(view: &View) -> Markup {
    html! {
        nav .spans aria-label="Span of the graphs" {
            @for span in Span::ALL {
                @if span == view.span {
                    a href=(view.with_span(span)) aria-current="true" { (told(span)) }
                } @else {
                    a href=(view.with_span(span)) { (told(span)) }
                }
            }
        }
    }
}

fn told(span: Span) -> &'static str {
    match span {
        Span::Day => "a day",
        Span::Week => "a week",
        Span::Month => "a month",
        Span::Year => "a year",
        Span::All => "all",
    }
}

struct Graphs<'a> {
    look: &'a Look<'a>,
    past: &'a Past,
    span: Span,
    from: Wall,
    marks: Vec<Mark>,
}

impl<'a> Graphs<'a> {
    fn of(look: &'a Look<'a>, span: Span, past: &'a Past) -> Self {
        let marks = past.replaced.iter().filter_map(|record| {
            let stages = &look.settings.stages;
            let stage = stages.iter().find(|stage| stage.id == record.stage);
            let name = stage.map_or(&record.stage, |stage| &stage.name);
            Some(Mark {
                at: record.replaced?,
                text: format!("{name} replaced"),
            })
        });
        // Of all that is kept the picture begins where it begins.
        let first = (past.runs.iter().filter_map(|run| run.started))
            .chain(past.samples.iter().map(|sample| sample.start))
            .min();
        let from = match span {
            Span::All => first.unwrap_or(past.from).max(past.from),
            Span::Day | Span::Week | Span::Month | Span::Year => past.from,
        };
        Self {
            look,
            past,
            span,
            from,
            marks: marks.collect(),
        }
    }

    /// What the numbers in the pictures stand for, once for all of them.
    fn marked(&self) -> Markup {
        let mut marks: Vec<&Mark> = (self.marks.iter())
            .filter(|mark| self.from <= mark.at)
            .collect();
        marks.sort_by_key(|mark| mark.at);
        let today = self.look.now.wall.day_in(&self.look.settings.time_zone);
        let day = |at: Wall| {
            let date = at.day_in(&self.look.settings.time_zone);
            date.map_or_else(String::new, |date| words::day(date, today))
        };
        html! {
            @if !marks.is_empty() {
                ol .marks aria-label="Numbered in the pictures" {
                    @for mark in marks { li { bdi { (mark.text) } ", " (day(mark.at)) } }
                }
            }
        }
    }

    /// Over a longer time without a run nothing is drawn.
    fn longest_gap(&self) -> Duration {
        Duration::from_secs(match self.span {
            Span::Day => 12 * HOUR,
            Span::Week => 2 * DAY,
            Span::Month => 4 * DAY,
            // Some make water once a week.
            Span::Year | Span::All => 10 * DAY,
        })
    }

    /// A figure of the runs' steady parts; where nothing tells of runs, as it was sampled.
    fn line(&self, metric: Metric, name: &str, tone: Tone) -> Option<Line> {
        let description = metric.description();
        let shown = Shown::of(self.look.settings.display, description);
        let mut points = self.past.run_series(description.name);
        if points.is_empty() {
            points = self.past.series(description.name);
        }
        let points: Vec<(Wall, f64)> = (points.into_iter())
            .map(|(at, value)| (at, shown.value(value)))
            .collect();
        (!points.is_empty()).then(|| Line {
            name: name.to_owned(),
            tone,
            points,
            longest_gap: self.longest_gap(),
        })
    }

    /// A chart of these lines in the unit of `metric`, if there is anything to draw.
    fn chart(&self, id: &str, title: &str, metric: Metric, lines: Vec<Line>) -> Option<TimeChart> {
        let shown = Shown::of(self.look.settings.display, metric.description());
        (!lines.is_empty()).then(|| TimeChart {
            id: id.to_owned(),
            title: title.to_owned(),
            unit: shown.unit.to_owned(),
            decimals: u8::try_from(shown.decimals.min(1)).unwrap_or(1),
            from_zero: false,
            from: self.from,
            to: self.past.to,
            zone: self.look.settings.time_zone.clone(),
            lines,
            bands: Vec::new(),
            marks: self.marks.clone(),
            limits: Vec::new(),
        })
    }

    fn simple(&self, id: &str, title: &str, metric: Metric, tone: Tone) -> Option<Markup> {
        let line = self.line(metric, title, tone)?;
        Some(self.chart(id, title, metric, vec![line])?.draw())
    }

    fn rejection(&self) -> Option<Markup> {
        let metric = Metric::Rejection;
        let line = self.line(metric, "Rejection", Tone::Permeate)?;
        let mut chart = self.chart("rejection", "Rejection", metric, vec![line])?;
        let limit = self.look.settings.alerts.rejection_low;
        chart.limits.extend(limit.map(|limit| Limit {
            value: limit.raise * 100.0,
            text: "alert below".to_owned(),
        }));
        Some(chart.draw())
    }

    /// The normalised flow, and beyond today the band within which it goes on.
    fn flow(&self) -> Option<Markup> {
        let of_baseline = Metric::NormalizedFlowOfBaseline;
        let line = self.line(of_baseline, "Normalised flow", Tone::Permeate);
        let (metric, title) = match &line {
            Some(_) => (
                of_baseline,
                "Normalised flow, as a share of its own baseline",
            ),
            None => (
                Metric::NormalizedFlowOfRating,
                "Normalised flow, as a share of the rating",
            ),
        };
        let line = line.or_else(|| self.line(metric, "Normalised flow", Tone::Permeate))?;
        let mut chart = self.chart("flow", title, metric, vec![line])?;
        if metric == of_baseline {
            let limit = self.look.settings.alerts.normalized_flow_low;
            chart.limits.extend(limit.map(|limit| Limit {
                value: limit.raise * 100.0,
                text: "alert below".to_owned(),
            }));
            foreseen::add(self.look, self.span, &mut chart);
        }
        Some(chart.draw())
    }

    /// What comes through the membrane and out of the unit.
    fn purity(&self) -> Option<Markup> {
        let lines = [
            (Metric::ProductTds, "Product", Tone::Product),
            (Metric::PermeateTds, "Behind the membrane", Tone::Permeate),
        ];
        let lines: Vec<Line> = (lines.into_iter())
            .filter_map(|(metric, name, tone)| self.line(metric, name, tone))
            .collect();
        let mut chart = self.chart(
            "purity",
            "TDS of the water that is made",
            Metric::PermeateTds,
            lines,
        )?;
        chart.from_zero = true;
        let alerts = &self.look.settings.alerts;
        let scale = self.look.settings.tds_scale;
        let limit = |limit: Option<crate::config::Limit<Conductivity>>, text: &str| {
            limit.map(|limit| Limit {
                value: scale.tds(limit.raise).mg_per_l(),
                text: text.to_owned(),
            })
        };
        let has = |name: &str| chart.lines.iter().any(|line| line.name == name);
        let of_product = limit(alerts.product_tds_high, "product: alert above");
        let of_permeate = limit(alerts.permeate_tds_high, "membrane: alert above");
        let limits = [
            of_product.filter(|_| has("Product")),
            of_permeate.filter(|_| has("Behind the membrane")),
        ];
        chart.limits.extend(limits.into_iter().flatten());
        Some(chart.draw())
    }

    fn temperature(&self) -> Option<Markup> {
        let metric = Metric::FeedTemperature;
        self.simple("temperature", "Feed temperature", metric, Tone::Warmth)
    }

    fn pressure(&self) -> Option<Markup> {
        let metric = Metric::FeedPressure;
        self.simple("pressure", "Pressure at the membrane", metric, Tone::Feed)
    }

    fn feed(&self) -> Option<Markup> {
        self.simple("feed", "TDS of the feed", Metric::FeedTds, Tone::Feed)
    }

    /// What was left of the stages.
    fn stages(&self) -> Option<Markup> {
        let tones = [
            Tone::Plain,
            Tone::Feed,
            Tone::Permeate,
            Tone::Product,
            Tone::Concentrate,
            Tone::Warmth,
        ];
        let stages = self.look.settings.stages.iter().enumerate();
        let lines: Vec<Line> = stages
            .filter_map(|(index, stage)| {
                let points = self.past.series(&format!("{}/left_pct", stage.id));
                (!points.is_empty()).then(|| Line {
                    name: stage.name.clone(),
                    tone: tones[index % tones.len()],
                    points,
                    longest_gap: self.longest_gap(),
                })
            })
            .collect();
        let mut chart = self.chart("left", "Left of each stage", Metric::Rejection, lines)?;
        chart.from_zero = true;
        chart.decimals = 0;
        Some(chart.draw())
    }

    /// Made and to the drain, by the day or the month.
    fn production(&self) -> Option<Markup> {
        let zone = &self.look.settings.time_zone;
        let by_month = match self.span {
            Span::Day => return None,
            Span::Week | Span::Month => false,
            Span::Year | Span::All => true,
        };
        let shown = Shown::of(
            self.look.settings.display,
            Metric::PermeateVolume.description(),
        );
        let begin = |day: Date| if by_month { day.first_of_month() } else { day };
        let mut sums: BTreeMap<Date, [f64; 2]> = BTreeMap::new();
        for (day, litres) in self.past.litres_by_day(zone) {
            let sum = sums.entry(begin(day)).or_default();
            sum[0] += shown.value(litres.permeate.litres());
            sum[1] += shown.value(litres.concentrate.litres());
        }
        // The day or month within which the span begins is not whole: its sum would look like little use.
        let cut_off = begin(self.past.from.day_in(zone)?);
        if sums.len() > 1 {
            sums.remove(&cut_off);
        }
        let (first, _) = sums.first_key_value()?;
        let last = begin(self.past.to.day_in(zone)?);
        let after = |day: &Date| {
            let next = if by_month {
                day.last_of_month().tomorrow()
            } else {
                day.tomorrow()
            };
            next.ok()
        };
        let has_waste = sums.values().any(|sum| sum[1] > 0.0);
        let values = |sum: [f64; 2]| {
            let parts = if has_waste { 2 } else { 1 };
            sum.into_iter().take(parts).map(Some).collect()
        };
        let bars = std::iter::successors(Some(*first), after)
            .take_while(|day| *day <= last)
            .map(|day| {
                let sum = sums.get(&day).copied().unwrap_or_default();
                if by_month {
                    Bar {
                        label: words::short_month(day),
                        values: values(sum),
                    }
                } else {
                    Bar::day(day, values(sum))
                }
            });
        let made = Part {
            name: "made".to_owned(),
            tone: Tone::Permeate,
        };
        let waste = has_waste.then(|| Part {
            name: "to the drain".to_owned(),
            tone: Tone::Concentrate,
        });
        let each = if by_month { "month" } else { "day" };
        let picture = Bars {
            id: "production".to_owned(),
            title: format!("Water by the {each}"),
            unit: shown.unit.to_owned(),
            decimals: 0,
            parts: std::iter::once(made).chain(waste).collect(),
            bars: bars.collect(),
        };
        Some(picture.draw())
    }
}
