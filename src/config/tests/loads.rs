//! The feed's chemistry and what stages can take.

use super::*;
use crate::config::{Capacity, Disinfectant, FeedChemistry, IonCapacity};

fn chemistry(lines: &str) -> FeedChemistry {
    let text = format!("[unit.k.supply]\n{lines}\n{SMALLEST}");
    let settings = read(&text).unwrap_or_else(|problems| panic!("{problems}"));
    settings.units[0].supply.chemistry
}

/// A stage behind (resin) or before (carbon) a membrane.
fn stage(kind: &str, lines: &str) -> String {
    format!("[[unit.k.stage]]\nid = \"s\"\nkind = \"{kind}\"\n{lines}\n{SMALLEST}")
}

fn capacity(kind: &str, lines: &str) -> Option<Capacity> {
    let text = stage(kind, lines) + "[unit.k.supply]\ndisinfectant_level = \"1 mg/L\"\n";
    let settings = read(&text).unwrap_or_else(|problems| panic!("{problems}"));
    settings.units[0].stages[0].capacity
}

fn ions(kind: &str, lines: &str) -> IonCapacity {
    match capacity(kind, lines) {
        Some(Capacity::Ions(ions)) => ions,
        other => panic!("{other:?}"),
    }
}

#[test]
fn chemistry_is_read_in_the_units_of_test_kits() {
    // 1 meq/L = 50 mg/L CaCO3 = 2.8 °dH (a resin maker's units page).
    for text in ["2 meq/L", "100 mg/L CaCO3", "5.6 dH"] {
        let found = chemistry(&format!("alkalinity = \"{text}\"")).alkalinity;
        assert!((found.unwrap().meq_per_l() - 2.0).abs() < 1e-9, "{text}");
    }
    let found = chemistry("disinfectant = \"chloramine\"\ndisinfectant_level = \"2 mg/L\"");
    assert_eq!(found.disinfectant, Some(Disinfectant::Chloramine));
    assert_eq!(found.disinfectant_level.unwrap().mg_per_l(), 2.0);
    let none = chemistry("disinfectant = \"none\"");
    assert_eq!(none.disinfectant_level.unwrap().mg_per_l(), 0.0);
    assert_eq!(chemistry(""), FeedChemistry::default());
}

#[test]
fn chemistry_that_cannot_be_is_told() {
    let supply = |lines: &str| format!("[unit.k.supply]\n{lines}\n{SMALLEST}");
    one_problem(&supply("ph = 11"), 2, "allowed is 5.5 to 10");
    one_problem(&supply("alkalinity = \"100 mg/L\""), 2, "mg/L CaCO3");
    one_problem(
        &supply("disinfectant = \"clorine\""),
        2,
        "did you mean \"chlorine\"?",
    );
    one_problem(
        &supply("disinfectant = \"none\"\ndisinfectant_level = \"1 mg/L\""),
        3,
        "there is no level",
    );
    // Hydroxide alone is 5 mg/L CaCO3 at pH 10; at pH 5.5 it would be far more gas than soda water.
    one_problem(
        &supply("alkalinity = \"2 mg/L CaCO3\"\nph = 10.0"),
        3,
        "no water has a pH of 10",
    );
    one_problem(
        &supply("alkalinity = \"1000 mg/L CaCO3\"\nph = 5.5"),
        3,
        "no water has a pH of 5.5",
    );
}

/// A maker's mixed bed of 1 to 1.5 parts: 0.72 eq/L for cations, 0.60 eq/L for anions.
#[test]
fn capacities_of_resin() {
    let whole = ions("mixed_bed", "capacity = \"600 meq\"");
    assert_eq!(whole.cation, whole.anion);
    assert_eq!(
        (whole.cation.unwrap().meq(), whole.usable),
        (600.0, [1.0; 3])
    );
    // 1 eq/L = 21.85 kgr/ft3 (a resin maker's units page).
    for text in ["0.5 eq/L", "10.925 kgr/ft3"] {
        let each = ions(
            "anion",
            &format!("resin = \"1.2 L\"\ncapacity = \"{text}\""),
        );
        assert!((each.anion.unwrap().meq() - 600.0).abs() < 0.2, "{text}");
        assert_eq!(each.cation, None);
    }
    let mixed = ions("mixed_bed", "resin = \"1.2 L\"");
    assert!((mixed.cation.unwrap().meq() - 864.0).abs() < 1e-9);
    assert!((mixed.anion.unwrap().meq() - 720.0).abs() < 1e-9);
    assert_eq!(mixed.usable, [0.8, 0.65, 0.5]);
    let cation = ions("cation", "resin = \"1 L\"");
    assert_eq!((cation.cation.unwrap().meq(), cation.anion), (1800.0, None));
}

#[test]
fn capacities_of_carbon() {
    let grams = |lines: &str| match capacity("carbon", lines) {
        Some(Capacity::Disinfectant(mass)) => mass.grams(),
        other => panic!("{other:?}"),
    };
    assert_eq!(grams("capacity = \"20 g\""), 20.0);
    assert_eq!(grams("rated = \"10000 L\"\nrated_level = \"2 mg/L\""), 20.0);
    assert_eq!(capacity("carbon", ""), None);
}

#[test]
fn capacities_that_cannot_be_are_told() {
    for (kind, lines, line, part) in [
        ("cation", "capacity = \"0.5 eq/L\"", 4, "resin = \"1.2 L\""),
        (
            "anion",
            "resin = \"1 L\"\ncapacity = \"5 eq\"",
            4,
            "leave resin out",
        ),
        ("anion", "rated = \"10 L\"", 4, "not rated so"),
        (
            "sediment",
            "capacity = \"20 g\"",
            4,
            "only carbon and resin",
        ),
        ("carbon", "resin = \"1 L\"", 4, "no resin in carbon"),
        ("carbon", "rated_level = \"2 mg/L\"", 4, "belongs to rated"),
        ("carbon", "rated = \"9000 L\"", 4, "rated_level"),
    ] {
        one_problem(&stage(kind, lines), line, part);
    }
    let text = stage("carbon", "capacity = \"20 g\"");
    let problems = read(&text).unwrap_err();
    assert!(
        problems.to_string().contains("disinfectant_level"),
        "{problems}"
    );
    // On the other side of the membrane nothing of it is counted.
    let before = "[[unit.k.stage]]\nid = \"s\"\nkind = \"anion\"\nresin = \"1 L\"\n\
                  [[unit.k.stage]]\nid = \"m\"\nkind = \"membrane\"\n";
    one_problem(&format!("{before}{SMALLEST}"), 4, "before the membrane");
}
