//! Ever-growing sums of the unit over the period: what they grew by between any two moments.
//!
//! The store keeps what each sum was at the end of every sample, and those grow coarse with age: a
//! sample of months ago may reach over midnight. What came within it is then given to the time of the
//! runs that are known, and what no run tells of evenly. Whatever way a period is cut, its pieces add
//! up to the difference of the sums at its ends.

use crate::time::Wall;

/// When water was made, and how much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pour {
    /// When it began.
    pub from: Wall,
    /// When it ended, not before `from`.
    pub to: Wall,
    /// How much, 0 or more.
    pub amount: f64,
}

/// What an ever-growing sum was and when.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Growth {
    /// In the order of time: the moment, and what came since the first.
    points: Vec<(Wall, f64)>,
    /// In the order of time, not overlapping: each with what the ones before it amount to.
    pours: Vec<(Pour, f64)>,
}

impl Growth {
    /// Of what a sum was at some moments, in any order. One that fell was begun anew: what it had been
    /// before stays.
    #[must_use]
    pub fn of(sums: impl IntoIterator<Item = (Wall, f64)>, pours: &[Pour]) -> Self {
        let mut sums: Vec<(Wall, f64)> = sums.into_iter().collect();
        sums.sort_by_key(|(at, _)| *at);
        let mut points: Vec<(Wall, f64)> = Vec::with_capacity(sums.len());
        let mut before: Option<f64> = None;
        let mut grown = 0.0;
        for (at, sum) in sums {
            grown += before.map_or(0.0, |before| (sum - before).max(0.0));
            before = Some(sum);
            match points.last_mut() {
                Some(last) if last.0 == at => last.1 = grown,
                Some(_) | None => points.push((at, grown)),
            }
        }
        Self {
            points,
            pours: in_order(pours),
        }
    }

    /// From when to when it is known.
    #[must_use]
    pub fn known(&self) -> Option<(Wall, Wall)> {
        Some((self.points.first()?.0, self.points.last()?.0))
    }

    /// What came from one moment to another; before the first and after the last known one nothing did.
    #[must_use]
    pub fn between(&self, from: Wall, to: Wall) -> f64 {
        (self.at(to) - self.at(from)).max(0.0)
    }

    /// What came since the first known moment.
    fn at(&self, at: Wall) -> f64 {
        let after = self.points.partition_point(|(point, _)| *point <= at);
        let (Some(before), next) = (
            after
                .checked_sub(1)
                .and_then(|index| self.points.get(index)),
            self.points.get(after),
        ) else {
            return 0.0;
        };
        let Some(next) = next else { return before.1 };
        before.1 + (next.1 - before.1) * self.share(before.0, at, next.0)
    }

    /// How much of what came from `from` to `to` had come by `at`, 0–1.
    fn share(&self, from: Wall, at: Wall, to: Wall) -> f64 {
        let (before, all) = (
            self.poured(at) - self.poured(from),
            self.poured(to) - self.poured(from),
        );
        if all > 0.0 {
            return (before / all).clamp(0.0, 1.0);
        }
        #[allow(clippy::cast_precision_loss)] // Milliseconds of centuries fit.
        let part = |from: Wall, to: Wall| (to.0 - from.0) as f64;
        part(from, at) / part(from, to)
    }

    /// What all runs had made by then.
    fn poured(&self, at: Wall) -> f64 {
        let after = self.pours.partition_point(|(pour, _)| pour.from <= at);
        let Some((pour, before)) = after.checked_sub(1).and_then(|index| self.pours.get(index))
        else {
            return 0.0;
        };
        #[allow(clippy::cast_precision_loss)]
        let share = if at >= pour.to {
            1.0
        } else {
            (at.0 - pour.from.0) as f64 / (pour.to.0 - pour.from.0) as f64
        };
        before + pour.amount * share
    }
}

/// Sorted, each begun no sooner than the one before ended.
fn in_order(pours: &[Pour]) -> Vec<(Pour, f64)> {
    let mut pours = pours.to_vec();
    pours.sort_by_key(|pour| (pour.from, pour.to));
    let mut all = 0.0;
    let mut ended = Wall(i64::MIN);
    let mut ordered = Vec::with_capacity(pours.len());
    for mut pour in pours {
        pour.from = pour.from.max(ended);
        pour.to = pour.to.max(pour.from);
        ended = pour.to;
        ordered.push((pour, all));
        all += pour.amount.max(0.0);
    }
    ordered
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_sum_is_read_at_its_points_and_evenly_between_them() {
        let growth = Growth::of([(Wall(100), 5.0), (Wall(0), 3.0), (Wall(300), 9.0)], &[]);
        assert_eq!(growth.between(Wall(0), Wall(100)), 2.0);
        assert_eq!(growth.between(Wall(0), Wall(200)), 4.0);
        assert_eq!(growth.between(Wall(-50), Wall(1000)), 6.0);
        assert_eq!(growth.between(Wall(300), Wall(1000)), 0.0);
        assert_eq!(growth.known(), Some((Wall(0), Wall(300))));
        assert_eq!(Growth::default().between(Wall(0), Wall(1)), 0.0);
    }

    #[test]
    fn what_came_within_a_sample_came_while_water_was_made() {
        let pour = |from, to, amount| Pour {
            from: Wall(from),
            to: Wall(to),
            amount,
        };
        // 12 L in a day, of which the runs tell 10: 4 before noon, 6 after it.
        let growth = Growth::of(
            [(Wall(0), 0.0), (Wall(24), 12.0)],
            &[pour(14, 20, 6.0), pour(2, 4, 4.0)],
        );
        assert!((growth.between(Wall(0), Wall(12)) - 12.0 * 0.4).abs() < 1e-12);
        assert!((growth.between(Wall(12), Wall(17)) - 12.0 * 0.3).abs() < 1e-12);
        assert_eq!(growth.between(Wall(20), Wall(24)), 0.0);
    }

    #[test]
    fn a_sum_that_began_anew_loses_nothing() {
        let growth = Growth::of(
            [
                (Wall(0), 50.0),
                (Wall(1), 60.0),
                (Wall(2), 0.0),
                (Wall(3), 4.0),
            ],
            &[],
        );
        assert_eq!(growth.between(Wall(0), Wall(3)), 14.0);
    }

    proptest! {
        #[test]
        fn any_partition_adds_up_to_the_whole(
            steps in prop::collection::vec((1_i64..5_000, 0.0_f64..40.0), 1..30),
            runs in prop::collection::vec((0_i64..90_000, 0_i64..3_000, 0.0_f64..9.0), 0..20),
            mut cuts in prop::collection::vec(-5_000_i64..160_000, 2..12),
        ) {
            let (mut at, mut sum) = (0, 7.0);
            let points: Vec<(Wall, f64)> = steps.iter().map(|(later, more)| {
                at += later;
                sum += more;
                (Wall(at), sum)
            }).collect();
            let pours: Vec<Pour> = runs.iter().map(|(from, long, amount)| Pour {
                from: Wall(*from),
                to: Wall(from + long),
                amount: *amount,
            }).collect();
            let growth = Growth::of(points.clone(), &pours);
            cuts.sort_unstable();
            let pieces: f64 = cuts.windows(2).map(|pair| growth.between(Wall(pair[0]), Wall(pair[1]))).sum();
            let whole = growth.between(Wall(cuts[0]), Wall(cuts[cuts.len() - 1]));
            prop_assert!((pieces - whole).abs() < 1e-9 * (1.0 + whole), "{} and {}", pieces, whole);
            let all = growth.between(Wall(i64::MIN), Wall(i64::MAX));
            let last = points[points.len() - 1].1 - points[0].1;
            prop_assert!((all - last).abs() < 1e-9 * (1.0 + last));
            // At its points it is what was kept.
            for pair in points.windows(2) {
                let grown = growth.between(pair[0].0, pair[1].0);
                prop_assert!((grown - (pair[1].1 - pair[0].1)).abs() < 1e-9);
            }
        }
    }
}
