//! What alerts say: figures in words, what to check first, and the cautions that fit.

use super::{Code, Seen};
use crate::quantity::Tds;

/// Shown wherever the tool explains itself.
pub const CAUTION: &str = "permeated reads and reports. It closes no valve, and is neither flood protection nor proof \
that water is fit to drink. Local codes and licensed trades come first.";

/// An alert's name for people.
#[must_use]
pub fn title(code: Code) -> &'static str {
    match code {
        Code::BalanceOpen => "Flow meters contradict each other",
        Code::FeedTemperatureOutOfRange => "Feed temperature out of range",
        Code::Leak => "Leak",
        Code::PrefilterClogging => "Pre-filters clogging",
        Code::PumpNotLifting => "Booster pump adds no pressure",
        Code::RecoveryOutOfRange => "Waste ratio out of range",
        Code::SensorImplausible => "Sensor implausible",
        Code::SensorStuck => "Sensor stuck",
        Code::ShutoffLeaking => "Water runs to the drain in standby",
        Code::FeedPressureHigh => "Feed pressure high",
        Code::FeedPressureLow => "Feed pressure low",
        Code::FlushMissed => "Flush missed",
        Code::NormalizedFlowFalling => "Membrane gives less than it did",
        Code::NormalizedFlowLow => "Membrane gives less water",
        Code::PermeateTdsHigh => "Permeate TDS high",
        Code::ProductTdsHigh => "Product TDS high",
        Code::RejectionLow => "Rejection low",
        Code::RunTooLong => "Run without end",
        Code::SaltPassageRising => "Salt passage rising",
        Code::SensorSilent => "Sensor silent",
        Code::ShortCycling => "Short cycling",
        Code::StageExhausted => "Stage spent",
        Code::StageLeaking => "Resin begins to let salt through",
        Code::StageLow => "Stage nearly spent",
        Code::StageOverdue => "Stage overdue",
        Code::ChlorineBreakthrough => "Chlorine behind the carbon",
        Code::RinseDue => "New filling to be rinsed",
        Code::ScalingRisk => "Membrane may scale",
        Code::TestDue => "Test for chlorine due",
    }
}

/// What to check first, in the order of likelihood and effort (common practice, no source).
#[must_use]
pub fn check_first(code: Code) -> &'static str {
    match code {
        Code::BalanceOpen => {
            "Catch what each meter passes in a measuring jug for some minutes at the usual flow, correct its pulses \
             per litre, and look for a leak between them."
        }
        Code::FeedTemperatureOutOfRange => {
            "Check where the probe sits, then keep the unit from frost, or warm water from its inlet."
        }
        Code::Leak => {
            "Shut the supply of the unit, then look for the wet fitting; permeated closes no valve."
        }
        Code::PrefilterClogging => {
            "Replace the sediment filter first, then the carbon, and tell permeated that they were replaced."
        }
        Code::PumpNotLifting => {
            "Check the pump's power supply and pressure switch, that it turns and sounds as usual, then its inlet \
             strainer and a by-pass or check valve that lets the water back."
        }
        Code::RecoveryOutOfRange => {
            "Check the flow restrictor and that the flush valve closes, then whether the membrane makes less than it \
             did; measure product and waste with a jug before you change anything."
        }
        Code::SensorImplausible => {
            "Check its cable, plug and supply, clean the probe or flush its turbine, then compare it with a second \
             instrument. Until it clears, its values are withdrawn."
        }
        Code::SensorStuck => {
            "Restart its board, then check its cable and supply: firmware that repeats its last value looks alive. \
             Until it moves, its values are withdrawn."
        }
        Code::ShutoffLeaking => {
            "Check the shut-off valve and the check valve behind the membrane, the float valve, and that the flush \
             valve closes; if the unit was in truth making water, its permeate meter does not see it: give its minimum."
        }
        Code::FeedPressureHigh => {
            "Check the pressure regulator and the booster pump's pressure switch; shut the supply if a fitting weeps."
        }
        Code::FeedPressureLow => {
            "Check that the supply valve is fully open, then the pre-filters for clogging, then the booster pump."
        }
        Code::FlushMissed => {
            "Check the flush valve's power and its timer, then whether the valve is blocked, then the sensor that tells \
             it."
        }
        Code::NormalizedFlowFalling => {
            "Check whether the last flushes ran and when the pre-filters were replaced; compare with the salt passage."
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
        Code::RunTooLong => {
            "Look at the storage first: it may leak or overflow. Then check whether the float or the shut-off valve is \
             stuck, or whether much water was simply drawn."
        }
        Code::SaltPassageRising => {
            "Test for total chlorine behind the carbon, look at the membrane's seals, and clean the probes; order an \
             element if it goes on."
        }
        Code::ShortCycling => {
            "Check the play of the float or level switch, the pressure switch and the air charge of a pressure tank; \
             see whether something draws little and often."
        }
        Code::SensorSilent => "Check the sensor's power and network, then its topic on the broker.",
        Code::StageExhausted => "Replace it and tell permeated that it was replaced.",
        Code::StageLeaking => {
            "Have a fresh filling at hand; compare the probe with a second meter before you change anything."
        }
        Code::StageLow => "Order a replacement.",
        Code::StageOverdue => {
            "Replace it before the unit makes more water: what it held back goes on to the stages behind it; then tell \
             permeated that it was replaced."
        }
        Code::ChlorineBreakthrough => {
            "Stop drawing water for fish at once. Then replace the carbon, tell permeated, and test again after some \
             minutes of running; leave the unit shut until then, for the membrane is being damaged."
        }
        Code::RinseDue => {
            "Let the rinse run to the drain before the carbon's outlet is joined to the membrane. What does not pass \
             the unit's meters is not seen: the alert then ends once as much has passed in use."
        }
        Code::ScalingRisk => {
            "Compare the waste ratio with the one that would be safe; a restrictor for more waste, a softener before \
             the unit or flushes after each run keep scale away. Test hardness, alkalinity and pH again if the water changed."
        }
        Code::TestDue => {
            "Let the unit run for some minutes, take water from behind the last carbon, test it for total (not only \
             free) chlorine, and tell permeated the result."
        }
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
        Code::PermeateTdsHigh
        | Code::ProductTdsHigh
        | Code::RejectionLow
        | Code::SaltPassageRising => Some(
            "TDS says nothing of germs, lead or chloramine: it is no proof that water is fit to drink.",
        ),
        Code::ChlorineBreakthrough => Some(
            "Chlorine and chloramine harm fish within hours, and no TDS probe sees them; a kit's error is about as large \
             as the limit. Throw the water away, or treat it, until a test is good; spent carbon holds back nothing \
             else either, so do not drink it meanwhile.",
        ),
        Code::RunTooLong => Some(
            "This is no flood protection: it comes late and closes nothing. A mechanical float valve, a leak stop that \
             works by itself and a drain pan guard the floor.",
        ),
        Code::Leak => Some(
            "permeated is no flood protection. Keep away from wet plugs and mains voltage; cut the power at the board \
             if water has reached it.",
        ),
        Code::FeedTemperatureOutOfRange => Some(
            "Frozen or hot housings crack under pressure: relieve it, let ice thaw by itself, and look for leaks before \
             you open the supply again.",
        ),
        Code::PrefilterClogging | Code::RecoveryOutOfRange | Code::ShutoffLeaking => {
            Some("Shut the supply and relieve the pressure before you open anything.")
        }
        Code::FeedPressureLow | Code::PumpNotLifting => Some(
            "Keep mains voltage and pump plugs away from water; use a residual-current device.",
        ),
        Code::BalanceOpen
        | Code::FlushMissed
        | Code::RinseDue
        | Code::ScalingRisk
        | Code::TestDue
        | Code::NormalizedFlowFalling
        | Code::NormalizedFlowLow
        | Code::SensorImplausible
        | Code::SensorSilent
        | Code::SensorStuck
        | Code::ShortCycling
        | Code::StageExhausted
        | Code::StageLeaking
        | Code::StageLow
        | Code::StageOverdue => None,
    }
}

pub(super) fn figure(sentence: String, value: f64, limit: f64, unit: &str) -> Seen {
    // A leak of some millilitres a minute is not zero.
    let round = |number: f64| (number * 1000.0).round() / 1000.0;
    Seen {
        sentence,
        value: Some(round(value)),
        limit: Some(round(limit)),
        unit: unit.to_owned(),
    }
}

/// The same, without a limit that was not passed: something else told the alert before.
pub(super) fn figure_if_passed(seen: Seen, is_passed: bool) -> Seen {
    Seen {
        limit: seen.limit.filter(|_| is_passed),
        ..seen
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_figure_stays_on_its_side_of_the_limit() {
        let seen = figure(String::new(), 0.006, 0.005, "L/min");
        assert_eq!((seen.value, seen.limit), (Some(0.006), Some(0.005)));
    }

    /// What can flood or burst is never told without what guards against it.
    #[test]
    fn what_is_critical_carries_a_caution() {
        for code in Code::ALL {
            let critical = code.severity() == super::super::Severity::Critical;
            assert!(!critical || caution(code).is_some(), "{code:?}");
            assert!(check_first(code).ends_with('.'), "{code:?}");
        }
    }
}
