//! The units that may be written, with their factors to the base unit. Definitions: international
//! yard and pound (psi = 0.45359237 kg × 9.80665 m/s² / (0.0254 m)²), US gallon 231 in³ =
//! 3.785411784 L exactly (NIST SP 811, appendix B).

/// A unit: how it is written and how it relates to the base unit of its quantity.
#[derive(Debug, PartialEq)]
pub struct Unit {
    /// Every accepted spelling, the preferred one first.
    pub symbols: &'static [&'static str],
    scale: f64,
    offset: f64,
}

impl Unit {
    /// The preferred spelling.
    #[must_use]
    pub fn symbol(&self) -> &'static str {
        self.symbols.first().copied().unwrap_or("")
    }

    /// Whether `text` is one of the spellings (to the letter; case matters, as in `mS` and `MS`).
    #[must_use]
    pub fn is_written(&self, text: &str) -> bool {
        self.symbols.contains(&text)
    }

    /// From a number in this unit to the base unit.
    #[must_use]
    pub fn to_base(&self, value: f64) -> f64 {
        value * self.scale + self.offset
    }

    /// From a number in the base unit to this unit.
    #[must_use]
    #[allow(clippy::wrong_self_convention)]
    pub fn from_base(&self, base: f64) -> f64 {
        (base - self.offset) / self.scale
    }
}

const fn unit(symbols: &'static [&'static str], scale: f64) -> Unit {
    Unit {
        symbols,
        scale,
        offset: 0.0,
    }
}

pub(super) const BAR_PER_PSI: f64 = 0.453_592_37 * 9.806_65 / (0.025_4 * 0.025_4) / 1e5;
pub(super) const LITRES_PER_GALLON: f64 = 3.785_411_784;
const LITRES_PER_CUBIC_FOOT: f64 = 28.316_846_592;
const MINUTES_PER_DAY: f64 = 1440.0;
/// One grain, 1/7000 of a pound.
const MILLIGRAMS_PER_GRAIN: f64 = 64.798_91;
/// "As calcium carbonate" counts 50 g for each equivalent, by agreement: laboratories and resin
/// makers do not take the 50.04 of the molar mass.
const CACO3_MG_PER_MEQ: f64 = 50.0;

pub(super) const PRESSURE: &[Unit] = &[
    unit(&["bar"], 1.0),
    unit(&["psi"], BAR_PER_PSI),
    unit(&["kPa"], 0.01),
    unit(&["MPa"], 10.0),
    unit(&["mbar", "hPa"], 0.001),
    unit(&["Pa"], 1e-5),
];
pub(super) const FLOW: &[Unit] = &[
    unit(&["L/min", "l/min"], 1.0),
    unit(&["L/h", "l/h"], 1.0 / 60.0),
    unit(&["L/d", "l/d", "L/day"], 1.0 / MINUTES_PER_DAY),
    unit(&["L/s", "l/s"], 60.0),
    unit(&["mL/min", "ml/min"], 0.001),
    unit(&["mL/s", "ml/s"], 0.06),
    unit(&["m3/h", "m³/h"], 1000.0 / 60.0),
    unit(
        &["gal/d", "gpd", "gal/day"],
        LITRES_PER_GALLON / MINUTES_PER_DAY,
    ),
    unit(&["gal/h", "gph"], LITRES_PER_GALLON / 60.0),
    unit(&["gal/min", "gpm"], LITRES_PER_GALLON),
];
pub(super) const VOLUME: &[Unit] = &[
    unit(&["L", "l"], 1.0),
    unit(&["mL", "ml"], 0.001),
    unit(&["m3", "m³"], 1000.0),
    unit(&["gal"], LITRES_PER_GALLON),
    unit(&["ft3", "ft³"], LITRES_PER_CUBIC_FOOT),
];
/// A number of any currency for each unit of volume; the currency stands elsewhere. "ccf" is a hundred
/// cubic feet, as on American water bills.
pub(super) const VOLUME_PRICE: &[Unit] = &[
    unit(&["/L", "/l"], 1.0),
    unit(&["/m3", "/m\u{b3}"], 0.001),
    unit(&["/gal"], 1.0 / LITRES_PER_GALLON),
    unit(&["/kgal"], 0.001 / LITRES_PER_GALLON),
    unit(&["/ft3", "/ft\u{b3}"], 1.0 / LITRES_PER_CUBIC_FOOT),
    unit(&["/ccf", "/hcf"], 0.01 / LITRES_PER_CUBIC_FOOT),
];
pub(super) const TEMPERATURE: &[Unit] = &[
    unit(&["degC", "°C", "C"], 1.0),
    Unit {
        symbols: &["degF", "°F", "F"],
        scale: 5.0 / 9.0,
        offset: -160.0 / 9.0,
    },
    Unit {
        symbols: &["K"],
        scale: 1.0,
        offset: -273.15,
    },
];
pub(super) const CONDUCTIVITY: &[Unit] = &[
    // Both code points of the micro sign are in use: U+00B5 and U+03BC.
    unit(&["uS/cm", "\u{b5}S/cm", "\u{3bc}S/cm"], 1.0),
    unit(&["mS/cm"], 1000.0),
    unit(&["mS/m"], 10.0),
    unit(&["S/m"], 10_000.0),
];
pub(super) const TDS: &[Unit] = &[
    unit(&["mg/L", "mg/l", "ppm"], 1.0),
    unit(&["g/L", "g/l"], 1000.0),
];
pub(super) const CONCENTRATION: &[Unit] = &[
    unit(&["mg/L", "mg/l", "ppm"], 1.0),
    unit(&["ug/L", "\u{b5}g/L", "\u{3bc}g/L", "ppb"], 0.001),
    unit(&["g/L", "g/l"], 1000.0),
];
pub(super) const MASS: &[Unit] = &[unit(&["g"], 1.0), unit(&["mg"], 0.001)];
pub(super) const EQUIVALENTS: &[Unit] = &[
    unit(&["meq"], 1.0),
    unit(&["eq"], 1000.0),
    unit(&["gr"], MILLIGRAMS_PER_GRAIN / CACO3_MG_PER_MEQ),
    unit(&["kgr"], 1000.0 * MILLIGRAMS_PER_GRAIN / CACO3_MG_PER_MEQ),
];
pub(super) const EQUIVALENT_CONCENTRATION: &[Unit] = &[
    unit(&["meq/L", "meq/l"], 1.0),
    unit(
        &["mg/L CaCO3", "mg/l CaCO3", "ppm CaCO3"],
        1.0 / CACO3_MG_PER_MEQ,
    ),
    unit(
        &["gr/gal", "gpg"],
        MILLIGRAMS_PER_GRAIN / LITRES_PER_GALLON / CACO3_MG_PER_MEQ,
    ),
    unit(&["\u{b0}dH", "dH"], 1.0 / 2.8),
    unit(&["\u{b0}f", "fH"], 1.0 / 5.0),
];
pub(super) const RESIN_CAPACITY: &[Unit] = &[
    unit(&["eq/L", "eq/l"], 1.0),
    unit(
        &["kgr/ft3", "kgr/ft\u{b3}"],
        MILLIGRAMS_PER_GRAIN / LITRES_PER_CUBIC_FOOT / CACO3_MG_PER_MEQ,
    ),
    unit(&["g/L CaCO3", "g/l CaCO3"], 1.0 / CACO3_MG_PER_MEQ),
];

/// The unit with a spelling that is known to be in the list; found when compiling, for it is asked
/// at every conversion.
pub(super) const fn factor(units: &'static [Unit], symbol: &str) -> &'static Unit {
    let mut at = 0;
    while at < units.len() {
        let mut spelling = 0;
        while spelling < units[at].symbols.len() {
            if same(units[at].symbols[spelling].as_bytes(), symbol.as_bytes()) {
                return &units[at];
            }
            spelling += 1;
        }
        at += 1;
    }
    panic!("no such unit")
}

const fn same(one: &[u8], other: &[u8]) -> bool {
    if one.len() != other.len() {
        return false;
    }
    let mut at = 0;
    while at < one.len() {
        if one[at] != other[at] {
            return false;
        }
        at += 1;
    }
    true
}
