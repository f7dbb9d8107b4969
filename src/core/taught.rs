//! What follows from the settings and from what the runs have taught, worked out when one of them
//! changes: at the end of a run or at the keeper's word, and not at every look.

use super::{
    alert::{self, Judgement},
    causes::LikelyCause,
    known::{Finding, Known, Lack},
    membrane::{MembraneState, Ways, WearFigures},
    performance::rating_point,
};
use crate::{
    config::UnitSettings,
    physics::{driven::Driven, membrane::TemperatureLaw},
    quantity::Flow,
};

#[derive(Clone, Debug)]
pub(super) struct Taught {
    /// How permeability goes with temperature, as far as is known.
    pub law: TemperatureLaw,
    /// The rated flow and the conditions it is rated at.
    pub rating: Finding<(Flow, Driven)>,
    /// Trend, change and forecasts of the element.
    pub wear: WearFigures,
    /// How far it is on its way to its limits.
    pub ways: Ways,
    /// What has probably come over the element.
    pub causes: Vec<LikelyCause>,
    /// What the alerts about its trends judge.
    pub flow_falling: Option<Judgement>,
    pub salt_rising: Option<Judgement>,
}

impl Taught {
    pub fn of(membrane: &MembraneState, settings: &UnitSettings) -> Self {
        let law = membrane.law();
        let rating = settings.membrane.as_ref().ok_or(Lack::NoReference);
        let rating = rating.and_then(|rating| {
            let driven = Driven::new(rating_point(rating), &law).ok_or(Lack::NotPhysical)?;
            Ok(Known::measured((rating.flow, driven)))
        });
        Self {
            law,
            rating,
            wear: membrane.wear_figures(&settings.alerts),
            ways: membrane.ways(&settings.alerts),
            causes: membrane.likely_causes(),
            flow_falling: alert::flow_falling(membrane, &settings.alerts),
            salt_rising: alert::salt_rising(membrane, &settings.alerts),
        }
    }
}
