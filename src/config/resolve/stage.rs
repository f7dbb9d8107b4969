//! `[[unit.*.stage]]`: the train, from supply to storage.

use super::{
    super::{
        chemistry::Capacity,
        defaults,
        field::Field,
        ranges,
        reader::Reader,
        settings::{StageKind, StageSettings, StageWater},
    },
    capacity,
};

pub(super) const KEYS: &[&str] = &[
    "id",
    "kind",
    "name",
    "life",
    "life_time",
    "resin",
    "capacity",
    "rated",
    "rated_level",
    "installed",
    "lead_time",
    "price",
    "media",
    "rinse",
];

/// The stages in their order. One whose id or kind is wrong keeps its place under a stand-in,
/// which goes no further: its problem has been reported.
pub(super) fn stages(unit: &Reader<'_>) -> Vec<StageSettings> {
    let readers = unit.tables("stage", KEYS);
    let mut stages: Vec<StageSettings> = readers.iter().map(stage).collect();
    for (at, reader) in readers.iter().enumerate() {
        let (before, here) = (&stages[..at], &stages[at]);
        if before
            .iter()
            .any(|stage| !stage.id.is_empty() && stage.id == here.id)
            && let Some(field) = reader.field("id")
        {
            field.wrong(format!("another stage has the id {:?} already", here.id));
        }
        if here.kind == StageKind::Membrane
            && before.iter().any(|stage| stage.kind == StageKind::Membrane)
            && let Some(field) = reader.field("kind")
        {
            field.wrong(format!(
                "the train has a membrane stage already; several elements are one stage, with \
                 elements = 2 in [{}.membrane]",
                unit.path
            ));
        }
    }
    let membrane = stages
        .iter()
        .position(|stage| stage.kind == StageKind::Membrane);
    for (at, stage) in stages.iter_mut().enumerate() {
        stage.water = water(stage.kind, at, membrane);
        capacity_in_place(&readers[at], stage);
        carbon_in_place(&readers[at], stage);
    }
    stages
}

/// Ions are counted in permeate and disinfectant in the feed: on the other side of the membrane a
/// capacity would count for nothing.
fn capacity_in_place(reader: &Reader<'_>, stage: &StageSettings) {
    let sentence = match (stage.capacity, stage.water) {
        (Some(Capacity::Ions(_)), StageWater::Feed) => {
            "what resin before the membrane takes is not counted; write life or life_time"
        }
        (Some(Capacity::Disinfectant(_)), StageWater::Permeate) => {
            "disinfectant is counted before the membrane only; write life or life_time"
        }
        (Some(Capacity::Ions(_)), StageWater::Permeate)
        | (Some(Capacity::Disinfectant(_)), StageWater::Feed)
        | (None, _) => return,
    };
    for key in ["resin", "capacity", "rated"] {
        reader.misplaced(key, sentence);
    }
}

/// Contact and rinse are reckoned in feed, and only carbon has them.
fn carbon_in_place(reader: &Reader<'_>, stage: &StageSettings) {
    let is_carbon = matches!(stage.kind, StageKind::Carbon | StageKind::CatalyticCarbon);
    if is_carbon && stage.water == StageWater::Feed {
        return;
    }
    for key in ["media", "rinse"] {
        reader.misplaced(key, "it belongs to carbon before the membrane");
    }
}

/// A stage before the membrane sees the whole feed. Without a membrane in the train its kind
/// decides: resin follows the membrane, filters precede it.
fn water(kind: StageKind, at: usize, membrane: Option<usize>) -> StageWater {
    let before = match (membrane, kind) {
        (Some(membrane), _) => at < membrane,
        (
            None,
            StageKind::Sediment
            | StageKind::Carbon
            | StageKind::CatalyticCarbon
            | StageKind::BoosterPump,
        ) => true,
        (
            None,
            StageKind::Membrane | StageKind::Cation | StageKind::Anion | StageKind::MixedBed,
        ) => false,
    };
    if before {
        StageWater::Feed
    } else {
        StageWater::Permeate
    }
}

fn stage(reader: &Reader<'_>) -> StageSettings {
    reader.require("id", "id = \"carbon-1\"");
    reader.require("kind", "kind = \"carbon\"");
    let kinds = StageKind::ALL.map(|kind| (kind.key(), kind));
    let id = reader
        .field("id")
        .and_then(|field| field.id().map(str::to_owned))
        .unwrap_or_default();
    let kind = reader
        .field("kind")
        .and_then(|field| field.one_of("kind of stage", &kinds));
    StageSettings {
        name: reader
            .field("name")
            .and_then(|field| field.text().map(str::to_owned))
            .unwrap_or_else(|| id.clone()),
        id,
        kind: kind.unwrap_or(StageKind::Sediment),
        capacity: kind.and_then(|kind| capacity::capacity(reader, kind)),
        water: StageWater::Feed,
        life_volume: reader
            .field("life")
            .and_then(|field| field.quantity_in(ranges::life_range())),
        life_time: reader
            .field("life_time")
            .and_then(|field| field.duration_in(defaults::LIFE_TIME_RANGE)),
        installed: reader
            .field("installed")
            .and_then(|field| installed(&field)),
        lead_time: reader
            .field("lead_time")
            .and_then(|field| field.duration_in(defaults::LEAD_TIME_RANGE)),
        price: reader
            .field("price")
            .and_then(|field| field.number_in(defaults::PRICE_RANGE)),
        media: reader
            .field("media")
            .and_then(|field| field.quantity_in(ranges::media_range())),
        rinse: reader
            .field("rinse")
            .and_then(|field| field.quantity_in(ranges::rinse_range())),
    }
}

fn installed(field: &Field<'_>) -> Option<jiff::civil::Date> {
    let date = field.date()?;
    if date.year() < defaults::EARLIEST_INSTALLED_YEAR {
        field.wrong(format!(
            "the year {} is too early; {} is the earliest allowed",
            date.year(),
            defaults::EARLIEST_INSTALLED_YEAR
        ));
        return None;
    }
    Some(date)
}
