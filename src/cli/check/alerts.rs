//! The alerts: their limits in words, and whether the core could judge them.

use super::{pressure, probe::Answer, rows::row, short};
use crate::{
    config::{AlertSettings, Limit, UnitSettings},
    core::alert::Code,
    quantity::{TdsScale, duration_text},
};

/// A line for every alert.
pub(super) fn lines(unit: &UnitSettings, answer: &Answer) -> Vec<String> {
    Code::ALL
        .into_iter()
        .map(|code| {
            let words = match (
                limit(&unit.alerts, unit.tds_scale, code),
                answer.judged(code),
            ) {
                (None, _) => "off".to_owned(),
                (Some(_), (_, 0)) => "absent: nothing to watch".to_owned(),
                (Some(_), (0, _)) => "absent: what it needs is absent (above)".to_owned(),
                (Some(limit), (judged, all)) if judged < all => {
                    format!("{limit} ({judged} of {all})")
                }
                (Some(limit), _) => limit,
            };
            row(code.key(), &words)
        })
        .collect()
}

/// The limit of an alert in words; `None` when it is switched off.
fn limit(alerts: &AlertSettings, scale: TdsScale, code: Code) -> Option<String> {
    let held = |words: String, hold| format!("{words} for {}", duration_text(hold));
    let tds = |limit: &Limit<_>| {
        held(
            format!("above {} mg/L", short(scale.tds(limit.raise).mg_per_l())),
            limit.hold,
        )
    };
    let share = |limit: &crate::config::Limit<f64>, of: &str| {
        held(
            format!("below {} %{of}", short(limit.raise * 100.0)),
            limit.hold,
        )
    };
    match code {
        Code::ProductTdsHigh => alerts.product_tds_high.as_ref().map(tds),
        Code::PermeateTdsHigh => alerts.permeate_tds_high.as_ref().map(tds),
        Code::RejectionLow => alerts.rejection_low.as_ref().map(|limit| share(limit, "")),
        Code::NormalizedFlowLow => alerts.normalized_flow_low.as_ref().map(|limit| {
            share(
                limit,
                &format!(
                    " of the baseline, or {} % of the rating until there is one,",
                    short(alerts.normalized_flow_low_of_rating * 100.0)
                ),
            )
        }),
        Code::FeedPressureLow => alerts
            .feed_pressure_low
            .as_ref()
            .map(|limit| held(format!("below {}", pressure(limit.raise)), limit.hold)),
        Code::FeedPressureHigh => alerts
            .feed_pressure_high
            .as_ref()
            .map(|limit| held(format!("above {}", pressure(limit.raise)), limit.hold)),
        Code::StageLow => alerts.stage_low.as_ref().map(|limit| {
            format!(
                "below {} % or {} days",
                short(limit.raise * 100.0),
                short(alerts.stage_low_days)
            )
        }),
        Code::StageExhausted => alerts.stage_exhausted.then(|| "nothing left".to_owned()),
        Code::SensorSilent => alerts.sensor_silent.map(|grace| {
            format!(
                "nothing heard for max_age and {} more",
                duration_text(grace)
            )
        }),
    }
}
