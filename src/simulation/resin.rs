//! The simulated DI cartridge: takes ions until its equivalents are used, then breaks through
//! along a logistic curve (Thomas, J. Am. Chem. Soc. 66 (1944) 1664, in its usual logistic form;
//! cited from memory).

use serde::{Deserialize, Serialize};

/// A DI cartridge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Resin {
    /// Equivalents it can take, meq.
    pub capacity_meq: f64,
    /// Steepness of the breakthrough: 20–40 for a narrow cartridge at low flow. The higher, the
    /// sharper; half the load passes when the load has reached the capacity.
    pub steepness: f64,
    /// Carbon dioxide in the permeate, mg/L: loads the resin, is not seen by a probe.
    pub carbon_dioxide_mg_per_l: f64,
    pub(super) offered_meq: f64,
}

impl Resin {
    /// A fresh cartridge.
    #[must_use]
    pub fn new(capacity_meq: f64, steepness: f64, carbon_dioxide_mg_per_l: f64) -> Self {
        Self {
            capacity_meq,
            steepness,
            carbon_dioxide_mg_per_l,
            offered_meq: 0.0,
        }
    }

    /// Everything it has taken up so far, meq.
    #[must_use]
    pub fn taken_meq(&self) -> f64 {
        self.capacity_meq * self.taken_share(self.offered_meq / self.capacity_meq)
    }

    /// The share that passes at this moment, 0–1.
    #[must_use]
    pub fn passing(&self) -> f64 {
        1.0 / (1.0 + (self.steepness * (1.0 - self.offered_meq / self.capacity_meq)).exp())
    }

    /// Offers a load; returns the share of it that passed.
    pub(super) fn treat(&mut self, meq: f64) -> f64 {
        if meq <= 0.0 {
            return self.passing();
        }
        let before = self.taken_meq();
        self.offered_meq += meq;
        (1.0 - (self.taken_meq() - before) / meq).clamp(0.0, 1.0)
    }

    /// Area over the breakthrough curve up to `load` (in capacities).
    fn taken_share(&self, load: f64) -> f64 {
        let softplus = |x: f64| x.max(0.0) + (-x.abs()).exp().ln_1p();
        let k = self.steepness;
        load - (softplus(k * (load - 1.0)) - softplus(-k)) / k
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_breakthrough_takes_up_the_capacity_and_no_more() {
        // Conservation, closed form: the area over the logistic curve is ln(1 + e^k)/k − … → 1.
        let mut resin = Resin::new(500.0, 30.0, 0.0);
        let mut removed = 0.0;
        for _ in 0..20_000 {
            let passed = resin.treat(0.1);
            removed += 0.1 * (1.0 - passed);
        }
        assert!((removed - 500.0).abs() < 1e-6, "{removed} meq of 500");
        assert!(resin.passing() > 0.999);
        assert!((resin.taken_meq() - removed).abs() < 1e-6);
    }

    #[test]
    fn breakthrough_is_smooth_and_never_turns_back() {
        let mut resin = Resin::new(100.0, 30.0, 0.0);
        let mut before = 0.0;
        for _ in 0..300 {
            let passed = resin.treat(0.5);
            assert!(passed >= before - 1e-9 && passed - before < 0.05);
            before = passed;
        }
        let mut half = Resin::new(100.0, 30.0, 0.0);
        half.treat(50.0);
        assert!(half.passing() < 1e-6, "half used, nothing passes");
        half.treat(50.0);
        assert!((half.passing() - 0.5).abs() < 1e-12, "used up, half passes");
    }
}
