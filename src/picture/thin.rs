//! Long series made short enough to draw, with every peak and dip kept: of each column of the picture the
//! first, the lowest, the highest and the last point stay. What is not known leaves a gap.

use std::time::Duration;

use super::is_drawable;
use crate::time::Wall;

/// The stretches of a series without a longer gap, in the order of time; what lies outside `from` to `to`
/// or cannot be drawn is left out.
pub(super) fn stretches<T: Copy>(
    points: &[(Wall, T)],
    from: Wall,
    to: Wall,
    longest_gap: Duration,
    drawable: impl Fn(T) -> bool,
) -> Vec<Vec<(Wall, T)>> {
    let mut inside: Vec<(Wall, T)> = points
        .iter()
        .filter(|(at, value)| from <= *at && *at <= to && drawable(*value))
        .copied()
        .collect();
    inside.sort_by_key(|(at, _)| *at);
    let longest = i64::try_from(longest_gap.as_millis()).unwrap_or(i64::MAX);
    inside
        .chunk_by(|(before, _), (after, _)| after.0 - before.0 <= longest)
        .map(<[(Wall, T)]>::to_vec)
        .collect()
}

/// The stretches of a line.
pub(super) fn line(
    points: &[(Wall, f64)],
    from: Wall,
    to: Wall,
    longest_gap: Duration,
) -> Vec<Vec<(Wall, f64)>> {
    stretches(points, from, to, longest_gap, is_drawable)
}

/// Of each column the first, lowest, highest and last point; `column` tells in which one lies.
pub(super) fn thin(stretch: &[(Wall, f64)], column: impl Fn(Wall) -> i64) -> Vec<(Wall, f64)> {
    let mut kept = Vec::with_capacity(stretch.len().min(4096));
    for same in stretch.chunk_by(|one, other| column(one.0) == column(other.0)) {
        let mut low = 0;
        let mut high = 0;
        for (index, (_, value)) in same.iter().enumerate() {
            if same.get(low).is_some_and(|(_, lowest)| value < lowest) {
                low = index;
            }
            if same.get(high).is_some_and(|(_, highest)| value > highest) {
                high = index;
            }
        }
        let mut places = [0, low, high, same.len().saturating_sub(1)];
        places.sort_unstable();
        let mut last = None;
        for place in places {
            if last != Some(place) {
                kept.extend(same.get(place).copied());
            }
            last = Some(place);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_gap_is_a_gap_and_nothing_that_is_no_number_gets_in() {
        let points = [
            (Wall(30), 3.0),
            (Wall(0), 1.0),
            (Wall(10), f64::NAN),
            (Wall(20), 2.0),
            (Wall(25), f64::INFINITY),
            (Wall(60), 4.0),
            (Wall(61), 9e300),
            (Wall(99), 5.0),
        ];
        let found = line(&points, Wall(0), Wall(90), Duration::from_millis(20));
        assert_eq!(
            found,
            [
                vec![(Wall(0), 1.0), (Wall(20), 2.0), (Wall(30), 3.0)],
                vec![(Wall(60), 4.0)]
            ]
        );
    }

    proptest! {
        /// Compared with the whole series, column by column.
        #[test]
        fn every_column_keeps_its_extremes_and_ends_in_their_order(
            values in prop::collection::vec(-100.0..100.0_f64, 1..400), width in 1_i64..50
        ) {
            let points: Vec<(Wall, f64)> = (0..).zip(&values).map(|(at, value)| (Wall(at), *value)).collect();
            let column = |at: Wall| at.0 / width;
            let kept = thin(&points, column);
            prop_assert!(kept.is_sorted_by(|a, b| a.0 < b.0));
            prop_assert!(kept.iter().all(|point| points.contains(point)));
            for of in 0..=column(Wall(399)) {
                let own = |series: &[(Wall, f64)]| -> Vec<(Wall, f64)> {
                    series.iter().filter(|point| column(point.0) == of).copied().collect()
                };
                let (all, some) = (own(&points), own(&kept));
                let extremes = |series: &[(Wall, f64)]| {
                    let low = series.iter().map(|point| point.1).fold(f64::INFINITY, f64::min);
                    let high = series.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max);
                    (low, high, series.first().copied(), series.last().copied())
                };
                prop_assert_eq!(extremes(&all), extremes(&some));
                prop_assert!(some.len() <= 4);
            }
        }
    }
}
