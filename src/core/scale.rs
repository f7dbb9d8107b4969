//! Scale in the membrane: the saturation index of the concentrate as the feed's analysis and the last
//! settled run have it, and the recovery that would be safe. Worked out when a run ends or a test by hand
//! comes; the equations are `physics::scaling`.

use super::{
    known::{Finding, Known, Lack},
    settled_water::SettledWater,
};
use crate::{
    config::{FeedChemistry, Limit, Point, StageKind, StageWater, UnitSettings},
    physics::scaling::{Analysis, RecoveryLimit, concentrate, recovery_at_index, saturation_index},
    quantity::{Conductivity, Tds, Temperature},
};

/// Dissolved salts of tap water, mg/L for each µS/cm (see [`Analysis::dissolved`]).
const MG_PER_L_FOR_US_PER_CM: f64 = 0.64;
/// Of total hardness, what calcium makes up in most tap water (common practice, no source).
const CALCIUM_OF_HARDNESS: f64 = 2.0 / 3.0;
/// Where no probe tells: of the concentrate's salt it is a matter of hundredths.
const SALT_PASSAGE: f64 = 0.05;

/// What is known of scale.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scale {
    /// Saturation index of the concentrate at the present recovery.
    pub index: Finding<f64>,
    /// How far the recovery may go.
    pub safe: Finding<RecoveryLimit>,
    /// The present recovery, 0–1.
    pub recovery: Option<f64>,
    /// Why there is nothing to fear, if so.
    pub moot: Option<&'static str>,
    /// Whether calcium is taken from total hardness.
    is_by_hardness: bool,
}

impl Scale {
    pub fn of(settings: &UnitSettings, chemistry: &FeedChemistry, water: &SettledWater) -> Self {
        let mut scale = Self {
            index: Err(Lack::NoReference),
            safe: Err(Lack::NoReference),
            recovery: None,
            moot: None,
            is_by_hardness: chemistry.calcium.is_none(),
        };
        let mut stages = settings.stages.iter();
        if !stages.any(|stage| stage.kind == StageKind::Membrane) {
            return scale;
        }
        scale.moot = moot(settings, chemistry);
        if scale.moot.is_some() {
            (scale.index, scale.safe) = (Err(Lack::NotInSight), Err(Lack::NotInSight));
            return scale;
        }
        let feed = match analysis(settings, chemistry, water) {
            Ok(feed) => feed,
            Err(lack) => {
                (scale.index, scale.safe) = (Err(lack), Err(lack));
                return scale;
            }
        };
        let passage = water
            .salt_passage
            .map_or(SALT_PASSAGE, |known| (known.value / 100.0).clamp(0.0, 1.0));
        scale.recovery = water
            .recovery
            .map(|known| known.value / 100.0)
            .or_else(|| settings.usual_recovery());
        let at = |recovery: f64| {
            let waste = concentrate(&feed, recovery, passage)?;
            saturation_index(&waste)
        };
        scale.index = match scale.recovery {
            None => Err(Lack::NoSensor(Point::FeedFlow)),
            Some(recovery) => at(recovery).map(Known::assumed).ok_or(Lack::NotPhysical),
        };
        let limit = settings.alerts.care.scaling_risk;
        scale.safe = limit.ok_or(Lack::NoReference).and_then(|limit| {
            let found = recovery_at_index(&feed, limit.raise, passage);
            found.map(Known::assumed).ok_or(Lack::NotPhysical)
        });
        scale
    }

    /// The recovery that is safe, 0–1; zero where the feed itself is beyond the limit.
    pub fn safe_recovery(&self) -> Finding<f64> {
        let recovery = |limit| match limit {
            RecoveryLimit::Passed => 0.0,
            RecoveryLimit::At(recovery) | RecoveryLimit::Beyond(recovery) => recovery,
        };
        self.safe.map(|known| known.map(recovery))
    }

    /// What to do about it, in words; none where nothing is known.
    pub fn advice(&self, limit: Option<Limit<f64>>) -> Option<String> {
        if let Some(moot) = self.moot {
            return Some(moot.to_owned());
        }
        let (limit, safe) = (limit?, self.safe.ok()?.value);
        let index = self.index.ok().map(|known| known.value);
        let now = index.zip(self.recovery).map_or_else(String::new, |(index, recovery)| {
            let side = if index > limit.raise { "above" } else { "below" };
            format!(
                "At {} the concentrate has a saturation index of {index:+.2} (ASTM D3739), {side} {:+.2}. ",
                ratio_text(recovery),
                limit.raise
            )
        });
        let can = match safe {
            RecoveryLimit::Passed => {
                "The feed itself is beyond the limit: no waste ratio keeps scale out of the membrane; \
                 a softener before it would."
                    .to_owned()
            }
            RecoveryLimit::At(recovery) => {
                format!("Up to {} it would stay below it.", ratio_text(recovery))
            }
            RecoveryLimit::Beyond(_) => {
                "No waste ratio of a home unit brings it to the limit.".to_owned()
            }
        };
        let guess = if self.is_by_hardness {
            " Two thirds of the hardness are taken for calcium."
        } else {
            ""
        };
        Some(format!(
            "{now}{can} An estimate from tests by hand, not a measurement.{guess}"
        ))
    }
}

/// As people speak of it: parts of waste to one of product.
fn ratio_text(recovery: f64) -> String {
    format!(
        "{:.1} parts of waste to one of product (recovery {:.0} %)",
        (1.0 - recovery) / recovery.max(0.001),
        recovery * 100.0
    )
}

/// Without calcium there is no scale of it, whatever else the analysis says.
fn moot(settings: &UnitSettings, chemistry: &FeedChemistry) -> Option<&'static str> {
    let mut stages = settings.stages.iter();
    if stages.any(|stage| stage.kind == StageKind::Cation && stage.water == StageWater::Feed) {
        return Some(
            "A softener stands before the membrane: as long as it works, no scale of calcium.",
        );
    }
    let calcium = chemistry.calcium.or(chemistry.hardness)?;
    (calcium.meq_per_l() <= 0.0)
        .then_some("There is no calcium in the feed, and so no scale of it.")
}

/// The feed as the keeper's analysis and the last settled run have it.
fn analysis(
    settings: &UnitSettings,
    chemistry: &FeedChemistry,
    water: &SettledWater,
) -> Result<Analysis, Lack> {
    let by_hardness = chemistry
        .hardness
        .map(|hardness| hardness * CALCIUM_OF_HARDNESS);
    let calcium = chemistry.calcium.or(by_hardness).ok_or(Lack::NoAnalysis)?;
    let alkalinity = chemistry.alkalinity.ok_or(Lack::NoAnalysis)?;
    let ph = chemistry.ph.ok_or(Lack::NoAnalysis)?;
    let by_probe = water
        .conductivity
        .map(|known| Conductivity::from_us_per_cm(known.value));
    let by_hand = || {
        chemistry
            .tds
            .map(|tds| settings.tds_scale.conductivity(tds))
    };
    let conductivity = by_probe
        .or_else(by_hand)
        .or(settings.supply.conductivity)
        .ok_or(Lack::TooEarly)?;
    let temperature = water
        .temperature
        .map(|known| Temperature::from_celsius(known.value))
        .or(settings.supply.temperature)
        .ok_or(Lack::TooEarly)?;
    Ok(Analysis {
        dissolved: Tds::from_mg_per_l(conductivity.us_per_cm() * MG_PER_L_FOR_US_PER_CM),
        calcium,
        alkalinity,
        ph,
        temperature,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        config,
        quantity::{EquivalentConcentration, Ph},
    };

    fn settings(train: &str) -> UnitSettings {
        let text = format!(
            "[broker]\nurl = \"mqtt://localhost\"\n{train}[[unit.k.stage]]\nid = \"membrane\"\n\
             kind = \"membrane\"\n[[unit.k.sensor]]\nat = \"feed_tds\"\ntopic = \"a/b\"\nunit = \"mg/L\"\n"
        );
        let read = config::from_text("t.toml", &text, &std::collections::BTreeMap::new(), None);
        read.unwrap().units[0].clone()
    }

    fn caco3(value: f64) -> Option<EquivalentConcentration> {
        Some(EquivalentConcentration::from_mg_per_l_caco3(value))
    }

    /// The worked example of ASTM D3739 (reference, section 0): TDS 320, Ca 150, alkalinity 34, pH 7.5 has
    /// an index of −0.731 at 25 °C. 500 µS/cm are 320 mg/L.
    fn example() -> (FeedChemistry, SettledWater) {
        let chemistry = FeedChemistry {
            calcium: caco3(150.0),
            alkalinity: caco3(34.0),
            ph: Ph::new(7.5),
            ..FeedChemistry::default()
        };
        let water = SettledWater {
            temperature: Some(Known::measured(25.0)),
            conductivity: Some(Known::measured(500.0)),
            recovery: Some(Known::measured(1.0)),
            salt_passage: Some(Known::measured(5.0)),
            ..SettledWater::default()
        };
        (chemistry, water)
    }

    #[test]
    fn at_hardly_any_recovery_the_concentrate_is_the_feed() {
        let (chemistry, water) = example();
        let scale = Scale::of(&settings(""), &chemistry, &water);
        // 1 % of recovery adds 0.0043 for calcium, as much for alkalinity and about as much for the pH.
        let index = scale.index.unwrap().value;
        assert!((index + 0.731).abs() < 0.02, "{index}");
        assert!(matches!(scale.safe.unwrap().value, RecoveryLimit::At(_)));
        let words = scale.advice(settings("").alerts.care.scaling_risk).unwrap();
        assert!(
            words.contains("-0.7") && words.contains("would stay below"),
            "{words}"
        );
    }

    #[test]
    fn two_thirds_of_the_hardness_stand_for_calcium() {
        let (mut chemistry, water) = example();
        chemistry.calcium = None;
        chemistry.hardness = caco3(225.0);
        let by_hardness = Scale::of(&settings(""), &chemistry, &water);
        let (chemistry, water) = example();
        let by_calcium = Scale::of(&settings(""), &chemistry, &water);
        let [a, b] = [by_hardness.index, by_calcium.index].map(|found| found.unwrap().value);
        assert!((a - b).abs() < 1e-9);
    }

    #[test]
    fn a_softener_or_no_calcium_makes_it_moot_and_no_analysis_unknown() {
        let (mut chemistry, water) = example();
        let softener = "[[unit.k.stage]]\nid = \"softener\"\nkind = \"cation\"\n";
        let scale = Scale::of(&settings(softener), &chemistry, &water);
        assert_eq!(scale.index, Err(Lack::NotInSight));
        chemistry.calcium = caco3(0.0);
        let scale = Scale::of(&settings(""), &chemistry, &water);
        assert!(scale.moot.is_some());
        chemistry = FeedChemistry::default();
        let scale = Scale::of(&settings(""), &chemistry, &water);
        assert_eq!(scale.index, Err(Lack::NoAnalysis));
        assert_eq!(scale.advice(settings("").alerts.care.scaling_risk), None);
    }
}
