//! `[unit.*.alert.*]` of what no sensor tells: tests by hand, rinses, the water's analysis. Whatever is
//! not written has its default.

use std::{collections::BTreeMap, time::Duration};

use super::{
    super::{chemistry::Disinfectant, defaults, limits::CareLimits, ranges, reader::Reader},
    alert::{Beyond, Rule, enabled},
};
use crate::quantity::Concentration;

pub(super) const TEST_DUE_KEYS: &[&str] = &["every", "enabled"];
pub(super) const BREAKTHROUGH_KEYS: &[&str] = &["limit", "enabled"];

pub(super) fn care(
    tables: &BTreeMap<&'static str, Reader<'_>>,
    disinfectant: Option<Disinfectant>,
) -> CareLimits {
    let field = |code: &str, key: &str| tables.get(code)?.field(key);
    let on = |code: &str| enabled(tables.get(code));
    // Where nothing is known of a disinfectant, or there is none, only who writes `every` is reminded.
    let every = match field("test_due", "every") {
        Some(field) => field.duration_in(defaults::TEST_DUE_RANGE),
        None => match disinfectant {
            Some(Disinfectant::Chloramine) => Some(defaults::TEST_DUE_CHLORAMINE),
            Some(Disinfectant::Chlorine) => Some(defaults::TEST_DUE_CHLORINE),
            Some(Disinfectant::None) | None => None,
        },
    };
    let limit = field("chlorine_breakthrough", "limit")
        .and_then(|field| field.quantity_in(ranges::breakthrough_range()));
    let default = Concentration::from_mg_per_l(defaults::BREAKTHROUGH_MG_PER_L);
    CareLimits {
        test_due: every.filter(|_| on("test_due")),
        chlorine_breakthrough: on("chlorine_breakthrough"),
        positive: limit.unwrap_or(default),
        rinse_due: on("rinse_due"),
        scaling_risk: Rule {
            beyond: Beyond::Above,
            limit: defaults::SCALING_INDEX,
            clear: &|limit: f64| limit - defaults::SCALING_CLEAR_BELOW,
            hold: Duration::ZERO,
            read: &|field| field.number_in(defaults::SCALING_RANGE),
        }
        .limit(tables.get("scaling_risk")),
    }
}
