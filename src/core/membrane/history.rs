//! The element's past in a bounded number of points: means over periods of days. When there are too
//! many, neighbours are joined and the period doubles. A point keeps what was measured and how cold
//! it was, so that what is learned of the temperature later puts the past right, too.

use serde::{Deserialize, Serialize};

use crate::metrics::rounded;

/// Points kept.
const MOST: usize = 32;
/// First period, days.
const FIRST_PERIOD: f64 = 2.0;

/// A mean over a period.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Point {
    /// Days since the first run of this element that was seen.
    pub day: f64,
    /// See [`super::learned::coldness`]; in thousandths.
    pub cold: f64,
    /// ln(specific flow).
    pub water: f64,
    /// ln of what stands for the salt permeability.
    pub salt: Option<f64>,
    /// Runs in it, and those of them that told of the salt.
    pub runs: u32,
    pub salt_runs: u32,
}

/// The points, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct History {
    /// Each as day, coldness, water, salt, runs, runs with salt.
    points: Vec<(f64, f64, f64, Option<f64>, u32, u32)>,
    /// How often the period has doubled.
    doubled: u32,
}

impl History {
    /// Takes in a run.
    pub fn push(&mut self, day: f64, x: f64, water: f64, salt: Option<f64>) {
        let run = Point {
            day,
            cold: x * 1000.0,
            water,
            salt,
            runs: 1,
            salt_runs: u32::from(salt.is_some()),
        };
        let period = self.period();
        let begins = |day: f64| (day / period).floor();
        match self.points.last().copied().map(point) {
            Some(last) if begins(last.day) == begins(day) => {
                self.points.pop();
                self.points.push(written(&joined(&last, &run)));
            }
            _ => self.points.push(written(&run)),
        }
        if self.points.len() > MOST {
            self.thin();
        }
    }

    /// Every point from `since` (a day) on.
    pub fn points(&self, since: f64) -> impl Iterator<Item = Point> + '_ {
        self.points
            .iter()
            .copied()
            .map(point)
            .filter(move |point| point.day >= since)
    }

    fn period(&self) -> f64 {
        FIRST_PERIOD * 2f64.powi(i32::try_from(self.doubled).unwrap_or(i32::MAX))
    }

    fn thin(&mut self) {
        self.doubled += 1;
        let period = self.period();
        let mut thinned: Vec<Point> = Vec::new();
        for next in self.points.drain(..).map(point) {
            match thinned.last_mut() {
                Some(last) if (last.day / period).floor() == (next.day / period).floor() => {
                    *last = joined(last, &next);
                }
                _ => thinned.push(next),
            }
        }
        self.points = thinned.iter().map(written).collect();
    }
}

fn joined(a: &Point, b: &Point) -> Point {
    let mean = |a: f64, of_a: u32, b: f64, of_b: u32| {
        (a * f64::from(of_a) + b * f64::from(of_b)) / f64::from(of_a + of_b)
    };
    let salt = match (a.salt, b.salt) {
        (Some(one), Some(other)) => Some(mean(one, a.salt_runs, other, b.salt_runs)),
        (one, other) => one.or(other),
    };
    Point {
        day: mean(a.day, a.runs, b.day, b.runs),
        cold: mean(a.cold, a.runs, b.cold, b.runs),
        water: mean(a.water, a.runs, b.water, b.runs),
        salt,
        runs: a.runs.saturating_add(b.runs).min(u32::MAX / 4),
        salt_runs: a.salt_runs.saturating_add(b.salt_runs).min(u32::MAX / 4),
    }
}

fn point(
    (day, cold, water, salt, runs, salt_runs): (f64, f64, f64, Option<f64>, u32, u32),
) -> Point {
    Point {
        day,
        cold,
        water,
        salt,
        runs,
        salt_runs,
    }
}

/// Rounded far below what a sensor can tell: the state is kept as text.
fn written(point: &Point) -> (f64, f64, f64, Option<f64>, u32, u32) {
    (
        rounded(point.day, 3),
        rounded(point.cold, 5),
        rounded(point.water, 5),
        point.salt.map(|salt| rounded(salt, 4)),
        point.runs,
        point.salt_runs,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn years_stay_bounded_and_keep_their_means() {
        let mut history = History::default();
        let runs = 5000;
        for run in 0..runs {
            let day = f64::from(run) * 0.3;
            let salt = (run % 3 == 0).then_some(-5.0 - day * 0.002);
            history.push(day, -1e-4, -3.0 - day * 0.001, salt);
            assert!(history.points.len() <= MOST);
        }
        let points: Vec<Point> = history.points(0.0).collect();
        assert!(points.len() > MOST / 4, "{}", points.len());
        assert_eq!(points.iter().map(|point| point.runs).sum::<u32>(), 5000);
        // Every mean lies on the line its runs lie on, but for the rounding.
        for point in &points {
            assert!(
                (point.water + 3.0 + point.day * 0.001).abs() < 2e-4,
                "{point:?}"
            );
            let salt = point.salt.unwrap();
            assert!((salt + 5.0 + point.day * 0.002).abs() < 5e-3, "{point:?}");
            assert!((point.cold + 0.1).abs() < 1e-5, "{point:?}");
        }
        assert!(points.is_sorted_by(|one, other| one.day < other.day));
        let text = serde_json::to_string(&history).unwrap();
        assert!(text.len() < 1600, "{} bytes", text.len());
        assert_eq!(serde_json::from_str::<History>(&text).unwrap(), history);
        assert!(history.points(1000.0).count() < points.len());
    }
}
