//! From text to a quantity and back, with errors that say what is allowed.

use std::time::Duration;

use super::Quantity;

/// Why a text is not a quantity; `Display` names what was found and what is allowed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// The text starts with no number.
    #[error("{found:?} has no number; write a {quantity} as in \"{example}\"")]
    NoNumber {
        /// The text.
        found: String,
        /// The quantity's name.
        quantity: &'static str,
        /// A text that would do.
        example: String,
    },
    /// The number is infinite or too large to be one.
    #[error("{found:?} is not a finite number; write one of ordinary size, as in 4.1")]
    NotFinite {
        /// The text.
        found: String,
    },
    /// The unit is missing or not one of this quantity.
    #[error("{found:?} has {}; a {quantity} is written in {}", unit_found(unit), allowed.join(", "))]
    Unit {
        /// The text.
        found: String,
        /// The unit as typed, empty when there was none.
        unit: String,
        /// The quantity's name.
        quantity: &'static str,
        /// Preferred spellings of the allowed units.
        allowed: Vec<&'static str>,
    },
}

fn unit_found(unit: &str) -> String {
    if unit.is_empty() {
        "no unit".to_owned()
    } else {
        format!("the unit {unit:?}")
    }
}

/// Splits `"60 psi"` into 60 and `psi`.
fn split(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end = text
        .char_indices()
        .take_while(|&(at, c)| {
            c.is_ascii_digit()
                || matches!(c, '.' | '-' | '+')
                || (matches!(c, 'e' | 'E') && exponent_follows(&text[at + 1..]))
        })
        .last()
        .map_or(0, |(at, c)| at + c.len_utf8());
    let (number, unit) = text.split_at(end);
    Some((number.parse().ok()?, unit.trim()))
}

fn exponent_follows(rest: &str) -> bool {
    let digits = rest.strip_prefix(['-', '+']).unwrap_or(rest);
    digits.starts_with(|c: char| c.is_ascii_digit())
}

pub(super) fn quantity<Q: Quantity>(text: &str) -> Result<Q, QuantityError> {
    let found = || text.trim().to_owned();
    let Some((number, symbol)) = split(text) else {
        let example = format!("12 {}", Q::UNITS[0].symbol());
        return Err(QuantityError::NoNumber {
            found: found(),
            quantity: Q::NAME,
            example,
        });
    };
    let Some(unit) = Q::unit(symbol) else {
        return Err(QuantityError::Unit {
            found: found(),
            unit: symbol.to_owned(),
            quantity: Q::NAME,
            allowed: Q::UNITS.iter().map(super::Unit::symbol).collect(),
        });
    };
    let base = unit.to_base(number);
    if base.is_finite() {
        Ok(Q::from_base(base))
    } else {
        Err(QuantityError::NotFinite { found: found() })
    }
}

const DURATIONS: &[(&str, f64)] = &[
    ("s", 1.0),
    ("ms", 0.001),
    ("min", 60.0),
    ("h", 3600.0),
    ("d", 86_400.0),
    ("days", 86_400.0),
];
/// A hundred years: longer is a slip of the pen.
const LONGEST_SECONDS: f64 = 100.0 * 365.25 * 86_400.0;

/// Reads a duration, such as `"10 min"`, `"90 d"` or `"500 ms"`.
///
/// # Errors
/// When there is no number, no known unit, or the duration is negative or longer than a century.
pub fn duration_from_text(text: &str) -> Result<Duration, QuantityError> {
    let found = || text.trim().to_owned();
    let Some((number, symbol)) = split(text) else {
        return Err(QuantityError::NoNumber {
            found: found(),
            quantity: "duration",
            example: "10 min".to_owned(),
        });
    };
    let Some((_, seconds)) = DURATIONS.iter().find(|(name, _)| *name == symbol) else {
        return Err(QuantityError::Unit {
            found: found(),
            unit: symbol.to_owned(),
            quantity: "duration",
            allowed: DURATIONS.iter().map(|(name, _)| *name).collect(),
        });
    };
    let total = number * seconds;
    if (0.0..=LONGEST_SECONDS).contains(&total) {
        Ok(Duration::from_secs_f64(total))
    } else {
        Err(QuantityError::NotFinite { found: found() })
    }
}

/// A duration as people write it, in its largest whole-ish unit: `10 min`, `1.5 h`, `90 d`.
#[must_use]
pub fn duration_text(duration: Duration) -> String {
    let seconds = duration.as_secs_f64();
    let (value, unit) = match seconds {
        s if s >= 2.0 * 86_400.0 => (s / 86_400.0, "d"),
        s if s >= 2.0 * 3600.0 => (s / 3600.0, "h"),
        s if s >= 60.0 => (s / 60.0, "min"),
        s => (s, "s"),
    };
    format!("{} {unit}", (value * 10.0).round() / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Conductivity, Flow, Pressure, ResinCapacity, Temperature};

    #[test]
    fn reads_numbers_with_units() {
        assert!((Pressure::parse("60 psi").unwrap().bar() - 4.136_854).abs() < 1e-6);
        assert_eq!(Pressure::parse(" 4.1bar ").unwrap().bar(), 4.1);
        assert_eq!(
            Temperature::parse("59 degF").unwrap().celsius().round(),
            15.0
        );
        assert_eq!(Temperature::parse("-2.5 °C").unwrap().celsius(), -2.5);
        assert_eq!(Conductivity::parse("5e-1 µS/cm").unwrap().us_per_cm(), 0.5);
        assert!((Flow::parse("100 gal/d").unwrap().l_per_day() - 378.541_178_4).abs() < 1e-9);
    }

    #[test]
    fn says_what_is_allowed() {
        let error = Pressure::parse("60 PSI").unwrap_err().to_string();
        assert!(
            error.contains("\"PSI\"") && error.contains("bar, psi, kPa"),
            "{error}"
        );
        assert!(
            Pressure::parse("60")
                .unwrap_err()
                .to_string()
                .contains("no unit")
        );
        assert!(
            Pressure::parse("high")
                .unwrap_err()
                .to_string()
                .contains("no number")
        );
        assert!(
            Pressure::parse("1e999 bar")
                .unwrap_err()
                .to_string()
                .contains("finite")
        );
    }

    #[test]
    fn an_exponent_is_told_from_a_unit_that_begins_like_one() {
        let capacity = |text| ResinCapacity::parse(text).unwrap().eq_per_l();
        assert_eq!([capacity("2eq/L"), capacity("2e0 eq/L")], [2.0, 2.0]);
        for (text, bar) in [("1e3mbar", 1.0), ("1E-1 bar", 0.1), ("2e+0 bar", 2.0)] {
            assert!(
                (Pressure::parse(text).unwrap().bar() - bar).abs() < 1e-12,
                "{text}"
            );
        }
    }

    #[test]
    fn durations_there_and_back() {
        assert_eq!(
            duration_from_text("90 d").unwrap(),
            Duration::from_secs(90 * 86_400)
        );
        assert_eq!(duration_text(Duration::from_secs(600)), "10 min");
        assert_eq!(duration_text(Duration::from_secs(90 * 86_400)), "90 d");
        for (seconds, text) in [
            (30, "30 s"),
            (5400, "90 min"),
            (10_800, "3 h"),
            (36 * 3600, "36 h"),
            (2 * 86_400, "2 d"),
        ] {
            assert_eq!(duration_text(Duration::from_secs(seconds)), text);
        }
        assert!(duration_from_text("-1 s").is_err() && duration_from_text("10 weeks").is_err());
    }
}
