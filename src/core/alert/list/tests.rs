//! Which alerts a train and its settings give.

use std::collections::BTreeMap;

use super::*;
use crate::{
    config,
    core::{alert::life::LifeState, doubt::Doubt},
};

const PROBE: &str = r#"
[[unit.u.sensor]]
at = "permeate_tds"
topic = "p"
unit = "uS/cm"
"#;

fn settings(text: &str) -> UnitSettings {
    let text = format!("[broker]\nurl = \"mqtt://localhost\"\n{text}{PROBE}");
    let found = config::from_text("test", &text, &BTreeMap::new(), None);
    found.unwrap_or_else(|problems| panic!("{problems}")).units[0].clone()
}

fn keys(text: &str) -> Vec<String> {
    let alerts = alerts_of(&settings(text), |_| None);
    alerts.iter().map(Alert::key).collect()
}

fn stage(id: &str, kind: &str, more: &str) -> String {
    format!("[[unit.u.stage]]\nid = \"{id}\"\nkind = \"{kind}\"\n{more}")
}

/// Those of `codes` that a unit has.
fn of(codes: &[&str], text: &str) -> Vec<String> {
    let mut keys = keys(text);
    keys.retain(|key| codes.iter().any(|code| key.split('/').next() == Some(code)));
    keys
}

#[test]
fn carbon_is_tested_where_it_stands_before_a_membrane_and_scale_falls_out_in_one() {
    let codes = ["chlorine_breakthrough", "scaling_risk", "test_due"];
    let due = "[unit.u.alert.test_due]\nevery = \"30 d\"\n";
    let membrane = stage("m", "membrane", "");
    for kind in ["carbon", "catalytic_carbon"] {
        let carbon = stage("c", kind, "");
        assert_eq!(of(&codes, &format!("{due}{carbon}{membrane}")), codes);
        // Behind the membrane it polishes permeate.
        let polishing = of(&codes, &format!("{due}{membrane}{carbon}"));
        assert_eq!(polishing, ["scaling_risk"]);
    }
    let sediment = stage("s", "sediment", "");
    assert!(of(&codes, &format!("{due}{sediment}")).is_empty());
    let all = format!("{}{membrane}", stage("c", "carbon", ""));
    assert_eq!(
        of(&codes, &all),
        codes[..2],
        "nothing says how often to test"
    );
    let off = |code: &str| format!("[unit.u.alert.{code}]\nenabled = false\n");
    let off = format!("{}{}{all}", off(codes[0]), off(codes[1]));
    assert!(of(&codes, &off).is_empty());
}

#[test]
fn a_flush_is_missed_where_one_is_expected() {
    let flush = |expected: bool| {
        format!(
            "[unit.u.run]\nflush_expected = {expected}\n[[unit.u.sensor]]\nat = \"flush_valve\"\n\
             topic = \"v\"\n"
        )
    };
    let codes = ["flush_missed"];
    assert_eq!(of(&codes, &flush(true)), codes);
    assert!(of(&codes, &flush(false)).is_empty());
    let off = "[unit.u.alert.flush_missed]\nenabled = false\n";
    assert!(of(&codes, &format!("{off}{}", flush(true))).is_empty());
}

#[test]
fn a_stage_is_low_where_something_tells_what_is_left() {
    let codes = ["stage_low"];
    let low = |stages: &str| of(&codes, stages);
    for (kind, more) in [
        ("sediment", "life = \"1000 L\"\n"),
        ("sediment", "life_time = \"180 d\"\n"),
        ("cation", "capacity = \"5 meq\"\n"),
    ] {
        assert_eq!(low(&stage("s", kind, more)), ["stage_low/s"], "{more}");
    }
    assert!(low(&stage("s", "sediment", "")).is_empty());
    let membrane = stage("m", "membrane", "");
    assert!(low(&membrane).is_empty(), "without a rating");
    let rating = "[unit.u.membrane]\nrated_flow = \"75 gal/d\"\nrated_pressure = \"60 psi\"\nrated_tds = \
                  \"250 mg/L\"\nrated_recovery = \"15 %\"\n";
    let rated = format!("{rating}{}{membrane}", stage("s", "sediment", ""));
    assert_eq!(low(&rated), ["stage_low/m"]);
    // A probe behind a bed shows it spent, and what leaks through it before.
    let bed = stage("b", "mixed_bed", "");
    let product = "[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"d\"\nunit = \"uS/cm\"\n";
    let codes = ["stage_leaking", "stage_low"];
    assert!(of(&codes, &format!("{membrane}{bed}")).is_empty());
    let watched = of(&codes, &format!("{membrane}{bed}{product}"));
    assert_eq!(watched, ["stage_leaking/b", "stage_low/b"]);
}

#[test]
fn who_is_in_doubt_is_known_again_by_id() {
    let settings = settings("");
    let kept = |id: &str| {
        let id = id.to_owned();
        alerts_of(&settings, move |_| {
            Some(AlertState {
                life: LifeState::default(),
                seen: None,
                casts: Some((id.clone(), Doubt::Stuck)),
                care: Care::default(),
                episode: None,
            })
        })
    };
    let id = &settings.sensors[0].id;
    assert!(
        kept(id)
            .iter()
            .all(|alert| alert.casts == Some((0, Doubt::Stuck)))
    );
    assert!(kept("gone").iter().all(|alert| alert.casts.is_none()));
}
