//! How figures went over time: lines on bands, limits, and marks where something was done.

use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::{
    Band, Limit, Line, Mark,
    axis::{self, COLUMNS, Caption, HEIGHT, ROWS, percent},
    calendar, is_drawable,
    scale::Scale,
    text, thin,
};
use crate::{core::moment, time::Wall};

mod labels;
mod path;
mod words;

use path::{Path, row};
use words::dash;

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

/// In a longer chart a moment is told by its day: 14 days, in milliseconds.
const DAYS_WITH_TIMES: i64 = 14 * 86_400_000;

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

    /// Its day, in a chart of not too many days the time of it, too.
    fn date(&self, at: Wall) -> String {
        let mut date = moment(at, &self.zone);
        if self.to.0.saturating_sub(self.from.0) > DAYS_WITH_TIMES {
            date.truncate(date.find(' ').unwrap_or(date.len()));
        }
        date
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
        let ends = |(low, high): (f64, f64), value: f64| (low.min(value), high.max(value));
        let none = (f64::INFINITY, f64::NEG_INFINITY);
        let limits = self.limits.iter().map(|limit| limit.value);
        let (low, high) = values.into_iter().chain(limits.clone()).fold(none, ends);
        // A limit keeps a little off the edges, that it be seen as a line of its own.
        let room = (high - low) * 0.03;
        let limits = limits.flat_map(|limit| [(limit - room).max(limit.min(0.0)), limit + room]);
        let (low, high) = limits.fold((low, high), ends);
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
        for stretch in stretches {
            let thinned = thin::thin(stretch, |at| self.chart.column(at) / self.coarse());
            let places: Vec<_> = thinned
                .iter()
                .map(|point| self.place(scale, point))
                .collect();
            // What all lies in one place is a dot.
            if places.iter().any(|place| Some(place) != places.first()) {
                for (index, (column, row)) in places.iter().enumerate() {
                    path.go(index == 0, *column, *row);
                }
            }
        }
        path.text()
    }

    /// So many columns of the grid share their extremes: with several lines a picture would become large.
    fn coarse(&self) -> i64 {
        match self.lines.len() {
            0 | 1 => 1,
            2 => 2,
            _ => 3,
        }
    }

    fn place(&self, scale: &Scale, (at, value): &(Wall, f64)) -> (i64, i64) {
        (self.chart.column(*at), row(scale, *value))
    }

    /// Stretches too short to be seen as lines: a line of no length with round ends.
    fn dots_path(&self, scale: &Scale, stretches: &[Stretch]) -> String {
        let mut path = Path::default();
        let mut last = None;
        for stretch in stretches {
            let mut places = stretch.iter().map(|point| self.place(scale, point));
            let first = places.next();
            let is_dot = places.all(|place| Some(place) == first);
            if let Some((column, row)) = first.filter(|_| is_dot && first != last) {
                path.go(true, column, row);
                path.stay();
                last = first;
            }
        }
        path.text()
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
            path.close();
        }
        path.text()
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
}

#[cfg(test)]
mod tests;
