//! Metrics as scrapers read them: OpenMetrics text 1.0 and the older plain format 0.0.4, from one
//! list of families. Owns names, units and the text; what is counted comes from the core and the
//! service. The encoder is our own because the usual library writes the first format only.

mod families;
mod names;
mod text;

pub use families::{Service, families, sums};
pub use names::{Exposed, exposed, exposed_stage};
pub use text::{Format, text};

/// What every name begins with.
pub const PREFIX: &str = "permeated_";

/// What a family's samples are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Only grows, but for a fresh start from zero.
    Counter,
    /// Goes up and down.
    Gauge,
    /// Always 1: the labels tell.
    Info,
}

/// Samples of one name.
#[derive(Clone, Debug, PartialEq)]
pub struct Family {
    /// The whole name, its unit included, without `_total` or `_info`.
    pub name: String,
    /// The unit the name ends in; empty for a pure number.
    pub unit: &'static str,
    /// What the samples are.
    pub kind: Kind,
    /// What they mean, in one sentence.
    pub help: String,
    /// Those that there are: a missing value has no sample.
    pub samples: Vec<Sample>,
}

/// One number.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// Names and values of its labels; one with an empty value is left out.
    pub labels: Vec<(&'static str, String)>,
    /// Finite.
    pub value: f64,
}

impl Family {
    /// A family without samples; `name` lacks the prefix.
    #[must_use]
    pub fn new(name: &str, unit: &'static str, kind: Kind, help: &str) -> Self {
        Self {
            name: format!("{PREFIX}{name}"),
            unit,
            kind,
            help: help.to_owned(),
            samples: Vec::new(),
        }
    }

    /// Adds a sample; what is no number is left out.
    pub fn add(&mut self, labels: &[(&'static str, &str)], value: f64) {
        if value.is_finite() {
            let labels = labels
                .iter()
                .map(|(name, value)| (*name, (*value).to_owned()));
            self.samples.push(Sample {
                labels: labels.collect(),
                value,
            });
        }
    }
}
