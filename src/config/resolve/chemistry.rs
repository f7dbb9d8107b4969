//! The feed's chemistry in `[unit.*.supply]`.

use super::super::{
    chemistry::{Capacity, Disinfectant, FeedChemistry},
    defaults,
    field::Field,
    ranges,
    reader::Reader,
    settings::StageSettings,
};
use crate::{
    physics::carbonate,
    quantity::{Concentration, EquivalentConcentration, Ph},
    time::Wall,
};

pub(super) fn chemistry(reader: &Reader<'_>) -> FeedChemistry {
    let kinds = [
        ("chlorine", Disinfectant::Chlorine),
        ("chloramine", Disinfectant::Chloramine),
        ("none", Disinfectant::None),
    ];
    let disinfectant = reader
        .field("disinfectant")
        .and_then(|field| field.one_of("disinfectant", &kinds));
    let level = reader
        .field("disinfectant_level")
        .and_then(|field| field.quantity_in(ranges::disinfectant_level_range()));
    let level = if disinfectant == Some(Disinfectant::None) {
        let sentence = "there is no level of disinfectant = \"none\"; leave it out";
        reader.misplaced("disinfectant_level", sentence);
        Some(Concentration::ZERO)
    } else {
        level
    };
    let alkalinity = reader
        .field("alkalinity")
        .and_then(|field| field.quantity_in(ranges::alkalinity_range()));
    let acidity = reader.field("ph");
    let ph = acidity
        .as_ref()
        .and_then(|field| field.number_in(defaults::PH_RANGE))
        .and_then(Ph::new);
    let hardness = |key| {
        reader
            .field(key)
            .and_then(|field| field.quantity_in(ranges::hardness_range()))
    };
    if let (Some(alkalinity), Some(ph), Some(field)) = (alkalinity, ph, &acidity) {
        can_be(field, alkalinity, ph);
    }
    FeedChemistry {
        alkalinity,
        calcium: hardness("calcium"),
        hardness: hardness("hardness"),
        ph,
        disinfectant,
        disinfectant_level: level,
        silica: reader
            .field("silica")
            .and_then(|field| field.quantity_in(ranges::silica_range())),
        tds: None,
        tested: reader
            .field("tested")
            .and_then(|field| field.date())
            .and_then(Wall::from_date),
    }
}

/// Reports a pair that no water has: one of the two tests is wrong.
fn can_be(field: &Field<'_>, alkalinity: EquivalentConcentration, ph: Ph) {
    if let Some(contradiction) = carbonate::contradiction(alkalinity, ph) {
        field.wrong(contradiction);
    }
}

/// Grams of disinfectant are counted by its level in the feed.
pub(super) fn carbon_needs_a_level(
    unit: &Reader<'_>,
    stages: &[StageSettings],
    chemistry: &FeedChemistry,
) {
    let carbon = stages
        .iter()
        .find(|stage| matches!(stage.capacity, Some(Capacity::Disinfectant(_))));
    if let (Some(stage), None) = (carbon, chemistry.disinfectant_level) {
        unit.wrong(format!(
            "what carbon {:?} has taken is counted in grams of disinfectant, which needs \
             disinfectant_level = \"1 mg/L\" in [{}.supply] (or disinfectant = \"none\")",
            stage.id, unit.path
        ));
    }
}
