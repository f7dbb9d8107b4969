//! Units: as others write them, in a name, or by the size of the values.

use super::series::Numbers;
use crate::{
    config::Sensed,
    quantity::{Conductivity, Flow, Pressure, Quantity, Tds, Temperature, Unit, Volume},
};

/// What a written unit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stated {
    /// One that a sensor may have, in our spelling.
    Of(Sensed, &'static str),
    /// A frequency, of pulses perhaps.
    Hertz,
    /// A share.
    Percent,
    /// Something else.
    Other,
}

/// Other spellings, in lower case.
const SPELLINGS: &[(&str, &str)] = &[
    ("psig", "psi"),
    ("barg", "bar"),
    ("bars", "bar"),
    ("kilopascal", "kPa"),
    ("kpa", "kPa"),
    ("mbar", "mbar"),
    ("hpa", "hPa"),
    ("celsius", "degC"),
    ("\u{b0}c", "degC"),
    ("c", "degC"),
    ("degc", "degC"),
    ("\u{b0} c", "degC"),
    ("fahrenheit", "degF"),
    ("\u{b0}f", "degF"),
    ("f", "degF"),
    ("degf", "degF"),
    ("\u{b0} f", "degF"),
    ("ppm", "ppm"),
    ("mg/l", "mg/L"),
    ("us/cm", "uS/cm"),
    ("\u{b5}s/cm", "uS/cm"),
    ("\u{3bc}s/cm", "uS/cm"),
    ("us", "uS/cm"),
    ("\u{b5}s", "uS/cm"),
    ("uscm", "uS/cm"),
    ("ms/cm", "mS/cm"),
    ("mscm", "mS/cm"),
    ("l/min", "L/min"),
    ("lpm", "L/min"),
    ("l/m", "L/min"),
    ("litres/min", "L/min"),
    ("l/h", "L/h"),
    ("lph", "L/h"),
    ("l/hr", "L/h"),
    ("l/d", "L/d"),
    ("l/day", "L/d"),
    ("ml/min", "mL/min"),
    ("gpd", "gal/d"),
    ("gal/d", "gal/d"),
    ("gal/day", "gal/d"),
    ("gph", "gal/h"),
    ("gal/h", "gal/h"),
    ("gpm", "gal/min"),
    ("gal/min", "gal/min"),
    ("m\u{b3}/h", "m3/h"),
    ("m3/h", "m3/h"),
    ("l", "L"),
    ("litre", "L"),
    ("litres", "L"),
    ("liter", "L"),
    ("liters", "L"),
    ("ml", "mL"),
    ("m3", "m3"),
    ("m\u{b3}", "m3"),
    ("gal", "gal"),
    ("gallon", "gal"),
    ("gallons", "gal"),
    ("ft\u{b3}", "ft3"),
    ("ft3", "ft3"),
    ("psi", "psi"),
    ("bar", "bar"),
    ("l/s", "L/s"),
];

/// What a text says that should be a unit.
pub(super) fn stated(text: &str) -> Option<Stated> {
    let text = text.trim();
    let lower = text.to_lowercase();
    if text.is_empty() {
        return None;
    }
    // A symbol of ours to the letter first: "mS/cm" and "MPa" are no matter of case.
    let symbol = known(text).or_else(|| {
        let found = SPELLINGS.iter().find(|(spelling, _)| *spelling == lower);
        found.and_then(|(_, symbol)| known(symbol))
    });
    Some(match symbol {
        Some((sensed, spelling, _)) => Stated::Of(sensed, spelling),
        None if lower == "hz" => Stated::Hertz,
        None if lower == "%" => Stated::Percent,
        None => Stated::Other,
    })
}

/// The unit of that spelling, and how we spell it.
fn known(symbol: &str) -> Option<(Sensed, &'static str, &'static Unit)> {
    let lists = [
        (Sensed::Pressure, Pressure::unit(symbol)),
        (Sensed::Flow, Flow::unit(symbol)),
        (Sensed::Volume, Volume::unit(symbol)),
        (Sensed::Temperature, Temperature::unit(symbol)),
        (
            Sensed::Dissolved,
            Tds::unit(symbol).or_else(|| Conductivity::unit(symbol)),
        ),
    ];
    lists.into_iter().find_map(|(sensed, unit)| {
        let unit = unit?;
        // The same unit by the name on the meter.
        let spelling = if symbol == "ppm" {
            "ppm"
        } else {
            unit.symbol()
        };
        Some((sensed, spelling, unit))
    })
}

/// Whether the service takes this spelling for that unit when it follows a number.
pub(super) fn is_read(sensed: Sensed, symbol: &str, spelling: &str) -> bool {
    known(symbol).is_some_and(|(of, _, unit)| of == sensed && unit.is_written(spelling))
}

/// A unit within a name, and the words that say so: `feed_tds_ppm`, `flow l min`.
pub(super) fn in_name(words: &[String], sensed: Option<Sensed>) -> Option<(Stated, String)> {
    /// Words that are nothing but units.
    const CLEAR: &[&str] = &[
        "ppm",
        "uscm",
        "mscm",
        "psi",
        "bar",
        "kpa",
        "mbar",
        "hpa",
        "lpm",
        "lph",
        "gpd",
        "gph",
        "gpm",
        "celsius",
        "fahrenheit",
        "degc",
        "degf",
        "hz",
        "litres",
        "liters",
        "litre",
        "liter",
        "gallons",
    ];
    /// Words that are units at the end of a name only, if the quantity fits.
    const AT_END: &[&str] = &["c", "f", "l", "ml", "gal", "m3"];
    let pair = words.windows(2).find_map(|pair| {
        let text = format!("{}/{}", pair[0], pair[1]);
        matches!(pair[1].as_str(), "min" | "h" | "d" | "day" | "s" | "l")
            .then(|| stated(&text))
            .flatten()
            .filter(|stated| matches!(stated, Stated::Of(..)))
            .map(|stated| (stated, format!("{} {}", pair[0], pair[1])))
    });
    let clear = || {
        let word = words.iter().find(|word| CLEAR.contains(&word.as_str()))?;
        Some((stated(word)?, word.clone()))
    };
    let end = || {
        let word = words
            .iter()
            .rev()
            .find(|word| !word.chars().all(|c| c.is_ascii_digit()))?;
        let found = stated(word).filter(|_| AT_END.contains(&word.as_str()))?;
        let fits = match found {
            Stated::Of(Sensed::Volume, _) => matches!(sensed, Some(Sensed::Flow | Sensed::Volume)),
            Stated::Of(of, _) => sensed == Some(of),
            Stated::Hertz | Stated::Percent | Stated::Other => false,
        };
        fits.then(|| (found, word.clone()))
    };
    pair.or_else(clear).or_else(end)
}

/// The unit that values of this size can only have in such a unit. The ranges leave gaps where two
/// would do (common practice, no source): line pressure is 2 to 8 bar, 30 to 120 psi; cold water is 1 to
/// 30 °C, 34 to 86 °F.
pub(super) fn by_size(sensed: Sensed, numbers: &Numbers, is_tds: bool) -> Option<&'static str> {
    let (low, high) = (numbers.low, numbers.high);
    match sensed {
        Sensed::Pressure if (0.5..=9.0).contains(&high) => Some("bar"),
        Sensed::Pressure if (20.0..=150.0).contains(&high) => Some("psi"),
        Sensed::Pressure if (200.0..=800.0).contains(&high) => Some("kPa"),
        Sensed::Temperature if low >= 1.0 && high <= 31.0 => Some("degC"),
        Sensed::Temperature if low >= 45.0 && high <= 100.0 => Some("degF"),
        Sensed::Dissolved if is_tds && low >= 0.0 => Some("ppm"),
        Sensed::Dissolved if !is_tds && high > 20.0 => Some("uS/cm"),
        Sensed::Pressure
        | Sensed::Temperature
        | Sensed::Dissolved
        | Sensed::Flow
        | Sensed::Volume
        | Sensed::Contact => None,
    }
}

#[cfg(test)]
mod tests {
    use super::{super::words::words, *};

    #[test]
    fn spellings_become_ours() {
        for (text, expected) in [
            ("psi", Some(Stated::Of(Sensed::Pressure, "psi"))),
            ("PSI", Some(Stated::Of(Sensed::Pressure, "psi"))),
            ("\u{b0}C", Some(Stated::Of(Sensed::Temperature, "degC"))),
            ("\u{b5}S/cm", Some(Stated::Of(Sensed::Dissolved, "uS/cm"))),
            ("mS/cm", Some(Stated::Of(Sensed::Dissolved, "mS/cm"))),
            ("GPD", Some(Stated::Of(Sensed::Flow, "gal/d"))),
            ("L", Some(Stated::Of(Sensed::Volume, "L"))),
            ("Hz", Some(Stated::Hertz)),
            ("%", Some(Stated::Percent)),
            ("dBm", Some(Stated::Other)),
            ("", None),
        ] {
            assert_eq!(stated(text), expected, "{text}");
        }
        for (spelling, symbol) in SPELLINGS {
            assert!(known(symbol).is_some(), "{spelling}");
        }
    }

    #[test]
    fn names_carry_units() {
        let unit = |name: &str, sensed| in_name(&words(name), sensed).map(|(stated, _)| stated);
        let of = |sensed, symbol| Some(Stated::Of(sensed, symbol));
        assert_eq!(unit("feed_tds_ppm", None), of(Sensed::Dissolved, "ppm"));
        assert_eq!(unit("flow_l_min", None), of(Sensed::Flow, "L/min"));
        assert_eq!(unit("ec_us_cm", None), of(Sensed::Dissolved, "uS/cm"));
        assert_eq!(
            unit("tC", Some(Sensed::Temperature)),
            of(Sensed::Temperature, "degC")
        );
        assert_eq!(unit("total_l", Some(Sensed::Flow)), of(Sensed::Volume, "L"));
        assert_eq!(unit("C1", Some(Sensed::Flow)), None);
        assert_eq!(unit("feed_tds", None), None);
    }

    #[test]
    fn sizes_decide_only_where_one_unit_is_possible() {
        let numbers = |low: f64, high: f64| Numbers {
            count: 2,
            last: high,
            low,
            high,
            rises: 1,
            falls: 0,
            whole: false,
        };
        let size = |sensed, low, high| by_size(sensed, &numbers(low, high), true);
        assert_eq!(size(Sensed::Pressure, 0.8, 4.2), Some("bar"));
        assert_eq!(size(Sensed::Pressure, 40.0, 62.0), Some("psi"));
        assert_eq!(size(Sensed::Pressure, 10.0, 14.0), None);
        assert_eq!(size(Sensed::Temperature, 12.0, 15.0), Some("degC"));
        assert_eq!(size(Sensed::Temperature, 52.0, 60.0), Some("degF"));
        assert_eq!(size(Sensed::Temperature, 35.0, 40.0), None);
        assert_eq!(size(Sensed::Flow, 0.1, 0.2), None);
    }
}
