//! What no sensor tells by itself: tests by hand of carbon, rinses of new fillings, scale by the feed's
//! analysis, the pre-filters by their pressure. It joins them for the unit, and works them out when a
//! run ends, a test comes or a stage is replaced, never at every reading.

use std::time::Duration;

use super::{
    carbon::{CarbonFindings, CarbonState, FormerExposure, Tested, Vessels},
    known::{Basis, Finding, Known, Lack},
    prefilter::{Prefilter, PrefilterState},
    record::RunRecord,
    run::RunChanges,
    scale::Scale,
    settled_water::SettledWater,
    stage::Stage,
    state::UnitState,
    train::Train,
    unit::Unit,
    values::Values,
};
use crate::{
    config::{Disinfectant, StageKind, UnitSettings},
    core::hand_test::HandTest,
    metrics::Metric,
    physics::carbon::{CHLORAMINE_PPM_HOURS, FREE_CHLORINE_PPM_HOURS, contact_time},
    quantity::{Flow, Volume},
    time::{Now, Wall},
};

/// What passed since a filling that was told later than this has rinsed it.
const RINSE_TOLD_WITHIN: Duration = Duration::from_secs(86_400);

/// What tests by hand and gauges tell of a stage.
#[derive(Clone, Debug)]
pub(super) struct Evidence {
    /// Contact time, s.
    pub contact: Finding<f64>,
    /// What is left by the pressure it takes, 0–1.
    pub by_drop: Finding<f64>,
    /// Nothing, when a test by hand was positive behind it.
    pub by_test: Finding<f64>,
    /// In words.
    pub advice: Vec<String>,
}

impl Default for Evidence {
    fn default() -> Self {
        Self {
            contact: Err(Lack::NoLife),
            by_drop: Err(Lack::NoLife),
            by_test: Err(Lack::NoLife),
            advice: Vec::new(),
        }
    }
}

/// What is followed of it.
#[derive(Clone, Debug)]
pub(super) struct Care {
    vessels: Vessels,
    pub carbon: CarbonState,
    /// What follows from the tests.
    pub found: CarbonFindings,
    /// From when a test for chlorine is reminded of.
    pub test_since: Option<Wall>,
    water: SettledWater,
    pub scale: Scale,
    prefilter: Prefilter,
    /// Standing pressure before the run that goes on, bar.
    standing: Option<f64>,
    /// Litres that new fillings still have to be rinsed with, by their places in the train.
    pub rinses: Vec<(usize, Volume)>,
    /// Whether one was rinsed in the run that goes on, or was over last.
    pub rinsed_in_run: bool,
    /// What all of it says of the membrane, in words.
    pub membrane_advice: Vec<String>,
    exposure: Finding<[f64; 3]>,
    /// Whether tests by hand changed since the last look.
    pub tests_changed: bool,
}

impl Care {
    pub fn new(train: &Train, settings: &UnitSettings, kept: &UnitState) -> Self {
        Self {
            vessels: Vessels::new(&settings.stages),
            carbon: kept.carbon.clone(),
            found: CarbonFindings::default(),
            test_since: None,
            water: kept.settled_water,
            scale: Scale::of(settings, &settings.supply.chemistry, &kept.settled_water),
            prefilter: Prefilter::new(train, settings, kept.prefilter.clone()),
            standing: None,
            rinses: Vec::new(),
            rinsed_in_run: false,
            membrane_advice: Vec::new(),
            exposure: Err(Lack::Untested),
            tests_changed: true,
        }
    }

    pub fn keep(&self, state: &mut UnitState) {
        state.carbon = self.carbon.clone();
        state.settled_water = self.water;
        state.prefilter = self.prefilter.state();
    }

    pub fn begin_run(&mut self) {
        self.rinsed_in_run = !self.rinses.is_empty();
        self.standing = self.prefilter.begin_run();
    }

    pub fn set(&self, values: &mut Values) {
        values.set(Metric::ScalingIndex, self.scale.index);
        values.set_share(Metric::SafeRecovery, self.scale.safe_recovery());
        for (end, metric) in [
            Metric::ChlorineExposureLow,
            Metric::ChlorineExposure,
            Metric::ChlorineExposureHigh,
        ]
        .into_iter()
        .enumerate()
        {
            let of = |known: Known<[f64; 3]>| known.map(|exposure| exposure[end]);
            values.set(metric, self.exposure.map(of));
        }
    }

    /// Exposure of the element, ppm·h.
    fn exposure_of(&self, settings: &UnitSettings) -> Finding<[f64; 3]> {
        if let Some(exposure) = self.found.exposure {
            return Ok(Known::inferred(exposure));
        }
        let is_disinfected = match settings.supply.chemistry.disinfectant {
            Some(Disinfectant::Chloramine | Disinfectant::Chlorine) => true,
            Some(Disinfectant::None) | None => false,
        };
        let has_membrane = has(settings, StageKind::Membrane);
        Err(
            if self.vessels.last().is_some() && is_disinfected && has_membrane {
                Lack::Untested
            } else {
                Lack::NoCarbon
            },
        )
    }

    /// Exposure against what an element bears, in words; none where there was none.
    pub fn exposure_text(&self, settings: &UnitSettings) -> Option<String> {
        let [low, likely, high] = self.exposure.ok()?.value;
        if high < 0.5 || !has(settings, StageKind::Membrane) {
            return None;
        }
        let (least, most) = (
            FREE_CHLORINE_PPM_HOURS.start(),
            FREE_CHLORINE_PPM_HOURS.end(),
        );
        let free = format!("{least:.0} to {most:.0} ppm·h of free chlorine");
        let mild = format!("some {CHLORAMINE_PPM_HOURS:.0} ppm·h of chloramine (from memory)");
        let bears = match settings.supply.chemistry.disinfectant {
            Some(Disinfectant::Chloramine) => format!("{mild}, but only {free}"),
            Some(Disinfectant::Chlorine | Disinfectant::None) | None => {
                format!("{free}, or {mild}")
            }
        };
        Some(format!(
            "By tests by hand the membrane has been exposed to about {likely:.0} ppm·h of chlorine ({low:.0} \
             counted from positive tests only, {high:.0} from the last good ones). An element bears {bears}; \
             damage shows first as less flow, then as more flow and more salt, and does not heal."
        ))
    }

    fn membrane_words(&self, settings: &UnitSettings) -> Vec<String> {
        let scale = self.scale.advice(settings.alerts.care.scaling_risk);
        [self.exposure_text(settings), scale]
            .into_iter()
            .flatten()
            .collect()
    }

    fn evidence(&mut self, train: &Train, settings: &UnitSettings, place: usize) -> Evidence {
        let mut evidence = Evidence::default();
        let Some(stage) = settings.stages.get(place) else {
            return evidence;
        };
        if let Some(media) = stage.media {
            evidence.contact = self.contact(media);
            if let Ok(seconds) = evidence.contact {
                evidence.advice.push(contact_text(seconds.value));
            }
        }
        if self.vessels.is_carbon(place) {
            let chloramine =
                settings.supply.chemistry.disinfectant == Some(Disinfectant::Chloramine);
            if chloramine && !has(settings, StageKind::CatalyticCarbon) {
                evidence.advice.push(PLAIN_CARBON.to_owned());
            }
            if let Some((_, test)) = self.found.spent.iter().find(|(own, _)| *own == place) {
                evidence.by_test = Ok(Known::measured(0.0));
                evidence
                    .advice
                    .push(format!("Spent: {} behind it.", test_text(test, settings)));
            }
        }
        if stage.kind == StageKind::Sediment {
            evidence.by_drop = self.prefilter.left(settings);
            evidence.advice.push(self.prefilter.advice(train, settings));
        }
        evidence
    }

    fn contact(&self, media: Volume) -> Finding<f64> {
        let flow = self.water.feed_flow.ok_or(Lack::TooEarly)?;
        let time =
            contact_time(media, Flow::from_l_per_min(flow.value)).ok_or(Lack::NotPhysical)?;
        Ok(flow.map(|_| time.as_secs_f64()).at_best(Basis::Inferred))
    }
}

const PLAIN_CARBON: &str = "Ordinary carbon takes chloramine slowly and may let it through soon: \
catalytic carbon, or two vessels in series, hold it longer (common practice). Test behind it often.";

fn contact_text(seconds: f64) -> String {
    format!(
        "The feed stays in it for about {seconds:.0} s. Rules for tanks (2 min for chlorine, 6 to 10 min for \
         chloramine) are met by no home cartridge, whose fine grain makes up for some of it; more carbon, a \
         second vessel or less flow give more."
    )
}

/// `0.50 mg/L of total chlorine in a test by hand of 2026-05-01`.
pub(super) fn test_text(test: &Tested, settings: &UnitSettings) -> String {
    let day = test.date.and_then(|date| date.day_in(&settings.time_zone));
    let day = day.map_or("of an unknown day".to_owned(), |day| format!("of {day}"));
    format!(
        "{:.2} mg/L of total chlorine in a test by hand {day}",
        test.value
    )
}

fn has(settings: &UnitSettings, kind: StageKind) -> bool {
    settings.stages.iter().any(|stage| stage.kind == kind)
}

impl Stage {
    /// What tests by hand, gauges and the configuration say of it, in words.
    #[must_use]
    pub fn advice(&self) -> &[String] {
        &self.evidence.advice
    }

    /// Takes what passed off the water a new filling has to be rinsed with.
    pub(super) fn rinse(&mut self, passed: Volume) {
        let left = self.state.rinse.take().map(|left| left - passed);
        self.state.rinse = left.filter(|left| *left > Volume::ZERO);
    }

    /// What a new filling has to be rinsed with: nothing where no litres would ever tell that it was,
    /// or where it was told late.
    pub(super) fn rinse_of_new_filling(&self, now: Now, date: Option<Wall>) -> Option<Volume> {
        let late = date.and_then(|date| now.date()?.since(date));
        let is_late = late.is_some_and(|late| late >= RINSE_TOLD_WITHIN);
        self.settings
            .rinse
            .filter(|_| self.basis.is_some() && !is_late)
    }
}

impl Unit {
    /// Hours of making water.
    pub(super) fn hours(&self) -> f64 {
        self.totals.producing_seconds / 3600.0
    }

    /// At every look: only what cannot wait.
    pub(super) fn care_for(&mut self, now: Now, changes: &mut RunChanges) {
        changes.rinsed = self.care.rinsed_in_run;
        let is_rinsed = self.stages.iter().any(|stage| stage.state.rinse.is_some());
        if is_rinsed || !self.care.rinses.is_empty() {
            let left = |(place, stage): (usize, &Stage)| Some((place, stage.state.rinse?));
            self.care.rinses = self.stages.iter().enumerate().filter_map(left).collect();
            self.care.rinsed_in_run |= is_rinsed && self.runs.state.makes_water();
        }
        if self.care.tests_changed {
            self.take_chlorine_tests(now);
        }
        if self.care.carbon.wants_date(now) {
            let hours = self.hours();
            self.care.carbon.date(now, hours);
            self.take_evidence(now);
        }
        let state = self.runs.state;
        if self.care.prefilter.look(now.mono, &self.train, state) {
            self.take_evidence(now);
        }
    }

    /// A run is over, and what it taught is told.
    pub(super) fn take_run(&mut self, now: Now, record: &RunRecord) {
        if !record.interrupted && !self.care.rinsed_in_run {
            let run = SettledWater::of(&record.steady);
            self.care.water = run.or(self.care.water);
            let standing = self.care.standing.take();
            let clean = self.watch.hydraulics.clean_drop();
            self.care.prefilter.end_run(standing, &run, clean);
        }
        self.take_evidence(now);
    }

    /// A test by hand was told or withdrawn.
    fn take_chlorine_tests(&mut self, now: Now) {
        let hours = self.hours();
        let limit = self.settings.alerts.care.positive.mg_per_l();
        let results = self.hand_tests.all(HandTest::TotalChlorine);
        let care = &mut self.care;
        care.tests_changed = false;
        care.carbon.take(results, now, hours, &care.vessels, limit);
        self.take_evidence(now);
    }

    /// A stage was replaced.
    pub(super) fn take_replacement(
        &mut self,
        now: Now,
        place: usize,
        date: Option<Wall>,
    ) -> (Option<FormerExposure>, Option<PrefilterState>) {
        let hours = self.hours();
        let Some(stage) = self.settings.stages.get(place) else {
            return (None, None);
        };
        let mut former = (None, None);
        match stage.kind {
            StageKind::Carbon | StageKind::CatalyticCarbon
                if self.care.vessels.is_carbon(place) =>
            {
                self.care.carbon.filled(&stage.id, date, now, hours);
                self.care.tests_changed = true;
                former.1 = Some(self.care.prefilter.replaced());
            }
            StageKind::Sediment => former.1 = Some(self.care.prefilter.replaced()),
            StageKind::Membrane => {
                former.0 = Some(self.care.carbon.new_element(date, now, hours));
            }
            StageKind::Anion
            | StageKind::BoosterPump
            | StageKind::Carbon
            | StageKind::CatalyticCarbon
            | StageKind::Cation
            | StageKind::MixedBed => {}
        }
        self.take_evidence(now);
        former
    }

    /// The old filling of a stage counts again.
    pub(super) fn take_back_replacement(
        &mut self,
        now: Now,
        place: usize,
        exposure: Option<FormerExposure>,
        pressure: Option<PrefilterState>,
    ) {
        if let Some(stage) = self.settings.stages.get(place) {
            self.care.carbon.unfilled(&stage.id);
        }
        if let Some(exposure) = exposure {
            self.care.carbon.old_element(exposure);
        }
        if let Some(pressure) = pressure {
            self.care.prefilter.take_back(pressure);
        }
        self.take_evidence(now);
    }

    /// Works out what follows from all of it.
    pub(super) fn take_evidence(&mut self, now: Now) {
        let hours = self.hours();
        let (settings, care) = (&self.settings, &mut self.care);
        let limit = settings.alerts.care.positive.mg_per_l();
        care.found = care.carbon.find(hours, &care.vessels, limit);
        care.exposure = care.exposure_of(settings);
        care.scale = Scale::of(settings, &self.chemistry, &care.water);
        care.membrane_advice = care.membrane_words(settings);
        for (place, stage) in self.stages.iter_mut().enumerate() {
            stage.evidence = care.evidence(&self.train, settings, place);
        }
        let last = care.vessels.last().and_then(|last| self.stages.get(last));
        care.test_since = last.and_then(|last| {
            let known = care.found.looked_after.max(last.state.installed);
            known.or(last.state.seen).or(now.date())
        });
    }
}

#[cfg(test)]
mod tests;
