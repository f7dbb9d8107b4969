//! `[unit.*.alert.*]` of sensors that lie and of the hydraulics. Whatever is not written has its
//! default.

use std::{collections::BTreeMap, ops::RangeInclusive, time::Duration};

use super::{
    super::{
        defaults,
        field::Field,
        limits::{BalanceLimits, Band, DoubtLimits, HydraulicLimits, ImplausibleLimits},
        ranges,
        reader::Reader,
    },
    alert::{Beyond, Rule, SHARE, enabled},
};
use crate::quantity::{Flow, Pressure, Quantity, Temperature, Volume};

pub(super) const IMPLAUSIBLE_KEYS: &[&str] = &[
    "share",
    "window",
    "probe_error",
    "hold",
    "clear_hold",
    "enabled",
];
pub(super) const STUCK_KEYS: &[&str] = &["run_time", "enabled"];
pub(super) const BALANCE_KEYS: &[&str] = &["limit", "clear", "volume", "enabled"];
pub(super) const BAND_KEYS: &[&str] = &["low", "high", "hold", "clear_hold", "enabled"];
pub(super) const PREFILTER_KEYS: &[&str] =
    &["limit", "clear", "factor", "hold", "clear_hold", "enabled"];

/// A limit of exactly nothing or everything would always or never be passed.
const RECOVERY_RANGE: RangeInclusive<f64> = 0.01..=0.95;

type Tables<'r> = BTreeMap<&'static str, Reader<'r>>;

pub(super) fn doubts(tables: &Tables<'_>) -> DoubtLimits {
    let stuck = tables.get("sensor_stuck");
    let run_time = field(stuck, "run_time")
        .and_then(|field| field.duration_in(defaults::STUCK_RUN_TIME_RANGE))
        .unwrap_or(defaults::STUCK_RUN_TIME);
    DoubtLimits {
        sensor_implausible: implausible(tables.get("sensor_implausible")),
        sensor_stuck: enabled(stuck).then_some(run_time),
        balance_open: balance(tables.get("balance_open")),
    }
}

fn implausible(table: Option<&Reader<'_>>) -> Option<ImplausibleLimits> {
    let share = field(table, "share").and_then(|field| field.share(SHARE));
    let window = field(table, "window")
        .and_then(|field| field.duration_in(defaults::IMPLAUSIBLE_WINDOW_RANGE));
    let probe_error =
        field(table, "probe_error").and_then(|field| field.share(defaults::PROBE_ERROR_RANGE));
    let (hold, clear_hold) = holds(table, defaults::QUALITY_HOLD);
    enabled(table).then(|| ImplausibleLimits {
        share: share.unwrap_or(defaults::IMPLAUSIBLE_SHARE),
        window: window.unwrap_or(defaults::IMPLAUSIBLE_WINDOW),
        probe_error: probe_error.unwrap_or(defaults::PROBE_ERROR),
        hold,
        clear_hold,
    })
}

fn balance(table: Option<&Reader<'_>>) -> Option<BalanceLimits> {
    // Judged by volume, so that nothing has to hold for a time.
    let limit = Rule {
        beyond: Beyond::Above,
        limit: defaults::BALANCE,
        clear: &|limit: f64| limit * defaults::BALANCE_CLEAR_RATIO,
        hold: Duration::ZERO,
        read: &|field| field.share(SHARE),
    }
    .limit(table);
    let volume = field(table, "volume")
        .and_then(|field| field.quantity_in(ranges::balance_range()))
        .unwrap_or_else(|| Volume::from_litres(defaults::BALANCE_LITRES));
    limit.map(|limit| BalanceLimits {
        raise: limit.raise,
        clear: limit.clear,
        volume,
    })
}

pub(super) fn hydraulics(tables: &Tables<'_>, waste_ratio: Option<f64>) -> HydraulicLimits {
    let read = |field: &Field<'_>| field.quantity_in(ranges::pressure_difference_range());
    let factor = field(tables.get("prefilter_clogging"), "factor")
        .and_then(|field| field.number_in(defaults::PREFILTER_FACTOR_RANGE));
    HydraulicLimits {
        shutoff_leaking: Rule {
            beyond: Beyond::Above,
            limit: Flow::from_l_per_min(defaults::SHUTOFF_L_PER_MIN),
            clear: &|limit: Flow| limit * defaults::SHUTOFF_CLEAR,
            hold: defaults::SHUTOFF_HOLD,
            read: &|field| field.quantity_in(ranges::leak_flow_range()),
        }
        .limit(tables.get("shutoff_leaking")),
        recovery_out_of_range: recovery(tables.get("recovery_out_of_range"), waste_ratio),
        prefilter_clogging: Rule {
            beyond: Beyond::Above,
            limit: Pressure::from_psi(defaults::PREFILTER_PSI),
            clear: &|limit: Pressure| limit * defaults::PREFILTER_CLEAR,
            hold: defaults::PREFILTER_HOLD,
            read: &read,
        }
        .limit(tables.get("prefilter_clogging")),
        prefilter_factor: factor.unwrap_or(defaults::PREFILTER_FACTOR),
        pump_not_lifting: Rule {
            beyond: Beyond::Below,
            limit: Pressure::from_bar(defaults::PUMP_LIFT_BAR),
            clear: &|limit: Pressure| limit * defaults::PUMP_LIFT_CLEAR,
            hold: defaults::PUMP_LIFT_HOLD,
            read: &read,
        }
        .limit(tables.get("pump_not_lifting")),
        feed_temperature_out_of_range: temperature(tables.get("feed_temperature_out_of_range")),
        leak: enabled(tables.get("leak")),
    }
}

/// Round the configured waste ratio, or what no home unit should leave.
fn recovery(table: Option<&Reader<'_>>, waste_ratio: Option<f64>) -> Option<Band<f64>> {
    let of_ratio = |ratio: f64| 1.0 / (1.0 + ratio);
    let within = defaults::WASTE_RATIO_WITHIN;
    let (low, high) = waste_ratio.map_or(defaults::RECOVERY, |ratio| {
        (
            of_ratio(ratio * (1.0 + within)),
            of_ratio(ratio * (1.0 - within)),
        )
    });
    let read = |key: &str| field(table, key).and_then(|field| field.share(RECOVERY_RANGE));
    let (low, high) = (read("low").unwrap_or(low), read("high").unwrap_or(high));
    let middle = (low + high) / 2.0;
    check_order(table, (low, high), |share| {
        format!("{:.1} %", share * 100.0)
    });
    let (hold, clear_hold) = holds(table, defaults::RECOVERY_HOLD);
    enabled(table).then(|| Band {
        low,
        high,
        clear_low: (low * (1.0 + defaults::RECOVERY_CLEAR)).min(middle),
        clear_high: (high * (1.0 - defaults::RECOVERY_CLEAR)).max(middle),
        hold,
        clear_hold,
    })
}

fn temperature(table: Option<&Reader<'_>>) -> Option<Band<Temperature>> {
    let read = |key: &str, default: f64| {
        field(table, key)
            .and_then(|field| field.quantity_in(ranges::temperature_range()))
            .unwrap_or_else(|| Temperature::from_celsius(default))
    };
    let (low, high) = (
        read("low", defaults::FEED_CELSIUS.0),
        read("high", defaults::FEED_CELSIUS.1),
    );
    check_order(table, (low, high), |limit| {
        format!("{} degC", limit.celsius())
    });
    let by = defaults::FEED_CELSIUS_CLEAR.min((high.celsius() - low.celsius()) / 2.0);
    let inside = |limit: Temperature, by: f64| Temperature::from_base(limit.base() + by);
    let (hold, clear_hold) = holds(table, defaults::QUALITY_HOLD);
    enabled(table).then(|| Band {
        low,
        high,
        clear_low: inside(low, by),
        clear_high: inside(high, -by),
        hold,
        clear_hold,
    })
}

fn check_order<Q: Copy + PartialOrd>(
    table: Option<&Reader<'_>>,
    (low, high): (Q, Q),
    shown: impl Fn(Q) -> String,
) {
    let written = ["high", "low"]
        .into_iter()
        .find_map(|key| field(table, key));
    if let Some(field) = written.filter(|_| low >= high) {
        field.wrong(format!(
            "low must be less than high, and here the range is {} to {}",
            shown(low),
            shown(high)
        ));
    }
}

fn holds(table: Option<&Reader<'_>>, usual: Duration) -> (Duration, Duration) {
    let read =
        |key: &str| field(table, key).and_then(|field| field.duration_in(defaults::HOLD_RANGE));
    let hold = read("hold").unwrap_or(usual);
    (hold, read("clear_hold").unwrap_or(hold))
}

fn field<'r>(table: Option<&Reader<'r>>, key: &str) -> Option<Field<'r>> {
    table.and_then(|table| table.field(key))
}
