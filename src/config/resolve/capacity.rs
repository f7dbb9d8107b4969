//! `resin`, `capacity`, `rated` and `rated_level` of a stage: what it can take until it is spent.

use super::super::{
    chemistry::{Capacity, IonCapacity},
    defaults,
    field::Field,
    ranges,
    reader::Reader,
    settings::StageKind,
};
use crate::{
    physics::{carbon, resin::MixedBed},
    quantity::{Equivalents, Mass, ResinCapacity, Volume},
};

/// The capacity as configured; `None` when nothing is said, or it is wrong.
pub(super) fn capacity(reader: &Reader<'_>, kind: StageKind) -> Option<Capacity> {
    match kind {
        StageKind::Cation | StageKind::Anion | StageKind::MixedBed => {
            for key in ["rated", "rated_level"] {
                reader.misplaced(key, "resin is not rated so; write resin or capacity");
            }
            ions(reader, kind).map(Capacity::Ions)
        }
        StageKind::Carbon | StageKind::CatalyticCarbon => {
            reader.misplaced(
                "resin",
                "there is no resin in carbon; write capacity or rated",
            );
            disinfectant(reader).map(Capacity::Disinfectant)
        }
        StageKind::BoosterPump | StageKind::Membrane | StageKind::Sediment => {
            for key in ["resin", "capacity", "rated", "rated_level"] {
                let sentence = "only carbon and resin have a capacity; write life or life_time";
                reader.misplaced(key, sentence);
            }
            None
        }
    }
}

fn ions(reader: &Reader<'_>, kind: StageKind) -> Option<IonCapacity> {
    let resin: Option<Volume> = reader
        .field("resin")
        .and_then(|field| field.quantity_in(ranges::resin_range()));
    let Some(field) = reader.field("capacity") else {
        return by_kind(resin?, kind);
    };
    let whole = if is_by_volume(&field) {
        let each: ResinCapacity = field.quantity_in(ranges::resin_capacity_range())?;
        if !reader.has("resin") {
            field.wrong("how much resin there is must be known, too; write resin = \"1.2 L\"");
        }
        each.of_resin(resin?)
    } else {
        reader.misplaced(
            "resin",
            "capacity tells all already; leave resin out, or write capacity for each litre (eq/L)",
        );
        field.quantity_in(ranges::ions_range())?
    };
    Some(of_sides(kind, whole, whole, [1.0; 3]))
}

/// "0.6 eq/L" rather than "600 meq".
fn is_by_volume(field: &Field<'_>) -> bool {
    matches!(&field.node.value, super::super::tree::Value::Text(text) if text.contains('/'))
}

/// Fresh resin in the acid and base form, of which a part is used.
fn by_kind(resin: Volume, kind: StageKind) -> Option<IonCapacity> {
    let cation = ResinCapacity::from_eq_per_l(defaults::CATION_EQ_PER_L);
    let anion = ResinCapacity::from_eq_per_l(defaults::ANION_EQ_PER_L);
    let (cation, anion) = if kind == StageKind::MixedBed {
        let mixed = MixedBed::of(cation, anion, defaults::ANION_PARTS)?;
        (mixed.cation, mixed.anion)
    } else {
        (cation, anion)
    };
    let (cation, anion) = (cation.of_resin(resin), anion.of_resin(resin));
    Some(of_sides(kind, cation, anion, defaults::USABLE))
}

fn of_sides(
    kind: StageKind,
    cation: Equivalents,
    anion: Equivalents,
    usable: [f64; 3],
) -> IonCapacity {
    IonCapacity {
        cation: (kind != StageKind::Anion).then_some(cation),
        anion: (kind != StageKind::Cation).then_some(anion),
        usable,
    }
}

fn disinfectant(reader: &Reader<'_>) -> Option<Mass> {
    reader.not_both("capacity", "rated");
    let capacity = reader
        .field("capacity")
        .and_then(|field| field.quantity_in(ranges::disinfectant_range()));
    let level = reader
        .field("rated_level")
        .and_then(|field| field.quantity_in(ranges::disinfectant_level_range()));
    let Some(field) = reader.field("rated") else {
        reader.misplaced("rated_level", "it belongs to rated = \"10000 L\"");
        return capacity;
    };
    let rated = field.quantity_in(ranges::life_range())?;
    if !reader.has("rated_level") {
        field.wrong(
            "rated litres mean something only with the level of their test; write rated_level = \
             \"2 mg/L\"",
        );
    }
    let mass = carbon::rated_capacity(rated, level?);
    if mass.is_none() {
        field.wrong("a rating at a level of nothing says nothing");
    }
    mass
}
