//! What no sensor tells: reminders, limits of tests by hand, media and rinses.

use std::time::Duration;

use super::{super::UnitSettings, *};

const DAY: Duration = Duration::from_secs(86_400);

fn unit(text: &str) -> UnitSettings {
    let settings = read(&format!("{SMALLEST}{text}"));
    let settings = settings.unwrap_or_else(|problems| panic!("{problems}"));
    settings.units[0].clone()
}

/// 30 and 90 days: common practice, no source.
#[test]
fn a_reminder_follows_the_disinfectant_unless_written() {
    let due = |text: &str| unit(text).alerts.care.test_due;
    let supply = |word: &str| format!("[unit.k.supply]\ndisinfectant = \"{word}\"\n");
    assert_eq!(due(""), None);
    assert_eq!(due(&supply("none")), None);
    assert_eq!(due(&supply("chlorine")), Some(90 * DAY));
    assert_eq!(due(&supply("chloramine")), Some(30 * DAY));
    let written = "[unit.k.alert.test_due]\nevery = \"45 d\"\n";
    assert_eq!(due(written), Some(45 * DAY));
    assert_eq!(due(&(supply("chlorine") + written)), Some(45 * DAY));
    let off = "[unit.k.alert.test_due]\nenabled = false\n";
    assert_eq!(due(&(supply("chlorine") + off)), None);
}

#[test]
fn limits_have_their_defaults_and_are_read() {
    let care = unit("").alerts.care.clone();
    assert!(care.chlorine_breakthrough && care.rinse_due);
    assert_eq!(care.positive.mg_per_l(), 0.1);
    let scaling = care.scaling_risk.unwrap();
    assert_eq!((scaling.raise, scaling.clear), (0.1, 0.0));
    let care = unit(
        "[unit.k.alert.chlorine_breakthrough]\nlimit = \"0.2 mg/L\"\nenabled = false\n\
         [unit.k.alert.rinse_due]\nenabled = false\n[unit.k.alert.scaling_risk]\nlimit = -0.3\n",
    );
    let care = &care.alerts.care;
    assert!(!care.chlorine_breakthrough && !care.rinse_due);
    assert_eq!(care.positive.mg_per_l(), 0.2, "still what spends a vessel");
    assert_eq!(care.scaling_risk.unwrap().clear, -0.4);
}

#[test]
fn media_and_rinse_belong_to_carbon_before_the_membrane() {
    let stage = |kind: &str, key: &str| {
        format!("{SMALLEST}[[unit.k.stage]]\nid = \"a\"\nkind = \"{kind}\"\n{key}\n")
    };
    let text = stage("catalytic_carbon", "media = \"0.5 L\"\nrinse = \"20 L\"");
    let read = read(&text).unwrap();
    let carbon = &read.units[0].stages[0];
    assert_eq!(carbon.media.unwrap().litres(), 0.5);
    assert_eq!(carbon.rinse.unwrap().litres(), 20.0);
    let place = "belongs to carbon before the membrane";
    one_problem(&stage("sediment", "media = \"0.5 L\""), 8, place);
    one_problem(&stage("mixed_bed", "rinse = \"5 L\""), 8, place);
    one_problem(&stage("carbon", "rinse = \"0.1 L\""), 8, "0.5 to 5000 L");
    let every = format!("{SMALLEST}[unit.k.alert.test_due]\nevery = \"1 h\"\n");
    one_problem(&every, 6, "out of range");
}
