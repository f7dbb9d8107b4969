//! What the pictures with axes share: the frame of a plot, its grid, and the caption and words around it.
//! Across, places are shares of the width, so that a plot stretches; up and down they are pixels.

use maud::{Markup, html};

use super::{calendar::Tick, scale::Scale, text};

/// Height of a plot in pixels.
pub(super) const HEIGHT: f64 = 200.0;
/// What is stretched is drawn on this grid: two steps to a pixel upright.
pub(super) const COLUMNS: f64 = 720.0;
pub(super) const ROWS: f64 = 2.0 * HEIGHT;
/// The narrowest plot that texts must fit in, in pixels: a phone's.
pub(super) const NARROWEST: f64 = 280.0;
/// On a plot that is narrower every other text is left out: the style's container of 34em, less the edges.
const NARROW: f64 = 430.0;

/// A title is at most so long, a name in a legend or label …
pub(super) const TITLE: usize = 80;
/// … so long.
pub(super) const NAME: usize = 32;

/// What stands at a tick is at most so long.
const LABEL: usize = 14;

/// What a picture is called and what it says in words.
pub(super) struct Caption<'a> {
    pub id: &'a str,
    pub title: &'a str,
    pub unit: &'a str,
    pub words: String,
}

impl Caption<'_> {
    /// A picture with its caption: a legend above the plot, what the numbers of marks mean below.
    pub fn figure(&self, legend: &Markup, plot: &Markup, below: &Markup) -> Markup {
        html! {
            figure.picture-frame {
                figcaption {
                    span.picture-title { (text::cut(self.title, TITLE)) }
                    @if !self.unit.is_empty() {
                        " "
                        span.picture-unit { (text::cut(self.unit, NAME)) }
                    }
                }
                (legend)
                (plot)
                (below)
            }
        }
    }

    /// The drawing itself; `height` in pixels.
    pub fn svg(&self, height: f64, drawing: &Markup) -> Markup {
        let id = text::id(self.id);
        let (title, words) = (format!("{id}-title"), format!("{id}-words"));
        html! {
            svg role="img" aria-labelledby={ (title) " " (words) } width="100%" height=(height) {
                title id=(title) { (text::cut(self.title, TITLE)) }
                desc id=(words) { (self.words) }
                (drawing)
            }
        }
    }
}

/// A place across, as SVG wants it.
pub(super) fn percent(share: f64) -> String {
    format!("{:.2}%", share * 100.0)
}

/// How far down a value lies, in pixels.
pub(super) fn down(scale: &Scale, value: f64) -> f64 {
    round((1.0 - scale.share(value)) * HEIGHT)
}

/// To a tenth of a pixel.
pub(super) fn round(pixels: f64) -> f64 {
    (pixels * 10.0).round() / 10.0
}

/// Lines at the ticks of the values, and what stands at them.
pub(super) fn value_grid(scale: &Scale) -> Markup {
    html! {
        g class="picture-grid" {
            @for tick in &scale.ticks {
                @let y = down(scale, *tick);
                line x1="0" x2="100%" y1=(y) y2=(y) {}
            }
        }
        g class="picture-values" {
            @for tick in &scale.ticks {
                text x="-6" y=(down(scale, *tick)) dy="0.35em" { (text::figure(*tick, scale.decimals)) }
            }
        }
    }
}

/// The base line, and ticks with their texts beneath it. On a narrow page every other text is left out.
pub(super) fn base(ticks: &[(f64, &str, Option<&str>)]) -> Markup {
    let kept = kept_when_narrow(ticks);
    html! {
        g class="picture-times" {
            line x1="0" x2="100%" y1=(HEIGHT) y2=(HEIGHT) {}
            @for (index, (share, label, larger)) in ticks.iter().enumerate() {
                @let x = percent(*share);
                line x1=(x) x2=(x) y1=(HEIGHT) y2=(HEIGHT + 4.0) {}
                @let hidden = (!kept(index)).then_some("picture-wide");
                text x=(x) y=(HEIGHT + 17.0) text-anchor=(anchor(*share, 0.04)) class=[hidden] { (text::cut(label, LABEL)) }
                @if let Some(larger) = larger {
                    @let next = ticks[index + 1..].iter().find(|(_, _, larger)| larger.is_some());
                    @let room = next.map_or(1.0, |(next, _, _)| next - share);
                    // It begins at its tick, or around it, and the next one is as long.
                    @let needed = 1.5 * width(larger) + 8.0;
                    @let hidden = (room * NARROWEST < needed).then_some("picture-wide");
                    @if room * NARROW >= needed {
                        text x=(x) y=(HEIGHT + 32.0) text-anchor=(anchor(*share, 0.12)) class=[hidden] { (larger) }
                    }
                }
            }
        }
    }
}

/// Which ticks keep their text: of more than four every other one, those that begin something larger
/// rather than those between.
fn kept_when_narrow(ticks: &[(f64, &str, Option<&str>)]) -> impl Fn(usize) -> bool {
    let few = ticks.len() <= 4;
    let larger = ticks.iter().rposition(|(_, _, larger)| larger.is_some());
    let even = larger.unwrap_or(0) % 2;
    move |index| few || index % 2 == even
}

/// Texts at the edges stay within the plot.
pub(super) fn anchor(share: f64, edge: f64) -> &'static str {
    if share < edge {
        "start"
    } else if share > 1.0 - edge {
        "end"
    } else {
        "middle"
    }
}

/// The ticks of time by their places.
pub(super) fn placed<'a>(
    ticks: &'a [Tick],
    share: impl Fn(crate::time::Wall) -> f64,
) -> Vec<(f64, &'a str, Option<&'a str>)> {
    let place = |tick: &'a Tick| (share(tick.at), tick.text.as_str(), tick.larger.as_deref());
    ticks.iter().map(place).collect()
}

/// Roughly how wide a text of the pictures' size is, in pixels.
pub(super) fn width(text: &str) -> f64 {
    let letters = text.chars().map(|letter| match letter {
        'i' | 'j' | 'l' | '.' | ',' | ' ' | '\'' | '|' | ':' | ';' => 3.6,
        'm' | 'w' | 'M' | 'W' => 10.0,
        letter if letter.is_ascii() => 6.8,
        _ => 12.0,
    });
    letters.sum()
}
