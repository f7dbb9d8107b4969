//! Which DI stages are watched by a probe, what the water behind each is like, and whose doing a rise
//! behind it can be. Follows from the configuration alone.

use crate::{
    config::{Point, StageKind, StageSettings, StageWater, UnitSettings},
    physics::swapped::Swap,
};

/// The probe behind a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Probe {
    /// The product's, which stands behind the last DI stage.
    Product,
    /// A sensor, by its index.
    Sensor(usize),
}

/// A DI stage with a probe behind it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Place {
    /// Index and id of the stage.
    pub stage: usize,
    pub id: String,
    pub probe: Probe,
    /// What the water behind it is while the resin works; none where both kinds of ions are taken.
    pub swap: Option<Swap>,
    /// The stage of the other kind before it: a rise may be that one's.
    pub partner: Option<usize>,
    /// Whether it is the last DI stage, whose water is the product.
    pub is_last: bool,
}

/// What DI stages have taken out of the water so far.
#[derive(Clone, Copy, Default)]
struct Before {
    cation: Option<usize>,
    anion: Option<usize>,
    mixed: bool,
}

fn is_di(stage: &StageSettings) -> bool {
    let takes = matches!(
        stage.kind,
        StageKind::Cation | StageKind::Anion | StageKind::MixedBed
    );
    takes && stage.water == StageWater::Permeate
}

/// The watched DI stages, in the order of the train.
pub(super) fn places(settings: &UnitSettings) -> Vec<Place> {
    let stages = settings.stages.iter().enumerate();
    let stages: Vec<(usize, &StageSettings)> = stages.filter(|(_, stage)| is_di(stage)).collect();
    let last = stages.last().map(|(index, _)| *index);
    let has_product = settings
        .sensors
        .iter()
        .any(|sensor| sensor.at == Point::ProductTds);
    let mut before = Before::default();
    let mut places = Vec::new();
    for (index, stage) in stages {
        let partner = match stage.kind {
            StageKind::Cation => before.anion,
            StageKind::Anion => before.cation,
            _ => None,
        };
        match stage.kind {
            StageKind::Cation => before.cation = Some(index),
            StageKind::Anion => before.anion = Some(index),
            _ => before.mixed = true,
        }
        let swap = match (before.cation, before.anion) {
            _ if before.mixed => None,
            (Some(_), None) => Some(Swap::Acid),
            (None, Some(_)) => Some(Swap::Alkali),
            (Some(_), Some(_)) | (None, None) => None,
        };
        let is_last = last == Some(index);
        let mut sensors = settings.sensors.iter();
        let own = sensors.position(|sensor| sensor.after_stage == Some(index));
        let probe = match own {
            Some(sensor) => Probe::Sensor(sensor),
            None if is_last && has_product => Probe::Product,
            None => continue,
        };
        places.push(Place {
            stage: index,
            id: stage.id.clone(),
            probe,
            swap,
            partner: partner.filter(|_| !before.mixed),
            is_last,
        });
    }
    places
}
