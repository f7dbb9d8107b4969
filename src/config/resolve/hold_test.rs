//! `[unit.*.hold_test]`: how long the pressure is watched, and what it may lose.

use std::time::Duration;

use super::super::{defaults, hold_test::HoldTestSettings, ranges, reader::Reader};

pub(super) const KEYS: &[&str] = &["minutes", "allowed_share", "allowed_drop", "least_pressure"];

pub(super) fn hold_test(reader: Option<&Reader<'_>>) -> HoldTestSettings {
    let field = |key| reader.and_then(|reader| reader.field(key));
    let usual = HoldTestSettings::default();
    HoldTestSettings {
        time: field("minutes")
            .and_then(|field| field.number_in(defaults::HOLD_TEST_MINUTES_RANGE))
            .map_or(usual.time, |minutes| {
                Duration::from_secs_f64(minutes * 60.0)
            }),
        allowed_share: field("allowed_share")
            .and_then(|field| field.share(defaults::HOLD_TEST_SHARE_RANGE))
            .unwrap_or(usual.allowed_share),
        allowed_drop: field("allowed_drop")
            .and_then(|field| field.quantity_in(ranges::hold_test_drop_range()))
            .unwrap_or(usual.allowed_drop),
        least_pressure: field("least_pressure")
            .and_then(|field| field.quantity_in(ranges::hold_test_least_range()))
            .unwrap_or(usual.least_pressure),
    }
}
