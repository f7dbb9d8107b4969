//! `[unit.*.alert.*]`: one table per alert code. Whatever is not written has its default; the
//! default of `clear` follows a written `limit`.

use std::{collections::BTreeMap, ops::RangeInclusive, time::Duration};

use super::{
    super::{
        alerting::{AlertSettings, Limit},
        chemistry::Disinfectant,
        defaults,
        field::Field,
        nearest::hint,
        ranges,
        reader::Reader,
    },
    care,
    supply::dissolved,
    watch,
};
use crate::quantity::{Conductivity, Pressure, Tds, TdsScale, Volume};

const LIMIT_KEYS: &[&str] = &["limit", "clear", "hold", "clear_hold", "enabled"];
const NORMALIZED_FLOW_KEYS: &[&str] = &[
    "limit",
    "clear",
    "limit_of_rating",
    "hold",
    "clear_hold",
    "enabled",
];
const STAGE_LOW_KEYS: &[&str] = &["limit", "clear", "days", "hold", "clear_hold", "enabled"];
const SWITCH_KEYS: &[&str] = &["enabled"];
const STAGE_OVERDUE_KEYS: &[&str] = &["limit", "enabled"];
const SILENT_KEYS: &[&str] = &["grace", "enabled"];
const SHORT_CYCLING_KEYS: &[&str] = &["limit", "clear", "volume", "hold", "clear_hold", "enabled"];
const RUN_TOO_LONG_KEYS: &[&str] = &["limit", "enabled"];
const FLUSH_MISSED_KEYS: &[&str] = &["runs", "run_time", "enabled"];

/// Every code with the keys of its table.
pub(in super::super) const TABLES: &[(&str, &[&str])] = &[
    ("product_tds_high", LIMIT_KEYS),
    ("permeate_tds_high", LIMIT_KEYS),
    ("rejection_low", LIMIT_KEYS),
    ("normalized_flow_low", NORMALIZED_FLOW_KEYS),
    ("normalized_flow_falling", LIMIT_KEYS),
    ("salt_passage_rising", LIMIT_KEYS),
    ("feed_pressure_low", LIMIT_KEYS),
    ("feed_pressure_high", LIMIT_KEYS),
    ("stage_low", STAGE_LOW_KEYS),
    ("stage_exhausted", SWITCH_KEYS),
    ("stage_overdue", STAGE_OVERDUE_KEYS),
    ("stage_leaking", SWITCH_KEYS),
    ("sensor_silent", SILENT_KEYS),
    ("short_cycling", SHORT_CYCLING_KEYS),
    ("run_too_long", RUN_TOO_LONG_KEYS),
    ("flush_missed", FLUSH_MISSED_KEYS),
    ("sensor_implausible", watch::IMPLAUSIBLE_KEYS),
    ("sensor_stuck", watch::STUCK_KEYS),
    ("balance_open", watch::BALANCE_KEYS),
    ("shutoff_leaking", LIMIT_KEYS),
    ("recovery_out_of_range", watch::BAND_KEYS),
    ("prefilter_clogging", watch::PREFILTER_KEYS),
    ("pump_not_lifting", LIMIT_KEYS),
    ("feed_temperature_out_of_range", watch::BAND_KEYS),
    ("leak", SWITCH_KEYS),
    ("test_due", care::TEST_DUE_KEYS),
    ("chlorine_breakthrough", care::BREAKTHROUGH_KEYS),
    ("rinse_due", SWITCH_KEYS),
    ("scaling_risk", LIMIT_KEYS),
];

/// A share of what is best; an alert at 0 or at 1 would never or always be raised.
pub(super) const SHARE: RangeInclusive<f64> = 0.01..=0.9999;

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Beyond {
    Above,
    Below,
}

/// How one limit is read, shown and filled in.
pub(super) struct Rule<'a, Q> {
    pub(super) beyond: Beyond,
    pub(super) limit: Q,
    pub(super) clear: &'a dyn Fn(Q) -> Q,
    pub(super) hold: Duration,
    pub(super) read: &'a dyn Fn(&Field<'_>) -> Option<Q>,
}

pub(super) fn alerts(
    field: Option<&Field<'_>>,
    scale: TdsScale,
    waste_ratio: Option<f64>,
    disinfectant: Option<Disinfectant>,
) -> AlertSettings {
    let alerts = field.and_then(Reader::open_any);
    if let Some(alerts) = &alerts {
        refuse_unknown(alerts);
    }
    // Each table is opened once, or its unknown keys would be told twice.
    let tables: BTreeMap<&str, Reader<'_>> = TABLES
        .iter()
        .filter_map(|(code, keys)| Some((*code, alerts.as_ref()?.table(code, keys)?)))
        .collect();
    let table = |code: &str| tables.get(code);
    let concentration = |code: &str, limit, ratio: f64| {
        let rule = Rule {
            beyond: Beyond::Above,
            limit: scale.conductivity(Tds::from_mg_per_l(limit)),
            clear: &|limit: Conductivity| limit * ratio,
            hold: defaults::QUALITY_HOLD,
            read: &|field| dissolved(field, Some(scale), &ranges::product_conductivity_range()),
        };
        rule.limit(table(code))
    };
    let pressure = |code: &str, beyond, limit, ratio: f64, hold| {
        let rule = Rule {
            beyond,
            limit: Pressure::from_psi(limit),
            clear: &|limit: Pressure| limit * ratio,
            hold,
            read: &|field| field.quantity_in(ranges::pressure_range()),
        };
        rule.limit(table(code))
    };
    let share = |code: &str, limit, clear: &dyn Fn(f64) -> f64, hold| {
        let rule = Rule {
            beyond: Beyond::Below,
            limit,
            clear,
            hold,
            read: &|field| field.share(SHARE),
        };
        rule.limit(table(code))
    };
    let of_rating = table("normalized_flow_low")
        .and_then(|table| table.field("limit_of_rating"))
        .and_then(|field| field.share(SHARE));
    let days = table("stage_low")
        .and_then(|table| table.field("days"))
        .and_then(|field| field.number_in(defaults::STAGE_DAYS_RANGE));
    let grace = table("sensor_silent")
        .and_then(|table| table.field("grace"))
        .and_then(|field| field.duration_in(defaults::HOLD_RANGE));
    let field = |code: &str, key: &str| table(code).and_then(|table| table.field(key));
    let short_cycling = Rule {
        beyond: Beyond::Above,
        limit: defaults::SHORT_STARTS_PER_DAY,
        clear: &|limit| limit * defaults::SHORT_STARTS_CLEAR,
        hold: defaults::SHORT_CYCLING_HOLD,
        read: &|field| field.number_in(defaults::SHORT_STARTS_RANGE),
    };
    let longest = match field("run_too_long", "limit") {
        Some(field) => field.duration_in(defaults::RUN_TOO_LONG_RANGE),
        None => Some(defaults::RUN_TOO_LONG),
    };
    let missed = match field("flush_missed", "runs") {
        Some(field) => field.whole(defaults::FLUSH_MISSED_RUNS_RANGE),
        None => Some(defaults::FLUSH_MISSED_RUNS),
    };
    AlertSettings {
        product_tds_high: concentration(
            "product_tds_high",
            defaults::PRODUCT_TDS_MG_PER_L,
            defaults::PRODUCT_TDS_CLEAR,
        ),
        permeate_tds_high: concentration(
            "permeate_tds_high",
            defaults::PERMEATE_TDS_MG_PER_L,
            defaults::PERMEATE_TDS_CLEAR,
        ),
        rejection_low: share(
            "rejection_low",
            defaults::REJECTION,
            &|limit| limit + (1.0 - limit) * defaults::REJECTION_CLEAR_OF_PASSAGE,
            defaults::QUALITY_HOLD,
        ),
        normalized_flow_low: share(
            "normalized_flow_low",
            defaults::NORMALIZED_FLOW,
            &|limit| limit + defaults::NORMALIZED_FLOW_CLEAR_ABOVE,
            defaults::NORMALIZED_FLOW_HOLD,
        ),
        normalized_flow_falling: share(
            "normalized_flow_falling",
            defaults::FLOW_FALLING,
            &|limit| limit + defaults::FLOW_FALLING_CLEAR_ABOVE,
            defaults::TREND_HOLD,
        ),
        salt_passage_rising: Rule {
            beyond: Beyond::Above,
            limit: defaults::SALT_RISING,
            clear: &|limit: f64| (limit * defaults::SALT_RISING_CLEAR).max(1.0),
            hold: defaults::TREND_HOLD,
            read: &|field| field.number_in(defaults::SALT_RISING_RANGE),
        }
        .limit(table("salt_passage_rising")),
        normalized_flow_low_of_rating: of_rating.unwrap_or(defaults::NORMALIZED_FLOW_OF_RATING),
        feed_pressure_low: pressure(
            "feed_pressure_low",
            Beyond::Below,
            defaults::FEED_PRESSURE_LOW_PSI,
            defaults::FEED_PRESSURE_LOW_CLEAR,
            defaults::FEED_PRESSURE_LOW_HOLD,
        ),
        feed_pressure_high: pressure(
            "feed_pressure_high",
            Beyond::Above,
            defaults::FEED_PRESSURE_HIGH_PSI,
            defaults::FEED_PRESSURE_HIGH_CLEAR,
            defaults::FEED_PRESSURE_HIGH_HOLD,
        ),
        stage_low: share(
            "stage_low",
            defaults::STAGE_LEFT,
            &|limit| (limit * defaults::STAGE_LEFT_CLEAR).min(1.0),
            defaults::STAGE_HOLD,
        ),
        stage_low_days: days.unwrap_or(defaults::STAGE_DAYS),
        stage_exhausted: enabled(table("stage_exhausted")),
        stage_overdue: field("stage_overdue", "limit")
            .map_or(Some(defaults::STAGE_OVERDUE), |field| {
                field.duration_in(defaults::STAGE_OVERDUE_RANGE)
            })
            .filter(|_| enabled(table("stage_overdue"))),
        stage_leaking: enabled(table("stage_leaking")),
        sensor_silent: enabled(table("sensor_silent"))
            .then_some(grace.unwrap_or(defaults::SILENT_GRACE)),
        short_cycling: short_cycling.limit(table("short_cycling")),
        short_run: field("short_cycling", "volume")
            .and_then(|field| field.quantity_in(ranges::short_run_range()))
            .unwrap_or_else(|| Volume::from_litres(defaults::SHORT_RUN_LITRES)),
        run_too_long: longest.filter(|_| enabled(table("run_too_long"))),
        flush_missed: missed.filter(|_| enabled(table("flush_missed"))),
        flush_missed_run: field("flush_missed", "run_time")
            .and_then(|field| field.duration_in(defaults::RUN_TOO_LONG_RANGE))
            .unwrap_or(defaults::FLUSH_MISSED_RUN),
        doubts: watch::doubts(&tables),
        hydraulics: watch::hydraulics(&tables, waste_ratio),
        care: care::care(&tables, disinfectant),
    }
}

fn refuse_unknown(alerts: &Reader<'_>) {
    let codes: Vec<&str> = TABLES.iter().map(|(code, _)| *code).collect();
    for (code, field) in alerts.fields() {
        if !codes.contains(&code) {
            let sentence = format!(
                "there is no alert {code:?} with a limit to set{}; known here: {}",
                hint(code, &codes),
                codes.join(", ")
            );
            field.report.wrong(&field.node.key, &field.path, sentence);
        }
    }
}

pub(super) fn enabled(table: Option<&Reader<'_>>) -> bool {
    table
        .and_then(|table| table.field("enabled"))
        .and_then(|field| field.flag())
        .unwrap_or(true)
}

impl<Q: Copy + PartialOrd> Rule<'_, Q> {
    pub(super) fn limit(&self, table: Option<&Reader<'_>>) -> Option<Limit<Q>> {
        let field = |key: &str| table.and_then(|table| table.field(key));
        let raise = field("limit").map_or(Some(self.limit), |field| (self.read)(&field));
        let clear_field = field("clear");
        let clear = clear_field.as_ref().and_then(|field| (self.read)(field));
        if let (Some(raise), Some(clear), Some(field)) = (raise, clear, &clear_field) {
            self.check_side(raise, clear, field);
        }
        let duration =
            |key: &str| field(key).and_then(|field| field.duration_in(defaults::HOLD_RANGE));
        let hold = duration("hold").unwrap_or(self.hold);
        let clear_hold = duration("clear_hold").unwrap_or(hold);
        let raise = raise.unwrap_or(self.limit);
        enabled(table).then(|| Limit {
            raise,
            clear: clear.unwrap_or_else(|| (self.clear)(raise)),
            hold,
            clear_hold,
        })
    }

    fn check_side(&self, raise: Q, clear: Q, field: &Field<'_>) {
        let (right, side, raised) = match self.beyond {
            Beyond::Above => (clear < raise, "below", "above"),
            Beyond::Below => (clear > raise, "above", "below"),
        };
        if !right {
            field.wrong(format!(
                "this alert is raised {raised} its limit, so it must clear {side} the limit, not \
                 at {}",
                field.typed()
            ));
        }
    }
}
