//! Every unit that may be written, against the `uom` library and the closed forms.

use permeated::quantity::{
    Concentration, Conductivity, EquivalentConcentration, Equivalents, Flow, Mass, Pressure,
    Quantity, ResinCapacity, Tds, Temperature, Volume as Litres, VolumePrice,
};
use uom::si::f64::{
    ElectricalConductivity, Mass as SiMass, MassConcentration, Pressure as SiPressure,
    ThermodynamicTemperature, Time, Volume, VolumeRate,
};
use uom::si::{
    electrical_conductivity, mass, mass_concentration, pressure, thermodynamic_temperature, time,
    volume, volume_rate,
};

use crate::{near, near_share};

/// The library rounds its constants to seven digits.
const ROUNDED: f64 = 1e-6;

/// Compares `1 unit … 250 unit` of every unit of a quantity; a unit without an oracle fails.
fn against_oracle<Q: Quantity>(oracle: impl Fn(&str, f64) -> Option<f64>) {
    for unit in Q::UNITS {
        for value in [1.0, 37.5, 250.0] {
            let expected = oracle(unit.symbol(), value)
                .unwrap_or_else(|| panic!("no oracle for {} {}", Q::NAME, unit.symbol()));
            for symbol in unit.symbols {
                let text = format!("{value} {symbol}");
                let found = Q::parse(&text).unwrap().base();
                near_share(&text, found, expected, ROUNDED);
                near_share(&text, unit.from_base(found), value, 1e-12);
            }
        }
    }
}

#[test]
fn pressures() {
    against_oracle::<Pressure>(|symbol, value| {
        let si = match symbol {
            "bar" => SiPressure::new::<pressure::bar>(value),
            "psi" => SiPressure::new::<pressure::psi>(value),
            "kPa" => SiPressure::new::<pressure::kilopascal>(value),
            "MPa" => SiPressure::new::<pressure::megapascal>(value),
            "mbar" => SiPressure::new::<pressure::millibar>(value),
            "Pa" => SiPressure::new::<pressure::pascal>(value),
            _ => return None,
        };
        Some(si.get::<pressure::bar>())
    });
}

#[test]
fn flows() {
    against_oracle::<Flow>(|symbol, value| {
        let hourly = |volume: Volume| volume / Time::new::<time::hour>(1.0);
        let si: VolumeRate = match symbol {
            "L/min" => VolumeRate::new::<volume_rate::liter_per_minute>(value),
            "L/h" => hourly(Volume::new::<volume::liter>(value)),
            "L/d" => Volume::new::<volume::liter>(value) / Time::new::<time::day>(1.0),
            "L/s" => VolumeRate::new::<volume_rate::liter_per_second>(value),
            "mL/min" => Volume::new::<volume::milliliter>(value) / Time::new::<time::minute>(1.0),
            "mL/s" => VolumeRate::new::<volume_rate::milliliter_per_second>(value),
            "m3/h" => VolumeRate::new::<volume_rate::cubic_meter_per_hour>(value),
            "gal/d" => VolumeRate::new::<volume_rate::gallon_per_day>(value),
            "gal/h" => hourly(Volume::new::<volume::gallon>(value)),
            "gal/min" => VolumeRate::new::<volume_rate::gallon_per_minute>(value),
            _ => return None,
        };
        Some(si.get::<volume_rate::liter_per_minute>())
    });
}

#[test]
fn volumes() {
    against_oracle::<Litres>(|symbol, value| {
        let si = match symbol {
            "L" => Volume::new::<volume::liter>(value),
            "mL" => Volume::new::<volume::milliliter>(value),
            "m3" => Volume::new::<volume::cubic_meter>(value),
            "gal" => Volume::new::<volume::gallon>(value),
            "ft3" => Volume::new::<volume::cubic_foot>(value),
            _ => return None,
        };
        Some(si.get::<volume::liter>())
    });
}

/// A price for a volume, by the library's volumes: one kgal is 1000 gal, one ccf 100 cubic feet.
#[test]
fn prices_of_water() {
    against_oracle::<VolumePrice>(|symbol, value| {
        let volume = match symbol {
            "/L" => Volume::new::<volume::liter>(1.0),
            "/m3" => Volume::new::<volume::cubic_meter>(1.0),
            "/gal" => Volume::new::<volume::gallon>(1.0),
            "/kgal" => Volume::new::<volume::gallon>(1000.0),
            "/ft3" => Volume::new::<volume::cubic_foot>(1.0),
            "/ccf" => Volume::new::<volume::cubic_foot>(100.0),
            _ => return None,
        };
        Some(value / volume.get::<volume::liter>())
    });
    // 748.05 gal to 100 cubic feet: 1728 in³ to the cubic foot, 231 in³ to the gallon.
    let three = VolumePrice::parse("4.20 /m3").unwrap();
    near(
        "3 m³",
        three.of_volume(Litres::from_litres(3000.0)),
        12.60,
        1e-12,
    );
    let of_a_hundred_feet = VolumePrice::parse("5 /ccf").unwrap();
    let gallons = Litres::from_gallons(100.0 * 1728.0 / 231.0);
    near(
        "a ccf in gallons",
        of_a_hundred_feet.of_volume(gallons),
        5.0,
        1e-12,
    );
}

#[test]
fn temperatures() {
    against_oracle::<Temperature>(|symbol, value| {
        use thermodynamic_temperature::{degree_celsius, degree_fahrenheit, kelvin};
        let si = match symbol {
            "degC" => ThermodynamicTemperature::new::<degree_celsius>(value),
            "degF" => ThermodynamicTemperature::new::<degree_fahrenheit>(value),
            "K" => ThermodynamicTemperature::new::<kelvin>(value),
            _ => return None,
        };
        Some(si.get::<degree_celsius>())
    });
    // Exact by definition: T°C = (F − 32)/1.8.
    for (fahrenheit, celsius) in [(77.0, 25.0), (59.0, 15.0), (50.0, 10.0), (41.0, 5.0)] {
        let found = Temperature::from_fahrenheit(fahrenheit).celsius();
        near(fahrenheit, found, celsius, 1e-12);
    }
}

#[test]
fn conductivities_and_concentrations() {
    against_oracle::<Conductivity>(|symbol, value| {
        let per_metre = match symbol {
            "uS/cm" => value * 1e-4,
            "mS/cm" => value * 0.1,
            "mS/m" => value * 1e-3,
            "S/m" => value,
            _ => return None,
        };
        let si =
            ElectricalConductivity::new::<electrical_conductivity::siemens_per_meter>(per_metre);
        Some(si.get::<electrical_conductivity::siemens_per_centimeter>() * 1e6)
    });
    against_oracle::<Tds>(|symbol, value| {
        let si = match symbol {
            "mg/L" => MassConcentration::new::<mass_concentration::milligram_per_liter>(value),
            "g/L" => MassConcentration::new::<mass_concentration::gram_per_liter>(value),
            _ => return None,
        };
        Some(si.get::<mass_concentration::milligram_per_liter>())
    });
}

#[test]
fn masses() {
    against_oracle::<Concentration>(|symbol, value| {
        let si = match symbol {
            "mg/L" => MassConcentration::new::<mass_concentration::milligram_per_liter>(value),
            "ug/L" => MassConcentration::new::<mass_concentration::microgram_per_liter>(value),
            "g/L" => MassConcentration::new::<mass_concentration::gram_per_liter>(value),
            _ => return None,
        };
        Some(si.get::<mass_concentration::milligram_per_liter>())
    });
    against_oracle::<Mass>(|symbol, value| {
        let si = match symbol {
            "g" => SiMass::new::<mass::gram>(value),
            "mg" => SiMass::new::<mass::milligram>(value),
            _ => return None,
        };
        Some(si.get::<mass::gram>())
    });
}

/// Masses by the library, 50 mg CaCO3 to the milliequivalent; 2.8 °dH and 5 °f to it (dardel.info).
#[test]
fn equivalents() {
    let meq = |caco3: SiMass| caco3.get::<mass::milligram>() / 50.0;
    let per_litre = |caco3: SiMass, volume: Volume| meq(caco3) / volume.get::<volume::liter>();
    let litre = Volume::new::<volume::liter>(1.0);
    against_oracle::<Equivalents>(|symbol, value| match symbol {
        "meq" => Some(value),
        "eq" => Some(value * 1e3),
        "gr" => Some(meq(SiMass::new::<mass::grain>(value))),
        "kgr" => Some(meq(SiMass::new::<mass::grain>(value * 1e3))),
        _ => None,
    });
    against_oracle::<EquivalentConcentration>(|symbol, value| match symbol {
        "meq/L" => Some(value),
        "mg/L CaCO3" => Some(per_litre(SiMass::new::<mass::milligram>(value), litre)),
        "gr/gal" => Some(per_litre(
            SiMass::new::<mass::grain>(value),
            Volume::new::<volume::gallon>(1.0),
        )),
        "°dH" => Some(value / 2.8),
        "°f" => Some(value / 5.0),
        _ => None,
    });
    against_oracle::<ResinCapacity>(|symbol, value| match symbol {
        "eq/L" => Some(value),
        "kgr/ft3" => {
            let foot = Volume::new::<volume::cubic_foot>(1.0);
            Some(per_litre(SiMass::new::<mass::grain>(value), foot))
        }
        "g/L CaCO3" => Some(per_litre(SiMass::new::<mass::milligram>(value), litre)),
        _ => None,
    });
}

/// NIST SP 811 appendix B: constants exact by definition, figures calculated by closed form.
#[test]
fn closed_forms() {
    let psi = 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254) / 1000.0;
    near_share("psi in kPa", Pressure::from_psi(1.0).kpa(), psi, 1e-12);
    near_share("psi in kPa, printed", psi, 6.894_757_293_168, 1e-12);
    near_share(
        "psi in bar",
        Pressure::from_psi(1.0).bar(),
        0.068_947_572_93,
        1e-10,
    );
    near_share(
        "bar in psi",
        Pressure::from_bar(1.0).psi(),
        14.503_773_773,
        1e-10,
    );
    near_share("bar in kPa", Pressure::from_bar(1.0).kpa(), 100.0, 1e-12);
    near_share(
        "gal in L",
        Litres::from_gallons(1.0).litres(),
        3.785_411_784,
        1e-12,
    );
    let gallon_a_day = Flow::from_gal_per_day(1.0);
    near_share(
        "gal/d in L/d",
        gallon_a_day.l_per_day(),
        3.785_411_784,
        1e-12,
    );
    near_share(
        "gal/d in mL/min",
        gallon_a_day.l_per_min() * 1000.0,
        2.628_758,
        2e-7,
    );
    near_share("gal/d in L/h", gallon_a_day.l_per_h(), 0.157_725_491, 3e-9);
    let gallon_a_minute = Flow::parse("1 gal/min").unwrap();
    near_share(
        "gal/min in m3/h",
        gallon_a_minute.l_per_h() / 1000.0,
        0.227_124_707,
        3e-9,
    );
    let cubic_foot = Litres::parse("1 ft3").unwrap();
    near_share("ft3 in L", cubic_foot.litres(), 28.316_846_592, 1e-12);
    near_share(
        "ft3 in L, closed form",
        cubic_foot.litres(),
        3.048f64.powi(3),
        1e-12,
    );
}

/// Common practice, no source: an element of 100 US gal/d makes 4.17 gal/h.
#[test]
fn the_trades_rates() {
    let hourly = Flow::from_gal_per_day(100.0).over_seconds(3600.0);
    near("gal/h", hourly.gallons(), 4.17, 5e-3);
    let daily = Litres::from_gallons(100.0).per_seconds(86_400.0);
    near("gal/d", daily.gal_per_day(), 100.0, 1e-9);
}
