//! Prices and the hold test reach the settings as they were meant, and slips are told.

use std::time::Duration;

use approx::assert_relative_eq;

use super::*;

const STAGE: &str = "[[unit.k.stage]]\nid = \"bed\"\nkind = \"mixed_bed\"\nprice = 33.5\n";

fn unit(text: &str) -> super::super::UnitSettings {
    let settings = read(&format!("{SMALLEST}{text}"));
    let settings = settings.unwrap_or_else(|problems| panic!("{problems}"));
    settings.units[0].clone()
}

#[test]
fn prices_are_for_the_volume_they_are_written_for() {
    let unit = unit(&format!(
        "{STAGE}[unit.k.costs]\ncurrency = \"USD\"\nwater = \"4.20 /m3\"\nwaste_water = \"6 /kgal\"\n"
    ));
    let costs = unit.costs.as_ref().unwrap();
    assert_eq!(costs.currency, "USD");
    assert_relative_eq!(costs.water.unwrap().per_litre(), 0.0042);
    // A US gallon is 3.785411784 L (NIST SP 811).
    let waste = costs.waste_water.unwrap().per_litre();
    assert_relative_eq!(waste, 0.006 / 3.785_411_784, max_relative = 1e-12);
    assert_eq!(unit.stages[0].price, Some(33.5));
}

#[test]
fn without_a_table_there_are_no_costs_and_the_hold_test_is_the_usual() {
    let unit = unit("");
    assert_eq!(unit.costs, None);
    assert_eq!(unit.hold_test, super::super::HoldTestSettings::default());
}

#[test]
fn a_hold_test_is_made_as_it_is_written() {
    let unit = unit(
        "[unit.k.hold_test]\nminutes = 30\nallowed_share = \"2 %\"\nallowed_drop = \"1 psi\"\n\
         least_pressure = \"2 bar\"\n",
    );
    let hold = &unit.hold_test;
    assert_eq!(hold.time, Duration::from_secs(1800));
    assert_relative_eq!(hold.allowed_share, 0.02);
    assert_relative_eq!(hold.allowed_drop.psi(), 1.0);
    assert_relative_eq!(hold.least_pressure.bar(), 2.0);
}

#[test]
fn slips_are_told_at_their_line() {
    // The smallest unit has four lines.
    for (text, line, part) in [
        (
            "[unit.k.costs]\ncurrency = \"euro\"\n",
            6,
            "three capital letters",
        ),
        (
            "[unit.k.costs]\nwater = \"2 /m3\"\n",
            5,
            "\"currency\" is missing",
        ),
        (
            "[unit.k.costs]\ncurrency = \"EUR\"\nwater = 2.1\n",
            7,
            "has no unit; a price of water is written in",
        ),
        (
            "[unit.k.costs]\ncurrency = \"EUR\"\nwater = \"2.1 EUR/m3\"\n",
            7,
            "is written in /L, /m3, /gal, /kgal, /ft3, /ccf",
        ),
        (
            "[unit.k.costs]\ncurrency = \"EUR\"\nwater = \"-2 /m3\"\n",
            7,
            "out of range",
        ),
        (
            "[unit.k.hold_test]\nminutes = 1\n",
            6,
            "allowed is 2 to 240",
        ),
    ] {
        one_problem(&format!("{SMALLEST}{text}"), line, part);
    }
}

#[test]
fn a_price_needs_a_currency() {
    let problems = read(&format!("{SMALLEST}{STAGE}")).expect_err("no currency");
    let found: Vec<_> = problems.iter().collect();
    assert_eq!(found.len(), 1, "{problems}");
    assert!(
        found[0].sentence.contains("write [unit.k.costs]"),
        "{problems}"
    );
}
