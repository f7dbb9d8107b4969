//! Kinds of resin, what was told of a filling and how it ended, and numbers at random.

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Cation,
    Anion,
    Mixed,
}

impl Kind {
    pub fn key(self) -> &'static str {
        match self {
            Self::Cation => "cation",
            Self::Anion => "anion",
            Self::Mixed => "mixed_bed",
        }
    }

    pub fn id(self, index: usize) -> String {
        let short = self.key().trim_end_matches("_bed");
        format!("s{index}-{short}")
    }

    /// Half a litre of fresh resin, meq (1.8 and 1.0 eq/L; mixed 1 to 1.5).
    pub fn whole(self) -> (f64, f64) {
        match self {
            Self::Cation => (900.0 * 0.3, 0.0),
            Self::Anion => (0.0, 500.0 * 0.8),
            Self::Mixed => (360.0, 300.0),
        }
    }

    pub fn resin(self) -> &'static str {
        match self {
            Self::Cation => "resin = \"0.15 L\"",
            Self::Anion => "resin = \"0.4 L\"",
            Self::Mixed => "resin = \"0.5 L\"",
        }
    }
}

/// What was told at the end of a run.
#[derive(Clone, Copy, Debug)]
pub struct Told {
    pub litres: f64,
    /// Litres at which it is foreseen to end.
    pub foreseen: f64,
    pub band: Option<(f64, f64)>,
}

/// A filling that came to its end.
#[derive(Clone, Debug)]
pub struct Ended {
    pub stage: String,
    pub number: usize,
    pub told_litres: f64,
    pub true_litres: f64,
    pub told: Vec<Told>,
}

impl Ended {
    pub fn at_share(&self, share: f64) -> Told {
        let wanted = share * self.true_litres;
        *self
            .told
            .iter()
            .min_by(|one, other| {
                (one.litres - wanted)
                    .abs()
                    .total_cmp(&(other.litres - wanted).abs())
            })
            .unwrap()
    }
}

pub struct Random(pub u64);

impl Random {
    /// Even in 0–1.
    pub fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Standard normal, by the sum of twelve.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}
