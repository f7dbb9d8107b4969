//! Figures drawn as inline SVG: how something went over time, sums by day or month, what a shortfall is
//! made of, and what is left of a stage. Pure: figures in, markup out.
//!
//! Lines stretch with the page while every text keeps its size: a picture is as legible on a phone as on
//! paper. No scripts and no colours of its own in the markup: [`style`] has the rules for classes, with
//! custom properties for a light and a dark page. Every picture says in words what it shows.
//!
//! What is not finite is not drawn. Names are cut to a length that fits, and escaped.

mod axis;
mod bars;
mod calendar;
mod contributions;
mod left_bar;
mod scale;
mod text;
mod thin;
mod time_chart;

use std::time::Duration;

use crate::time::Wall;

pub use bars::{Bar, Bars, Part};
pub use contributions::Contributions;
pub use left_bar::LeftBar;
pub use text::figure;
pub use time_chart::TimeChart;

/// The rules that every picture needs: once in each page.
#[must_use]
pub fn style() -> &'static str {
    include_str!("style.css")
}

/// What a line, band or bar stands for; its colour follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tone {
    /// Water into the unit.
    Feed,
    /// What the membrane lets through.
    Permeate,
    /// What goes to the drain.
    Concentrate,
    /// What comes out behind the last stage.
    Product,
    /// Temperature.
    Warmth,
    /// Anything else.
    Plain,
}

impl Tone {
    /// Every tone.
    pub const ALL: [Self; 6] = [
        Self::Feed,
        Self::Permeate,
        Self::Concentrate,
        Self::Product,
        Self::Warmth,
        Self::Plain,
    ];

    /// The class that gives it its colour.
    #[must_use]
    pub fn class(self) -> &'static str {
        match self {
            Self::Feed => "tone-feed",
            Self::Permeate => "tone-permeate",
            Self::Concentrate => "tone-concentrate",
            Self::Product => "tone-product",
            Self::Warmth => "tone-warmth",
            Self::Plain => "tone-plain",
        }
    }
}

/// A line of a time chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What people call it.
    pub name: String,
    /// What it stands for.
    pub tone: Tone,
    /// Its points, in any order; those outside the chart's span are left out.
    pub points: Vec<(Wall, f64)>,
    /// Over a longer time without a point nothing is drawn: nothing is known of it.
    pub longest_gap: Duration,
}

/// A band beneath the lines: from low to high at each point.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// What people call it.
    pub name: String,
    /// What it stands for.
    pub tone: Tone,
    /// When, low and high.
    pub points: Vec<(Wall, f64, f64)>,
    /// Over a longer time without a point nothing is drawn.
    pub longest_gap: Duration,
}

/// Something that happened: a replacement, a test by hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When.
    pub at: Wall,
    /// What, in a few words.
    pub text: String,
}

/// A level that should not be passed.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// The level, in the chart's unit.
    pub value: f64,
    /// What it is, in a few words.
    pub text: String,
}

/// Whether a value can be drawn. No figure of the trade is beyond this.
fn is_drawable(value: f64) -> bool {
    value.abs() <= 1e12
}

#[cfg(test)]
mod tests;
