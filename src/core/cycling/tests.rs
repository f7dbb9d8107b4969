//! Starts a day and the rest, by closed forms.

use super::*;

const HOUR: f64 = 3600.0;

/// Runs of so many litres, one every so many hours, for some days; then what they come to.
fn pace(litres: f64, every_hours: f64, days: f64) -> Option<Pace> {
    let mut state = CyclingState::default();
    for _ in 0..(days * 24.0 / every_hours).round() as u32 {
        state = state.later(every_hours * HOUR);
        state.starts += 1.0;
        state.litres += litres;
        state.salt_mg += 4.0;
        state.creep_mg += 1.0;
    }
    state.pace()
}

#[test]
fn an_even_pace_is_found_from_the_first_day_on() {
    for days in [1.5, 3.0, 30.0] {
        let found = pace(1.5, 2.0, days).unwrap();
        // The last run has just ended: half an interval (1 h of the 72 h that count) too many.
        assert!((found.starts_per_day - 12.0).abs() < 0.5, "{found:?}");
        assert!((found.litres_per_run - 1.5).abs() < 1e-9);
        assert!((found.creep_share.unwrap() - 0.25).abs() < 1e-9);
        // A quarter of the starts leaves a quarter of the creep: 3/4 of 25 %.
        assert!((found.saving().unwrap() - 0.1875).abs() < 1e-9);
    }
    assert_eq!(pace(1.5, 2.0, 0.9), None, "less than a day");
}

#[test]
fn fading_is_the_same_however_time_is_cut() {
    let first = CyclingState {
        days: 2.0,
        starts: 9.0,
        ..CyclingState::default()
    };
    let whole = first.later(86_400.0);
    let mut cut = first;
    for _ in 0..1000 {
        cut = cut.later(86.4);
    }
    assert!((whole.starts - cut.starts).abs() < 1e-9 && (whole.days - cut.days).abs() < 1e-9);
    // e^(-1/3) of the starts, and 3·(1 - e^(-1/3)) days more.
    assert!((whole.starts - 9.0 * (-1.0_f64 / 3.0).exp()).abs() < 1e-12);
    let forever = first.later(86_400.0 * 400.0);
    assert!((forever.days - FADING_DAYS).abs() < 1e-9 && forever.starts < 1e-9);
    assert_eq!(forever.pace(), None, "nothing ran: nothing to say of a run");
}
