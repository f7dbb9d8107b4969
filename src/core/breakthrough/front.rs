//! What the runs show behind a stage: still water, a front that arrives, or a probe that stepped. Sees one
//! figure for each settled run, in µS/cm that are let through; the first litres, salty from creep,
//! are in none of them.
//!
//! A front lets through a share that grows by the same factor with the same litres (the foot of the
//! logistic curve of Thomas; from memory), so over some runs it surely **grows**. A probe that is
//! knocked, cleaned or dirtied stands at another level from one run to the next and stays there.
//! So: figures beyond the quiet level are looked at alone, without the first, which may be of a run within
//! which the probe stepped. A line through them that surely rises tells a front; eight of them without one
//! tell a step, which becomes the new quiet level.
//!
//! False alarms: quiet figures are beyond the threshold (four deviations of the filling's first runs) in
//! 3 of 100 000 runs, and four of them in a row are needed; behind a step, a line rises by 4.5 of its own
//! standard errors once in 300 000 looks of normal noise, and there are four looks before the step is
//! settled: one step in 75 000, some ten times more as the deviation had to be estimated from twenty
//! runs. `tests/fillings.rs` plays steps and says what it found.

use serde::{Deserialize, Serialize};

use crate::physics::statistics::median;

/// A figure behind a stage.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "(f64, f64)", from = "(f64, f64)")]
pub(super) struct Point {
    /// Litres the stage had treated.
    pub litres: f64,
    /// µS/cm let through.
    pub level: f64,
}

impl From<(f64, f64)> for Point {
    fn from((litres, level): (f64, f64)) -> Self {
        Self { litres, level }
    }
}

impl From<Point> for (f64, f64) {
    fn from(point: Point) -> Self {
        (point.litres, point.level)
    }
}

/// Figures that are kept.
const KEPT: usize = 16;
/// The first figures of a filling tell how quiet it is …
const FIRST: usize = 20;
/// … from so many on.
const FEWEST: usize = 3;
/// Deviations beyond the quiet level that count as a rise.
const WIDTH: f64 = 4.0;
/// Standard errors by which a line must rise.
const SURE: f64 = 4.5;
/// Figures that a line needs.
const FEWEST_OF_A_LINE: usize = 3;
/// Raised figures without growth that make a step.
const STEP_AFTER: usize = 8;
/// Figures below that take a rise back.
const BACK_AFTER: usize = 3;
/// A probe's own unrest: the least deviation in µS/cm, and as a share of what it shows.
const LEAST_NOISE: f64 = 0.05;
const RELATIVE_NOISE: f64 = 0.02;
/// A rise below this share of what enters means nothing.
const LEAST_SHARE: f64 = 0.01;

/// What the figures say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Sight {
    /// Nothing rises.
    #[default]
    Quiet,
    /// A front arrives: it rose from one level to another, µS/cm, over so many figures.
    Leaking { from: f64, to: f64, runs: usize },
    /// The probe stepped from one level to another, when the stage had treated so many litres.
    Stepped { from: f64, to: f64, litres: f64 },
}

/// The figures of a filling.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Front {
    first: Vec<f64>,
    /// The quiet level since the last step, if there was one.
    stepped_to: Option<f64>,
    points: Vec<Point>,
    pub sight: Sight,
}

impl Front {
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// The level while nothing passes.
    pub fn quiet(&self) -> Option<f64> {
        if self.first.len() < FEWEST {
            return None;
        }
        self.stepped_to.or_else(|| median(&mut self.first.clone()))
    }

    /// Standard deviation of a figure near the quiet level, and at a level above it.
    fn noise(&self, level: f64, enters: f64) -> f64 {
        let seen = unrest(&self.first);
        let floor = LEAST_NOISE.max(LEAST_SHARE * enters / WIDTH);
        seen.max(floor).max(RELATIVE_NOISE * level)
    }

    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// Takes a figure; `enters` is the conductivity of the permeate.
    pub fn take(&mut self, point: Point, enters: f64) {
        if !(point.level.is_finite() && point.litres.is_finite()) {
            return;
        }
        // A rise in the first runs is no part of what is quiet.
        let is_raised = self
            .quiet()
            .is_some_and(|quiet| point.level > quiet + WIDTH * self.noise(quiet, enters));
        if self.first.len() < FIRST && !is_raised {
            self.first.push(point.level);
        }
        if self.points.len() == KEPT {
            self.points.remove(0);
        }
        self.points.push(point);
        self.look(enters);
    }

    fn look(&mut self, enters: f64) {
        let Some(quiet) = self.quiet() else { return };
        let threshold = quiet + WIDTH * self.noise(quiet, enters);
        let is_raised = |point: &&Point| point.level > threshold;
        let raised = self.points.iter().rev().take_while(is_raised).count();
        if raised == 0 {
            let below = self
                .points
                .iter()
                .rev()
                .take_while(|point| !is_raised(point));
            let is_still_leaking = matches!(self.sight, Sight::Leaking { .. });
            if is_still_leaking && below.count() >= BACK_AFTER {
                self.sight = Sight::Quiet;
            }
            self.settle_down(quiet, enters);
            return;
        }
        let line = &self.points[self.points.len() - raised..];
        let to = line[raised - 1].level;
        if self.grows(&line[1..], enters) {
            let (from, runs) = match self.sight {
                Sight::Leaking { from, runs, .. } => (from, (runs + 1).max(raised)),
                Sight::Quiet | Sight::Stepped { .. } => (quiet, raised),
            };
            self.sight = Sight::Leaking { from, to, runs };
        } else if let Sight::Leaking { from, runs, .. } = self.sight {
            self.sight = Sight::Leaking {
                from,
                to,
                runs: runs + 1,
            };
        } else if raised >= STEP_AFTER {
            let litres = line[0].litres;
            let mut levels: Vec<f64> = line.iter().map(|point| point.level).collect();
            if let Some(to) = median(&mut levels) {
                self.stepped_to = Some(to);
                self.sight = Sight::Stepped {
                    from: quiet,
                    to,
                    litres,
                };
            }
        }
    }

    /// A level that lies lower for as long as a step must is quieter still.
    fn settle_down(&mut self, quiet: f64, enters: f64) {
        let Some(from) = self.points.len().checked_sub(STEP_AFTER) else {
            return;
        };
        let mut levels: Vec<f64> = self.points[from..]
            .iter()
            .map(|point| point.level)
            .collect();
        let limit = quiet - WIDTH * self.noise(quiet, enters);
        if levels.iter().all(|level| *level < limit) {
            self.stepped_to = median(&mut levels);
            self.sight = Sight::Quiet;
        }
    }

    /// Whether a straight line through the points rises by [`SURE`] standard errors, given the noise of a
    /// figure, and by more than one such noise.
    fn grows(&self, line: &[Point], enters: f64) -> bool {
        if line.len() < FEWEST_OF_A_LINE {
            return false;
        }
        let middle = |of: fn(&Point) -> f64| line.iter().map(of).sum::<f64>() / count(line);
        let (x, y) = (middle(|point| point.litres), middle(|point| point.level));
        let across: f64 = line.iter().map(|point| (point.litres - x).powi(2)).sum();
        let along = line.iter();
        let along: f64 = along
            .map(|point| (point.litres - x) * (point.level - y))
            .sum();
        let noise = self.noise(y, enters);
        across > 0.0 && along / across.sqrt() > SURE * noise
    }

    /// Whether what is let through was last seen to grow.
    pub fn is_leaking(&self) -> bool {
        matches!(self.sight, Sight::Leaking { .. })
    }

    /// The last figures that lie surely above `limit`.
    pub fn surely_above(&self, limit: f64, enters: f64) -> &[Point] {
        let is_above = |point: &&Point| point.level - 2.0 * self.noise(point.level, enters) > limit;
        let count = self.points.iter().rev().take_while(is_above).count();
        &self.points[self.points.len() - count..]
    }

    /// Whether the last figures all lie below `limit`.
    pub fn is_back_below(&self, limit: f64) -> bool {
        let is_below = |point: &&Point| point.level < limit;
        self.points.iter().rev().take_while(is_below).count() >= BACK_AFTER
    }

    /// Litres until `limit` is reached, at the growth seen: what is let through beyond the quiet level grows
    /// by the same factor with the same litres. `None` while it does not grow.
    pub fn litres_to(&self, limit: f64, enters: f64) -> Option<f64> {
        let quiet = self.quiet()?;
        let threshold = quiet + WIDTH * self.noise(quiet, enters);
        let is_raised = |point: &&Point| point.level > threshold;
        let raised = self.points.iter().rev().take_while(is_raised).count();
        let line = &self.points[self.points.len() - raised..];
        let (first, last) = (line.first()?, line.last()?);
        let beyond = |level: f64| (level - quiet).ln();
        let growth = (beyond(last.level) - beyond(first.level)) / (last.litres - first.litres);
        let litres = (beyond(limit) - beyond(last.level)) / growth;
        (growth > 0.0 && litres.is_finite()).then_some(litres.max(0.0))
    }
}

/// Standard deviation about the median without the tenth that lies furthest, of which a normal
/// distribution's is 0.789 of the whole: surer than the median deviation of so few, and no odd run moves it
/// much.
fn unrest(levels: &[f64]) -> f64 {
    let Some(middle) = median(&mut levels.to_vec()) else {
        return 0.0;
    };
    let mut squares: Vec<f64> = levels
        .iter()
        .map(|level| (level - middle).powi(2))
        .collect();
    squares.sort_unstable_by(f64::total_cmp);
    squares.truncate(levels.len() - levels.len() / 10);
    (squares.iter().sum::<f64>() / count(&squares)).sqrt() / 0.789
}

#[allow(clippy::cast_precision_loss)] // A handful.
fn count<T>(all: &[T]) -> f64 {
    all.len() as f64
}

#[cfg(test)]
mod tests;
