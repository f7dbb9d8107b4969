//! What the owner's own figures and hands allow: costs, and the pressure hold test.

use super::{pressure, rows};
use crate::{
    config::{StageSettings, UnitSettings},
    core::hold_test,
    quantity::duration_text,
};

/// The prices that are written, and those that are not.
pub(super) fn costs(unit: &UnitSettings) -> Vec<String> {
    let Some(costs) = &unit.costs else {
        return vec![rows::row(
            "costs",
            &format!("absent: no prices in [unit.{}.costs]", unit.table),
        )];
    };
    let names = |wanted: &dyn Fn(&StageSettings) -> bool| {
        let stages = unit.stages.iter().filter(|stage| wanted(stage));
        let ids: Vec<&str> = stages.map(|stage| stage.id.as_str()).collect();
        ids.join(", ")
    };
    let mut told = vec![format!("in {}", costs.currency)];
    let missing = names(&|stage| stage.price.is_none());
    if !missing.is_empty() {
        told.push(format!("no price of {missing}"));
    }
    let at_once = names(&|stage| {
        stage.price.is_some()
            && stage.life_volume.is_none()
            && stage.life_time.is_none()
            && stage.capacity.is_none()
    });
    if !at_once.is_empty() {
        told.push(format!("without a life, counted when replaced: {at_once}"));
    }
    vec![rows::row("costs", &told.join("; "))]
}

/// Whether a pressure hold test can be made, and how.
pub(super) fn hold_test(unit: &UnitSettings) -> String {
    let words = match hold_test::gauge(unit) {
        None => "absent: no sensor: feed_pressure, supply_pressure".to_owned(),
        Some(gauge) => format!(
            "by {}, {} from {} on",
            gauge.key(),
            duration_text(unit.hold_test.time),
            pressure(unit.hold_test.least_pressure)
        ),
    };
    rows::row("pressure hold test", &words)
}
