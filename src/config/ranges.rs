//! Ranges of quantities that may be written, each with its reason. Unless said otherwise the reason is
//! common practice, no source.

use std::ops::RangeInclusive;

use crate::quantity::{
    Concentration, Conductivity, EquivalentConcentration, Equivalents, Flow, Mass, Pressure,
    ResinCapacity, Temperature, Volume, VolumePrice,
};

/// From the least step of a good gauge to a bar.
pub(super) fn hold_test_drop_range() -> RangeInclusive<Pressure> {
    Pressure::from_bar(0.005)..=Pressure::from_bar(1.0)
}

pub(super) fn hold_test_least_range() -> RangeInclusive<Pressure> {
    Pressure::from_bar(0.3)..=Pressure::from_bar(10.0)
}

/// Up to a thousand times that of bottled water in the weakest currencies.
pub(super) fn volume_price_range() -> RangeInclusive<VolumePrice> {
    VolumePrice::from_per_litre(0.0)..=VolumePrice::from_per_litre(1e7)
}

/// From the least a kit tells to what no carbon should let through.
pub(super) fn breakthrough_range() -> RangeInclusive<Concentration> {
    Concentration::from_mg_per_l(0.01)..=Concentration::from_mg_per_l(5.0)
}

/// From a filter's insert to a tank.
pub(super) fn media_range() -> RangeInclusive<Volume> {
    Volume::from_litres(0.01)..=Volume::from_litres(500.0)
}

/// From a small insert to a tank of loose carbon.
pub(super) fn rinse_range() -> RangeInclusive<Volume> {
    Volume::from_litres(0.5)..=Volume::from_litres(5000.0)
}

/// What home water and its membranes can have.
pub(crate) fn pressure_range() -> RangeInclusive<Pressure> {
    Pressure::from_bar(0.1)..=Pressure::from_bar(20.0)
}

/// Liquid, and below what membranes bear.
pub(crate) fn temperature_range() -> RangeInclusive<Temperature> {
    Temperature::from_celsius(0.1)..=Temperature::from_celsius(60.0)
}

/// From very soft to brackish.
pub(crate) fn feed_conductivity_range() -> RangeInclusive<Conductivity> {
    Conductivity::from_us_per_cm(1.0)..=Conductivity::from_us_per_cm(20_000.0)
}

/// From the purest water to the feed.
pub(super) fn product_conductivity_range() -> RangeInclusive<Conductivity> {
    Conductivity::from_us_per_cm(0.05)..=Conductivity::from_us_per_cm(20_000.0)
}

/// From the smallest element to a bank of the largest that stand in homes.
pub(super) fn rated_flow_range() -> RangeInclusive<Flow> {
    Flow::from_l_per_day(10.0)..=Flow::from_l_per_day(20_000.0)
}

/// What a sensor or a start threshold may be about.
pub(super) fn flow_range() -> RangeInclusive<Flow> {
    Flow::ZERO..=Flow::from_l_per_min(200.0)
}

/// From a drip to an open tap.
pub(super) fn leak_flow_range() -> RangeInclusive<Flow> {
    Flow::from_l_per_min(0.001)..=Flow::from_l_per_min(10.0)
}

/// What a pump or a filter adds or takes.
pub(super) fn pressure_difference_range() -> RangeInclusive<Pressure> {
    Pressure::from_bar(0.01)..=Pressure::from_bar(10.0)
}

/// Less would be told by what a meter had not yet reported.
pub(super) fn balance_range() -> RangeInclusive<Volume> {
    Volume::from_litres(1.0)..=Volume::from_litres(1000.0)
}

/// A start threshold of zero would start a run on nothing.
pub(super) fn start_flow_range() -> RangeInclusive<Flow> {
    Flow::from_l_per_min(0.001)..=Flow::from_l_per_min(10.0)
}

/// From a glass to more than a household's storage.
pub(super) fn short_run_range() -> RangeInclusive<Volume> {
    Volume::from_litres(0.1)..=Volume::from_litres(200.0)
}

pub(super) fn settle_range() -> RangeInclusive<Volume> {
    Volume::ZERO..=Volume::from_litres(50.0)
}

pub(super) fn break_in_range() -> RangeInclusive<Volume> {
    Volume::ZERO..=Volume::from_litres(10_000.0)
}

pub(super) fn life_range() -> RangeInclusive<Volume> {
    Volume::from_litres(1.0)..=Volume::from_litres(10_000_000.0)
}

/// From rain to the hardest wells.
pub(crate) fn alkalinity_range() -> RangeInclusive<EquivalentConcentration> {
    let caco3 = EquivalentConcentration::from_mg_per_l_caco3;
    caco3(1.0)..=caco3(1000.0)
}

/// From none, as behind a softener.
pub(crate) fn hardness_range() -> RangeInclusive<EquivalentConcentration> {
    EquivalentConcentration::ZERO..=*alkalinity_range().end()
}

/// Water works stay below 4 mg/L; some more is a shock treatment.
pub(crate) fn disinfectant_level_range() -> RangeInclusive<Concentration> {
    Concentration::ZERO..=Concentration::from_mg_per_l(10.0)
}

/// Behind carbon there is never more than before it.
pub(crate) fn total_chlorine_range() -> RangeInclusive<Concentration> {
    disinfectant_level_range()
}

/// Up to volcanic ground water.
pub(crate) fn silica_range() -> RangeInclusive<Concentration> {
    Concentration::ZERO..=Concentration::from_mg_per_l(150.0)
}

/// From a filter's insert to a bank of tanks.
pub(super) fn disinfectant_range() -> RangeInclusive<Mass> {
    Mass::from_grams(0.1)..=Mass::from_grams(100_000.0)
}

/// From a sample to a bank of tanks.
pub(super) fn resin_range() -> RangeInclusive<Volume> {
    Volume::from_litres(0.05)..=Volume::from_litres(500.0)
}

/// The same, for a nearly spent to the best resin.
pub(super) fn ions_range() -> RangeInclusive<Equivalents> {
    Equivalents::from_meq(5.0)..=Equivalents::from_eq(1250.0)
}

/// From a poor mixture to the best cation resin.
pub(super) fn resin_capacity_range() -> RangeInclusive<ResinCapacity> {
    ResinCapacity::from_eq_per_l(0.1)..=ResinCapacity::from_eq_per_l(2.5)
}
