//! Tests by hand: what the keeper found with a kit, and when. No sensor tells any of it. The newest
//! result counts, where the configuration has nothing newer.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::{
    config::FeedChemistry,
    quantity::{Concentration, EquivalentConcentration, Ph, Tds},
    time::Wall,
};

/// What can be tested by hand. Values are kept as numbers in the unit named here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HandTest {
    /// Total alkalinity of the feed, mg/L CaCO3.
    Alkalinity,
    /// Calcium hardness of the feed, mg/L CaCO3.
    Calcium,
    /// Disinfectant in the feed, mg/L as Cl2.
    DisinfectantLevel,
    /// Total hardness of the feed, mg/L CaCO3.
    Hardness,
    /// pH of the feed.
    Ph,
    /// Silica in the feed, mg/L as SiO2.
    Silica,
    /// TDS of the feed, mg/L in the unit's scale.
    Tds,
    /// Total chlorine behind carbon, mg/L as Cl2.
    TotalChlorine,
}

impl HandTest {
    /// Every one.
    pub const ALL: [Self; 8] = [
        Self::Alkalinity,
        Self::Calcium,
        Self::DisinfectantLevel,
        Self::Hardness,
        Self::Ph,
        Self::Silica,
        Self::Tds,
        Self::TotalChlorine,
    ];

    /// As written in topics, on the command line and in the log.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Alkalinity => "alkalinity",
            Self::Calcium => "calcium",
            Self::DisinfectantLevel => "disinfectant_level",
            Self::Hardness => "hardness",
            Self::Ph => "ph",
            Self::Silica => "silica",
            Self::Tds => "tds",
            Self::TotalChlorine => "total_chlorine",
        }
    }

    /// As people say it.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Alkalinity => "alkalinity",
            Self::Calcium => "calcium hardness",
            Self::DisinfectantLevel => "disinfectant level",
            Self::Hardness => "total hardness",
            Self::Ph => "pH",
            Self::Silica => "silica",
            Self::Tds => "TDS",
            Self::TotalChlorine => "total chlorine",
        }
    }

    /// The unit in which its values are kept; empty for pH.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Alkalinity | Self::Calcium | Self::Hardness => "mg/L CaCO3",
            Self::DisinfectantLevel | Self::Silica | Self::Tds | Self::TotalChlorine => "mg/L",
            Self::Ph => "",
        }
    }

    /// A value with its unit, as people say it.
    #[must_use]
    pub fn value_text(self, value: f64) -> String {
        // What was typed in another unit need not be told to the last digit.
        let value = (value * 1000.0).round() / 1000.0;
        format!("{value} {}", self.unit()).trim_end().to_owned()
    }
}

/// A result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HandResult {
    /// What was found, in the unit of its [`HandTest`].
    pub value: f64,
    /// When it was tested, if the clock was set.
    pub date: Option<Wall>,
    /// Number of its entry in the maintenance log.
    pub entry: u64,
    /// The id of the stage behind which the water was taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<String>,
}

/// Results kept of each test: when the last is withdrawn, the one before counts again.
const KEPT: usize = 6;

/// The last results of each test, the newest last.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct HandTests(BTreeMap<HandTest, Vec<HandResult>>);

impl HandTests {
    /// Takes a result, in the order of the dates. One without a date is newer than those told before.
    pub fn take(&mut self, test: HandTest, result: HandResult) {
        let results = self.0.entry(test).or_default();
        let is_later = |kept: &HandResult| result.date.is_some() && kept.date > result.date;
        let at = results.iter().position(is_later).unwrap_or(results.len());
        results.insert(at, result);
        if results.len() > KEPT {
            results.remove(0);
        }
    }

    /// Forgets the result of an entry that was withdrawn; whether there was one.
    pub fn forget(&mut self, entry: u64) -> bool {
        let mut found = false;
        for results in self.0.values_mut() {
            let before = results.len();
            results.retain(|result| result.entry != entry);
            found |= results.len() < before;
        }
        self.0.retain(|_, results| !results.is_empty());
        found
    }

    /// Whether the result of an entry is kept.
    #[must_use]
    pub fn holds(&self, entry: u64) -> bool {
        self.0
            .values()
            .flatten()
            .any(|result| result.entry == entry)
    }

    /// The newest result.
    #[must_use]
    pub fn newest(&self, test: HandTest) -> Option<&HandResult> {
        self.0.get(&test)?.last()
    }

    /// The results that are kept, the newest last.
    #[must_use]
    pub fn all(&self, test: HandTest) -> &[HandResult] {
        self.0.get(&test).map_or(&[], Vec::as_slice)
    }

    /// The feed's chemistry as it is known now: a test that is newer than the configuration's own
    /// counts more.
    #[must_use]
    pub fn chemistry(&self, configured: &FeedChemistry) -> FeedChemistry {
        let tested = |test: HandTest| {
            let result = self.newest(test)?;
            let is_older = result.date.is_some() && result.date < configured.tested;
            (!is_older).then_some(result.value)
        };
        let hardness = |test| tested(test).map(EquivalentConcentration::from_mg_per_l_caco3);
        let concentration = |test| tested(test).map(Concentration::from_mg_per_l);
        FeedChemistry {
            alkalinity: hardness(HandTest::Alkalinity).or(configured.alkalinity),
            calcium: hardness(HandTest::Calcium).or(configured.calcium),
            hardness: hardness(HandTest::Hardness).or(configured.hardness),
            ph: tested(HandTest::Ph).and_then(Ph::new).or(configured.ph),
            disinfectant: configured.disinfectant,
            disinfectant_level: concentration(HandTest::DisinfectantLevel)
                .or(configured.disinfectant_level),
            silica: concentration(HandTest::Silica).or(configured.silica),
            tds: tested(HandTest::Tds)
                .map(Tds::from_mg_per_l)
                .or(configured.tds),
            tested: configured.tested,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn result(value: f64, date: i64, entry: u64) -> HandResult {
        HandResult {
            value,
            date: Some(Wall(1_772_323_200_000 + date * 86_400_000)),
            entry,
            after: None,
        }
    }

    #[test]
    fn the_newest_by_its_date_counts_and_a_withdrawn_one_no_more() {
        let mut tests = HandTests::default();
        tests.take(HandTest::Ph, result(7.9, 10, 1));
        tests.take(HandTest::Ph, result(7.2, 5, 2));
        assert_eq!(tests.newest(HandTest::Ph).unwrap().value, 7.9);
        assert!(tests.forget(1) && !tests.forget(1));
        assert_eq!(tests.newest(HandTest::Ph).unwrap().value, 7.2);
        for day in 0..20 {
            tests.take(HandTest::Ph, result(8.0, 20 + day, 3));
        }
        assert_eq!(tests.all(HandTest::Ph).len(), KEPT);
    }

    #[test]
    fn a_test_told_while_the_clock_was_unset_is_newer_than_those_before() {
        let undated = |entry| HandResult {
            date: None,
            ..result(7.0, 0, entry)
        };
        let mut tests = HandTests::default();
        tests.take(HandTest::Ph, result(7.9, 10, 1));
        tests.take(HandTest::Ph, undated(2));
        assert_eq!(tests.newest(HandTest::Ph).unwrap().entry, 2);
        tests.take(HandTest::Ph, result(7.9, 5, 3));
        assert_eq!(tests.newest(HandTest::Ph).unwrap().entry, 2);
        tests.take(HandTest::Ph, result(7.9, 11, 4));
        assert_eq!(tests.newest(HandTest::Ph).unwrap().entry, 4);
        assert!(tests.holds(3) && !tests.holds(5));
    }

    #[test]
    fn a_test_older_than_the_water_report_does_not_count() {
        let mut configured = FeedChemistry {
            alkalinity: Some(EquivalentConcentration::from_mg_per_l_caco3(80.0)),
            tested: result(0.0, 8, 0).date,
            ..FeedChemistry::default()
        };
        let mut tests = HandTests::default();
        tests.take(HandTest::Alkalinity, result(120.0, 7, 1));
        assert_eq!(tests.chemistry(&configured), configured);
        tests.take(HandTest::Alkalinity, result(140.0, 9, 2));
        let now = tests.chemistry(&configured);
        assert_eq!(now.alkalinity.unwrap().mg_per_l_caco3(), 140.0);
        configured.tested = None;
        tests.forget(2);
        let now = tests.chemistry(&configured);
        assert_eq!(now.alkalinity.unwrap().mg_per_l_caco3(), 120.0);
    }
}
