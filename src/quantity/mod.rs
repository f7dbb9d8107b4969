//! The quantities of the trade, each a type of its own, so that a pressure cannot be passed where
//! a flow is meant. Owns the units people type and read; knows no clock, no file, no topic.
//!
//! Inside, every quantity is held in one base unit (named on the type). [`Quantity::parse`] reads
//! `"60 psi"`; an error lists the units allowed. Conversion factors are checked against the `uom`
//! library in `tests/reference.rs`.

mod parse;
mod units;

pub use parse::{QuantityError, duration_from_text, duration_text};
pub use units::Unit;

use serde::{Deserialize, Serialize};

/// What every quantity offers: its name, its units and the way to and from its base unit.
pub trait Quantity: Copy + Sized + 'static {
    /// What people call it, for error messages: `pressure`.
    const NAME: &'static str;
    /// Every unit that may be written, the base unit first.
    const UNITS: &'static [Unit];
    /// From a number in the base unit.
    fn from_base(value: f64) -> Self;
    /// The number in the base unit.
    fn base(self) -> f64;

    /// Reads a number with its unit, such as `"60 psi"` or `"4.1 bar"`.
    ///
    /// # Errors
    /// When there is no number, no unit, an unknown unit, or a value that is not finite; the error
    /// says what was found and which units are allowed.
    fn parse(text: &str) -> Result<Self, QuantityError> {
        parse::quantity(text)
    }

    /// The unit written as `symbol`, if this quantity has it.
    fn unit(symbol: &str) -> Option<&'static Unit> {
        Self::UNITS.iter().find(|unit| unit.is_written(symbol))
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $type:ident, $name:literal, $units:expr, $(($from:ident, $to:ident, $symbol:literal)),+ $(,)?) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $type(f64);

        impl Quantity for $type {
            const NAME: &'static str = $name;
            const UNITS: &'static [Unit] = $units;
            fn from_base(value: f64) -> Self {
                Self(value)
            }
            fn base(self) -> f64 {
                self.0
            }
        }

        impl $type {
            $(
                #[doc = concat!("From a number of ", $symbol, ".")]
                #[must_use]
                pub fn $from(value: f64) -> Self {
                    const UNIT: &Unit = units::factor($units, $symbol);
                    Self(UNIT.to_base(value))
                }
                #[doc = concat!("The number of ", $symbol, ".")]
                #[must_use]
                pub fn $to(self) -> f64 {
                    const UNIT: &Unit = units::factor($units, $symbol);
                    UNIT.from_base(self.0)
                }
            )+
        }
    };
}

macro_rules! additive {
    ($($type:ident),+) => {$(
        impl std::ops::Add for $type {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl std::ops::Sub for $type {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl std::ops::AddAssign for $type {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl std::ops::Mul<f64> for $type {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl std::ops::Div<f64> for $type {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl std::ops::Div for $type {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl $type {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);
            /// The larger of the two.
            #[must_use]
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
            /// The smaller of the two.
            #[must_use]
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
        }
    )+};
}

quantity!(
    /// Gauge pressure (above the air outside), base unit bar.
    Pressure, "pressure", units::PRESSURE,
    (from_bar, bar, "bar"), (from_psi, psi, "psi"), (from_kpa, kpa, "kPa"),
);
quantity!(
    /// Volume flow, base unit L/min.
    Flow, "flow", units::FLOW,
    (from_l_per_min, l_per_min, "L/min"), (from_l_per_h, l_per_h, "L/h"),
    (from_l_per_day, l_per_day, "L/d"), (from_gal_per_day, gal_per_day, "gal/d"),
);
quantity!(
    /// Volume, base unit litre.
    Volume, "volume", units::VOLUME,
    (from_litres, litres, "L"), (from_gallons, gallons, "gal"),
);
quantity!(
    /// Price of a volume of water in a currency that stands elsewhere, base unit 1/L.
    VolumePrice, "price of water", units::VOLUME_PRICE,
    (from_per_litre, per_litre, "/L"), (from_per_cubic_metre, per_cubic_metre, "/m3"),
);
quantity!(
    /// Temperature, base unit °C.
    Temperature, "temperature", units::TEMPERATURE,
    (from_celsius, celsius, "degC"), (from_fahrenheit, fahrenheit, "degF"),
);
quantity!(
    /// Electrical conductivity referred to 25 °C, base unit µS/cm: the currency inside.
    Conductivity, "conductivity", units::CONDUCTIVITY,
    (from_us_per_cm, us_per_cm, "uS/cm"),
);
quantity!(
    /// Total dissolved solids as a meter shows them, base unit mg/L. Means something only with the
    /// scale ([`TdsScale`]) of the meter.
    Tds, "TDS", units::TDS,
    (from_mg_per_l, mg_per_l, "mg/L"),
);

quantity!(
    /// Mass of one dissolved substance in each litre, base unit mg/L: chlorine, carbon dioxide, silica.
    Concentration, "concentration", units::CONCENTRATION,
    (from_mg_per_l, mg_per_l, "mg/L"),
);
quantity!(
    /// Mass of a substance, base unit g.
    Mass, "mass", units::MASS,
    (from_grams, grams, "g"), (from_milligrams, milligrams, "mg"),
);
quantity!(
    /// Ions by their charge, base unit meq: what a resin takes up.
    Equivalents, "amount of ions", units::EQUIVALENTS,
    (from_meq, meq, "meq"), (from_eq, eq, "eq"), (from_grains, grains, "gr"),
);
quantity!(
    /// Ions by their charge in each litre of water, base unit meq/L: alkalinity, hardness, the load
    /// of a resin. "As CaCO3" counts 50 mg for each meq.
    EquivalentConcentration, "hardness or alkalinity", units::EQUIVALENT_CONCENTRATION,
    (from_meq_per_l, meq_per_l, "meq/L"), (from_mg_per_l_caco3, mg_per_l_caco3, "mg/L CaCO3"),
);
quantity!(
    /// What each litre of resin (the bed, not its grains) takes up, base unit eq/L.
    ResinCapacity, "resin capacity", units::RESIN_CAPACITY,
    (from_eq_per_l, eq_per_l, "eq/L"), (from_kgr_per_ft3, kgr_per_ft3, "kgr/ft3"),
);

additive!(Pressure, Flow, Volume, Conductivity, Tds);
additive!(
    Concentration,
    Mass,
    Equivalents,
    EquivalentConcentration,
    ResinCapacity
);

/// Acidity, on the scale every test kit shows.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Ph(f64);

impl Ph {
    /// A pH between 0 and 14.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (0.0..=14.0).contains(&value).then_some(Self(value))
    }

    /// The number.
    #[must_use]
    pub fn value(self) -> f64 {
        self.0
    }
}

impl Concentration {
    /// What this volume of the water carries.
    #[must_use]
    pub fn in_volume(self, volume: Volume) -> Mass {
        Mass::from_milligrams(self.0 * volume.0)
    }
}

impl EquivalentConcentration {
    /// What this volume of the water carries.
    #[must_use]
    pub fn in_volume(self, volume: Volume) -> Equivalents {
        Equivalents(self.0 * volume.0)
    }
}

impl VolumePrice {
    /// What this volume costs.
    #[must_use]
    pub fn of_volume(self, volume: Volume) -> f64 {
        self.0 * volume.0
    }
}

impl ResinCapacity {
    /// What this volume of resin takes up.
    #[must_use]
    pub fn of_resin(self, resin: Volume) -> Equivalents {
        Equivalents::from_eq(self.0 * resin.0)
    }
}

/// The factor by which a TDS meter turns conductivity (µS/cm at 25 °C) into mg/L: about 0.5 on the
/// NaCl scale of inexpensive meters, up to 0.7 on the "442" scale.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct TdsScale(f64);

impl TdsScale {
    /// The scale of most inexpensive meters (calibrated with 342 mg/L NaCl).
    pub const NACL: Self = Self(0.5);

    /// A scale from its factor, accepted between 0.3 and 1.0 mg/L per µS/cm.
    #[must_use]
    pub fn new(factor: f64) -> Option<Self> {
        (0.3..=1.0).contains(&factor).then_some(Self(factor))
    }

    /// mg/L per µS/cm.
    #[must_use]
    pub fn factor(self) -> f64 {
        self.0
    }

    /// What a meter of this scale shows.
    #[must_use]
    pub fn tds(self, conductivity: Conductivity) -> Tds {
        Tds(conductivity.0 * self.0)
    }

    /// What a meter of this scale has measured.
    #[must_use]
    pub fn conductivity(self, tds: Tds) -> Conductivity {
        Conductivity(tds.0 / self.0)
    }
}

impl Flow {
    /// The volume that passes in `seconds` (not negative).
    #[must_use]
    pub fn over_seconds(self, seconds: f64) -> Volume {
        Volume(self.0 * seconds / 60.0)
    }
}

impl Volume {
    /// The mean flow when this volume took `seconds` (> 0).
    #[must_use]
    pub fn per_seconds(self, seconds: f64) -> Flow {
        Flow(self.0 * 60.0 / seconds)
    }
}
