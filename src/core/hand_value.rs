//! What a keeper found in a test by hand, from text to a number in the unit of the test. Decides nothing
//! about what it means.

use std::ops::RangeInclusive;

use super::hand_test::HandTest;
use crate::{
    config::{
        PH_RANGE, UnitSettings, alkalinity_range, disinfectant_level_range,
        feed_conductivity_range, hardness_range, silica_range, total_chlorine_range,
    },
    quantity::{Concentration, EquivalentConcentration, Quantity, Tds},
};

impl HandTest {
    /// The value that `text` tells: a number in the unit of the test, or with a unit of its own. The
    /// ranges are those of the configuration.
    ///
    /// # Errors
    /// A sentence that says what was found and what is allowed.
    pub fn read_value(self, settings: &UnitSettings, text: &str) -> Result<f64, String> {
        let text = text.trim();
        let range = self.range(settings);
        let value = match text.parse::<f64>() {
            Ok(number) => number,
            Err(_) => self.read_quantity(text)?,
        };
        if range.contains(&value) {
            return Ok(value);
        }
        let [low, high] = [range.start(), range.end()].map(|end| (end * 100.0).round() / 100.0);
        Err(format!(
            "{text:?} is out of range; {} is {low} to {high} {}",
            self.title(),
            self.unit()
        )
        .trim_end()
        .to_owned())
    }

    fn read_quantity(self, text: &str) -> Result<f64, String> {
        let read = match self {
            Self::Alkalinity | Self::Calcium | Self::Hardness => {
                EquivalentConcentration::parse(text).map(EquivalentConcentration::mg_per_l_caco3)
            }
            Self::DisinfectantLevel | Self::Silica | Self::TotalChlorine => {
                Concentration::parse(text).map(Concentration::mg_per_l)
            }
            Self::Tds => Tds::parse(text).map(Tds::mg_per_l),
            Self::Ph => return Err(format!("{text:?} is no pH; write a number such as 7.6")),
        };
        read.map_err(|error| error.to_string())
    }

    /// What is allowed, in the unit of the test.
    fn range(self, settings: &UnitSettings) -> RangeInclusive<f64> {
        fn of<Q: Copy>(
            range: &RangeInclusive<Q>,
            number: impl Fn(Q) -> f64,
        ) -> RangeInclusive<f64> {
            number(*range.start())..=number(*range.end())
        }
        let caco3 = EquivalentConcentration::mg_per_l_caco3;
        let mg_per_l = Concentration::mg_per_l;
        match self {
            Self::Alkalinity => of(&alkalinity_range(), caco3),
            Self::Calcium | Self::Hardness => of(&hardness_range(), caco3),
            Self::DisinfectantLevel => of(&disinfectant_level_range(), mg_per_l),
            Self::Ph => PH_RANGE,
            Self::Silica => of(&silica_range(), mg_per_l),
            Self::Tds => of(&feed_conductivity_range(), |feed| {
                settings.tds_scale.tds(feed).mg_per_l()
            }),
            Self::TotalChlorine => of(&total_chlorine_range(), mg_per_l),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::config;

    fn unit() -> UnitSettings {
        let text = "[broker]\nurl = \"mqtt://localhost\"\n[unit.u]\n[[unit.u.sensor]]\nat = \"feed_tds\"\n\
                    topic = \"t\"\nunit = \"mg/L\"\n";
        config::from_text("u.toml", text, &BTreeMap::new(), None)
            .unwrap()
            .units[0]
            .clone()
    }

    /// One German degree of hardness is 10 mg/L of CaO, and CaO 56.077, CaCO3 100.087 g/mol: 17.848 mg/L
    /// CaCO3 (DIN 38409-6, from memory; molar masses IUPAC).
    #[test]
    fn numbers_are_in_the_unit_of_the_test_and_texts_in_their_own() {
        let unit = unit();
        let read = |test: HandTest, text| test.read_value(&unit, text).unwrap();
        assert_eq!(read(HandTest::Alkalinity, "80"), 80.0);
        assert!((read(HandTest::Alkalinity, " 80 mg/L CaCO3 ") - 80.0).abs() < 1e-9);
        assert!((read(HandTest::Hardness, "4.5 dH") - 4.5 * 17.848).abs() < 0.05);
        assert_eq!(read(HandTest::TotalChlorine, "0.05 mg/L"), 0.05);
        assert_eq!(read(HandTest::Ph, "7.6"), 7.6);
        // As behind a softener.
        assert_eq!(read(HandTest::Calcium, "0"), 0.0);
        assert_eq!(read(HandTest::Hardness, "0 dH"), 0.0);
        assert_eq!(read(HandTest::Tds, "250 ppm"), 250.0);
    }

    #[test]
    fn what_cannot_be_is_refused_with_what_is_allowed() {
        let unit = unit();
        for (test, text, why) in [
            (HandTest::Ph, "11", "pH is 5.5 to 10"),
            (HandTest::Ph, "7.6 pH", "no pH"),
            (HandTest::Alkalinity, "nan", "1 to 1000 mg/L CaCO3"),
            (HandTest::Alkalinity, "80 psi", "mg/L CaCO3"),
            (HandTest::TotalChlorine, "-0.1", "0 to 10 mg/L"),
            (HandTest::TotalChlorine, "10.1 mg/L", "0 to 10 mg/L"),
            (HandTest::Silica, "1e999", "0 to 150 mg/L"),
            (HandTest::Calcium, "", "no number"),
        ] {
            let error = test.read_value(&unit, text).unwrap_err();
            assert!(error.contains(why), "{text:?}: {error}");
        }
    }
}
