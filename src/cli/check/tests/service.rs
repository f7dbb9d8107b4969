//! What is said of costs and of the pressure hold test.

use super::*;

const PRICES: &str =
    "[unit.k.costs]\ncurrency = \"EUR\"\nwater = \"2 /m3\"\nwaste_water = \"3 /m3\"\n";

#[test]
fn what_has_a_price_is_told_and_what_has_none() {
    let text = told(EXAMPLE);
    assert_eq!(
        line(&text, "costs "),
        "in EUR; no price of carbon-1, carbon-2, membrane, mixed-bed"
    );
    assert_eq!(line(&text, "this month"), "assumed");
    // Litres to the drain need a meter or a ratio.
    let alone = told(&(plain(&["permeate_flow"]) + PRICES));
    let today = line(&alone, "today ");
    assert!(today.contains("absent: no sensor: feed_flow"), "{today}");
    let ratio = "[unit.k.supply]\nwaste_ratio = 4\n";
    let text = told(&(plain(&["permeate_flow"]) + PRICES + ratio));
    assert_eq!(line(&text, "today "), "assumed");
}

#[test]
fn nothing_is_said_of_costs_without_prices() {
    let text = told(&plain(&["permeate_flow"]));
    assert_eq!(line(&text, "costs "), "absent: no prices in [unit.k.costs]");
    assert!(!text.contains("of a litre"), "{text}");
}

#[test]
fn a_hold_test_needs_a_gauge() {
    let text = told(&plain(&["permeate_flow"]));
    assert_eq!(
        line(&text, "pressure hold test"),
        "absent: no sensor: feed_pressure, supply_pressure"
    );
    let text = told(&plain(&["supply_pressure"]));
    assert_eq!(
        line(&text, "pressure hold test"),
        "by supply_pressure, 15 min from 1 bar (14.5 psi) on"
    );
}
