//! The life of an alert: unknown → clear → active → clear, with hysteresis and holding times that
//! count only while the condition can be judged. No data neither raises nor clears.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::time::{Mono, Now, Wall};

/// Where an alert stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// Never judged.
    #[default]
    Unknown,
    /// Judged, and all is well.
    Clear,
    /// Raised and not yet cleared.
    Active,
}

impl Phase {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::Clear => "clear",
            Self::Active => "active",
        }
    }
}

/// What is kept across restarts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LifeState {
    /// Where it stands.
    pub phase: Phase,
    /// Since when it is active.
    pub since: Option<Wall>,
}

/// What the present readings say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// They say nothing: freeze.
    Unjudged,
    /// Beyond the raising limit.
    Beyond,
    /// Between the two limits: neither raises nor clears.
    Between,
    /// On the good side of the clearing limit.
    Well,
}

/// What happened to an alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Change {
    /// It was judged for the first time, and all is well.
    Known,
    Raised,
    Cleared,
}

/// An alert's life.
#[derive(Clone, Copy, Debug, Default)]
pub struct Life {
    state: LifeState,
    /// Judged time towards the next change.
    held: Duration,
    /// The last judgement that pointed the same way.
    pointed_at: Option<Mono>,
    /// Whether the last judgement pointed towards a change.
    holding: bool,
}

impl Life {
    pub(super) fn new(state: LifeState) -> Self {
        Self {
            state,
            ..Self::default()
        }
    }

    /// Where it stands.
    #[must_use]
    pub fn phase(&self) -> Phase {
        self.state.phase
    }

    /// Since when it is active.
    #[must_use]
    pub fn since(&self) -> Option<Wall> {
        self.state.since
    }

    pub(super) fn state(&self) -> LifeState {
        self.state
    }

    /// Whether this verdict changes nothing: all is well, nothing is held, and it stays so. True of
    /// nearly every alert at nearly every look.
    pub(super) fn rests(&self, verdict: Verdict) -> bool {
        self.state.phase == Phase::Clear && !self.holding && verdict != Verdict::Beyond
    }

    /// Takes a judgement; `hold` and `clear_hold` are the judged time a change needs.
    pub(crate) fn judge(
        &mut self,
        now: Now,
        verdict: Verdict,
        hold: Duration,
        clear_hold: Duration,
    ) -> Option<Change> {
        let (towards, needed) = match self.state.phase {
            Phase::Active => (Verdict::Well, clear_hold),
            Phase::Clear | Phase::Unknown => (Verdict::Beyond, hold),
        };
        if verdict == Verdict::Unjudged {
            // Time that could not be judged does not count, nor does it undo what was held.
            self.pointed_at = None;
            return None;
        }
        if verdict != towards {
            self.held = Duration::ZERO;
            self.pointed_at = None;
            self.holding = false;
            let first = self.state.phase == Phase::Unknown;
            if first {
                self.state.phase = Phase::Clear;
            }
            return first.then_some(Change::Known);
        }
        if let Some(last) = self.pointed_at {
            self.held += now.mono.since(last);
        }
        self.pointed_at = Some(now.mono);
        self.holding = true;
        if self.held < needed {
            return None;
        }
        self.held = Duration::ZERO;
        self.pointed_at = None;
        self.holding = false;
        if towards == Verdict::Beyond {
            self.state = LifeState {
                phase: Phase::Active,
                since: now.date(),
            };
            Some(Change::Raised)
        } else {
            self.state = LifeState {
                phase: Phase::Clear,
                since: None,
            };
            Some(Change::Cleared)
        }
    }

    /// When the next change is due if the readings stay as they are.
    pub(crate) fn deadline(&self, hold: Duration, clear_hold: Duration) -> Option<Mono> {
        let needed = if self.state.phase == Phase::Active {
            clear_hold
        } else {
            hold
        };
        let pointed = self.pointed_at.filter(|_| self.holding)?;
        Some(pointed.after(needed.saturating_sub(self.held)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLD: Duration = Duration::from_secs(60);

    fn at(seconds: u64) -> Now {
        Now {
            mono: Mono(seconds * 1000),
            wall: Wall(1_795_597_200_000 + i64::try_from(seconds).unwrap() * 1000),
        }
    }

    /// Judges a row of (second, verdict) and returns the changes with their seconds.
    fn changes(row: &[(u64, Verdict)]) -> Vec<(u64, Change)> {
        let mut life = Life::default();
        row.iter()
            .filter_map(|&(second, verdict)| {
                Some((second, life.judge(at(second), verdict, HOLD, HOLD)?))
            })
            .collect()
    }

    use Verdict::{Between, Beyond, Unjudged, Well};

    #[test]
    fn it_goes_on_from_what_was_kept_and_tells_when_it_would_change() {
        let clear_hold = 2 * HOLD;
        let mut life = Life::default();
        assert_eq!(life.judge(at(0), Beyond, HOLD, clear_hold), None);
        assert_eq!(life.deadline(HOLD, clear_hold), Some(at(60).mono));
        let raised = life.judge(at(60), Beyond, HOLD, clear_hold);
        assert_eq!(raised, Some(Change::Raised));
        let mut kept = Life::new(life.state());
        assert_eq!(
            (kept.phase(), kept.since()),
            (Phase::Active, Some(at(60).wall))
        );
        assert_eq!(kept.deadline(HOLD, clear_hold), None);
        assert_eq!(kept.judge(at(100), Well, HOLD, clear_hold), None);
        assert_eq!(kept.deadline(HOLD, clear_hold), Some(at(220).mono));
        assert_eq!(
            kept.judge(at(220), Well, HOLD, clear_hold),
            Some(Change::Cleared)
        );
        assert_eq!((kept.phase(), kept.since()), (Phase::Clear, None));
        let words = [Phase::Unknown, Phase::Clear, Phase::Active].map(Phase::key);
        assert_eq!(words, ["unknown", "clear", "active"]);
    }

    /// Where a life rests, a judgement would leave every part of it as it is, by any way there.
    #[test]
    fn what_rests_would_not_change() {
        let verdicts = [Between, Beyond, Unjudged, Well];
        let mut rested = 0;
        for way in 0..4_usize.pow(6) {
            let mut life = Life::default();
            for step in 0..6_u32 {
                let verdict = verdicts[way / 4_usize.pow(step) % 4];
                let before = life;
                let now = at(u64::from(step) * 40);
                let change = life.judge(now, verdict, HOLD, HOLD);
                if before.rests(verdict) {
                    rested += 1;
                    assert_eq!(change, None, "{way} {step}");
                    assert_eq!(format!("{life:?}"), format!("{before:?}"), "{way} {step}");
                    assert_eq!(life.deadline(HOLD, HOLD), None, "{way} {step}");
                }
            }
        }
        assert!(rested > 1000, "{rested}");
    }

    #[test]
    fn holds_before_it_raises_and_before_it_clears() {
        let row = [
            (0, Well),
            (10, Beyond),
            (69, Beyond),
            (70, Beyond),
            (80, Well),
            (139, Well),
            (140, Well),
        ];
        assert_eq!(
            changes(&row),
            [
                (0, Change::Known),
                (70, Change::Raised),
                (140, Change::Cleared)
            ]
        );
    }

    #[test]
    fn between_the_limits_nothing_changes_and_holding_starts_again() {
        let row = [
            (0, Beyond),
            (50, Beyond),
            (55, Between),
            (60, Beyond),
            (110, Beyond),
            (120, Beyond),
        ];
        assert_eq!(changes(&row), [(55, Change::Known), (120, Change::Raised)]);
    }

    #[test]
    fn time_without_data_neither_counts_nor_undoes() {
        let row = [
            (0, Beyond),
            (30, Beyond),
            (31, Unjudged),
            (1000, Unjudged),
            (1001, Beyond),
            (1031, Beyond),
        ];
        assert_eq!(changes(&row), [(1031, Change::Raised)]);
        assert_eq!(changes(&[(0, Unjudged), (500, Unjudged)]), []);
    }

    proptest::proptest! {
        /// Noise at the limit, one verdict in ten seconds: never two changes within a holding time, and
        /// raised and cleared take turns.
        #[test]
        fn noise_at_the_limit_does_not_flap(noise in proptest::collection::vec(0_usize..4, 1..500)) {
            let verdicts = [Between, Beyond, Unjudged, Well];
            let row: Vec<(u64, Verdict)> = (0..)
                .step_by(10)
                .zip(noise.iter().map(|at| verdicts[*at]))
                .collect();
            let changes: Vec<_> = changes(&row)
                .into_iter()
                .filter(|(_, change)| *change != Change::Known)
                .collect();
            for pair in changes.windows(2) {
                proptest::prop_assert!(pair[1].0 - pair[0].0 >= HOLD.as_secs());
                proptest::prop_assert_ne!(pair[1].1, pair[0].1);
            }
        }
    }
}
