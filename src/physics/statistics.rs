//! Small statistics that do not break: median, spike test, and the two control charts for slow
//! drift. Plain numbers in and out; what they mean is the caller's.

/// Turns a median absolute deviation into a standard deviation, for a normal distribution.
pub(crate) const DEVIATION_PER_MAD: f64 = 1.482_602_218_505_602;

/// The median; of an even number, the mean of the middle two. Reorders the values.
///
/// `None` for no values or when one is not finite.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() || values.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let middle = values.len() / 2;
    values.sort_unstable_by(f64::total_cmp);
    if values.len() % 2 == 1 {
        Some(values[middle])
    } else {
        Some(values[middle - 1] / 2.0 + values[middle] / 2.0)
    }
}

/// The mean of the middle half; where a quarter is no whole number of values, the outermost ones
/// count in part. Reorders the values.
///
/// `None` for no values or when one is not finite.
#[must_use]
pub fn interquartile_mean(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() || values.iter().any(|value| !value.is_finite()) {
        return None;
    }
    values.sort_unstable_by(f64::total_cmp);
    #[allow(clippy::cast_precision_loss)] // Numbers of values, far below 2^52.
    let quarter = values.len() as f64 / 4.0;
    let (from, to) = (quarter, 3.0 * quarter);
    let mut sum = 0.0;
    let mut place = 0.0;
    for value in values.iter() {
        let inside = to.min(place + 1.0) - from.max(place);
        sum += value * inside.max(0.0);
        place += 1.0;
    }
    Some(sum / (to - from))
}

/// The middle of some values and how far they scatter round it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The median.
    pub median: f64,
    /// 1.4826 × the median absolute deviation: the standard deviation if the values are normal,
    /// and hardly moved by spikes.
    pub deviation: f64,
}

impl Spread {
    /// `None` for no values or when one is not finite.
    #[must_use]
    pub fn of(values: &[f64]) -> Option<Self> {
        let mut sorted = values.to_vec();
        let median = median(&mut sorted)?;
        for value in &mut sorted {
            *value = (*value - median).abs();
        }
        let deviation = DEVIATION_PER_MAD * self::median(&mut sorted)?;
        deviation.is_finite().then_some(Self { median, deviation })
    }
}

/// Hampel's test: whether `value` lies more than `width` deviations (3 is usual) from the median of
/// the values round it.
///
/// The deviation is never taken below half the sensor's `step` (0 when it has none): the values of
/// a probe with whole steps are often all the same, and one step up is no spike.
///
/// `None` for an empty window, when anything is not finite, or for a step or width below zero.
#[must_use]
pub fn is_spike(value: f64, window: &[f64], step: f64, width: f64) -> Option<bool> {
    let allowed = 0.0..f64::INFINITY;
    if !(value.is_finite() && allowed.contains(&step) && allowed.contains(&width)) {
        return None;
    }
    let spread = Spread::of(window)?;
    Some((value - spread.median).abs() > width * spread.deviation.max(step / 2.0))
}

/// Exponentially weighted moving average with control limits:
/// z = λ·y + (1 − λ)·z, limits μ ± L·σ·√(λ/(2 − λ)·(1 − (1 − λ)^2t)).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ewma {
    target: f64,
    deviation: f64,
    weight: f64,
    width: f64,
    value: f64,
    /// (1 − λ)^2t, which fades as values come in.
    youth: f64,
}

impl Ewma {
    /// Starts at `target` (μ). `deviation` (σ) is of a single value, `weight` (λ) in 0–1 (0
    /// excluded), `width` (L) in standard deviations of the average.
    ///
    /// `None` unless all are finite, the weight is in its range, and the others are not below zero.
    #[must_use]
    pub fn new(target: f64, deviation: f64, weight: f64, width: f64) -> Option<Self> {
        let sound = target.is_finite()
            && (0.0..f64::INFINITY).contains(&deviation)
            && (0.0..f64::INFINITY).contains(&width)
            && weight > 0.0
            && weight <= 1.0;
        sound.then_some(Self {
            target,
            deviation,
            weight,
            width,
            value: target,
            youth: 1.0,
        })
    }

    /// The chart as it stood when its [`value`](Self::value) and [`youth`](Self::youth) were kept.
    ///
    /// `None` unless the value is finite and the youth in 0–1.
    #[must_use]
    pub fn resumed(self, value: f64, youth: f64) -> Option<Self> {
        let sound = value.is_finite() && (0.0..=1.0).contains(&youth);
        sound.then_some(Self {
            value,
            youth,
            ..self
        })
    }

    /// Takes in a value; one that is not finite is left out.
    pub fn push(&mut self, value: f64) {
        if value.is_finite() {
            self.value = self.weight * value + (1.0 - self.weight) * self.value;
            self.youth *= (1.0 - self.weight).powi(2);
        }
    }

    /// The average now (z).
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// How much the start still weighs, (1 − λ)^2t after t values: 1 at first, fading to 0.
    #[must_use]
    pub fn youth(&self) -> f64 {
        self.youth
    }

    /// Lower and upper control limit for the average now; both the target before the first value.
    #[must_use]
    pub fn limits(&self) -> (f64, f64) {
        let share = self.weight / (2.0 - self.weight) * (1.0 - self.youth);
        let reach = self.width * self.deviation * share.sqrt();
        (self.target - reach, self.target + reach)
    }

    /// Whether the average lies outside its limits.
    #[must_use]
    pub fn is_out(&self) -> bool {
        let (low, high) = self.limits();
        self.value < low || self.value > high
    }
}

/// Which way a value has drifted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drift {
    /// Above the target.
    Up,
    /// Below the target.
    Down,
}

/// Two-sided cumulative sum: SH = max(0, SH + x − μ − K), SL = max(0, SL + μ − K − x).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cusum {
    target: f64,
    slack: f64,
    decision: f64,
    high: f64,
    low: f64,
}

impl Cusum {
    /// `target` (μ); `slack` (K), half the shift worth finding; `decision` (H), the sum that tells.
    ///
    /// `None` unless all are finite and slack and decision are not below zero.
    #[must_use]
    pub fn new(target: f64, slack: f64, decision: f64) -> Option<Self> {
        let sound = target.is_finite()
            && (0.0..f64::INFINITY).contains(&slack)
            && (0.0..f64::INFINITY).contains(&decision);
        sound.then_some(Self {
            target,
            slack,
            decision,
            high: 0.0,
            low: 0.0,
        })
    }

    /// The chart as it stood when its sums [`high`](Self::high) and [`low`](Self::low) were kept.
    ///
    /// `None` unless both are finite and not below zero.
    #[must_use]
    pub fn resumed(self, high: f64, low: f64) -> Option<Self> {
        let possible = 0.0..f64::INFINITY;
        (possible.contains(&high) && possible.contains(&low)).then_some(Self { high, low, ..self })
    }

    /// Takes in a value; one that is not finite is left out.
    pub fn push(&mut self, value: f64) {
        if value.is_finite() {
            let above = value - self.target;
            self.high = (self.high + above - self.slack).max(0.0);
            self.low = (self.low - above - self.slack).max(0.0);
        }
    }

    /// The upward sum (SH), zero or more.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.high
    }

    /// The downward sum (SL), zero or more.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.low
    }

    /// Which sum has passed the decision, if any; the larger when both have.
    #[must_use]
    pub fn drift(&self) -> Option<Drift> {
        let (sum, drift) = if self.high >= self.low {
            (self.high, Drift::Up)
        } else {
            (self.low, Drift::Down)
        };
        (sum > self.decision).then_some(drift)
    }
}

/// What a continuous sum overshoots its decision by, and falls short of zero by, in standard
/// deviations (Siegmund).
const OVERSHOOT: f64 = 1.166;

/// How many values a one-sided cumulative sum takes, on average, from zero until it passes its
/// decision: with a `shift` of 0 the time between false alarms, with a shift the delay.
///
/// All in standard deviations of a value, which are taken as normal and independent: `slack` (k) and
/// `decision` (h), zero or more, and `shift`, the mean's distance from the target towards the side
/// that is summed. Watching both sides, the rates add: 1/ARL = 1/ARL₁ + 1/ARL₂.
///
/// Siegmund's approximation ARL = (exp(−2Δb) + 2Δb − 1) / (2Δ²), Δ = shift − k, b = h + 1.166, and
/// b² for Δ = 0 (Siegmund, Sequential Analysis, 1985; from memory). Within a few per cent for h of 3
/// and more and shifts up to 2.
///
/// `None` when anything is not finite or slack or decision is below zero; infinite beyond what a
/// number holds.
#[must_use]
pub fn average_run_length(slack: f64, decision: f64, shift: f64) -> Option<f64> {
    let possible = 0.0..f64::INFINITY;
    let sound = possible.contains(&slack) && possible.contains(&decision) && shift.is_finite();
    sound.then(|| siegmund(shift - slack, decision + OVERSHOOT))
}

fn siegmund(drift: f64, height: f64) -> f64 {
    let x = 2.0 * drift * height;
    if x.abs() < 1e-4 {
        // The first terms of the series, where the closed form is 0/0.
        return height * height * (1.0 - x / 3.0 + x * x / 12.0);
    }
    ((-x).exp_m1() + x) / (2.0 * drift * drift)
}

/// The decision (h, in standard deviations) with which a one-sided cumulative sum of this `slack`
/// gives a false alarm every `run_length` values on average: [`average_run_length`] without a shift,
/// asked the other way.
///
/// `None` when anything is not finite, for a slack below zero, or for a run length so short that not
/// even a decision of zero alarms as often (2 values with a slack of 0.5).
#[must_use]
pub fn decision_for(slack: f64, run_length: f64) -> Option<f64> {
    let reaches = |decision| Some(average_run_length(slack, decision, 0.0)? >= run_length);
    if !run_length.is_finite() || average_run_length(slack, 0.0, 0.0)? > run_length {
        return None;
    }
    let mut high = 1.0;
    while !reaches(high)? {
        high *= 2.0;
    }
    let mut low = 0.0;
    // Each step halves the interval; an f64 has no more than 53 bits to settle.
    for _ in 0..60 {
        let middle = low + (high - low) / 2.0;
        if reaches(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_of_the_middle_half_is_as_worked_out_by_hand() {
        for (values, expected) in [
            (vec![4.0], 4.0),
            (vec![1.0, 3.0], 2.0),
            // Three values: the middle one whole, the outer ones a quarter each; by 1.5.
            (vec![9.0, 0.0, 3.0], (0.0 * 0.25 + 3.0 + 9.0 * 0.25) / 1.5),
            (
                vec![6.0, 7.0, 6.0, 7.0, 6.0],
                (6.0 * 0.75 + 6.0 + 7.0 * 0.75) / 2.5,
            ),
            // The spike is outside the middle half.
            (vec![1.0, 2.0, 3.0, 1000.0], 2.5),
            // Twelve observations, the middle six: the worked example of the encyclopedia's article
            // on the interquartile mean (from memory).
            (
                vec![5.0, 8.0, 4.0, 38.0, 8.0, 6.0, 9.0, 7.0, 7.0, 3.0, 1.0, 6.0],
                6.5,
            ),
            // Nine observations, two and a quarter off each end: the same article (from memory).
            (vec![1.0, 3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0], 9.0),
        ] {
            let found = interquartile_mean(&mut values.clone()).unwrap();
            assert!((found - expected).abs() < 1e-12, "{values:?}: {found}");
        }
        assert_eq!(interquartile_mean(&mut []), None);
        assert_eq!(interquartile_mean(&mut [1.0, f64::NAN]), None);
    }
}
