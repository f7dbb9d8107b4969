//! The vessels of carbon before the membrane, and which of them a test tells of. Follows from the
//! configuration alone.

use crate::config::{StageKind, StageSettings, StageWater};

/// The vessels of carbon before the membrane, by their places in the train.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::core) struct Vessels {
    carbons: Vec<usize>,
    ids: Vec<String>,
}

impl Vessels {
    pub fn new(stages: &[StageSettings]) -> Self {
        let is_carbon = |stage: &StageSettings| {
            let kind = matches!(stage.kind, StageKind::Carbon | StageKind::CatalyticCarbon);
            kind && stage.water == StageWater::Feed
        };
        Self {
            carbons: (0..stages.len())
                .filter(|at| is_carbon(&stages[*at]))
                .collect(),
            ids: stages.iter().map(|stage| stage.id.clone()).collect(),
        }
    }

    /// The last before the membrane, by its place in the train.
    pub fn last(&self) -> Option<usize> {
        self.carbons.last().copied()
    }

    pub fn is_carbon(&self, place: usize) -> bool {
        self.carbons.contains(&place)
    }

    /// The vessel that a test behind `after` tells of: the nearest carbon before that place; without a
    /// place the last. None for a test before all carbon.
    pub(in crate::core) fn told_of(&self, after: Option<&str>) -> Option<usize> {
        let Some(after) = after else {
            return self.last();
        };
        let at = self.ids.iter().position(|id| id == after)?;
        self.carbons
            .iter()
            .rev()
            .copied()
            .find(|carbon| *carbon <= at)
    }

    /// Whether a place is that stage's.
    pub(in crate::core) fn is(&self, carbon: usize, stage: &str) -> bool {
        self.ids.get(carbon).is_some_and(|id| id == stage)
    }
}
