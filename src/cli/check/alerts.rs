//! The alerts: their limits in words, and whether the core could judge them.

use super::{pressure, probe::Answer, rows::row, short};
use crate::{
    config::{Limit, UnitSettings},
    core::{Basis, alert::Code},
    metrics::Metric,
    quantity::duration_text,
};

/// How an alert stands under a configuration.
enum Standing {
    /// Its limit in words.
    Judged(String),
    /// Switched off.
    Off,
    /// There is nothing it could be about.
    Idle,
    /// What it is judged by is not there.
    Blind,
}

/// A line for every alert that can be judged; the others together, by what keeps them.
pub(super) fn lines(unit: &UnitSettings, answer: &Answer) -> Vec<String> {
    let (mut lines, mut off, mut idle, mut blind) = (Vec::new(), vec![], vec![], vec![]);
    for code in Code::ALL {
        match standing(unit, answer, code) {
            Standing::Judged(words) => lines.push(row(code.key(), &words)),
            Standing::Off => off.push(code.key()),
            Standing::Idle => idle.push(code.key()),
            Standing::Blind => blind.push(code.key()),
        }
    }
    let kept = [
        ("absent, as what it needs is", blind),
        ("absent, nothing to watch", idle),
        ("off", off),
    ];
    let kept = kept.into_iter().filter(|(_, codes)| !codes.is_empty());
    lines.extend(kept.map(|(why, codes)| row(why, &codes.join(", "))));
    lines
}

fn standing(unit: &UnitSettings, answer: &Answer, code: Code) -> Standing {
    let on = code != Code::FlushMissed || unit.run.flush_expected;
    let of_baseline = answer.values.of(Metric::NormalizedFlowOfBaseline).is_ok();
    let limit = limit(unit, code, of_baseline).filter(|_| on);
    match (limit, answer.judged(code)) {
        (None, _) => Standing::Off,
        (Some(_), (_, 0)) => Standing::Idle,
        (Some(_), (0, _)) => Standing::Blind,
        (Some(limit), (judged, all)) if judged < all => Standing::Judged(format!(
            "{limit} ({judged} of {all}){}",
            basis(answer, code)
        )),
        (Some(limit), _) => Standing::Judged(limit + &basis(answer, code)),
    }
}

/// How surely it judges, where that is by less than measurements.
fn basis(answer: &Answer, code: Code) -> String {
    let known = rests_on(code).iter().find_map(|metric| {
        let known = answer.values.of(*metric).ok()?;
        Some(known.basis)
    });
    match known {
        None | Some(Basis::Measured) => String::new(),
        Some(basis @ (Basis::Inferred | Basis::Assumed)) => format!(" ({})", basis.key()),
    }
}

/// The metric by which an alert is judged, or the next one where there is none.
fn rests_on(code: Code) -> &'static [Metric] {
    match code {
        Code::ProductTdsHigh => &[Metric::ProductConductivity],
        Code::PermeateTdsHigh => &[Metric::PermeateConductivity],
        Code::RejectionLow => &[Metric::Rejection],
        Code::NormalizedFlowLow => &[Metric::NormalizedFlowOfBaseline, Metric::NormalizedFlow],
        Code::NormalizedFlowFalling => &[Metric::NormalizedFlowOfBaseline],
        Code::SaltPassageRising => &[Metric::SaltPassageOfBaseline],
        Code::FeedPressureLow | Code::FeedPressureHigh => &[Metric::FeedPressure],
        Code::FeedTemperatureOutOfRange => &[Metric::FeedTemperature],
        Code::RecoveryOutOfRange => &[Metric::Recovery],
        Code::ScalingRisk => &[Metric::ScalingIndex],
        // Of these each stage tells its own basis; the others judge sensors, contacts and time.
        Code::StageLow
        | Code::StageExhausted
        | Code::StageOverdue
        | Code::StageLeaking
        | Code::BalanceOpen
        | Code::ChlorineBreakthrough
        | Code::FlushMissed
        | Code::Leak
        | Code::PrefilterClogging
        | Code::PumpNotLifting
        | Code::RinseDue
        | Code::RunTooLong
        | Code::SensorImplausible
        | Code::SensorSilent
        | Code::SensorStuck
        | Code::ShortCycling
        | Code::ShutoffLeaking
        | Code::TestDue => &[],
    }
}

/// The limit of an alert in words; `None` when it is switched off.
fn limit(unit: &UnitSettings, code: Code, of_baseline: bool) -> Option<String> {
    let (alerts, scale) = (&unit.alerts, unit.tds_scale);
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
        Code::NormalizedFlowLow if !of_baseline => alerts.normalized_flow_low.as_ref().map(|limit| {
            let share = short(alerts.normalized_flow_low_of_rating * 100.0);
            held(format!("below {share} % of the rating"), limit.hold)
        }),
        Code::NormalizedFlowLow => alerts.normalized_flow_low.as_ref().map(|limit| {
            let of_rating = match &unit.membrane {
                Some(_) => format!(
                    ", or {} % of the rating until there is one,",
                    short(alerts.normalized_flow_low_of_rating * 100.0)
                ),
                None => String::new(),
            };
            share(limit, &format!(" of the baseline{of_rating}"))
        }),
        Code::NormalizedFlowFalling => alerts.normalized_flow_falling.as_ref().map(|limit| {
            format!(
                "trend surely below {} % of the baseline, or a step down",
                short(limit.raise * 100.0)
            )
        }),
        Code::SaltPassageRising => alerts.salt_passage_rising.as_ref().map(|limit| {
            format!(
                "trend surely above {} % of the baseline's, or a step up",
                short(limit.raise * 100.0)
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
        Code::StageOverdue => alerts
            .stage_overdue
            .map(|late| format!("spent for {}", duration_text(late))),
        Code::StageLeaking => alerts
            .stage_leaking
            .then(|| "salt behind its resin grows run by run".to_owned()),
        Code::StageExhausted => alerts.stage_exhausted.then(|| "nothing left".to_owned()),
        Code::BalanceOpen => alerts.doubts.balance_open.as_ref().map(|limits| {
            let per_cent = short(limits.raise * 100.0);
            format!(
                "{per_cent} % apart over {} L, twice",
                short(limits.volume.litres())
            )
        }),
        Code::SensorImplausible => alerts.doubts.sensor_implausible.as_ref().map(|limits| {
            format!(
                "{} % of its readings cannot be within {}, or probes off by more than {} % each for {}",
                short(limits.share * 100.0),
                duration_text(limits.window),
                short(limits.probe_error * 100.0),
                duration_text(limits.hold)
            )
        }),
        Code::SensorStuck => alerts.doubts.sensor_stuck.map(|time| {
            format!("the same reading through {} of making water", duration_text(time))
        }),
        Code::FeedTemperatureOutOfRange => {
            alerts.hydraulics.feed_temperature_out_of_range.as_ref().map(|band| {
                let (low, high) = (band.low.celsius(), band.high.celsius());
                let hold = duration_text(band.hold);
                format!("outside {} to {} °C for {hold}", short(low), short(high))
            })
        }
        Code::Leak => alerts.hydraulics.leak.then(|| "the contact closed".to_owned()),
        Code::PrefilterClogging => alerts.hydraulics.prefilter_clogging.as_ref().map(|limit| {
            format!(
                "{} and {} times the clean drop for {}",
                pressure(limit.raise),
                short(alerts.hydraulics.prefilter_factor),
                duration_text(limit.hold)
            )
        }),
        Code::PumpNotLifting => alerts.hydraulics.pump_not_lifting.as_ref().map(|limit| {
            let hold = duration_text(limit.hold);
            format!("less than {} added for {hold}", pressure(limit.raise))
        }),
        Code::RecoveryOutOfRange => alerts.hydraulics.recovery_out_of_range.as_ref().map(|band| {
            let (low, high) = (short(band.low * 100.0), short(band.high * 100.0));
            format!("outside {low} to {high} % for {}", duration_text(band.hold))
        }),
        Code::ShutoffLeaking => alerts.hydraulics.shutoff_leaking.as_ref().map(|limit| {
            let flow = short(limit.raise.l_per_min());
            format!("above {flow} L/min in standby for {}", duration_text(limit.hold))
        }),
        Code::ChlorineBreakthrough => alerts.care.chlorine_breakthrough.then(|| {
            let limit = alerts.care.positive.mg_per_l();
            format!("{} mg/L or more behind all carbon in a test by hand", short(limit))
        }),
        Code::RinseDue => {
            let said = || "a new filling, until its rinse has passed".to_owned();
            alerts.care.rinse_due.then(said)
        }
        Code::ScalingRisk => alerts.care.scaling_risk.as_ref().map(|limit| {
            format!("saturation index of the concentrate above {:+.1}", limit.raise)
        }),
        Code::TestDue => alerts
            .care
            .test_due
            .map(|every| format!("no test for total chlorine for {}", duration_text(every))),
        Code::SensorSilent => alerts.sensor_silent.map(|grace| {
            format!(
                "nothing heard for max_age and {} more",
                duration_text(grace)
            )
        }),
        Code::ShortCycling => alerts.short_cycling.as_ref().map(|limit| {
            let words = format!(
                "above {} starts a day for less than {} L",
                short(limit.raise),
                short(alerts.short_run.litres())
            );
            held(words, limit.hold)
        }),
        Code::RunTooLong => alerts
            .run_too_long
            .map(|longest| format!("a run of {}", duration_text(longest))),
        Code::FlushMissed => alerts.flush_missed.map(|runs| {
            format!(
                "{runs} runs of {} or more without a flush",
                duration_text(alerts.flush_missed_run)
            )
        }),
    }
}
