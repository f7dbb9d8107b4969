//! Low, spent, overdue, leaking, new: who speaks of a stage, and when.

use super::*;
use crate::core::{known::Lack, left::Binding, usage::Span};

/// Days: low, likely; an order takes ten.
fn few(scene: &mut Scene, low: f64, likely: f64) {
    let span = Span {
        low,
        likely,
        high: 2.0 * likely,
    };
    scene.dues[0].days = Ok(Known::measured(span));
}

#[test]
fn a_stage_is_low_by_share_or_by_days() {
    let mut scene = Scene::new();
    scene.settings.alerts.stage_low = Some(limit(0.1, 0.2));
    // Litres treated of 100, days at least and likely; the longer time holds unless the share is low.
    for (treated, low, likely, verdict, hold) in [
        (91.0, 90.0, 90.0, Verdict::Beyond, HOLD),
        (85.0, 90.0, 90.0, Verdict::Between, HOUR),
        (50.0, 90.0, 90.0, Verdict::Well, HOUR),
        (50.0, 9.9, 12.0, Verdict::Beyond, HOUR),
        (50.0, 10.0, 12.0, Verdict::Between, HOUR),
        (50.0, 12.4, 12.5, Verdict::Between, HOUR),
        (50.0, 12.5, 12.6, Verdict::Well, HOUR),
        // No less than half the likely days.
        (50.0, 1.0, 19.0, Verdict::Beyond, HOUR),
        (50.0, 1.0, 26.0, Verdict::Well, HOUR),
        (91.0, 1.0, 1.0, Verdict::Beyond, HOLD),
    ] {
        scene.treat(treated);
        few(&mut scene, low, likely);
        let judged = scene.judged(Code::StageLow).unwrap();
        assert_eq!(
            (judged.verdict, judged.hold),
            (verdict, hold),
            "{treated} {low} {likely}"
        );
        assert!((judged.value - (100.0 - treated)).abs() < 1e-9);
        assert!((judged.limit - 10.0).abs() < 1e-9);
    }
    let shown = |scene: &Scene| {
        let judgement = scene.judged(Code::StageLow).unwrap();
        let alert = scene.alert(Code::StageLow);
        let seen = scene.look(|around| describe(&alert, &judgement, around));
        (seen.value, seen.limit)
    };
    assert_eq!(shown(&scene), (Some(9.0), Some(10.0)));
    let said = scene.said(Code::StageLow);
    assert!(
        said.starts_with("Bed has 9.0 % left by the water it has treated")
            && said.contains(" Reckon with 1 day; an order takes 10 days."),
        "{said}"
    );
    few(&mut scene, 10.0, 12.0);
    assert!(!scene.said(Code::StageLow).contains("Reckon"));
    // Too few days to order in, long before the share is low: that limit is not what was passed.
    scene.treat(50.0);
    few(&mut scene, 9.9, 12.0);
    assert_eq!(shown(&scene), (Some(50.0), None));
    assert!(
        scene
            .said(Code::StageLow)
            .contains("an order takes 10 days")
    );
}

#[test]
fn days_that_are_not_known_change_nothing_and_those_that_never_are_clear() {
    let mut scene = Scene::new();
    scene.settings.alerts.stage_low = Some(limit(0.1, 0.2));
    scene.treat(50.0);
    for (lack, verdict) in [
        (Lack::NoLife, Verdict::Well),
        (Lack::NotInSight, Verdict::Well),
        (Lack::TooEarly, Verdict::Between),
    ] {
        scene.dues[0].days = Err(lack);
        assert_eq!(scene.verdict(Code::StageLow), Some(verdict), "{lack:?}");
    }
    scene.dues.clear();
    assert_eq!(scene.verdict(Code::StageLow), Some(Verdict::Between));
}

#[test]
fn a_spent_stage_is_told_as_spent_then_as_overdue_and_never_twice() {
    let codes = [Code::StageLow, Code::StageExhausted, Code::StageOverdue];
    let (beyond, between, well) = (Verdict::Beyond, Verdict::Between, Verdict::Well);
    let mut scene = Scene::new();
    scene.settings.alerts.stage_low = Some(limit(0.1, 0.2));
    scene.settings.alerts.stage_exhausted = true;
    scene.settings.alerts.stage_overdue = Some(14 * 24 * HOUR);
    // Litres treated of 100, days since it was spent.
    for (treated, spent, expected) in [
        (97.0, None, [beyond, well, well]),
        (98.5, None, [beyond, between, between]),
        (100.0, None, [well, beyond, between]),
        (100.0, Some(13.9), [well, beyond, between]),
        (100.0, Some(14.0), [well, well, beyond]),
        (98.5, Some(15.0), [beyond, well, beyond]),
        // A new filling, or one that was never spent.
        (97.0, Some(15.0), [beyond, well, well]),
    ] {
        scene.treat(treated);
        few(&mut scene, 90.0, 90.0);
        let ago = |days: f64| Wall(scene.now.wall.0 - (days * SECONDS_PER_DAY * 1000.0) as i64);
        let spent = spent.map(ago);
        scene.unit.stages[0].state.spent = spent;
        let found = codes.map(|code| scene.verdict(code).unwrap());
        assert_eq!(found, expected, "{treated} {spent:?}");
    }
    scene.treat(100.0);
    scene.unit.stages[0].state.spent = Some(Wall(scene.now.wall.0 - 15 * 86_400_000));
    let judged = scene.judged(Code::StageOverdue).unwrap();
    assert_eq!((judged.value, judged.limit), (15.0, 14.0));
    assert_eq!((judged.hold, judged.clear_hold), (HOUR, Duration::ZERO));
    let said = scene.said(Code::StageOverdue);
    assert!(
        said.contains("15 days ago and is still in use, longer than 14 days"),
        "{said}"
    );
    // The earlier one goes when the later one comes.
    let judged = scene.judged(Code::StageExhausted).unwrap();
    assert_eq!((judged.hold, judged.clear_hold), (Duration::ZERO, HOUR));
    scene.unit.stages[0].state.spent = None;
    let holds = |scene: &Scene| {
        let judged = scene.judged(Code::StageExhausted).unwrap();
        (judged.hold, judged.clear_hold)
    };
    assert_eq!(holds(&scene), (Duration::ZERO, Duration::ZERO));
    scene.found[0].binding = Some(Binding::Age);
    assert_eq!(holds(&scene), (Duration::from_secs(300), Duration::ZERO));
    let said = scene.said(Code::StageExhausted);
    assert!(said.starts_with("Bed is spent by its age"), "{said}");
    // With nobody else to tell of it, a spent stage is low.
    scene.settings.alerts.stage_exhausted = false;
    assert_eq!(scene.verdict(Code::StageLow), Some(well));
    scene.settings.alerts.stage_overdue = None;
    assert_eq!(scene.verdict(Code::StageLow), Some(beyond));
}

#[test]
fn a_leaking_stage_is_told_in_the_owner_s_tds() {
    let mut scene = Scene::new();
    let tds = |us: f64| {
        let scale = scene.settings.tds_scale;
        scale.tds(Conductivity::from_us_per_cm(us)).mg_per_l()
    };
    let (level, most) = (tds(1.0), tds(2.0));
    let judge = |scene: &Scene| scene.look(|around| around.stage_leaking(0));
    scene.found[0].leaking = None;
    assert_eq!(judge(&scene), None);
    scene.found[0].leaking = Some(None);
    assert_eq!(judge(&scene).unwrap().verdict, Verdict::Well);
    scene.found[0].leaking = Some(Some((1.0, 2.0)));
    let judged = judge(&scene).unwrap();
    assert_eq!(judged.verdict, Verdict::Beyond);
    assert_eq!((judged.value, judged.limit), (level, most));
}

#[test]
fn a_rinse_is_due_until_its_litres_have_passed() {
    let mut scene = Scene::new();
    scene.settings.stages[0].rinse = Some(Volume::from_litres(8.0));
    assert_eq!(scene.verdict(Code::RinseDue), Some(Verdict::Well));
    scene.unit.care.rinses = vec![(1, Volume::from_litres(9.0))];
    assert_eq!(scene.verdict(Code::RinseDue), Some(Verdict::Well));
    scene.unit.care.rinses.push((0, Volume::from_litres(5.0)));
    assert_eq!(scene.verdict(Code::RinseDue), Some(Verdict::Beyond));
    let said = scene.said(Code::RinseDue);
    assert!(
        said.starts_with("Bed is new: 8 L are to wash") && said.contains("Until 5 L more"),
        "{said}"
    );
}
