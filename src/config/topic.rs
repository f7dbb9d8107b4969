//! A topic as it was written, and what it is for each unit.

use std::{borrow::Cow, fmt};

/// A topic as it was written: in a template `{unit}` stands for the id of each unit. Two of one unit are
/// the same if they are written the same.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Topic(String);

impl Topic {
    /// What stands for the unit's id.
    pub const UNIT: &str = "{unit}";

    /// A topic as it is written.
    #[must_use]
    pub fn new(written: impl Into<String>) -> Self {
        Self(written.into())
    }

    /// The unit's own.
    #[must_use]
    pub fn of(&self, unit: &str) -> Cow<'_, str> {
        if self.0.contains(Self::UNIT) {
            Cow::Owned(self.0.replace(Self::UNIT, unit))
        } else {
            Cow::Borrowed(&self.0)
        }
    }

    /// As it is written.
    #[must_use]
    pub fn as_written(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.0)
    }
}
