//! The steady part of a run: a bounded number of evenly spaced samples of each metric, their middle
//! and how far they scatter. A long run is thinned, not cut.
//!
//! The middle is the median, but for what stands on a TDS probe: such a probe often shows whole mg/L,
//! and the median of 6, 6, 6, 7, 7 is 6 and never 6.4. The mean of the middle half keeps what the
//! noise tells between two steps, and is moved by spikes no more than the quartiles are.

use std::time::Duration;

use super::{
    known::{Basis, Known},
    values::Values,
};
use crate::{
    metrics::{Group, Metric},
    physics::statistics::{DEVIATION_PER_MAD, interquartile_mean, median},
    time::Mono,
};

/// Samples kept for each metric; when full, every second one is dropped and the spacing doubles.
const MOST: usize = 128;
/// First spacing, milliseconds.
const SPACING_MS: u64 = 10_000;
/// A run that goes on longer is told in parts: one that never ends would never teach anything.
const LONGEST_PART: Duration = Duration::from_secs(6 * 3600);

/// A run's steady part: as a whole, for its record, and in parts of some hours, for what learns.
#[derive(Clone, Debug, Default)]
pub(super) struct Steady {
    whole: Samples,
    part: Samples,
    /// Whether a part was told.
    pub told_in_parts: bool,
}

/// Samples of a stretch of time.
#[derive(Clone, Debug)]
struct Samples {
    spacing_ms: u64,
    next: Mono,
    /// When its first sample was taken.
    began: Option<Mono>,
    samples: Vec<Vec<Option<Known<f64>>>>,
}

impl Default for Samples {
    fn default() -> Self {
        Self {
            spacing_ms: SPACING_MS,
            next: Mono(0),
            began: None,
            samples: Vec::new(),
        }
    }
}

/// The metrics of which a run keeps figures: what flows, and what the membrane does.
pub(super) fn kept() -> impl Iterator<Item = Metric> {
    Metric::ALL
        .iter()
        .copied()
        .filter(|metric| matches!(metric.group(), Group::Now | Group::Membrane))
}

impl Steady {
    /// Takes a sample if one is due.
    pub fn sample(&mut self, now: Mono, values: &Values) {
        self.whole.sample(now, values);
        self.part.sample(now, values);
    }

    /// Whether a sample is due.
    pub fn is_due(&self, now: Mono) -> bool {
        now >= self.whole.next || now >= self.part.next
    }

    /// What a part of a long run amounted to, when it is full; the next part begins.
    pub fn part(&mut self, now: Mono) -> Option<Results> {
        let began = self.part.began?;
        if now.since(began) < LONGEST_PART {
            return None;
        }
        self.told_in_parts = true;
        Some(std::mem::take(&mut self.part).results())
    }

    /// What the whole amounts to.
    pub fn results(&self) -> Results {
        self.whole.results()
    }
}

impl Samples {
    fn sample(&mut self, now: Mono, values: &Values) {
        if now < self.next {
            return;
        }
        self.began.get_or_insert(now);
        self.next = Mono(now.0.saturating_add(self.spacing_ms));
        if self.samples.len() >= MOST {
            let mut keep = false;
            self.samples.retain(|_| {
                keep = !keep;
                keep
            });
            self.spacing_ms = self.spacing_ms.saturating_mul(2);
        }
        self.samples
            .push(kept().map(|metric| values.of(metric).ok()).collect());
    }

    /// What the samples amount to.
    fn results(&self) -> Results {
        let mut results = Results {
            samples: self.samples.len(),
            coverage: 1.0,
            ..Results::default()
        };
        for (index, metric) in kept().enumerate() {
            let known: Vec<Known<f64>> = self
                .samples
                .iter()
                .filter_map(|sample| sample.get(index).copied().flatten())
                .collect();
            if known.is_empty() {
                continue;
            }
            let scatter = SCATTERS.iter().find(|(main, _)| *main == metric);
            if scatter.is_some() {
                let share = fraction(known.len(), self.samples.len());
                results.coverage = results.coverage.min(share);
            }
            if known.len() * 2 < self.samples.len() {
                results.scarce.push((metric, known.len()));
                continue;
            }
            let mut numbers: Vec<f64> = known.iter().map(|known| known.value).collect();
            let basis = known
                .iter()
                .map(|known| known.basis)
                .max()
                .unwrap_or(Basis::Assumed);
            let Some(value) = middle(metric, &mut numbers) else {
                continue;
            };
            let description = metric.description();
            let kept = description.kept(value);
            let name = description.name.to_owned();
            results.figures.push((name, Known { value: kept, basis }));
            results.scatter.extend(scatter.and_then(|(_, scatter)| {
                Some((scatter.key().to_owned(), scatter.of(value, &mut numbers)?))
            }));
        }
        results
    }
}

/// What a steady part amounts to.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Results {
    /// Samples it stands on.
    pub samples: usize,
    /// Middle of each metric of which at least half of the samples had a value.
    pub figures: Vec<(String, Known<f64>)>,
    /// How far the main figures scatter: 1.4826 × the median absolute deviation.
    pub scatter: Vec<(String, f64)>,
    /// Least share of the samples in which a main figure was there, of those that ever were.
    pub coverage: f64,
    /// Metrics that fewer than half of the samples had, and how many had them.
    pub scarce: Vec<(Metric, usize)>,
}

/// How the scatter of a figure is told.
#[derive(Clone, Copy)]
enum Scatter {
    /// In per cent of the figure, under this name.
    Relative(&'static str),
    /// In the figure's own unit, under its own name.
    Plain(&'static str),
}

/// The main figures.
const SCATTERS: [(Metric, Scatter); 9] = [
    (Metric::PermeateFlow, Scatter::Relative("permeate_flow_pct")),
    (Metric::FeedPressure, Scatter::Plain("feed_pressure_bar")),
    (
        Metric::FeedTemperature,
        Scatter::Plain("feed_temperature_c"),
    ),
    (
        Metric::FeedConductivity,
        Scatter::Plain("feed_conductivity_us_cm"),
    ),
    (
        Metric::PermeateConductivity,
        Scatter::Plain("permeate_conductivity_us_cm"),
    ),
    (Metric::Rejection, Scatter::Plain("rejection_pct")),
    (
        Metric::NormalizedSaltPassage,
        Scatter::Plain("normalized_salt_passage_pct"),
    ),
    (Metric::Recovery, Scatter::Plain("recovery_pct")),
    (
        Metric::NormalizedFlow,
        Scatter::Relative("normalized_flow_pct"),
    ),
];

impl Scatter {
    fn key(self) -> &'static str {
        match self {
            Self::Relative(key) | Self::Plain(key) => key,
        }
    }

    /// Rounded to what a scatter can mean. Overwrites the values.
    fn of(self, middle: f64, values: &mut [f64]) -> Option<f64> {
        for value in values.iter_mut() {
            *value = (*value - middle).abs();
        }
        let deviation = DEVIATION_PER_MAD * median(values)?;
        let told = match self {
            Self::Relative(_) if middle > 0.0 => deviation / middle * 100.0,
            Self::Relative(_) => return None,
            Self::Plain(_) => deviation,
        };
        Some((told * 1000.0).round() / 1000.0).filter(|told| told.is_finite())
    }
}

fn middle(metric: Metric, numbers: &mut [f64]) -> Option<f64> {
    match metric {
        Metric::FeedTds
        | Metric::PermeateTds
        | Metric::ProductTds
        | Metric::ConcentrateTds
        | Metric::FeedConductivity
        | Metric::PermeateConductivity
        | Metric::ProductConductivity
        | Metric::Rejection
        | Metric::SaltPassage
        | Metric::NormalizedSaltPassage
        | Metric::SaltPassageOfBaseline => interquartile_mean(numbers),
        Metric::Shortfall
        | Metric::ShortfallPressure
        | Metric::ShortfallBackPressure
        | Metric::ShortfallTemperature
        | Metric::ShortfallSalinity
        | Metric::ShortfallMembrane => {
            // The parts add up at every moment; so do their means, but not their medians.
            Some(numbers.iter().sum::<f64>() / fraction(numbers.len(), 1))
        }
        _ => median(numbers),
    }
}

#[allow(clippy::cast_precision_loss)] // Numbers of samples: a few hundred at most.
fn fraction(part: usize, whole: usize) -> f64 {
    part as f64 / whole as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Samples of one metric, a missing one as not-a-number.
    fn results(metric: Metric, numbers: &[f64]) -> Results {
        let mut steady = Steady::default();
        for (step, number) in (0..).zip(numbers) {
            let mut values = Values::default();
            if number.is_finite() {
                values.set(metric, Ok(Known::measured(*number)));
            }
            steady.sample(Mono(step * SPACING_MS), &values);
        }
        steady.results()
    }

    #[test]
    fn noise_dithers_the_steps_of_a_probe() {
        // Six readings of 12 and four of 14 µS/cm (whole mg/L at 0.5): 12 is the median; the middle
        // half is 3.5 of the twelves and 1.5 of the fourteens: 12.6.
        let row = [12.0, 14.0, 12.0, 12.0, 14.0, 12.0, 14.0, 12.0, 14.0, 12.0];
        let found = results(Metric::PermeateConductivity, &row);
        assert!((found.figures[0].1.value - 12.6).abs() < 1e-9, "{found:?}");
        // Deviations from 12.6: 0.6 six times, 1.4 four times; their median is 0.6.
        let scatter = &found.scatter[0];
        assert_eq!(scatter.0, "permeate_conductivity_us_cm");
        assert!((scatter.1 - 0.89).abs() < 0.001, "{found:?}");
        let found = results(Metric::FeedPressure, &[4.0, 4.1, 4.0, 4.1, 4.0]);
        assert_eq!(found.figures[0].1.value, 4.0, "elsewhere the median");
    }

    #[test]
    fn the_scatter_of_a_flow_is_relative() {
        // Median 0.2; absolute deviations 0.002, 0.002, 0, 0.01, 0.004: median 0.002, 1 % of 0.2.
        let found = results(Metric::PermeateFlow, &[0.198, 0.202, 0.2, 0.21, 0.196]);
        assert_eq!(found.scatter, [("permeate_flow_pct".to_owned(), 1.483)]);
        assert_eq!(found.samples, 5);
        assert_eq!(found.coverage, 1.0);
    }

    #[test]
    fn what_was_there_in_fewer_than_half_of_the_samples_is_no_figure() {
        let gap = f64::NAN;
        let found = results(Metric::Rejection, &[96.0, gap, gap, 96.0, gap]);
        assert_eq!(found.figures, []);
        assert_eq!(found.scarce, [(Metric::Rejection, 2)]);
        assert_eq!(found.coverage, 0.4);
        let found = results(Metric::Rejection, &[96.0, gap, 96.0, gap]);
        assert_eq!((found.figures.len(), found.coverage), (1, 0.5));
    }
}
