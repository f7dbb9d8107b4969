//! What a value is taken for, why, how surely, and what is left for a person to decide.

use super::announced::Presence;
use crate::config::Point;

/// How surely a value is what it looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Sureness {
    /// Something must be decided or added by a person.
    Doubtful,
    /// Something was concluded that a look can confirm.
    Likely,
    /// Everything was said.
    Sure,
}

impl Sureness {
    pub(super) fn text(self) -> &'static str {
        match self {
            Self::Doubtful => "doubtful",
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }
}

/// What a sensor sends, as the configuration has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Gauge,
    Rate,
    Pulses,
    Increments,
    Contact,
}

impl Kind {
    pub(super) fn key(self) -> &'static str {
        match self {
            Self::Gauge => "gauge",
            Self::Rate => "rate",
            Self::Pulses => "pulses",
            Self::Increments => "increments",
            Self::Contact => "contact",
        }
    }
}

/// What a person must add before the entry is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lacking {
    /// `unit`
    Unit,
    /// `pulses_per_litre`
    PulsesPerLitre,
    /// `stage`
    Stage,
    /// `calibration` and `unit`
    Calibration,
    /// `scale`, litres to a per cent.
    LitresPerCent,
    /// `on` and `off`
    Words,
}

/// A value that may be a sensor's.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Finding {
    pub(super) topic: String,
    pub(super) pointer: Option<String>,
    /// The board it comes from, and which of its topics are better than others.
    pub(super) board: String,
    pub(super) rank: u8,
    pub(super) kind: Kind,
    /// The points it may sit at, the likeliest first; never empty.
    pub(super) points: Vec<Point>,
    /// In the configuration's spelling.
    pub(super) unit: Option<&'static str>,
    /// Words of a contact, where they are not the usual ones.
    pub(super) words: Option<(String, String)>,
    pub(super) sureness: Sureness,
    /// How surely it sits where it seems to.
    pub(super) sited: Sureness,
    pub(super) reasons: Vec<String>,
    /// What a person must decide or see to.
    pub(super) decide: Vec<String>,
    pub(super) lacking: Vec<Lacking>,
    pub(super) presence: Option<Presence>,
    /// Pointer to a time in the same payload.
    pub(super) time: Option<String>,
    /// Shown to people.
    pub(super) last: String,
    pub(super) often: String,
    /// Another topic says the same, and better.
    pub(super) mirror_of: Option<String>,
}

impl Finding {
    /// The likeliest point.
    pub(super) fn point(&self) -> Option<Point> {
        self.points.first().copied()
    }

    /// Whether it goes into the configuration as an entry that counts.
    pub(super) fn is_active(&self) -> bool {
        self.sureness > Sureness::Doubtful && self.mirror_of.is_none() && self.lacking.is_empty()
    }

    /// It is no surer than that.
    pub(super) fn at_most(&mut self, sureness: Sureness) {
        self.sureness = self.sureness.min(sureness);
    }

    pub(super) fn doubt(&mut self, what_to_decide: impl Into<String>) {
        self.at_most(Sureness::Doubtful);
        self.decide.push(what_to_decide.into());
    }

    pub(super) fn lack(&mut self, what: Lacking, what_to_decide: impl Into<String>) {
        self.lacking.push(what);
        self.doubt(what_to_decide);
    }

    /// What the words to a person are for.
    pub(super) fn wish(&self) -> &'static str {
        if self.is_active() { "check" } else { "decide" }
    }

    /// Topic and pointer, for people.
    pub(super) fn place(&self) -> String {
        match &self.pointer {
            Some(pointer) => format!("{} {}", self.topic, pointer),
            None => self.topic.clone(),
        }
    }
}
