//! What the element teaches about itself: its level, its change with use, its response to
//! temperature and its baseline, jointly, run by run, in constant memory.
//!
//! One run gives ln(specific flow) y at a coldness x (see [`coldness`]); the model is
//!
//! y = level + response · x + noise,  level grows by slope · days,
//!
//! a Kalman filter whose fourth state is the baseline: a copy of the level, taken when the first
//! settled runs are complete, that keeps its correlation with the response. What is learned of the
//! temperature later thus corrects a baseline taken in summer for a comparison in winter, and the
//! error band of the comparison is wide as long as the response is not known. The same serves salt.
//!
//! The filter is the textbook one (Kalman 1960; its use for a baseline is "stochastic cloning",
//! Roumeliotis and Burdick 2002; both from memory). Innovations are clipped, so that one mad run
//! moves little.

use serde::{Deserialize, Serialize};

use crate::{
    physics::{membrane::TemperatureLaw, statistics::median},
    quantity::Temperature,
};

const LEVEL: usize = 0;
const SLOPE: usize = 1;
const RESPONSE: usize = 2;
const BASELINE: usize = 3;
const STATES: usize = 4;

/// K; the response is kept in thousands, so that all states are of like size.
const RESPONSE_UNIT: f64 = 1000.0;
/// Nothing is known of a new element's level: e^±5.
const UNKNOWN_LEVEL: f64 = 5.0;
/// An innovation counts for at most this many of its standard deviations.
const CLIP: f64 = 2.5;
/// How fast the noise of a run is learned.
const NOISE_RATE: f64 = 0.04;
/// Mean of min(z², 3²) for a standard normal z: undoes the clipping's bias.
const CLIPPED_VARIANCE: f64 = 0.9863;

/// What is believed of a quantity before the first run, and how it may wander.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nature {
    /// Response to temperature, K, and how well it is known.
    pub response_k: f64,
    pub response_deviation_k: f64,
    /// Usual change, 1/day (natural logarithm).
    pub slope_deviation: f64,
    /// Wander of the level and of the slope, for each √day.
    pub level_wander: f64,
    pub slope_wander: f64,
    /// Scatter of one run, and the least that is believed.
    pub noise: f64,
    pub least_noise: f64,
}

impl Nature {
    /// ln(Q / NDP). Published coefficients run from 2200 to 4200 K, those of viscosity and of the
    /// coldest table; 1 % a month is an ordinary decline.
    pub const WATER: Self = Self {
        response_k: 3020.0,
        response_deviation_k: 450.0,
        slope_deviation: 0.000_5,
        level_wander: 0.000_5,
        slope_wander: 0.000_01,
        noise: 0.015,
        least_noise: 0.004,
    };
    /// ln of what stands for the salt permeability. The handbook takes water's response for it;
    /// in truth it is steeper.
    pub const SALT: Self = Self {
        response_k: 3020.0,
        response_deviation_k: 800.0,
        slope_deviation: 0.001,
        level_wander: 0.001,
        slope_wander: 0.000_02,
        noise: 0.08,
        least_noise: 0.01,
    };
    /// ln of the pressure drop along the feed channel: less where the water is warm and thin, as
    /// 1/(1 + 0.017·(T − 25)).
    pub const CHANNEL: Self = Self {
        response_k: -1650.0,
        response_deviation_k: 500.0,
        slope_deviation: 0.002,
        level_wander: 0.002,
        slope_wander: 0.000_05,
        noise: 0.1,
        least_noise: 0.02,
    };
}

/// ln(TCF) of the handbook's law for each of its kelvins: x = 1/298 − 1/(273 + T), and 2640/3020 of
/// it above 25 °C. Below zero when colder than 25 °C. `None` outside the temperatures of water.
pub(super) fn coldness(temperature: Temperature) -> Option<f64> {
    let reference = TemperatureLaw::HANDBOOK.coefficient_k(Temperature::from_celsius(25.0));
    let x = TemperatureLaw::HANDBOOK.correction(temperature).ln() / reference;
    x.is_finite().then_some(x)
}

/// A value and its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard deviation.
    pub deviation: f64,
}

/// The joint estimate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Learned {
    /// Level at 25 °C, slope in 1/day, response in 1000 K, baseline.
    mean: [f64; STATES],
    /// Their covariance, the lower triangle by rows.
    covariance: [f64; STATES * (STATES + 1) / 2],
    /// Variance of one run.
    variance: f64,
    /// Runs of the last day, fading: they share its errors and count as one together.
    crowd: f64,
    /// Runs since the baseline was last forgotten.
    runs: u32,
    /// Whether the baseline has been taken.
    based: bool,
}

impl Learned {
    /// Before the first run.
    pub fn new(nature: &Nature) -> Self {
        Self::with_response(nature, nature.response_k, nature.response_deviation_k)
    }

    /// Before the first run of an element that follows another: of the same make, most likely.
    pub fn after(&self, nature: &Nature) -> Self {
        let response = self.response();
        let deviation = response
            .deviation
            .max(NEXT_ELEMENT_K)
            .min(nature.response_deviation_k);
        Self::with_response(nature, response.value, deviation)
    }

    fn with_response(nature: &Nature, response_k: f64, deviation_k: f64) -> Self {
        let mut learned = Self {
            mean: [0.0, 0.0, response_k / RESPONSE_UNIT, 0.0],
            covariance: [0.0; STATES * (STATES + 1) / 2],
            variance: nature.noise.powi(2),
            crowd: 0.0,
            runs: 0,
            based: false,
        };
        for (state, deviation) in [
            (LEVEL, UNKNOWN_LEVEL),
            (SLOPE, nature.slope_deviation),
            (RESPONSE, deviation_k / RESPONSE_UNIT),
        ] {
            learned.set(state, state, deviation.powi(2));
        }
        learned
    }

    /// Takes in a run that ended `days` (zero or more) after the one before. Returns what it told beyond what was
    /// expected of it, in standard deviations: of a run's own noise and of what is not known yet.
    pub fn observe(&mut self, nature: &Nature, days: f64, x: f64, y: f64) -> f64 {
        self.pass(nature, days);
        let sees = Self::sees(x);
        if self.get(LEVEL, LEVEL) >= UNKNOWN_LEVEL.powi(2) {
            // Nothing was seen yet: the level is where the first run puts it, or that run would move
            // the response a little for being far from an arbitrary zero.
            self.mean[LEVEL] += y - dot(&sees, &self.mean);
        }
        let seen = self.times(&sees);
        let unknown: f64 = dot(&sees, &seen);
        let innovation = y - dot(&sees, &self.mean);
        let standardized = innovation / (unknown + self.variance).sqrt();
        // Runs of one day share the day's errors: together they weigh as one.
        self.crowd += 1.0;
        let spread = unknown + self.variance * self.crowd;
        let clipped = innovation.clamp(-CLIP * spread.sqrt(), CLIP * spread.sqrt());
        for state in 0..STATES {
            self.mean[state] += seen[state] / spread * clipped;
            for other in 0..=state {
                let value = self.get(state, other) - seen[state] * seen[other] / spread;
                self.set(state, other, value);
            }
        }
        if self.runs > 0 {
            self.learn_noise(nature, innovation, unknown);
        }
        self.runs = self.runs.saturating_add(1);
        standardized
    }

    /// Something happened: a step. The level may be anywhere now, what was learned of the rest stays.
    pub fn loosen(&mut self, deviation: f64) {
        let variance = self.get(LEVEL, LEVEL) + deviation.powi(2);
        self.set(LEVEL, LEVEL, variance);
    }

    /// Takes the present level as the baseline: the middle one of the first runs, each as (x, y), so
    /// that one of them that was off moves nothing.
    pub fn take_baseline(&mut self, first: impl Iterator<Item = (f64, f64)>) {
        let mut levels: Vec<f64> = first
            .map(|(x, y)| y - self.mean[RESPONSE] * x * RESPONSE_UNIT)
            .collect();
        if let Some(middle) = median(&mut levels) {
            self.mean[LEVEL] = middle;
        }
        self.mean[BASELINE] = self.mean[LEVEL];
        for state in [SLOPE, RESPONSE] {
            let shared = self.get(LEVEL, state);
            self.set(BASELINE, state, shared);
        }
        let own = self.get(LEVEL, LEVEL);
        self.set(BASELINE, LEVEL, own);
        self.set(BASELINE, BASELINE, own);
        self.based = true;
    }

    /// Forgets the baseline; what was learned of the temperature stays.
    pub fn forget_baseline(&mut self) {
        self.mean[BASELINE] = 0.0;
        for state in 0..STATES {
            self.set(BASELINE, state, 0.0);
        }
        self.runs = 0;
        self.based = false;
    }

    /// Runs since the baseline was last forgotten.
    pub fn runs(&self) -> usize {
        self.runs as usize
    }

    /// Whether there is a baseline.
    pub fn is_based(&self) -> bool {
        self.based
    }

    /// The response to temperature, K.
    pub fn response(&self) -> Estimate {
        Estimate {
            value: self.mean[RESPONSE] * RESPONSE_UNIT,
            deviation: self.get(RESPONSE, RESPONSE).max(0.0).sqrt() * RESPONSE_UNIT,
        }
    }

    /// ln(present level / baseline).
    pub fn change(&self) -> Option<Estimate> {
        self.based.then(|| self.of([1.0, 0.0, 0.0, -1.0]))
    }

    /// ln(baseline): the value at 25 °C.
    pub fn baseline(&self) -> Option<f64> {
        self.based.then_some(self.mean[BASELINE])
    }

    /// ln of what one reading at `x` is of the baseline; [`Self::compare`] without its error.
    pub fn share(&self, x: f64, y: f64) -> Option<f64> {
        let combination = [0.0, 0.0, x * RESPONSE_UNIT, 1.0];
        self.based.then(|| y - dot(&combination, &self.mean))
    }

    /// ln of what one reading at `x` is of the baseline, with what is not known of both.
    pub fn compare(&self, x: f64, y: f64) -> Option<Estimate> {
        self.based.then(|| {
            let known = self.of([0.0, 0.0, x * RESPONSE_UNIT, 1.0]);
            Estimate {
                value: y - known.value,
                deviation: (known.deviation.powi(2) + self.variance).sqrt(),
            }
        })
    }

    /// Scatter of one run (natural logarithm).
    pub fn noise(&self) -> f64 {
        self.variance.sqrt()
    }

    /// How the change goes with the response: d(change) / d(response in K), and the standard
    /// deviation of the change that is left when the response is known.
    pub fn change_by_response(&self) -> Option<(f64, f64)> {
        let change = self.change()?;
        let shared = self.get(LEVEL, RESPONSE) - self.get(BASELINE, RESPONSE);
        let own = self.get(RESPONSE, RESPONSE);
        if own <= 0.0 {
            return Some((0.0, change.deviation));
        }
        let left = change.deviation.powi(2) - shared * shared / own;
        Some((shared / own / RESPONSE_UNIT, left.max(0.0).sqrt()))
    }

    fn sees(x: f64) -> [f64; STATES] {
        [1.0, 0.0, x * RESPONSE_UNIT, 0.0]
    }

    fn of(&self, combination: [f64; STATES]) -> Estimate {
        let variance: f64 = dot(&combination, &self.times(&combination));
        Estimate {
            value: dot(&combination, &self.mean),
            deviation: variance.max(0.0).sqrt(),
        }
    }

    /// Lets days pass, with or without a run that tells: the level moves with the slope, and both
    /// wander.
    pub fn pass(&mut self, nature: &Nature, days: f64) {
        self.crowd *= (-days).exp();
        self.mean[LEVEL] += self.mean[SLOPE] * days;
        let row: Vec<f64> = (0..STATES).map(|state| self.get(SLOPE, state)).collect();
        let level = self.get(LEVEL, LEVEL) + 2.0 * days * row[LEVEL] + days * days * row[SLOPE];
        for state in [SLOPE, RESPONSE, BASELINE] {
            let shared = self.get(LEVEL, state) + days * row[state];
            self.set(LEVEL, state, shared);
        }
        self.set(LEVEL, LEVEL, level + nature.level_wander.powi(2) * days);
        let slope = row[SLOPE] + nature.slope_wander.powi(2) * days;
        self.set(SLOPE, SLOPE, slope);
    }

    fn learn_noise(&mut self, nature: &Nature, innovation: f64, unknown: f64) {
        let total = unknown + self.variance;
        let clipped = (innovation * innovation).min(9.0 * total) / CLIPPED_VARIANCE;
        let own = (clipped - unknown).max(0.0);
        let rate = NOISE_RATE.max(1.0 / (f64::from(self.runs) + 10.0));
        self.variance += rate * (own - self.variance);
        self.variance = self.variance.max(nature.least_noise.powi(2));
    }

    /// Covariance times a combination.
    fn times(&self, combination: &[f64; STATES]) -> [f64; STATES] {
        std::array::from_fn(|state| {
            (0..STATES)
                .map(|other| self.get(state, other) * combination[other])
                .sum()
        })
    }

    fn get(&self, row: usize, column: usize) -> f64 {
        self.covariance[place(row, column)]
    }

    fn set(&mut self, row: usize, column: usize, value: f64) {
        self.covariance[place(row, column)] = value;
    }
}

/// An element of the same make responds alike, within this, K.
const NEXT_ELEMENT_K: f64 = 250.0;

fn place(row: usize, column: usize) -> usize {
    let (low, high) = if row < column {
        (row, column)
    } else {
        (column, row)
    };
    high * (high + 1) / 2 + low
}

fn dot(a: &[f64; STATES], b: &[f64; STATES]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: Nature = Nature {
        level_wander: 0.0,
        slope_wander: 0.0,
        ..Nature::WATER
    };

    /// Runs that scatter a little, by sines of odd periods: days, coldness, ln(specific flow).
    fn runs(count: u32, level: f64, slope: f64, response_k: f64) -> Vec<(f64, f64, f64)> {
        (0..count)
            .map(|run| {
                let day = f64::from(run) * 0.7;
                let x =
                    -1.4e-4 + 1.0e-4 * (day / 40.0).sin() + 0.2e-4 * (f64::from(run) * 2.1).sin();
                let scatter = 0.006 * (f64::from(run) * 1.7).sin();
                (day, x, level + slope * day + response_k * x + scatter)
            })
            .collect()
    }

    fn taught(nature: &Nature, runs: &[(f64, f64, f64)]) -> Learned {
        let mut learned = Learned::new(nature);
        let mut before = runs[0].0;
        for (day, x, y) in runs {
            learned.observe(nature, day - before, *x, *y);
            before = *day;
        }
        learned
    }

    /// Solves by Gauss and Jordan; small and well-conditioned here.
    fn solved(mut rows: [[f64; 6]; 3]) -> [[f64; 3]; 3] {
        for pivot in 0..3 {
            let scale = rows[pivot][pivot];
            rows[pivot].iter_mut().for_each(|cell| *cell /= scale);
            let own = rows[pivot];
            for (index, row) in rows.iter_mut().enumerate() {
                let factor = row[pivot];
                if index != pivot {
                    for (cell, own) in row.iter_mut().zip(own) {
                        *cell -= factor * own;
                    }
                }
            }
        }
        rows.map(|row| [row[3], row[4], row[5]])
    }

    /// Without wander the filter is Bayesian linear regression; its batch solution is the oracle:
    /// covariance (P0⁻¹ + Σ hhᵀ/r)⁻¹, mean that times (P0⁻¹m0 + Σ hy/r), with the level at the last
    /// day. The weights 1/r are those that the filter used.
    #[test]
    fn without_wander_it_is_the_regression_of_the_textbook() {
        let runs = runs(120, -3.1, -0.0004, 2600.0);
        let last = runs.last().unwrap().0;
        let prior = [
            UNKNOWN_LEVEL,
            STILL.slope_deviation,
            STILL.response_deviation_k / RESPONSE_UNIT,
        ];
        let mut learned = Learned::new(&STILL);
        let mut normal = [[0.0; 6]; 3];
        // The prior of level and slope is that of the first day: h relates states of the first day.
        // The level's prior is where the first run puts it.
        let first = runs[0].2 - STILL.response_k * runs[0].1;
        let mut right = [
            first / prior[0].powi(2),
            0.0,
            STILL.response_k / RESPONSE_UNIT / prior[2].powi(2),
        ];
        for (index, deviation) in prior.iter().enumerate() {
            normal[index][index] += 1.0 / deviation.powi(2);
            normal[index][index + 3] = 1.0;
        }
        let mut before = 0.0;
        for (day, x, y) in &runs {
            let crowd = learned.crowd * (before - day).exp() + 1.0;
            let weight = 1.0 / (learned.variance * crowd);
            let sees = [1.0, *day, x * RESPONSE_UNIT];
            for (row, one) in sees.iter().enumerate() {
                right[row] += weight * one * y;
                for (column, other) in sees.iter().enumerate() {
                    normal[row][column] += weight * one * other;
                }
            }
            learned.observe(&STILL, day - before, *x, *y);
            before = *day;
        }
        let covariance = solved(normal);
        let mean = covariance.map(|row| row.iter().zip(right).map(|(a, b)| a * b).sum::<f64>());
        let close = |found: f64, expected: f64, what: &str| {
            let error = (found - expected).abs();
            assert!(
                error < 1e-6 * expected.abs().max(1e-3),
                "{what}: {found}, {expected}"
            );
        };
        close(learned.mean[LEVEL], mean[0] + last * mean[1], "level");
        close(learned.mean[SLOPE], mean[1], "slope");
        close(learned.mean[RESPONSE], mean[2], "response");
        close(
            learned.get(RESPONSE, RESPONSE),
            covariance[2][2],
            "variance of the response",
        );
        close(
            learned.get(SLOPE, SLOPE) * 1e6,
            covariance[1][1] * 1e6,
            "variance of the slope",
        );
        let level =
            covariance[0][0] + 2.0 * last * covariance[0][1] + last * last * covariance[1][1];
        close(
            learned.get(LEVEL, LEVEL) * 1e3,
            level * 1e3,
            "variance of the level",
        );
        // And it is right about what made the runs.
        assert!((learned.response().value - 2600.0).abs() < 2.0 * learned.response().deviation);
    }

    /// A summer's baseline, whose response is not known yet, gives no verdict on winter; what winter
    /// teaches of the response puts the baseline right.
    #[test]
    fn a_baseline_follows_what_is_learned_later() {
        let true_k = 2200.0;
        let mut learned = Learned::new(&Nature::WATER);
        for run in 0..5 {
            learned.observe(&Nature::WATER, 0.25, -2e-5, -3.0 - true_k * 2e-5);
            assert!(learned.change().is_none(), "after {run}");
        }
        learned.take_baseline(std::iter::empty());
        let winter = learned.compare(-2.5e-4, -3.0 - true_k * 2.5e-4).unwrap();
        // By the handbook's response it looks 20 % better, but that is within the doubt.
        assert!((winter.value - 0.19).abs() < 0.02, "{winter:?}");
        assert!(winter.value < 2.0 * winter.deviation, "{winter:?}");
        for day in 0..200 {
            let x = -2e-5 - 2.3e-4 * f64::from(day) / 200.0 + 1e-5 * f64::from(day).sin();
            learned.observe(&Nature::WATER, 1.0, x, -3.0 + true_k * x);
        }
        let winter = learned.compare(-2.5e-4, -3.0 - true_k * 2.5e-4).unwrap();
        assert!(winter.value.abs() < 0.02, "{winter:?}");
        assert!((learned.response().value - true_k).abs() < 120.0);
        assert!(learned.change().unwrap().value.abs() < 0.015);
    }

    #[test]
    fn one_mad_run_moves_little() {
        let mut runs = runs(100, -3.0, 0.0, 3000.0);
        let honest = taught(&Nature::WATER, &runs);
        runs[60].2 += 3.0;
        let mad = taught(&Nature::WATER, &runs);
        assert!((mad.mean[LEVEL] - honest.mean[LEVEL]).abs() < 0.01);
        assert!((mad.response().value - honest.response().value).abs() < 100.0);
    }

    #[test]
    fn the_next_element_begins_where_the_last_one_ended() {
        let learned = taught(&Nature::WATER, &runs(300, -3.0, 0.0, 2300.0));
        let next = learned.after(&Nature::WATER);
        assert_eq!(next.response().value, learned.response().value);
        assert!(next.response().deviation >= NEXT_ELEMENT_K);
        assert!(!next.is_based() && next.runs() == 0);
    }
}
