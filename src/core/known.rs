//! A value with how it was got, or the reason why there is none.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::config::Point;

/// How a value was got; a value made of several has the weakest of theirs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// From fresh measurements.
    Measured,
    /// An input follows from others: a flow by difference or by the waste ratio.
    Inferred,
    /// An input is a configured constant.
    Assumed,
}

impl Basis {
    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Inferred => "inferred",
            Self::Assumed => "assumed",
        }
    }
}

/// A value and its basis. Kept as `[value, "m"]`, with the first letter of the basis.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "(T, Mark)", from = "Kept<T>")]
#[serde(bound(
    serialize = "T: Clone + Serialize",
    deserialize = "T: Deserialize<'de>"
))]
pub struct Known<T> {
    /// The value.
    pub value: T,
    /// How it was got.
    pub basis: Basis,
}

/// A basis as it is kept.
#[derive(Clone, Copy, Serialize, Deserialize)]
enum Mark {
    #[serde(rename = "m")]
    Measured,
    #[serde(rename = "i")]
    Inferred,
    #[serde(rename = "a")]
    Assumed,
}

/// A value as it is kept, or as it once was, in full.
#[derive(Deserialize)]
#[serde(untagged)]
enum Kept<T> {
    Pair(T, Mark),
    Full { value: T, basis: Basis },
}

impl<T> From<Known<T>> for (T, Mark) {
    fn from(known: Known<T>) -> Self {
        let mark = match known.basis {
            Basis::Measured => Mark::Measured,
            Basis::Inferred => Mark::Inferred,
            Basis::Assumed => Mark::Assumed,
        };
        (known.value, mark)
    }
}

impl<T> From<Kept<T>> for Known<T> {
    fn from(kept: Kept<T>) -> Self {
        match kept {
            Kept::Pair(value, Mark::Measured) => Self::measured(value),
            Kept::Pair(value, Mark::Inferred) => Self::inferred(value),
            Kept::Pair(value, Mark::Assumed) => Self::assumed(value),
            Kept::Full { value, basis } => Self { value, basis },
        }
    }
}

impl<T> Known<T> {
    /// From fresh measurements.
    pub fn measured(value: T) -> Self {
        Self {
            value,
            basis: Basis::Measured,
        }
    }

    /// From other measurements.
    pub fn inferred(value: T) -> Self {
        Self {
            value,
            basis: Basis::Inferred,
        }
    }

    /// From the configuration.
    pub fn assumed(value: T) -> Self {
        Self {
            value,
            basis: Basis::Assumed,
        }
    }

    /// Another value on the same basis.
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Known<U> {
        Known {
            value: f(self.value),
            basis: self.basis,
        }
    }

    /// A value made of two.
    pub fn with<U, V>(self, other: Known<U>, f: impl FnOnce(T, U) -> V) -> Known<V> {
        Known {
            value: f(self.value, other.value),
            basis: self.basis.max(other.basis),
        }
    }

    /// The same value, on no better basis than `basis`.
    #[must_use]
    pub fn at_best(self, basis: Basis) -> Self {
        Self {
            basis: self.basis.max(basis),
            ..self
        }
    }
}

/// Why a value is not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lack {
    /// The sensor's readings contradict the others or cannot be.
    Doubted(Point),
    /// The three flow meters contradict each other.
    BalanceOpen,
    /// A booster pump stands between the two gauges.
    Boosted,
    /// The flow is below what the meter can see.
    BelowRange(Point),
    /// The last reading is outside what is believable.
    Implausible(Point),
    /// Only a retained or late message was heard, of unknown age.
    Unconfirmed(Point),
    /// Nothing was heard yet.
    NotHeard(Point),
    /// The sensor's firmware says it is down.
    Offline(Point),
    /// The last reading is too old.
    Silent(Point),
    /// There is no sensor at the point, and nothing else that tells.
    NoSensor(Point),
    /// Nothing configured tells when water is made.
    NoRunSign,
    /// Neither a rating nor a baseline to compare with.
    NoReference,
    /// The unit makes no water, and no run of the last week had a figure.
    NotProducing,
    /// The equations have no answer here (no driving pressure, say).
    NotPhysical,
    /// Beyond the years anybody plans for, or never.
    NotInSight,
    /// Not enough has been seen yet.
    TooEarly,
    /// No test by hand has told it yet.
    Untested,
    /// The feed's analysis is not known.
    NoAnalysis,
    /// No carbon before the membrane, or no disinfectant configured.
    NoCarbon,
    /// Nothing configured says how long it lasts.
    NoLife,
    /// Nothing configured says what it costs.
    NoPrice,
    /// The wall clock has not been set.
    NoDate,
}

impl Lack {
    /// Whether only another configuration can help: the value never was and will not be there.
    #[must_use]
    pub fn is_permanent(self) -> bool {
        matches!(
            self,
            Self::NoSensor(_)
                | Self::NoRunSign
                | Self::NoReference
                | Self::NoLife
                | Self::NoPrice
                | Self::Boosted
                | Self::NoAnalysis
                | Self::NoCarbon
        )
    }

    /// The reason to give when a second way failed, too: one that may pass tells more, else the
    /// first way's.
    #[must_use]
    pub(super) fn or(self, other: Self) -> Self {
        if self.is_permanent() && !other.is_permanent() {
            other
        } else {
            self
        }
    }
}

impl fmt::Display for Lack {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (what, point) = match self {
            Self::Doubted(point) => ("sensor in doubt", point),
            Self::BalanceOpen => return f.write_str("the flow meters contradict each other"),
            Self::Boosted => return f.write_str("a booster pump stands between the gauges"),
            Self::BelowRange(point) => ("flow below the meter's range", point),
            Self::Implausible(point) => ("implausible reading", point),
            Self::Unconfirmed(point) => ("only a reading of unknown age", point),
            Self::NotHeard(point) => ("not heard yet", point),
            Self::Offline(point) => ("sensor offline", point),
            Self::Silent(point) => ("sensor silent", point),
            Self::NoSensor(point) => ("no sensor", point),
            Self::NoRunSign => return f.write_str("nothing tells when water is made"),
            Self::NoReference => return f.write_str("no rating and no baseline to compare with"),
            Self::NotProducing => return f.write_str("no settled run yet"),
            Self::NotPhysical => return f.write_str("the readings give no physical answer"),
            Self::NotInSight => return f.write_str("not in sight"),
            Self::TooEarly => return f.write_str("too early to say"),
            Self::Untested => return f.write_str("not tested by hand yet"),
            Self::NoAnalysis => {
                return f.write_str("calcium (or hardness), alkalinity and pH are not all known");
            }
            Self::NoCarbon => return f.write_str("no carbon and disinfectant configured"),
            Self::NoLife => return f.write_str("no life configured"),
            Self::NoPrice => return f.write_str("no price configured"),
            Self::NoDate => return f.write_str("the clock is not set"),
        };
        write!(f, "{what}: {}", point.key())
    }
}

/// A value, or why there is none.
pub type Finding<T> = Result<Known<T>, Lack>;

/// Both values; what can never be there tells more than what is away now.
pub(super) fn both<A, B>(a: Finding<A>, b: Finding<B>) -> Finding<(A, B)> {
    match (a, b) {
        (Ok(a), Ok(b)) => Ok(a.with(b, |a, b| (a, b))),
        (Err(a), Err(b)) => Err(if b.is_permanent() { b } else { a }),
        (Err(lack), Ok(_)) | (Ok(_), Err(lack)) => Err(lack),
    }
}

/// Beyond this a number is the quotient of a reading next to nothing, not a fact about water.
const LARGEST: f64 = 1e12;

/// Keeps a number that can be: finite, and of a size that means something.
pub(super) fn sized(finding: Finding<f64>) -> Finding<f64> {
    match finding {
        Ok(known) if known.value.abs() <= LARGEST => Ok(known),
        Ok(_) => Err(Lack::NotPhysical),
        Err(lack) => Err(lack),
    }
}

/// Keeps the value if the equations gave one.
pub(super) fn physical<T>(value: Known<Option<T>>) -> Finding<T> {
    match value.value {
        Some(inner) => Ok(Known {
            value: inner,
            basis: value.basis,
        }),
        None => Err(Lack::NotPhysical),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_beyond_all_measure_is_none() {
        for value in [f64::NAN, f64::INFINITY, -f64::INFINITY, 9.9e306, -1e13] {
            assert_eq!(sized(Ok(Known::measured(value))), Err(Lack::NotPhysical));
        }
        for value in [0.0, -40.0, 1e9, f64::MIN_POSITIVE] {
            assert_eq!(
                sized(Ok(Known::measured(value))),
                Ok(Known::measured(value))
            );
        }
    }

    #[test]
    fn a_value_is_kept_short_and_read_as_it_once_was_kept() {
        for (known, short, full) in [
            (
                Known::measured(96.457),
                r#"[96.457,"m"]"#,
                r#"{"value":96.457,"basis":"measured"}"#,
            ),
            (
                Known::inferred(0.0),
                r#"[0.0,"i"]"#,
                r#"{"value":0.0,"basis":"inferred"}"#,
            ),
            (
                Known::assumed(-1e-7),
                r#"[-1e-7,"a"]"#,
                r#"{"value":-1e-7,"basis":"assumed"}"#,
            ),
        ] {
            assert_eq!(serde_json::to_string(&known).unwrap(), short);
            assert_eq!(serde_json::from_str::<Known<f64>>(short).unwrap(), known);
            assert_eq!(serde_json::from_str::<Known<f64>>(full).unwrap(), known);
        }
        for wrong in [r#"[1.0,"x"]"#, r#"[1.0]"#, r#"[null,"m"]"#, "1.0"] {
            assert!(
                serde_json::from_str::<Known<f64>>(wrong).is_err(),
                "{wrong}"
            );
        }
    }

    #[test]
    fn the_weakest_basis_wins() {
        let sum = Known::measured(1.0).with(Known::inferred(2.0), |a, b| a + b);
        assert_eq!(sum, Known::inferred(3.0));
        assert_eq!(
            sum.with(Known::assumed(1.0), |a, b| a * b).basis,
            Basis::Assumed
        );
        assert_eq!(
            Known::assumed(1).at_best(Basis::Inferred).basis,
            Basis::Assumed
        );
    }
}
