//! Sums by day, month or anything else as bars, their parts stacked.

use maud::{Markup, html};

use super::{
    Tone,
    axis::{self, COLUMNS, Caption, HEIGHT, NAME, ROWS},
    is_drawable,
    scale::Scale,
    text,
};

/// Sums, each as a bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Bars {
    /// Tells it from the other pictures of a page: letters, digits and hyphens.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// Unit of all its values.
    pub unit: String,
    /// Decimals of values in words.
    pub decimals: u8,
    /// What each bar is made of, from the bottom up.
    pub parts: Vec<Part>,
    /// The bars, from left to right.
    pub bars: Vec<Bar>,
}

/// A part of every bar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// What people call it.
    pub name: String,
    /// What it stands for.
    pub tone: Tone,
}

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// What stands under it: `3 Mar` ([`Bar::day`]), `Mar 2026` ([`Bar::month`]).
    pub label: String,
    /// A value for each part, none negative; `None` where nothing is known.
    pub values: Vec<Option<f64>>,
}

impl Bar {
    /// A bar of a day.
    #[must_use]
    pub fn day(day: jiff::civil::Date, values: Vec<Option<f64>>) -> Self {
        Self {
            label: super::calendar::day_text(day),
            values,
        }
    }

    /// A bar of the month in which that day lies.
    #[must_use]
    pub fn month(day: jiff::civil::Date, values: Vec<Option<f64>>) -> Self {
        Self {
            label: super::calendar::month_text(day),
            values,
        }
    }

    fn value(&self, part: usize) -> Option<f64> {
        let value = self.values.get(part).copied().flatten();
        value
            .filter(|value| is_drawable(*value))
            .map(|value| value.max(0.0))
    }

    fn sum(&self, parts: usize) -> Option<f64> {
        let known = (0..parts).filter_map(|part| self.value(part));
        known.reduce(|sum, value| sum + value)
    }
}

impl Bars {
    /// The picture.
    #[must_use]
    pub fn draw(&self) -> Markup {
        let caption = Caption {
            id: &self.id,
            title: &self.title,
            unit: &self.unit,
            words: self.words(),
        };
        let highest = (self.bars.iter())
            .filter_map(|bar| bar.sum(self.parts.len()))
            .reduce(f64::max);
        let drawing = match highest {
            Some(highest) => {
                let scale = Scale::from_zero(0.0, highest);
                html! {
                    (axis::value_grid(&scale))
                    (self.stretched(&scale))
                    (axis::base(&self.ticks()))
                }
            }
            None => html! {
                (axis::base(&self.ticks()))
                text class="picture-nothing" x="50%" y=(HEIGHT / 2.0) text-anchor="middle" { "nothing was measured in this time" }
            },
        };
        let plot = html! { div.picture-plot { (caption.svg(HEIGHT, &drawing)) } };
        caption.figure(&self.legend(), &plot, &html! {})
    }

    /// All bars of a part are one path: a long picture stays small.
    fn stretched(&self, scale: &Scale) -> Markup {
        html! {
            svg viewBox={ "0 0 " (COLUMNS) " " (ROWS) } preserveAspectRatio="none" width="100%" height=(HEIGHT) {
                @for (index, part) in self.parts.iter().enumerate() {
                    path class={ "picture-bar " (part.tone.class()) " " (fill(index)) } d=(self.path(scale, index)) {}
                }
            }
        }
    }

    fn path(&self, scale: &Scale, part: usize) -> String {
        let mut path = String::new();
        let width = self.width() * COLUMNS;
        let gap = (width * 0.15).min(8.0);
        for (place, bar) in self.bars.iter().enumerate() {
            let Some(value) = bar.value(part) else {
                continue;
            };
            let under: f64 = (0..part).filter_map(|part| bar.value(part)).sum();
            let row = |value: f64| ((1.0 - scale.share(value)) * ROWS).round();
            let (low, high) = (row(under), row(under + value));
            if low <= high {
                continue;
            }
            let left = axis::round(self.left(place) * COLUMNS + gap);
            let across = axis::round(width - 2.0 * gap);
            let upright = low - high;
            path.push_str(&format!("M{left} {low}v-{upright}h{across}v{upright}z"));
        }
        path
    }

    /// Share of the width that a bar has; few bars do not become walls.
    fn width(&self) -> f64 {
        #[allow(clippy::cast_precision_loss)]
        let bars = self.bars.len().max(6) as f64;
        1.0 / bars
    }

    #[allow(clippy::cast_precision_loss)]
    fn left(&self, place: usize) -> f64 {
        place as f64 * self.width()
    }

    /// Under every so many bars what it is, never more than seven.
    fn ticks(&self) -> Vec<(f64, &str, Option<&str>)> {
        let every = self.bars.len().div_ceil(7).max(1);
        let ticks = self.bars.iter().enumerate().step_by(every);
        ticks
            .map(|(place, bar)| {
                let middle = self.left(place) + self.width() / 2.0;
                (middle, bar.label.as_str(), None)
            })
            .collect()
    }

    fn known(&self, part: usize) -> impl Iterator<Item = (&Bar, f64)> {
        let bars = self.bars.iter();
        bars.filter_map(move |bar| Some((bar, bar.value(part)?)))
    }

    fn total(&self, part: usize) -> Option<f64> {
        self.known(part)
            .map(|(_, value)| value)
            .reduce(|sum, value| sum + value)
    }

    fn value(&self, value: f64) -> String {
        text::with_unit(value, self.decimals, &self.unit)
    }

    fn legend(&self) -> Markup {
        html! {
            ul.picture-legend {
                @for (index, part) in self.parts.iter().enumerate() {
                    li {
                        svg aria-hidden="true" width="14" height="12" {
                            rect class={ "picture-bar " (part.tone.class()) " " (fill(index)) } x="1" y="1" width="12" height="10" {}
                        }
                        bdi { (text::cut(&part.name, NAME)) }
                        @match self.total(index) {
                            Some(total) => { " " b { (self.value(total)) } },
                            None => { " (nothing measured)" },
                        }
                    }
                }
            }
        }
    }

    fn words(&self) -> String {
        let mut words = match (self.bars.first(), self.bars.last()) {
            (Some(first), Some(last)) if self.bars.len() > 1 => {
                format!(
                    "From {} to {}.",
                    text::cut(&first.label, NAME),
                    text::cut(&last.label, NAME)
                )
            }
            (Some(only), _) => format!("{}.", text::cut(&only.label, NAME)),
            (None, _) => "No bars.".to_owned(),
        };
        let unknown = self
            .bars
            .iter()
            .filter(|bar| bar.sum(self.parts.len()).is_none())
            .count();
        if unknown > 0 && unknown < self.bars.len() {
            words.push_str(&format!(
                " Nothing is known of {unknown} of {}.",
                self.bars.len()
            ));
        }
        for (index, part) in self.parts.iter().enumerate() {
            let name = text::cut(&part.name, NAME);
            let most = self.known(index).max_by(|a, b| a.1.total_cmp(&b.1));
            words.push_str(&match (self.total(index), most) {
                (Some(total), Some((bar, most))) => format!(
                    " {name}: {} in all, most {} ({}).",
                    self.value(total),
                    self.value(most),
                    text::cut(&bar.label, NAME)
                ),
                (None, _) | (_, None) => format!(" {name}: nothing was measured in this time."),
            });
        }
        words
    }
}

/// How the parts of a bar are filled, so that colour alone tells nothing.
fn fill(index: usize) -> &'static str {
    match index % 3 {
        0 => "fill-0",
        1 => "fill-1",
        _ => "fill-2",
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::parsing::{parsed, text_of};
    use super::*;

    fn bars(bars: Vec<Bar>) -> Bars {
        let part = |name: &str, tone| Part {
            name: name.to_owned(),
            tone,
        };
        Bars {
            id: "litres".to_owned(),
            title: "Water by day".to_owned(),
            unit: "L".to_owned(),
            decimals: 1,
            parts: vec![
                part("permeate", Tone::Permeate),
                part("concentrate", Tone::Concentrate),
            ],
            bars,
        }
    }

    fn bar(label: &str, permeate: Option<f64>, concentrate: Option<f64>) -> Bar {
        Bar {
            label: label.to_owned(),
            values: vec![permeate, concentrate],
        }
    }

    #[test]
    fn parts_are_stacked_and_told_in_words() {
        let picture = bars(vec![
            bar("1 Mar", Some(10.0), Some(40.0)),
            bar("2 Mar", None, None),
            bar("3 Mar", Some(20.5), Some(60.0)),
        ]);
        let drawn = picture.draw().into_string();
        parsed(&drawn);
        let words = text_of(&drawn, "desc");
        assert_eq!(
            words,
            "From 1 Mar to 3 Mar. Nothing is known of 1 of 3. permeate: 30.5 L in all, most 20.5 L (3 Mar). \
             concentrate: 100.0 L in all, most 60.0 L (3 Mar)."
        );
        // 0 to 100 L on 400 rows: permeate of 10 L is 40 rows from the bottom, concentrate 160 on it.
        let scale = Scale::from_zero(0.0, 80.5);
        assert_eq!(scale.high, 100.0);
        assert_eq!(
            picture.path(&scale, 0),
            "M8 400v-40h104v40zM248 400v-82h104v82z"
        );
        assert_eq!(
            picture.path(&scale, 1),
            "M8 360v-160h104v160zM248 318v-240h104v240z"
        );
    }

    #[test]
    fn a_year_of_days_stays_small_and_nothing_is_said_in_words() {
        let year = (0..366).map(|day| bar(&format!("day {day}"), Some(f64::from(day)), Some(7.0)));
        let drawn = bars(year.collect()).draw().into_string();
        parsed(&drawn);
        assert!(drawn.len() < 40_000, "{}", drawn.len());
        for none in [vec![], vec![bar("1 Mar", None, Some(f64::NAN))]] {
            let drawn = bars(none).draw().into_string();
            parsed(&drawn);
            assert!(drawn.contains("nothing was measured"), "{drawn}");
            assert!(!drawn.contains("NaN"));
        }
        let odd = vec![
            bar("1 Mar", Some(-5.0), Some(f64::INFINITY)),
            bar("2 Mar", Some(1.0), None),
        ];
        let drawn = bars(odd).draw().into_string();
        parsed(&drawn);
        assert!(!drawn.contains("inf") && !drawn.contains("NaN"));
    }
}
