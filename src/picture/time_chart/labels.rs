//! What is written into a chart: limits with their labels, and numbers over marks, none on another.

use maud::{Markup, html};

use super::Found;
use crate::picture::{
    axis::{self, HEIGHT, NAME, NARROWEST, percent},
    scale::Scale,
    text,
};

impl Found<'_> {
    /// Dashed lines with what they are. A label lies above or below its line, to the right or left: where
    /// no other is.
    pub(super) fn limits(&self, scale: &Scale) -> Markup {
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

    pub(super) fn marks(&self) -> Markup {
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
mod tests {
    use super::*;

    #[test]
    fn flags_of_marks_that_are_close_are_joined_and_none_touch() {
        let joined =
            |places: &[f64]| -> Vec<String> { flags(places).iter().map(Flag::text).collect() };
        assert_eq!(joined(&[0.1, 0.5, 0.9]), ["1", "2", "3"]);
        assert_eq!(joined(&[0.1, 0.11, 0.12, 0.9]), ["1–3", "4"]);
        let many: Vec<f64> = (0..200).map(|place| f64::from(place) / 200.0).collect();
        for pair in flags(&many).windows(2) {
            assert!(pair[1].place - pair[0].place >= pair[0].half() + pair[1].half() - 1e-9);
            assert_eq!(pair[1].first, pair[0].last + 1);
        }
    }
}
