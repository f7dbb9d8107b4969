//! What a conductivity probe shows behind resin of one kind only, where the water is acid or alkaline,
//! and what it tells of the ions that pass. Knows no history.
//!
//! Cation resin puts a hydrogen ion in the place of each sodium, so fresh resin turns a salt into its
//! acid: NaCl (50.1 + 76.3 = 126.4 S·cm²/mol) becomes HCl (349.8 + 76.3 = 426.1), and the probe shows
//! 3.37 times what entered. As sodium begins to pass, hydrogen gives way to it and the conductivity
//! **falls** towards that of what entered: by 349.8 − 50.1 = 299.7 S·cm² for each mole that passes.
//! Bicarbonate becomes carbonic acid, which hardly conducts: of a water with much of it the ratio is
//! smaller when fresh, but falls by as much for each mole of sodium as long as free acid is left. Where
//! hardly any acid is left, sodium passes as bicarbonate and nothing can be told: such a ratio is not
//! used ([`LEAST_FRESH_RATIO`]).
//!
//! Anion resin alone makes NaOH (50.1 + 198 = 248.1, ratio 1.96) of it, which falls by
//! 198 − 76.3 = 121.7 for each mole of chloride. Anion resin behind cation resin takes the acid away:
//! there any rise is a leak, of chloride as HCl or of sodium (let through before) as NaOH.

/// Limiting molar conductivities at 25 °C, S·cm²/mol (CRC Handbook of Chemistry and Physics, from
/// memory).
const HYDROGEN: f64 = 349.8;
const SODIUM: f64 = 50.1;
const CHLORIDE: f64 = 76.3;
const HYDROXIDE: f64 = 198.0;

/// Below this ratio of what leaves to what enters, nothing is told of ions that pass: so little free
/// acid (or alkali) is swapped for salt that the probe's own error is as much.
pub const LEAST_FRESH_RATIO: f64 = 1.25;

/// What resin of one kind makes of salt water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Swap {
    /// Cation resin: an acid.
    Acid,
    /// Anion resin that no cation resin precedes: an alkali.
    Alkali,
}

impl Swap {
    /// Conductivity behind fresh resin in multiples of that of the sodium chloride that enters.
    #[must_use]
    pub fn fresh_ratio(self) -> f64 {
        1.0 + self.gain() / (SODIUM + CHLORIDE)
    }

    /// What a mole of ions that are swapped adds.
    fn gain(self) -> f64 {
        match self {
            Self::Acid => HYDROGEN - SODIUM,
            Self::Alkali => HYDROXIDE - CHLORIDE,
        }
    }

    /// The share of the ions that passes, taken as NaCl: `fresh` and `present` are the conductivity
    /// behind in multiples of what enters, when fresh and now. Negative where it is above the fresh one.
    ///
    /// `None` where the fresh ratio tells nothing, or for what is not finite.
    #[must_use]
    pub fn passing(self, fresh: f64, present: f64) -> Option<f64> {
        if fresh.is_nan() || fresh < LEAST_FRESH_RATIO {
            return None;
        }
        super::finite((fresh - present) * (SODIUM + CHLORIDE) / self.gain())
    }
}

/// How many times what it would conduct as NaCl sodium conducts that passes fresh anion resin, as NaOH:
/// 248.1 / 126.4.
#[must_use]
pub fn sodium_as_alkali() -> f64 {
    (SODIUM + HYDROXIDE) / (SODIUM + CHLORIDE)
}
