//! Small statistics that do not break: median, spike test, and the two control charts for slow
//! drift. Plain numbers in and out; what they mean is the caller's.

/// Turns a median absolute deviation into a standard deviation, for a normal distribution.
const DEVIATION_PER_MAD: f64 = 1.482_602_218_505_602;

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
