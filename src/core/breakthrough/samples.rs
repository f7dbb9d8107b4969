//! The settled part of a run in a bounded number of samples, and the one figure it amounts to.

use crate::physics::statistics::interquartile_mean;

/// Settled samples that make a figure: half a minute.
const FEWEST_SAMPLES: usize = 3;
/// Samples kept of a run.
const MOST_SAMPLES: usize = 128;
/// Samples of the settled part of a run: behind a stage, and of the permeate.
#[derive(Clone, Debug)]
pub(super) struct Samples {
    stride: usize,
    seen: usize,
    pairs: Vec<(f64, Option<f64>)>,
}

impl Default for Samples {
    fn default() -> Self {
        Self {
            stride: 1,
            seen: 0,
            pairs: Vec::new(),
        }
    }
}

impl Samples {
    /// A long run is thinned, not cut.
    pub fn take(&mut self, behind: f64, permeate: Option<f64>) {
        let is_due = self.seen.is_multiple_of(self.stride);
        self.seen += 1;
        if !is_due {
            return;
        }
        if self.pairs.len() == MOST_SAMPLES {
            let mut keep = false;
            self.pairs.retain(|_| {
                keep = !keep;
                keep
            });
            self.stride *= 2;
        }
        self.pairs.push((behind, permeate));
    }

    /// What it amounts to: behind the stage, and the permeate.
    pub fn figure(self) -> Option<(f64, Option<f64>)> {
        if self.pairs.len() < FEWEST_SAMPLES {
            return None;
        }
        let mut behind: Vec<f64> = self.pairs.iter().map(|pair| pair.0).collect();
        let mut permeate: Vec<f64> = self.pairs.iter().filter_map(|pair| pair.1).collect();
        let is_told = permeate.len() * 2 >= self.pairs.len();
        let permeate = interquartile_mean(&mut permeate).filter(|_| is_told);
        Some((interquartile_mean(&mut behind)?, permeate))
    }
}
