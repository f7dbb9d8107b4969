//! How figures went over time: lines on bands, limits, and marks where something was done.

use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::{
    Band, Limit, Line, Mark, Tone,
    axis::{self, COLUMNS, Caption, HEIGHT, NAME, NARROWEST, ROWS, percent},
    calendar, is_drawable,
    scale::Scale,
    text, thin,
};
use crate::{core::moment, time::Wall};

/// Figures over time.
#[derive(Clone, Debug)]
pub struct TimeChart {
    /// Tells it from the other pictures of a page: letters, digits and hyphens.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// Unit of all its values.
    pub unit: String,
    /// Decimals of values in words.
    pub decimals: u8,
    /// Whether the axis begins at zero; else it holds what there is.
    pub from_zero: bool,
    /// The first moment.
    pub from: Wall,
    /// The last moment.
    pub to: Wall,
    /// Where the owner's clock stands.
    pub zone: TimeZone,
    /// The lines, the main one first.
    pub lines: Vec<Line>,
    /// Bands beneath them.
    pub bands: Vec<Band>,
    /// What was done meanwhile.
    pub marks: Vec<Mark>,
    /// Levels that should not be passed.
    pub limits: Vec<Limit>,
}

/// A stretch of a line without a gap.
type Stretch = Vec<(Wall, f64)>;
/// A stretch of a band: when, low and high.
type BandStretch = Vec<(Wall, (f64, f64))>;

/// What there is to draw.
struct Found<'a> {
    chart: &'a TimeChart,
    lines: Vec<(&'a Line, Vec<Stretch>)>,
    bands: Vec<(&'a Band, Vec<BandStretch>)>,
    limits: Vec<&'a Limit>,
    marks: Vec<&'a Mark>,
}

impl TimeChart {
    /// The picture.
    #[must_use]
    pub fn draw(&self) -> Markup {
        let found = Found::of(self);
        let caption = Caption {
            id: &self.id,
            title: &self.title,
            unit: &self.unit,
            words: found.words(),
        };
        let ticks = calendar::ticks(self.from, self.to, &self.zone);
        let ticks = axis::placed(&ticks, |at| self.share(at));
        let drawing = match found.scale() {
            Some(scale) => html! {
                (axis::value_grid(&scale))
                (found.stretched(&scale))
                (axis::base(&ticks))
                (found.limits(&scale))
                (found.marks())
                (found.ends(&scale))
            },
            None => html! {
                (axis::base(&ticks))
                (found.marks())
                text class="picture-nothing" x="50%" y=(HEIGHT / 2.0) text-anchor="middle" { "nothing was measured in this time" }
            },
        };
        let plot = html! {
            div class={ "picture-plot" @if !found.marks.is_empty() { " picture-marked" } } {
                (caption.svg(HEIGHT, &drawing))
            }
        };
        caption.figure(&found.legend(), &plot, &found.mark_list())
    }

    /// Where a moment lies across: 0 to 1.
    fn share(&self, at: Wall) -> f64 {
        let length = self.to.0.saturating_sub(self.from.0).max(1);
        #[allow(clippy::cast_precision_loss)] // Milliseconds of centuries are exact.
        let share = at.0.saturating_sub(self.from.0) as f64 / length as f64;
        share.clamp(0.0, 1.0)
    }

    #[allow(clippy::cast_possible_truncation)] // A share of 720.
    fn column(&self, at: Wall) -> i64 {
        (self.share(at) * COLUMNS).round() as i64
    }

    fn date(&self, at: Wall) -> String {
        moment(at, &self.zone)
    }

    fn value(&self, value: f64) -> String {
        text::with_unit(value, self.decimals, &self.unit)
    }
}

impl<'a> Found<'a> {
    fn of(chart: &'a TimeChart) -> Self {
        let (from, to) = (chart.from, chart.to);
        let line = |line: &'a Line| (line, thin::line(&line.points, from, to, line.longest_gap));
        let band = |band: &'a Band| {
            let points: Vec<_> = (band.points.iter())
                .map(|(at, low, high)| (*at, (low.min(*high), high.max(*low))))
                .collect();
            let drawable = |(low, high): (f64, f64)| is_drawable(low) && is_drawable(high);
            (
                band,
                thin::stretches(&points, from, to, band.longest_gap, drawable),
            )
        };
        let mut marks: Vec<&Mark> = (chart.marks.iter())
            .filter(|mark| from <= mark.at && mark.at <= to)
            .collect();
        marks.sort_by_key(|mark| mark.at);
        Self {
            chart,
            lines: chart.lines.iter().map(line).collect(),
            bands: chart.bands.iter().map(band).collect(),
            limits: chart
                .limits
                .iter()
                .filter(|limit| is_drawable(limit.value))
                .collect(),
            marks,
        }
    }

    /// `None` when there is nothing to draw.
    fn scale(&self) -> Option<Scale> {
        let lines = self
            .lines
            .iter()
            .flat_map(|(_, stretches)| stretches.iter().flatten());
        let bands = self
            .bands
            .iter()
            .flat_map(|(_, stretches)| stretches.iter().flatten());
        let values: Vec<f64> = lines
            .map(|(_, value)| *value)
            .chain(bands.flat_map(|(_, (low, high))| [*low, *high]))
            .collect();
        if values.is_empty() {
            return None;
        }
        let all = values
            .into_iter()
            .chain(self.limits.iter().map(|limit| limit.value));
        let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        Some(if self.chart.from_zero {
            Scale::from_zero(low, high)
        } else {
            Scale::around(low, high)
        })
    }

    /// Bands and lines, on a grid that is stretched to the width of the page.
    fn stretched(&self, scale: &Scale) -> Markup {
        html! {
            svg viewBox={ "0 0 " (COLUMNS) " " (ROWS) } preserveAspectRatio="none" width="100%" height=(HEIGHT) overflow="visible" {
                @for (band, stretches) in &self.bands {
                    path class={ "picture-band " (band.tone.class()) } d=(self.band_path(scale, stretches)) {}
                }
                // The main line lies on the others.
                @for (index, (line, stretches)) in self.lines.iter().enumerate().rev() {
                    path class={ "picture-line " (line.tone.class()) " " (dash(index)) } d=(self.line_path(scale, stretches)) {}
                    @let dots = self.dots_path(scale, stretches);
                    @if !dots.is_empty() {
                        path class={ "picture-dots " (line.tone.class()) } d=(dots) {}
                    }
                }
            }
        }
    }

    fn line_path(&self, scale: &Scale, stretches: &[Stretch]) -> String {
        let mut path = Path::default();
        for stretch in stretches.iter().filter(|stretch| stretch.len() > 1) {
            for (place, (at, value)) in thin::thin(stretch, |at| self.chart.column(at))
                .iter()
                .enumerate()
            {
                path.go(place == 0, self.chart.column(*at), row(scale, *value));
            }
        }
        path.0
    }

    /// Points with gaps on both sides: a line of no length with round ends.
    fn dots_path(&self, scale: &Scale, stretches: &[Stretch]) -> String {
        let mut path = Path::default();
        let mut last = None;
        for (at, value) in stretches
            .iter()
            .filter(|stretch| stretch.len() == 1)
            .flatten()
        {
            let place = (self.chart.column(*at), row(scale, *value));
            if last != Some(place) {
                path.go(true, place.0, place.1);
                path.0.push_str("h0");
            }
            last = Some(place);
        }
        path.0
    }

    fn band_path(&self, scale: &Scale, stretches: &[BandStretch]) -> String {
        let mut path = Path::default();
        for stretch in stretches {
            let column = |at: Wall| self.chart.column(at);
            let columns: Vec<(i64, f64, f64)> = stretch
                .chunk_by(|one, other| column(one.0) == column(other.0))
                .filter_map(|same| {
                    let (at, _) = same.first()?;
                    let low = same
                        .iter()
                        .map(|(_, (low, _))| *low)
                        .fold(f64::INFINITY, f64::min);
                    let high = same.iter().map(|(_, (_, high))| *high);
                    Some((column(*at), low, high.fold(f64::NEG_INFINITY, f64::max)))
                })
                .collect();
            for (place, (column, _, high)) in columns.iter().enumerate() {
                path.go(place == 0, *column, row(scale, *high));
            }
            for (column, low, _) in columns.iter().rev() {
                path.go(false, *column, row(scale, *low));
            }
            path.0.push('z');
            path.1 = None;
        }
        path.0
    }

    /// The last point of each line.
    fn ends(&self, scale: &Scale) -> Markup {
        let last =
            |stretches: &[Stretch]| stretches.last().and_then(|stretch| stretch.last().copied());
        html! {
            @for (line, stretches) in &self.lines {
                @if let Some((at, value)) = last(stretches) {
                    circle class={ "picture-end " (line.tone.class()) } cx=(percent(self.chart.share(at))) cy=(axis::down(scale, value)) r="3.5" {}
                }
            }
        }
    }

    /// Dashed lines with what they are. A label lies above or below its line, to the right or left: where
    /// no other is.
    fn limits(&self, scale: &Scale) -> Markup {
        let mut taken: Vec<(f64, f64, f64)> = Vec::new();
        let mut labels = Vec::new();
        for limit in &self.limits {
            let y = axis::down(scale, limit.value);
            let label = text::cut(&limit.text, NAME);
            let width = axis::width(&label);
            let places = [(true, -5.0), (true, 13.0), (false, -5.0), (false, 13.0)];
            let fits = |(right, below): &(bool, f64)| {
                let base = y + below;
                let left = if *right { NARROWEST - width } else { 0.0 };
                let free = taken.iter().all(|(x, end, other)| {
                    left > *end || left + width < *x || (base - other).abs() > 13.0
                });
                let crossed = (self.limits.iter())
                    .map(|other| axis::down(scale, other.value))
                    .any(|other| {
                        (other - y).abs() > 0.5 && (base - 11.0..base + 3.0).contains(&other)
                    });
                (10.0..=HEIGHT - 2.0).contains(&base) && free && !crossed
            };
            let place = places.iter().copied().find(|place| fits(place));
            if let Some((right, below)) = place {
                let left = if right { NARROWEST - width } else { 0.0 };
                taken.push((left, left + width, y + below));
            }
            labels.push((y, place, label));
        }
        html! {
            g class="picture-limits" {
                @for (y, place, label) in &labels {
                    line x1="0" x2="100%" y1=(y) y2=(y) {}
                    // Where there is no room, the legend tells.
                    @if let Some((right, below)) = place {
                        text x=(if *right { "100%" } else { "0" }) y=(axis::round(y + below)) text-anchor=(if *right { "end" } else { "start" }) { (label) }
                    }
                }
            }
        }
    }

    fn marks(&self) -> Markup {
        let places: Vec<f64> = self
            .marks
            .iter()
            .map(|mark| self.chart.share(mark.at))
            .collect();
        html! {
            @if !places.is_empty() {
                g class="picture-flags" {
                    @for place in &places {
                        @let x = percent(*place);
                        line x1=(x) x2=(x) y1="-6" y2=(HEIGHT) {}
                    }
                    @for flag in flags(&places) {
                        text x=(percent(flag.place)) y="-9" text-anchor="middle" { (flag.text()) }
                    }
                }
            }
        }
    }

    fn mark_list(&self) -> Markup {
        html! {
            @if !self.marks.is_empty() {
                ol.picture-marks {
                    @for mark in &self.marks {
                        li {
                            span.picture-when { (self.chart.date(mark.at)) }
                            " "
                            bdi { (text::cut(&mark.text, 2 * NAME)) }
                        }
                    }
                }
            }
        }
    }

    fn legend(&self) -> Markup {
        let latest = |stretches: &[Stretch]| {
            let (_, value) = stretches.last()?.last()?;
            Some(self.chart.value(*value))
        };
        let named = self.lines.len() > 1 || !self.bands.is_empty() || !self.limits.is_empty();
        html! {
            @if named {
                ul.picture-legend {
                    @for (index, (line, stretches)) in self.lines.iter().enumerate() {
                        li {
                            (sample(line.tone, dash(index)))
                            bdi { (text::cut(&line.name, NAME)) }
                            @match latest(stretches) {
                                Some(value) => { " " b { (value) } },
                                None => { " (nothing measured)" },
                            }
                        }
                    }
                    @for (band, _) in &self.bands {
                        li {
                            svg aria-hidden="true" width="26" height="12" {
                                rect class={ "picture-band " (band.tone.class()) } width="26" height="12" {}
                            }
                            bdi { (text::cut(&band.name, NAME)) }
                        }
                    }
                    @for limit in &self.limits {
                        li {
                            svg.picture-limits aria-hidden="true" width="26" height="12" {
                                line x1="0" x2="26" y1="6" y2="6" {}
                            }
                            bdi { (text::cut(&limit.text, NAME)) }
                            " " b { (self.chart.value(limit.value)) }
                        }
                    }
                }
            }
        }
    }

    fn words(&self) -> String {
        let chart = self.chart;
        let mut words = format!(
            "From {} to {}.",
            chart.date(chart.from),
            chart.date(chart.to)
        );
        for (line, stretches) in &self.lines {
            words.push(' ');
            words.push_str(&self.line_words(line, stretches));
        }
        for limit in &self.limits {
            let text = text::cut(&limit.text, NAME);
            words.push_str(&format!(" Limit {}: {text}.", chart.value(limit.value)));
        }
        for mark in &self.marks {
            let text = text::cut(&mark.text, 2 * NAME);
            words.push_str(&format!(" {}: {text}.", chart.date(mark.at)));
        }
        words
    }

    fn line_words(&self, line: &Line, stretches: &[Stretch]) -> String {
        let name = text::cut(&line.name, NAME);
        let points = || stretches.iter().flatten();
        let least = points().min_by(|a, b| a.1.total_cmp(&b.1));
        let most = points().max_by(|a, b| a.1.total_cmp(&b.1));
        let (Some(least), Some(most), Some(latest)) = (least, most, points().last()) else {
            return format!("{name}: nothing was measured in this time.");
        };
        let told = |(at, value): &(Wall, f64)| {
            format!("{} ({})", self.chart.value(*value), self.chart.date(*at))
        };
        let gaps = match stretches.len() - 1 {
            0 => String::new(),
            1 => ", with one gap".to_owned(),
            gaps => format!(", with {gaps} gaps"),
        };
        format!(
            "{name}: latest {}, least {}, most {}{gaps}.",
            told(latest),
            told(least),
            told(most)
        )
    }
}

/// A path on the stretched grid: after its beginnings only steps are written, which are shorter.
#[derive(Default)]
struct Path(String, Option<(i64, i64)>);

impl Path {
    fn go(&mut self, begins: bool, column: i64, row: i64) {
        match self.1.filter(|_| !begins) {
            None => self.0.push_str(&format!("M{column} {row}l0 0")),
            Some((x, y)) if (x, y) == (column, row) => return,
            Some((x, y)) => {
                let (across, down) = (column - x, row - y);
                let space = if across < 0 { "" } else { " " };
                let between = if down < 0 { "" } else { " " };
                self.0.push_str(&format!("{space}{across}{between}{down}"));
            }
        }
        self.1 = Some((column, row));
    }
}

#[allow(clippy::cast_possible_truncation)] // A share of 400.
fn row(scale: &Scale, value: f64) -> i64 {
    ((1.0 - scale.share(value)) * ROWS).round() as i64
}

/// How the lines of a chart are dashed, so that colour alone tells nothing.
fn dash(index: usize) -> &'static str {
    match index % 4 {
        0 => "dash-0",
        1 => "dash-1",
        2 => "dash-2",
        _ => "dash-3",
    }
}

fn sample(tone: Tone, dash: &str) -> Markup {
    html! {
        svg aria-hidden="true" width="26" height="12" {
            line class={ "picture-line " (tone.class()) " " (dash) } x1="0" x2="26" y1="6" y2="6" {}
        }
    }
}

/// A number over one mark, or over several that stand close.
#[derive(Clone, Debug, PartialEq)]
struct Flag {
    place: f64,
    first: usize,
    last: usize,
}

impl Flag {
    fn text(&self) -> String {
        if self.first == self.last {
            self.first.to_string()
        } else {
            format!("{}–{}", self.first, self.last)
        }
    }

    /// Half of what it takes on the narrowest page.
    fn half(&self) -> f64 {
        (axis::width(&self.text()) / 2.0 + 2.0) / NARROWEST
    }
}

/// Flags that do not touch, even on the narrowest page.
fn flags(places: &[f64]) -> Vec<Flag> {
    let mut flags: Vec<Flag> = Vec::new();
    for (number, place) in (1..).zip(places) {
        let mut flag = Flag {
            place: *place,
            first: number,
            last: number,
        };
        while let Some(before) = flags.last() {
            if flag.place - before.place >= flag.half() + before.half() {
                break;
            }
            let weight =
                |flag: &Flag| u32::try_from(flag.last - flag.first + 1).map_or(1.0, f64::from);
            let (one, other) = (weight(before), weight(&flag));
            flag = Flag {
                place: (before.place * one + flag.place * other) / (one + other),
                first: before.first,
                last: flag.last,
            };
            flags.pop();
        }
        flags.push(flag);
    }
    flags
}

#[cfg(test)]
mod tests;
