//! Costs as metrics.

use super::{CostState, Spent};
use crate::{
    config::{Point, UnitSettings},
    core::{
        known::{Known, Lack},
        run,
        stage::Stage,
        train::Train,
        values::Values,
    },
    metrics::Metric,
};

/// What is told of a time: all, then its parts.
type Row = [Metric; 4];

const TODAY: Row = [
    Metric::CostToday,
    Metric::CartridgesToday,
    Metric::WaterToday,
    Metric::WasteToday,
];
const MONTH: Row = [
    Metric::CostMonth,
    Metric::CartridgesMonth,
    Metric::WaterMonth,
    Metric::WasteMonth,
];
const LIFE: Row = [
    Metric::CostLife,
    Metric::CartridgesLife,
    Metric::WaterLife,
    Metric::WasteLife,
];
const LITRE: Row = [
    Metric::CostLitre,
    Metric::CartridgesLitre,
    Metric::WaterLitre,
    Metric::WasteLitre,
];
const LITRE_LAST_MONTH: Row = [
    Metric::CostLitreLastMonth,
    Metric::CartridgesLitreLastMonth,
    Metric::WaterLitreLastMonth,
    Metric::WasteLitreLastMonth,
];
/// Below this a price for a litre is that of a first sip.
const LEAST_PRODUCT_LITRES: f64 = 1.0;

/// Fills in the costs. A part without a price is left out of all; one whose litres nothing tells
/// leaves no whole.
pub(in crate::core) fn set_costs(
    values: &mut Values,
    state: &CostState,
    train: &Train,
    settings: &UnitSettings,
    stages: &[Stage],
) {
    let known = known_parts(train, settings, stages);
    let dated = |spent: Spent| state.days.day.map(|_| spent).ok_or(Lack::NoDate);
    let made = run::permeate_basis(train, settings)
        .map(|_| ())
        .ok_or(Lack::NoSensor(Point::PermeateFlow));
    for (metrics, spent, by_litre) in [
        (TODAY, dated(state.days.today), false),
        (MONTH, dated(state.days.month), false),
        (LIFE, Ok(state.life), false),
        (LITRE, Ok(state.life), true),
        (
            LITRE_LAST_MONTH,
            state.days.last_month.ok_or(Lack::TooEarly),
            true,
        ),
    ] {
        for (metric, known) in metrics.into_iter().zip(known) {
            let found = known.and_then(|part| {
                if by_litre {
                    made?;
                }
                let spent = spent?;
                match by_litre {
                    true if spent.product.litres() < LEAST_PRODUCT_LITRES => Err(Lack::TooEarly),
                    true => Ok(part(&spent) / spent.product.litres()),
                    false => Ok(part(&spent)),
                }
            });
            // Prices are the owner's word.
            values.set(metric, found.map(Known::assumed));
        }
    }
}

/// How to read a part of what was spent.
type Part = fn(&Spent) -> f64;

/// The whole and its parts, or why this configuration cannot tell them.
fn known_parts(
    train: &Train,
    settings: &UnitSettings,
    stages: &[Stage],
) -> [Result<Part, Lack>; 4] {
    let Some(prices) = &settings.costs else {
        return [Err(Lack::NoPrice); 4];
    };
    let priced = |is_priced: bool, is_told: bool, point, part: Part| match (is_priced, is_told) {
        (false, _) => Err(Lack::NoPrice),
        (true, false) => Err(Lack::NoSensor(point)),
        (true, true) => Ok(part),
    };
    let feed = run::feed_basis(train, settings).is_some();
    let concentrate = run::concentrate_basis(train, settings).is_some();
    let fillings = stages.iter().any(|stage| stage.price().is_some());
    let parts = [
        priced(fillings, true, Point::FeedFlow, |spent| spent.cartridges),
        priced(prices.water.is_some(), feed, Point::FeedFlow, |spent| {
            spent.water
        }),
        priced(
            prices.waste_water.is_some(),
            concentrate,
            Point::ConcentrateFlow,
            |spent| spent.waste,
        ),
    ];
    let lacks = || parts.iter().filter_map(|part| part.err());
    let whole = match lacks().find(|lack| *lack != Lack::NoPrice) {
        Some(lack) => Err(lack),
        None if lacks().count() == parts.len() => Err(Lack::NoPrice),
        None => Ok(Spent::total as Part),
    };
    let [cartridges, water, waste] = parts;
    [whole, cartridges, water, waste]
}
