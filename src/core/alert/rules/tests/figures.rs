//! Rules that follow from what other parts found, and sentences with several figures in them.

use super::*;
use crate::core::{
    Arrival, Observation,
    carbon::Tested,
    doubt::Doubt,
    hydraulics::{HydraulicState, Hydraulics},
    known::Lack,
};

#[test]
fn what_is_found_behind_all_carbon_is_judged_until_it_is_over() {
    let mut scene = Scene::new();
    assert_eq!(scene.look(|around| around.breakthrough()), None);
    scene.unit.care.found.newest = Some(Tested {
        value: 0.3,
        date: None,
    });
    for (is_through, verdict) in [(false, Verdict::Well), (true, Verdict::Beyond)] {
        scene.unit.care.found.is_through = is_through;
        let judged = scene.look(|around| around.breakthrough()).unwrap();
        assert_eq!((judged.verdict, judged.value), (verdict, 0.3));
        let positive = scene.settings.alerts.care.positive.mg_per_l();
        assert!((judged.limit - positive).abs() < 1e-12);
    }
}

#[test]
fn water_that_cannot_scale_is_well_and_unknown_water_is_not_judged() {
    let mut scene = Scene::new();
    scene.settings.alerts.care.scaling_risk = Some(limit(0.1, 0.0));
    assert_eq!(scene.look(|around| around.scaling()), None);
    for (index, verdict) in [
        (0.11, Verdict::Beyond),
        (0.05, Verdict::Between),
        (-1.0, Verdict::Well),
    ] {
        scene.unit.care.scale.index = Ok(Known::assumed(index));
        let judged = scene.look(|around| around.scaling()).unwrap();
        assert_eq!((judged.verdict, judged.value), (verdict, index));
    }
    // Whatever was found before.
    scene.unit.care.scale.index = Err(Lack::NotInSight);
    scene.unit.care.scale.moot = Some("softened");
    let judged = scene.look(|around| around.scaling()).unwrap();
    assert_eq!((judged.verdict, judged.limit), (Verdict::Well, 0.1));
}

/// 75 US gallons a day are 283.9 L/day.
#[test]
fn what_the_unit_falls_short_by_is_told_by_its_parts() {
    let rated = "\n[unit.u.membrane]\nrated_flow = \"75 gal/d\"\nrated_pressure = \"60 psi\"\nrated_tds = \
                 \"250 mg/L\"\nrated_recovery = \"15 %\"\n";
    let mut scene = Scene::of(&format!("{CONFIG}{rated}"));
    let said = |scene: &Scene| scene.look(|around| around.shortfall_sentence());
    assert_eq!(said(&scene), "");
    for (metric, value) in [
        (Metric::Shortfall, 100.0),
        (Metric::ShortfallPressure, 80.0),
        (Metric::ShortfallBackPressure, 0.4),
        (Metric::ShortfallTemperature, 30.0),
        (Metric::ShortfallSalinity, -10.0),
        (Metric::ShortfallMembrane, 0.0),
    ] {
        scene.values.set(metric, Ok(Known::measured(value)));
    }
    assert_eq!(
        said(&scene),
        " It gives 184 of the rated 284 L/day: pressure costs 80, temperature costs 30, salinity adds 10."
    );
    for metric in [
        Metric::ShortfallPressure,
        Metric::ShortfallTemperature,
        Metric::ShortfallSalinity,
    ] {
        scene.values.set(metric, Ok(Known::measured(0.0)));
    }
    assert_eq!(said(&scene), " It gives 184 of the rated 284 L/day.");
}

/// Above the clean drop by the limit, and above the multiple of it; cleared by the limit's own distance.
#[test]
fn filters_are_clogged_by_the_larger_of_two_limits() {
    let mut scene = Scene::new();
    let bar = Pressure::from_bar;
    let limits = &mut scene.settings.alerts.hydraulics;
    limits.prefilter_clogging = Some(limit(bar(0.5), bar(0.35)));
    limits.prefilter_factor = 3.0;
    for (clean, drop, verdict, shown) in [
        (None, 9.0, Verdict::Well, 0.5),
        (Some(0.2), 0.71, Verdict::Beyond, 0.7),
        (Some(0.2), 0.69, Verdict::Between, 0.7),
        (Some(0.2), 0.56, Verdict::Between, 0.7),
        (Some(0.2), 0.54, Verdict::Well, 0.7),
        (Some(0.5), 1.51, Verdict::Beyond, 1.5),
        (Some(0.5), 1.36, Verdict::Between, 1.5),
        (Some(0.5), 1.34, Verdict::Well, 1.5),
    ] {
        scene.unit.watch.hydraulics = Hydraulics::new(HydraulicState {
            clean_drop: clean.map(bar),
            ..HydraulicState::default()
        });
        scene
            .values
            .set(Metric::PrefilterDrop, Ok(Known::measured(drop)));
        let judged = scene.look(|around| around.prefilter()).unwrap();
        assert_eq!(judged.verdict, verdict, "{clean:?} {drop}");
        assert!((judged.limit - shown).abs() < 1e-9, "{judged:?}");
    }
    assert_eq!(
        scene.look(|around| around.describe_prefilter(1.6, 1.5)),
        "The pre-filters take 1.6 bar at 1 L/min, against 0.5 bar when they were clean; the limit is 1.5 bar."
    );
}

#[test]
fn a_sensor_that_is_not_believed_is_told_with_what_was_used_last() {
    let mut scene = Scene::new();
    let alert = Alert {
        subject: Subject::Sensor(0),
        subject_id: "meter".to_owned(),
        ..scene.alert(Code::SensorImplausible)
    };
    let judgement = Judgement {
        casts: Some((0, Doubt::Refused)),
        limit: 30.0,
        ..at_once(Verdict::Beyond, Known::measured(42.0))
    };
    let said = |scene: &Scene| scene.look(|around| describe(&alert, &judgement, around).sentence);
    let first = said(&scene);
    assert!(
        first.starts_with("42.0 % of the readings of meter within ")
            && first.ends_with("lone spikes."),
        "{first}"
    );
    let now = scene.now;
    (scene.unit).hear(now, 0, Observation::Number(1234.0), Arrival::Live, None);
    let then = said(&scene);
    assert_eq!(then, format!("{first} The last one used was 1234."));
}

/// Nothing was ever heard of its one sensor.
#[test]
fn a_sensor_that_was_never_heard_is_not_silent_before_its_time() {
    let mut scene = Scene::new();
    scene.settings.alerts.sensor_silent = Some(HOUR);
    let alert = Alert {
        subject: Subject::Sensor(0),
        ..scene.alert(Code::SensorSilent)
    };
    let silent_at = scene.look(|around| around.sensors[0].silent_at());
    for (after, verdict) in [
        (Duration::ZERO, Some(Verdict::Between)),
        (HOUR - Duration::from_millis(1), Some(Verdict::Between)),
        (HOUR, Some(Verdict::Beyond)),
    ] {
        scene.now.mono = silent_at.after(after);
        let judged = scene.look(|around| judge(&alert, around));
        assert_eq!(judged.map(|judged| judged.verdict), verdict, "{after:?}");
    }
    scene.now.mono = Mono(silent_at.0 - 1);
    assert_eq!(scene.look(|around| judge(&alert, around)), None);
    scene.now.mono = silent_at.after(HOUR);
    let said = |scene: &Scene| {
        scene.look(|around| describe(&alert, &judge(&alert, around).unwrap(), around).sentence)
    };
    let whole = duration_text(HOUR + scene.settings.sensors[0].max_age);
    assert!(
        said(&scene).ends_with(&format!(" for {whole}.")),
        "{}",
        said(&scene)
    );
    let now = scene.now;
    (scene.unit).hear(now, 0, Observation::Available(false), Arrival::Live, None);
    assert!(
        said(&scene).ends_with("says it is offline."),
        "{}",
        said(&scene)
    );
}

/// 0.02 L/min are 28.8 L a day.
#[test]
fn hydraulics_in_words() {
    let display = config::Display::Metric;
    assert_eq!(
        hydraulic::temperature_text(display, 42.0, 40.0),
        "The feed has 42.0 °C, above 40.0 °C."
    );
    assert!(
        hydraulic::lift_text(display, 0.1, 0.5)
            .ends_with("only 0.1 bar above the line pressure, below 0.5 bar.")
    );
    assert_eq!(
        hydraulic::leaking_text(display, 0.02, 0.01),
        format!(
            "Water runs to the drain while none is made: {}, above {}. That is 29 L a day.",
            display.trickle(Flow::from_l_per_min(0.02)),
            display.trickle(Flow::from_l_per_min(0.01))
        )
    );
}
