//! `[unit.*.costs]`: currency and prices of water.

use super::super::{costs::Costs, field::Field, ranges, reader::Reader, settings::StageSettings};

pub(super) const KEYS: &[&str] = &["currency", "water", "waste_water"];

/// The table under `unit`, if there is one. A price of a stage means nothing without a currency.
pub(super) fn costs(unit: &Reader<'_>, stages: &[StageSettings]) -> Option<Costs> {
    let Some(reader) = unit.table("costs", KEYS) else {
        if !unit.has("costs") && stages.iter().any(|stage| stage.price.is_some()) {
            unit.missing(&format!(
                "a stage has a price, which needs a currency; write [{}.costs] with for example \
                 currency = \"EUR\"",
                unit.path
            ));
        }
        return None;
    };
    reader.require("currency", "currency = \"EUR\"");
    let price = |key: &str| {
        let field = reader.field(key)?;
        field.quantity_in(ranges::volume_price_range())
    };
    let (water, waste_water) = (price("water"), price("waste_water"));
    Some(Costs {
        currency: currency(&reader.field("currency")?)?,
        water,
        waste_water,
    })
}

fn currency(field: &Field<'_>) -> Option<String> {
    let text = field.text()?;
    if text.len() == 3 && text.bytes().all(|letter| letter.is_ascii_uppercase()) {
        return Some(text.to_owned());
    }
    field.wrong(format!(
        "{text:?} is no currency; write its three capital letters (ISO 4217), as in \"EUR\" or \"USD\""
    ));
    None
}
