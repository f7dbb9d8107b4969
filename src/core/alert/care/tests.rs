//! When people are told, as tables: what happens at which minute, and which notices come when.

use super::*;
use NoticeKind::{Cleared, Raised, Reminder};
use world::{
    DAY,
    Step::{self, Acknowledge, Away, Cause, Clear, ClockLost, Quiet, Raise, Snooze, Worse},
    World, hold,
};

mod world;

#[test]
fn it_is_told_once_reminded_daily_and_taken_back_late() {
    hold(
        DAY,
        &[
            (
                "a minute after it was raised, ten after it was over",
                &[(5, Raise), (100, Clear)],
                300,
                &[(6, Raised), (110, Cleared)],
            ),
            (
                "what comes back within ten minutes is the same",
                &[
                    (5, Raise),
                    (100, Clear),
                    (105, Raise),
                    (120, Clear),
                    (125, Raise),
                    (200, Clear),
                ],
                300,
                &[(6, Raised), (210, Cleared)],
            ),
            (
                "a blink within the first minute is not told",
                &[(5, Raise), (6, Clear)],
                300,
                &[],
            ),
            (
                "reminded day by day",
                &[(0, Raise)],
                3 * DAY,
                &[(1, Raised), (DAY + 1, Reminder), (2 * DAY + 1, Reminder)],
            ),
            (
                "critical at once, and again when it becomes critical",
                &[(5, Raise), (60, Worse), (90, Clear), (200, Raise)],
                300,
                &[(6, Raised), (60, Raised), (100, Cleared), (200, Raised)],
            ),
        ],
    );
}

#[test]
fn without_a_rule_nobody_is_reminded() {
    hold(0, &[("never", &[(0, Raise)], 3 * DAY, &[(1, Raised)])]);
}

#[test]
fn acknowledged_it_is_silent_until_it_is_worse_or_comes_back() {
    hold(
        DAY,
        &[
            (
                "no reminder, but its end is told",
                &[(0, Raise), (10, Acknowledge), (3 * DAY, Clear)],
                4 * DAY,
                &[(1, Raised), (3 * DAY + 10, Cleared)],
            ),
            (
                "worse",
                &[(0, Raise), (10, Acknowledge), (DAY, Worse)],
                DAY + 60,
                &[(1, Raised), (DAY, Raised)],
            ),
            (
                "a short gap does not undo it, a long one does",
                &[
                    (0, Raise),
                    (10, Acknowledge),
                    (20, Clear),
                    (25, Raise),
                    (100, Clear),
                    (200, Raise),
                ],
                300,
                &[(1, Raised), (110, Cleared), (201, Raised)],
            ),
            (
                "acknowledged before it was told",
                &[(0, Raise), (0, Acknowledge), (100, Clear), (200, Raise)],
                300,
                &[(201, Raised)],
            ),
            (
                "through a restart",
                &[(0, Raise), (10, Acknowledge), (20, Away(600))],
                3 * DAY,
                &[(1, Raised)],
            ),
        ],
    );
}

#[test]
fn snoozed_it_is_silent_for_that_time_and_told_again_if_still_active() {
    hold(
        DAY,
        &[
            (
                "told again",
                &[(0, Raise), (10, Snooze(60))],
                200,
                &[(1, Raised), (70, Reminder)],
            ),
            (
                "longer than the reminder's time",
                &[(0, Raise), (10, Snooze(3 * DAY))],
                3 * DAY + 60,
                &[(1, Raised), (3 * DAY + 10, Reminder)],
            ),
            (
                "over meanwhile: told when the silence ends",
                &[(0, Raise), (10, Snooze(60)), (20, Clear)],
                200,
                &[(1, Raised), (80, Cleared)],
            ),
            (
                "coming and going during the silence",
                &[(0, Raise), (10, Snooze(120)), (20, Clear), (60, Raise)],
                200,
                &[(1, Raised), (131, Reminder)],
            ),
            (
                "its end falls into the time away",
                &[(0, Raise), (10, Snooze(60)), (20, Away(600))],
                700,
                &[(1, Raised), (620, Reminder)],
            ),
            (
                "the clock is not set after the restart: at most as long as was said",
                &[
                    (0, Raise),
                    (10, Snooze(60)),
                    (20, ClockLost),
                    (20, Away(600)),
                ],
                800,
                &[(1, Raised), (681, Reminder)],
            ),
            (
                "the clock was never set",
                &[(0, ClockLost), (0, Raise), (10, Snooze(60))],
                200,
                &[(1, Raised), (70, Reminder)],
            ),
        ],
    );
    // Even where nobody is reminded.
    hold(
        0,
        &[(
            "told again once",
            &[(0, Raise), (10, Snooze(60))],
            3 * DAY,
            &[(1, Raised), (70, Reminder)],
        )],
    );
}

#[test]
fn in_quiet_hours_it_waits_and_what_is_over_by_then_is_not_told() {
    hold(
        DAY,
        &[
            (
                "raised in the night",
                &[(0, Quiet(true)), (10, Raise), (480, Quiet(false))],
                600,
                &[(480, Raised)],
            ),
            (
                "over before the morning",
                &[
                    (0, Quiet(true)),
                    (10, Raise),
                    (60, Clear),
                    (480, Quiet(false)),
                ],
                600,
                &[],
            ),
            (
                "told in the evening, over in the night",
                &[
                    (0, Raise),
                    (10, Quiet(true)),
                    (60, Clear),
                    (480, Quiet(false)),
                ],
                600,
                &[(1, Raised), (480, Cleared)],
            ),
            (
                "a reminder that falls into the night",
                &[
                    (0, Raise),
                    (DAY - 60, Quiet(true)),
                    (DAY + 420, Quiet(false)),
                ],
                DAY + 600,
                &[(1, Raised), (DAY + 420, Reminder)],
            ),
        ],
    );
}

#[test]
fn while_its_cause_is_active_it_is_not_told_and_afterwards_only_if_it_lasts() {
    hold(
        DAY,
        &[
            (
                "explained from the beginning, and gone with its cause",
                &[
                    (0, Cause(true)),
                    (0, Raise),
                    (60, Cause(false)),
                    (65, Clear),
                ],
                300,
                &[],
            ),
            (
                "outlasts its cause by its hold of ten minutes",
                &[(0, Cause(true)), (0, Raise), (60, Cause(false))],
                300,
                &[(70, Raised)],
            ),
            (
                "told before: no reminder while it is explained",
                &[(0, Raise), (10, Cause(true)), (2 * DAY, Cause(false))],
                2 * DAY + 60,
                &[(1, Raised), (2 * DAY + 10, Reminder)],
            ),
        ],
    );
}

/// By whatever way: a restart between two looks changes nothing of what is told while the wall clock
/// runs.
#[test]
fn a_restart_at_any_moment_tells_neither_less_nor_twice() {
    let steps: &[(u64, Step)] = &[
        (5, Raise),
        (30, Snooze(60)),
        (100, Clear),
        (105, Raise),
        (150, Acknowledge),
        (170, Clear),
        (200, Quiet(true)),
        (210, Raise),
        (300, Quiet(false)),
        (320, Clear),
    ];
    let expected = World::new(DAY).play(steps, 400);
    assert_eq!(
        expected,
        [
            (6, Raised),
            (90, Reminder),
            (180, Cleared),
            (300, Raised),
            (330, Cleared)
        ]
    );
    for restart in 0..=400 {
        let mut with: Vec<(u64, Step)> = steps.to_vec();
        with.push((restart, Away(0)));
        with.sort_by_key(|(at, _)| *at);
        assert_eq!(World::new(DAY).play(&with, 400), expected, "{restart}");
    }
}

/// What documents say of it: minutes from the world's start.
#[test]
fn what_was_said_and_told_can_be_asked() {
    let mut world = World::new(DAY);
    assert!(world.care.is_idle() && world.care.told_at().is_none());
    world.standing.active = true;
    world.standing.since = Some(world.now().wall);
    let raised = world.now().wall;
    for minute in 0..=2 * DAY + 1 {
        world.minute = minute;
        let now = world.now();
        world.care.review(now, &world.standing);
    }
    assert!(!world.care.is_idle());
    assert_eq!(world.care.since(), Some(raised));
    assert_eq!(world.care.reminded(), 2);
    assert_eq!(world.care.told_at(), Some(world.now().wall));
    assert!(!world.care.is_acknowledged() && !world.care.is_snoozed());
    assert_eq!(world.care.acknowledged(), None);
    let (now, hour) = (world.now(), Duration::from_secs(3600));
    world.care.snooze(now, hour);
    assert!(world.care.is_snoozed() && !world.care.is_acknowledged());
    assert_eq!(
        world.care.snoozed_until(),
        Some(Wall(now.wall.0 + 3_600_000))
    );
    let note = Some("seen".to_owned());
    world.care.acknowledge(now, world.standing.severity, note);
    assert!(world.care.is_acknowledged() && !world.care.is_snoozed());
    assert_eq!(world.care.snoozed_until(), None);
    let expected = Some((Some(now.wall), Some("seen")));
    assert_eq!(world.care.acknowledged(), expected);
    // Over and told so: nothing is left of it.
    world.standing.active = false;
    for _ in 0..20 {
        world.minute += 1;
        let now = world.now();
        world.care.review(now, &world.standing);
    }
    assert!(world.care.is_idle());
}

proptest::proptest! {
    /// Noise about the limit, however it falls: not more than one notice in ten minutes and the one
    /// that takes it back, and what is told alternates.
    #[test]
    fn noise_does_not_flap(noise in proptest::collection::vec(proptest::bool::ANY, 1..2000)) {
        let mut world = World::new(DAY);
        let mut told = Vec::new();
        for active in noise {
            world.standing.active = active;
            let now = world.now();
            told.extend(world.care.review(now, &world.standing).map(|kind| (world.minute, kind)));
            world.minute += 1;
        }
        for pair in told.windows(2) {
            let [(first, one), (second, other)] = pair else { unreachable!() };
            match (one, other) {
                (Raised | Reminder, Cleared) => proptest::prop_assert!(second - first >= 10),
                (Raised | Reminder, Reminder) => proptest::prop_assert!(second - first >= DAY),
                (Cleared, Raised) => proptest::prop_assert!(second > first),
                _ => proptest::prop_assert!(false, "{told:?}"),
            }
        }
    }
}
