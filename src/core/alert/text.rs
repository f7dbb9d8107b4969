//! What alerts say: figures in words, what to check first, and the cautions that fit.

use super::{Code, Seen};
use crate::quantity::{Pressure, Tds};

/// Shown wherever the tool explains itself.
pub const CAUTION: &str = "permeated reads and reports. It closes no valve, and is neither flood protection nor proof \
that water is fit to drink. Local codes and licensed trades come first.";

/// An alert's name for people.
#[must_use]
pub fn title(code: Code) -> &'static str {
    match code {
        Code::FeedPressureHigh => "Feed pressure high",
        Code::FeedPressureLow => "Feed pressure low",
        Code::NormalizedFlowLow => "Membrane gives less water",
        Code::PermeateTdsHigh => "Permeate TDS high",
        Code::ProductTdsHigh => "Product TDS high",
        Code::RejectionLow => "Rejection low",
        Code::SensorSilent => "Sensor silent",
        Code::StageExhausted => "Stage spent",
        Code::StageLow => "Stage nearly spent",
    }
}

/// What to check first, in the order of likelihood and effort (common practice, no source).
#[must_use]
pub fn check_first(code: Code) -> &'static str {
    match code {
        Code::FeedPressureHigh => {
            "Check the pressure regulator and the booster pump's pressure switch; shut the supply if a fitting weeps."
        }
        Code::FeedPressureLow => {
            "Check that the supply valve is fully open, then the pre-filters for clogging, then the booster pump."
        }
        Code::NormalizedFlowLow => {
            "Check the pre-filters and the pressure gauge, then whether the last flushes ran; scale or fouling of the \
             membrane is likely if the salt passage changed, too."
        }
        Code::PermeateTdsHigh => {
            "Check the feed's TDS and the pressure, let the unit run for some minutes, then test for chlorine behind \
             the carbon and look at the membrane's seals."
        }
        Code::ProductTdsHigh => {
            "Check the TDS after the membrane: if it is as usual, the DI resin is spent; keep the water out of the \
             storage until it is replaced."
        }
        Code::RejectionLow => {
            "Check the feed pressure and the back-pressure of the storage, clean the probes, then the membrane's seals \
             and total chlorine behind the carbon."
        }
        Code::SensorSilent => "Check the sensor's power and network, then its topic on the broker.",
        Code::StageExhausted => "Replace it and tell permeated that it was replaced.",
        Code::StageLow => "Order a replacement.",
    }
}

/// The caution that belongs to an alert, if it touches something that can hurt.
#[must_use]
pub fn caution(code: Code) -> Option<&'static str> {
    match code {
        Code::FeedPressureHigh => Some(
            "Housings and tubing can burst above their rating. Relieve the pressure before you open anything; local \
             plumbing codes may ask for a regulator and a licensed fitter.",
        ),
        Code::PermeateTdsHigh | Code::ProductTdsHigh | Code::RejectionLow => Some(
            "TDS says nothing of germs, lead or chloramine: it is no proof that water is fit to drink.",
        ),
        Code::FeedPressureLow => Some(
            "Keep mains voltage and pump plugs away from water; use a residual-current device.",
        ),
        Code::NormalizedFlowLow | Code::SensorSilent | Code::StageExhausted | Code::StageLow => {
            None
        }
    }
}

pub(super) fn figure(sentence: String, value: f64, limit: f64, unit: &str) -> Seen {
    let round = |number: f64| (number * 100.0).round() / 100.0;
    Seen {
        sentence,
        value: Some(round(value)),
        limit: Some(round(limit)),
        unit: unit.to_owned(),
    }
}

pub(super) fn pressure_text(pressure: Pressure) -> String {
    format!("{:.1} bar ({:.0} psi)", pressure.bar(), pressure.psi())
}

pub(super) fn tds_text(tds: Tds) -> String {
    let value = tds.mg_per_l();
    if value < 10.0 {
        format!("{value:.1} mg/L")
    } else {
        format!("{value:.0} mg/L")
    }
}

pub(super) fn share_text(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

pub(super) fn day_text(days: f64) -> String {
    let whole = days.round();
    if whole == 1.0 {
        "1 day".to_owned()
    } else {
        format!("{whole:.0} days")
    }
}
