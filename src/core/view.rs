//! What others may see of a unit: nothing here changes it.

use super::{
    alert::Alert,
    causes::LikelyCause,
    hand_test::HandTests,
    known::{Finding, Lack},
    left::StageFindings,
    membrane::MembraneState,
    performance,
    record::RunRecord,
    run::RunState,
    sensor::Sensor,
    stage::Stage,
    sums,
    train::Train,
    unit::Unit,
    values::Values,
    water::Totals,
};
use crate::{
    config::{Point, Sensed, UnitSettings},
    metrics::{Group, Metric},
    quantity::Flow,
    time::{Mono, Now, Wall},
};

impl Unit {
    /// Its settings.
    #[must_use]
    pub fn settings(&self) -> &UnitSettings {
        &self.settings
    }

    /// What the unit does.
    #[must_use]
    pub fn run_state(&self) -> RunState {
        self.runs.state
    }

    /// When the run that goes on started, and for how many seconds it has lasted.
    #[must_use]
    pub fn open_run(&self, now: Now) -> Option<(Option<Wall>, f64)> {
        let open = self.runs.open.as_ref()?;
        Some((open.started.date(), self.runs.seconds(now.mono)?))
    }

    /// The last run that ended.
    #[must_use]
    pub fn last_run(&self) -> Option<&RunRecord> {
        self.last_run.as_ref()
    }

    /// Litres and hours since the beginning.
    #[must_use]
    pub fn totals(&self) -> &Totals {
        &self.totals
    }

    /// Baseline and held figures.
    #[must_use]
    pub fn membrane(&self) -> &MembraneState {
        &self.membrane
    }

    /// The baseline under the conditions of the rating.
    #[must_use]
    pub fn baseline_flow(&self) -> Option<Flow> {
        let rating = self.settings.membrane.as_ref()?;
        let driving = performance::rating_point(rating).net_driving_pressure()?;
        self.membrane.baseline_at(driving, rating.temperature)
    }

    /// What has probably come over the element, the likeliest first; never a certainty. Empty while
    /// nothing changed for sure, or nothing known looks like it.
    #[must_use]
    pub fn likely_causes(&self) -> &[LikelyCause] {
        &self.taught.causes
    }

    /// What tests by hand and the feed's analysis say of the membrane, in words.
    #[must_use]
    pub fn membrane_advice(&self) -> &[String] {
        &self.care.membrane_advice
    }

    /// The alerts, in a fixed order.
    #[must_use]
    pub fn alerts(&self) -> &[Alert] {
        &self.alerts
    }

    /// The stages, from supply to storage.
    #[must_use]
    pub fn stages(&self) -> &[Stage] {
        &self.stages
    }

    /// The sensors by their points.
    #[must_use]
    pub fn train(&self) -> &Train {
        &self.train
    }

    /// Whether any of its sensors was heard within its `max_age`, believed or not.
    #[must_use]
    pub fn is_heard(&self, now: Mono) -> bool {
        let mut sensors = self.train.sensors().iter();
        sensors.any(|sensor| sensor.is_heard(now))
    }

    /// The tests by hand.
    #[must_use]
    pub fn hand_tests(&self) -> &HandTests {
        &self.hand_tests
    }

    /// The contacts of the train and what they say.
    #[must_use]
    pub fn contacts(&self, now: Mono) -> Vec<(Point, Finding<bool>)> {
        let sits = |point: &Point| point.sensed() == Sensed::Contact && self.train.has(*point);
        Point::ALL
            .into_iter()
            .filter(sits)
            .map(|point| (point, self.train.contact(point, now)))
            .collect()
    }

    /// Values of unknown age, by sensor id, in the base unit of what is measured: retained or late
    /// messages of sensors that were not heard live yet.
    #[must_use]
    pub fn unconfirmed(&self) -> Vec<(String, f64)> {
        let unconfirmed =
            |sensor: &Sensor| Some((sensor.settings().id.clone(), sensor.unconfirmed()?));
        self.train
            .sensors()
            .iter()
            .filter_map(unconfirmed)
            .collect()
    }

    /// Every metric now. While no water is made, the membrane's are those of the last run; of one
    /// that can never be there the reason is what the configuration lacks.
    #[must_use]
    pub fn values(&self, now: Now) -> Values {
        let mut values = self.live(now.mono);
        if self.runs.state != RunState::Producing {
            self.membrane.fill_held(&mut values, now);
            let membrane = |(metric, _): &&(Metric, Lack)| metric.group() == Group::Membrane;
            for (metric, lack) in self.impossible.iter().filter(membrane) {
                values.set(*metric, Err(*lack));
            }
        }
        self.taught.wear.set(
            &mut values,
            self.never(Metric::NormalizedFlowOfBaseline),
            self.never(Metric::SaltPassageOfBaseline),
        );
        self.care.set(&mut values);
        sums::set_totals(&mut values, &self.totals, &self.train, &self.settings);
        self.set_run_totals(&mut values, now.mono);
        self.set_costs(&mut values);
        values
    }

    /// What is left of every stage now, in the order of the train, and when each falls due.
    #[must_use]
    pub fn stage_findings(&self, now: Now) -> Vec<StageFindings> {
        let mut found = Vec::with_capacity(self.stages.len());
        self.find_stages(now, &mut found);
        for (found, due) in found.iter_mut().zip(self.dues(now).iter()) {
            found.take(due);
        }
        found
    }

    /// The same without the days, into a list that is used again at every look.
    pub(super) fn find_stages(&self, now: Now, found: &mut Vec<StageFindings>) {
        let scale = self.settings.tds_scale;
        let behind = |stage: &Stage| {
            let probe = stage
                .probe()
                .and_then(|probe| self.train.sensors().get(probe));
            let probe = probe.ok_or(Lack::NoSensor(Point::StageTds))?;
            let conductivity = self
                .train
                .conductivity_of(probe, &self.settings, now.mono)?;
            Ok(conductivity.map(|conductivity| scale.tds(conductivity)))
        };
        found.clear();
        let stages = self.stages.iter();
        found.extend(
            stages.map(|stage| stage.find(now, behind(stage), self.ways_of(stage).as_ref())),
        );
    }

    /// What taught the capacity of a stage's fillings, in words; `None` while nothing did.
    #[must_use]
    pub fn capacity_learned_from(&self, stage: &Stage) -> Option<String> {
        self.fillings.learned_from(stage)
    }

    /// What there is to say of a stage's filling, each in a sentence.
    #[must_use]
    pub fn stage_notes(&self, stage: &Stage) -> Vec<String> {
        let settings = &self.settings;
        (self.fillings).notes(stage, settings.tds_scale, settings.display)
    }

    /// The metrics this configuration can give.
    #[must_use]
    pub fn possible(&self) -> &[Metric] {
        &self.possible
    }
}
