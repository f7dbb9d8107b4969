//! Each rule at its limits: what is beyond, between and well, for how long it must hold, with which
//! figures and words. Found wanting by mutants that scenarios were too coarse to tell apart.

mod figures;
mod stages;

use std::{collections::BTreeMap, sync::Arc};

use super::*;
use crate::{
    config,
    core::{Unit, UnitState, cycling::Pace, values::Values},
    quantity::{Flow, Volume},
    time::{Mono, SECONDS_PER_DAY, Wall},
};

const CONFIG: &str = r#"
[broker]
url = "mqtt://localhost"
[unit.u.supply]
waste_ratio = "4:1"
[[unit.u.stage]]
id = "bed"
name = "Bed"
kind = "mixed_bed"
life = "100 L"
lead_time = "10 d"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "f"
kind = "pulses"
pulses_per_litre = 1000
"#;

const HOLD: Duration = Duration::from_secs(70);
const CLEAR_HOLD: Duration = Duration::from_secs(90);
const HOUR: Duration = Duration::from_secs(3600);

fn limit<Q>(raise: Q, clear: Q) -> Limit<Q> {
    Limit {
        raise,
        clear,
        hold: HOLD,
        clear_hold: CLEAR_HOLD,
    }
}

/// A unit, and what is told of it instead of what it would find.
struct Scene {
    unit: Unit,
    settings: UnitSettings,
    state: RunState,
    values: Values,
    found: Vec<StageFindings>,
    dues: Vec<Due>,
    runs: RunFacts,
    now: Now,
}

impl Scene {
    fn new() -> Self {
        Self::of(CONFIG)
    }

    /// 97 L of the bed's 100 are gone.
    fn of(config: &str) -> Self {
        let settings = config::from_text("test", config, &BTreeMap::new(), None).unwrap();
        let settings = settings.units[0].clone();
        let now = Now {
            mono: Mono(10_000),
            wall: Wall::from_rfc3339("2026-03-01T12:00:00Z").unwrap(),
        };
        let mut unit = Unit::new(Arc::new(settings.clone()), UnitState::default(), now);
        unit.tick(now);
        let mut scene = Self {
            runs: unit.run_facts(now.mono),
            unit,
            settings,
            state: RunState::Producing,
            values: Values::default(),
            found: Vec::new(),
            dues: Vec::new(),
            now,
        };
        scene.treat(97.0);
        scene
    }

    /// So many litres went through the bed.
    fn treat(&mut self, litres: f64) {
        self.unit.stages[0].state.treated = Volume::from_litres(litres);
        self.unit.find_stages(self.now, &mut self.found);
        self.unit.dues_at = None;
        self.unit.find_dues(self.now, &self.found);
        self.dues = self.unit.dues.clone();
    }

    fn look<T>(&self, ask: impl FnOnce(&Circumstances) -> T) -> T {
        let unit = &self.unit;
        unit.readings(self.now.mono, |readings| {
            let live = Live::pretended(readings, self.state == RunState::Producing, &self.values);
            ask(&Circumstances {
                settings: &self.settings,
                state: self.state,
                live: &live,
                sensors: unit.train.sensors(),
                train: &unit.train,
                watch: &unit.watch,
                care: &unit.care,
                stages: &self.found,
                vessels: &unit.stages,
                fillings: &unit.fillings,
                dues: &self.dues,
                membrane: &unit.membrane,
                taught: &unit.taught,
                runs: self.runs,
                now: self.now,
            })
        })
    }

    /// As if it were switched on.
    fn alert(&self, code: Code) -> Alert {
        let stages = [
            Code::RinseDue,
            Code::StageExhausted,
            Code::StageLow,
            Code::StageOverdue,
        ];
        let (subject, id) = if stages.contains(&code) {
            (Subject::Stage(0), "bed")
        } else {
            (Subject::Unit, "")
        };
        Alert {
            code,
            subject,
            subject_id: id.to_owned(),
            ..self.unit.alerts[0].clone()
        }
    }

    fn judged(&self, code: Code) -> Option<Judgement> {
        self.look(|around| judge(&self.alert(code), around))
    }

    fn verdict(&self, code: Code) -> Option<Verdict> {
        self.judged(code).map(|judgement| judgement.verdict)
    }

    /// What would be said of it as it is judged now.
    fn said(&self, code: Code) -> String {
        let judgement = self.judged(code).unwrap();
        let alert = self.alert(code);
        self.look(|around| describe(&alert, &judgement, around).sentence)
    }
}

/// Beyond, at the limit, between, where it clears, and well; the limit in the alert's unit and what it
/// is in the metric's.
fn goes_through(
    code: Code,
    metric: Metric,
    steps: [f64; 5],
    (shown, in_unit): (f64, fn(f64) -> f64),
    set: impl Fn(&mut config::AlertSettings),
) {
    let mut scene = Scene::new();
    set(&mut scene.settings.alerts);
    let expected = [
        Verdict::Beyond,
        Verdict::Between,
        Verdict::Between,
        Verdict::Well,
        Verdict::Well,
    ];
    for (value, verdict) in steps.into_iter().zip(expected) {
        scene.values.set(metric, Ok(Known::measured(value)));
        let judged = scene.judged(code).unwrap();
        assert_eq!(judged.verdict, verdict, "{code:?} at {value}");
        assert_eq!((judged.hold, judged.clear_hold), (HOLD, CLEAR_HOLD));
        assert!((judged.value - in_unit(value)).abs() < 1e-9, "{judged:?}");
        assert!((judged.limit - shown).abs() < 1e-9, "{judged:?}");
        assert_eq!((judged.basis, judged.casts), (Basis::Measured, None));
    }
    scene.values.set(metric, Ok(Known::assumed(steps[0])));
    let said = scene.said(code);
    assert!(
        said.ends_with("Part of this is configured, not measured."),
        "{said}"
    );
}

#[test]
fn a_limit_is_passed_beyond_it_and_cleared_at_the_other() {
    let bar = Pressure::from_bar;
    let us = Conductivity::from_us_per_cm;
    let same: fn(f64) -> f64 = |value| value;
    let tds: fn(f64) -> f64 = |value| {
        let scale = Scene::new().settings.tds_scale;
        scale.tds(Conductivity::from_us_per_cm(value)).mg_per_l()
    };
    goes_through(
        Code::FeedPressureHigh,
        Metric::FeedPressure,
        [6.01, 6.0, 5.6, 5.5, 5.0],
        (6.0, same),
        |alerts| alerts.feed_pressure_high = Some(limit(bar(6.0), bar(5.5))),
    );
    goes_through(
        Code::PermeateTdsHigh,
        Metric::PermeateConductivity,
        [40.1, 40.0, 31.0, 30.0, 29.0],
        (tds(40.0), tds),
        |alerts| alerts.permeate_tds_high = Some(limit(us(40.0), us(30.0))),
    );
    goes_through(
        Code::ProductTdsHigh,
        Metric::ProductConductivity,
        [4.1, 4.0, 3.1, 3.0, 0.0],
        (tds(4.0), tds),
        |alerts| alerts.product_tds_high = Some(limit(us(4.0), us(3.0))),
    );
    goes_through(
        Code::RejectionLow,
        Metric::Rejection,
        [74.9, 75.0, 87.4, 87.5, 99.0],
        (75.0, same),
        |alerts| alerts.rejection_low = Some(limit(0.75, 0.875)),
    );
    // Before there is a baseline: another limit, with the same distance to where it clears.
    goes_through(
        Code::NormalizedFlowLow,
        Metric::NormalizedFlowOfRating,
        [49.9, 50.0, 62.4, 62.5, 90.0],
        (50.0, same),
        |alerts| {
            alerts.normalized_flow_low = Some(limit(0.75, 0.875));
            alerts.normalized_flow_low_of_rating = 0.5;
        },
    );
}

#[test]
fn quality_is_judged_while_rinsed_water_is_made_and_pressure_always() {
    let mut scene = Scene::new();
    let alerts = &mut scene.settings.alerts;
    alerts.rejection_low = Some(limit(0.75, 0.875));
    let us = Conductivity::from_us_per_cm;
    alerts.permeate_tds_high = Some(limit(us(40.0), us(30.0)));
    let bar = Pressure::from_bar;
    alerts.feed_pressure_high = Some(limit(bar(6.0), bar(5.5)));
    alerts.feed_pressure_low = Some(limit(bar(2.0), bar(2.5)));
    for (metric, value) in [
        (Metric::FeedPressure, 20.0),
        (Metric::Rejection, 1.0),
        (Metric::PermeateConductivity, 900.0),
    ] {
        scene.values.set(metric, Ok(Known::measured(value)));
    }
    let quality = [Code::RejectionLow, Code::PermeateTdsHigh];
    let beyond = Some(Verdict::Beyond);
    assert_eq!(quality.map(|code| scene.verdict(code)), [beyond; 2]);
    scene.unit.care.rinsed_in_run = true;
    assert_eq!(quality.map(|code| scene.verdict(code)), [None; 2]);
    scene.unit.care.rinsed_in_run = false;
    scene.state = RunState::Standby;
    assert_eq!(quality.map(|code| scene.verdict(code)), [None; 2]);
    assert_eq!(scene.verdict(Code::FeedPressureHigh), beyond);
    let said = scene.said(Code::FeedPressureHigh);
    assert!(
        said.starts_with("Feed pressure is 20.0 bar, above "),
        "{said}"
    );
    // Without a gauge that told since the water ran there is no low pressure.
    scene.state = RunState::Producing;
    assert_eq!(scene.verdict(Code::FeedPressureLow), None);
}

#[test]
fn a_frosty_feed_is_told_only_where_it_is_measured() {
    let mut scene = Scene::new();
    for (known, verdict) in [
        (Known::measured(0.1), Some(Verdict::Beyond)),
        (Known::assumed(0.1), None),
        (Known::measured(15.0), Some(Verdict::Well)),
    ] {
        scene.values.set(Metric::FeedTemperature, Ok(known));
        assert_eq!(scene.verdict(Code::FeedTemperatureOutOfRange), verdict);
    }
    scene
        .values
        .set(Metric::FeedTemperature, Ok(Known::measured(0.1)));
    scene.state = RunState::Standby;
    let said = scene.said(Code::FeedTemperatureOutOfRange);
    assert!(
        said.starts_with("The feed has 0.1 °C, below "),
        "a standing unit bursts, too: {said}"
    );
}

#[test]
fn runs_that_are_long_short_or_without_a_flush() {
    let mut scene = Scene::new();
    scene.settings.alerts.run_too_long = Some(6 * HOUR);
    for (seconds, verdict) in [(21_599.0, Verdict::Well), (21_600.0, Verdict::Beyond)] {
        scene.runs.seconds = seconds;
        let judged = scene.judged(Code::RunTooLong).unwrap();
        assert_eq!(judged.verdict, verdict);
        assert_eq!((judged.value, judged.limit), (seconds / 3600.0, 6.0));
    }
    let said = scene.said(Code::RunTooLong);
    assert!(said.contains("for 6 h without a pause"), "{said}");
    scene.runs.can_be_seen = false;
    assert_eq!(scene.verdict(Code::RunTooLong), None);

    scene.settings.alerts.short_cycling = Some(limit(12.0, 8.0));
    scene.settings.alerts.short_run = Volume::from_litres(2.0);
    let mut pace = Pace {
        starts_per_day: 30.0,
        short_starts_per_day: 12.0,
        litres_per_run: 1.0,
        creep_share: None,
    };
    for (short, verdict) in [
        (12.1, Verdict::Beyond),
        (12.0, Verdict::Between),
        (8.0, Verdict::Well),
    ] {
        pace.short_starts_per_day = short;
        scene.runs.pace = Some(pace);
        assert_eq!(scene.verdict(Code::ShortCycling), Some(verdict));
    }
    assert_eq!(
        scene.said(Code::ShortCycling),
        "The unit starts 30 times a day; 8 of these runs make less than 2.0 L (more than 12 is much), \
         1.0 L a run on the mean."
    );
    pace.creep_share = Some(0.4);
    scene.runs.pace = Some(pace);
    let said = scene.said(Code::ShortCycling);
    assert!(said.contains("Creep brings 40 % of the salt"), "{said}");
}

#[test]
fn missed_flushes_are_counted() {
    let mut scene = Scene::new();
    scene.settings.alerts.flush_missed = Some(3);
    let judge = |scene: &Scene| scene.look(|around| around.flush_missed());
    assert_eq!(judge(&scene), None, "nothing tells of flushes");
    for (missed, verdict) in [
        (0, Verdict::Well),
        (2, Verdict::Well),
        (3, Verdict::Beyond),
        (4, Verdict::Beyond),
    ] {
        scene.runs.unflushed = Some(missed);
        let judged = judge(&scene).unwrap();
        assert_eq!((judged.verdict, judged.limit), (verdict, 3.0), "{missed}");
        let (said, _) = scene.look(|around| around.describe_runs(Code::FlushMissed, &judged));
        assert!(said.contains(&format!("last {missed} runs of")), "{said}");
    }
    scene.runs.unflushed = Some(1);
    let judged = judge(&scene).unwrap();
    let (said, _) = scene.look(|around| around.describe_runs(Code::FlushMissed, &judged));
    assert!(said.starts_with("The last run of "), "{said}");
}

#[test]
fn a_test_is_due_by_the_calendar() {
    let mut scene = Scene::new();
    let every = Duration::from_secs(30 * 86_400);
    scene.settings.alerts.care.test_due = Some(every);
    assert_eq!(scene.look(|around| around.test_due()), None);
    for (days, verdict) in [(29, Verdict::Well), (30, Verdict::Beyond)] {
        scene.unit.care.test_since = Some(Wall(scene.now.wall.0 - days * 86_400_000));
        let judged = scene.look(|around| around.test_due()).unwrap();
        assert_eq!(judged.verdict, verdict);
        assert_eq!((judged.value, judged.limit), (days as f64, 30.0));
        assert_eq!(judged.hold, Duration::from_secs(300));
    }
    assert_eq!(
        scene.said(Code::TestDue),
        "No test for total chlorine behind the carbon, and no new carbon, for 30 days; one is due every 30 days."
    );
}
