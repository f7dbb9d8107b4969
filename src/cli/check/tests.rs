//! What a few units can and cannot know, and that the core keeps the word it gives.

use std::collections::BTreeSet;

use super::*;
use crate::{
    config::from_text,
    core::Lack,
    metrics::{Group, Metric},
};

mod possible;
mod service;
mod suspicions;

const EXAMPLE: &str = include_str!("../../../config/permeated.toml");

fn settings(toml: &str) -> Settings {
    from_text("t.toml", toml, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"))
}

fn told(toml: &str) -> String {
    text(&settings(toml), &[])
}

/// The line that begins with `name`, without the name.
fn line<'t>(text: &'t str, name: &str) -> &'t str {
    text.lines()
        .find_map(|line| line.trim_start().strip_prefix(name))
        .unwrap_or_else(|| panic!("{name} is not in\n{text}"))
        .trim_start()
}

/// Long sentences are broken into lines.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn sensor(at: &str, more: &str) -> String {
    format!("[[unit.k.sensor]]\nat = \"{at}\"\ntopic = \"t/{at}\"\n{more}\n")
}

fn plain(points: &[&str]) -> String {
    let unit = |at: &str| match at {
        _ if at.ends_with("flow") => "unit = \"L/min\"",
        _ if at.ends_with("tds") => "unit = \"ppm\"",
        _ if at.ends_with("temperature") => "unit = \"degC\"",
        _ if at.ends_with("pressure") => "unit = \"bar\"",
        _ => "",
    };
    points.iter().map(|at| sensor(at, unit(at))).collect()
}

/// The row of alerts whose values are not there.
const BLIND: &str = "absent, as what it needs is";

const RATING: &str = "[unit.k.membrane]\nrated_flow = \"75 gal/d\"\nrated_pressure = \"60 psi\"\n\
                      rated_tds = \"250 mg/L\"\nrated_recovery = \"15 %\"\n";

#[test]
fn the_example_computes_nearly_everything_from_measurements() {
    let text = told(EXAMPLE);
    for (name, words) in [
        ("feed flow and volume", "inferred"),
        ("permeate flow and volume", "measured"),
        ("concentrate flow, volume", "measured"),
        ("recovery and waste ratio", "measured"),
        ("runs and their time", "measured"),
        ("TDS of the product", "measured"),
        ("TDS of the concentrate", "inferred"),
        ("rejection, salt passage", "measured"),
        ("feed pressure", "measured"),
        ("feed temperature", "measured"),
        ("flow at 25 °C", "measured"),
        ("normalised permeate flow", "measured"),
        ("expected permeate flow", "measured"),
    ] {
        assert_eq!(line(&text, name), words, "{name}");
    }
    assert!(line(&text, "sediment ").starts_with("10000 L of feed (inferred), 180 d since 2026"));
    assert!(line(&text, "carbon-2 ").ends_with("TDS behind it (measured)"));
    assert_eq!(
        line(&text, "mixed-bed "),
        "360 to 576 meq of ions (assumed), 600 L of permeate (measured)"
    );
    assert_eq!(
        line(&text, "membrane "),
        "730 d since 2026-01-15 (measured)"
    );
    assert!(line(&text, "A run is seen by").is_empty());
    assert!(
        text.contains("\n    permeate_flow from 0.0197 L/min\n"),
        "{text}"
    );
    assert!(
        text.contains("supply → sediment → carbon-1 (carbon) → "),
        "{text}"
    );
    assert_eq!(text.matches(" absent: ").count(), 0, "{text}");
    // These want a meter and a gauge more; no carbon is loose.
    let blind = "balance_open, prefilter_clogging, pump_not_lifting";
    assert_eq!(line(&text, BLIND), blind);
    assert_eq!(line(&text, "absent, nothing to watch"), "rinse_due");
    assert!(!text.contains("Look again"), "{text}");
    let suggested = unwrapped(&text);
    assert!(
        suggested.contains("A sensor at feed_flow would add most: it gives the alert balance_open"),
        "{text}"
    );
    assert!(!suggested.contains("Without another sensor"), "{text}");
}

#[test]
fn one_probe_gives_its_own_reading_and_the_rest_says_what_it_lacks() {
    let text = told(&plain(&["product_tds"]));
    assert!(text.contains("t/product_tds → product_tds, a gauge in mg/L"));
    assert_eq!(line(&text, "TDS of the product"), "measured");
    assert!(unwrapped(&text).contains("nothing: it needs a flow, pump or inlet_valve sensor"));
    let no_sign = "absent: nothing tells when water is made";
    assert_eq!(line(&text, "runs and their time"), no_sign);
    let rejection = line(&text, "rejection, salt passage");
    assert_eq!(
        rejection,
        "absent: no sensor: permeate_tds, feed_tds; nothing tells when water is made"
    );
    assert!(line(&text, "normalised permeate flow").contains("no rating and no baseline"));
    // Quality is judged in runs only.
    assert!(line(&text, BLIND).contains("product_tds_high, "));
    assert!(line(&text, "absent, nothing to watch").contains("stage_low, "));
    assert!(line(&text, "sensor_silent").starts_with("nothing heard for max_age"));
    assert!(text.contains("storage (not described; taken as open)"));
    let words = unwrapped(&text);
    // Any flow sensor tells runs; that of the permeate tells how much each makes, too.
    let gains = "A sensor at permeate_flow would add most: it gives permeate flow and volume";
    assert!(
        words.contains(gains) && words.contains("the alerts product_tds_high"),
        "{text}"
    );
    // A constant of the supply would only be repeated.
    assert!(!words.contains("Without another sensor"), "{text}");
}

#[test]
fn without_a_thermometer_nothing_is_learned_and_no_alert_is_promised() {
    let supply = "[unit.k.supply]\ntemperature = \"12 degC\"\ntds = \"250 mg/L\"\n";
    let sensors = plain(&["feed_pressure", "permeate_flow", "permeate_tds"]);
    let text = told(&format!("{supply}{RATING}{sensors}"));
    for (name, words) in [
        (
            "flow: response, trend",
            "absent: no sensor: feed_temperature",
        ),
        (
            "flow: days to its limit",
            "absent: no sensor: feed_temperature",
        ),
        (
            "salt: response, trend",
            "absent: no sensor: feed_temperature",
        ),
        (
            "normalized_flow_low",
            "below 70 % of the rating for 30 min (assumed)",
        ),
    ] {
        assert_eq!(line(&text, name), words, "{text}");
    }
    for code in ["normalized_flow_falling", "salt_passage_rising"] {
        assert!(line(&text, BLIND).contains(code), "{text}");
    }
    let text = unwrapped(&text);
    assert!(text.contains("feed_temperature would add most"), "{text}");
    assert!(text.contains(", normalized_flow_falling"), "{text}");
}

#[test]
fn two_flows_give_the_third_and_one_needs_the_waste_ratio() {
    let two = told(&plain(&["permeate_flow", "concentrate_flow"]));
    assert_eq!(line(&two, "feed flow and volume"), "inferred");
    assert_eq!(line(&two, "permeate flow and volume"), "measured");
    let one = told(&plain(&["permeate_flow"]));
    let lacks_feed = "absent: no sensor: feed_flow";
    assert_eq!(line(&one, "feed flow and volume"), lacks_feed);
    assert_eq!(line(&one, "recovery and waste ratio"), lacks_feed);
    assert!(unwrapped(&one).contains(
        "Without another sensor, waste_ratio in [unit.k.supply] would add most: it gives feed flow and volume"
    ));
    let ratio = told(&(plain(&["permeate_flow"]) + "[unit.k.supply]\nwaste_ratio = 4\n"));
    assert_eq!(line(&ratio, "feed flow and volume"), "inferred");
    assert_eq!(line(&ratio, "concentrate flow, volume"), "inferred");
    assert!(!unwrapped(&ratio).contains("waste_ratio in"));
    // Concentrate alone tells a run and its own litres, and nothing else.
    let drain = told(&plain(&["concentrate_flow"]));
    assert_eq!(line(&drain, "concentrate flow, volume"), "measured");
    assert_eq!(
        line(&drain, "permeate flow and volume"),
        "absent: no sensor: permeate_flow"
    );
}

#[test]
fn without_a_rating_nothing_is_normalised_and_the_rating_is_asked_for() {
    let points = [
        "permeate_flow",
        "concentrate_flow",
        "feed_pressure",
        "feed_temperature",
        "feed_tds",
    ];
    let bare = told(&plain(&points));
    assert_eq!(
        line(&bare, "normalised permeate flow"),
        "absent: no rating and no baseline to compare with"
    );
    assert_eq!(line(&bare, "flow at 25 °C"), "measured");
    // Against its own baseline it can be judged all the same.
    assert_eq!(
        line(&bare, "normalized_flow_low"),
        "below 85 % of the baseline for 30 min (assumed)"
    );
    let words = unwrapped(&bare);
    assert!(
        words.contains(
            "Without another sensor, the rating in [unit.k.membrane] would add most: it gives \
             normalised permeate flow"
        ),
        "{bare}"
    );
    let rated = told(&(plain(&points) + RATING));
    assert!(!line(&rated, "normalised permeate flow").starts_with("absent"));
    assert!(
        line(&rated, "normalized_flow_low")
            .starts_with("below 85 % of the baseline, or 70 % of the rating")
    );
}

#[test]
fn constants_make_a_figure_assumed_and_sensors_make_it_surer() {
    let probe = plain(&["permeate_flow", "permeate_tds"]);
    let constant = told(&(probe.clone() + "[unit.k.supply]\ntds = \"250 ppm\"\n"));
    assert_eq!(line(&constant, "rejection, salt passage"), "assumed");
    let both = told(&(probe.clone() + &plain(&["feed_tds"])));
    assert_eq!(line(&both, "rejection, salt passage"), "measured");
    // A probe without compensation leans on the assumed temperature.
    let bare = sensor("feed_tds", "unit = \"uS/cm\"\ncompensated = false");
    let leaning = told(&(probe.clone() + &bare + "[unit.k.supply]\ntemperature = \"15 degC\"\n"));
    assert_eq!(line(&leaning, "rejection, salt passage"), "assumed");
    let none = told(&(probe + &bare));
    assert_eq!(
        line(&none, "rejection, salt passage"),
        "absent: no sensor: feed_temperature"
    );
    assert!(
        unwrapped(&none).contains("Look again feed_tds does not refer"),
        "{none}"
    );
}

#[test]
fn the_storage_decides_what_is_known_of_the_back_pressure() {
    let with = |storage: &str| told(&EXAMPLE.replace("kind = \"open\"", storage));
    let driving = |text: &str| line(text, "net driving pressure").to_owned();
    let tank = with("kind = \"pressurised\"\npressure = \"2 bar\"");
    assert_eq!(driving(&tank), "assumed");
    let unknown = with("kind = \"pressurised\"");
    assert_eq!(driving(&unknown), "absent: no sensor: permeate_pressure");
    let unstated = told(&EXAMPLE.replace("[unit.kitchen.storage]\nkind = \"open\"", ""));
    assert_eq!(driving(&unstated), "assumed");
    assert!(unwrapped(&unstated).contains(
        "Without another sensor, kind in [unit.kitchen.storage] would add most: it makes surer"
    ));
}

#[test]
fn a_stage_says_which_of_its_limits_can_be_followed() {
    let stage = "[[unit.k.stage]]\nid = \"sediment\"\nkind = \"sediment\"\nlife = \"9000 L\"\n\
                 life_time = \"180 d\"\n";
    let text = told(&(plain(&["permeate_flow"]) + stage));
    assert_eq!(
        line(&text, "sediment "),
        "9000 L of feed (absent: no sensor: feed_flow), 180 d since it was first seen (assumed)"
    );
    assert!(
        unwrapped(&text).contains("what is left of sediment"),
        "{text}"
    );
    let endless = stage.replace("life = \"9000 L\"\nlife_time = \"180 d\"\n", "");
    let text = told(&(plain(&["permeate_flow"]) + &endless));
    assert_eq!(line(&text, "sediment "), "absent: no life configured");
}

#[test]
fn an_alert_that_is_off_says_so() {
    let text = told(
        // The key is added in the table of the stage alert, and its own one there is taken out.
        &EXAMPLE
            .replacen("days = 14 ", "enabled = false\ndays = 14 ", 1)
            .replacen(
                "days left\nhold = \"0 s\"\nclear_hold = \"0 s\"\nenabled = true",
                "days left\nhold = \"0 s\"",
                1,
            ),
    );
    assert!(line(&text, "off ").contains("stage_low"), "{text}");
    assert!(line(&text, "feed_pressure_low").contains("below 2.76 bar (40 psi) for 2 min"));
}

#[test]
fn whatever_a_sensor_sends_the_probe_speaks_its_words() {
    let flow = |more: &str| {
        let text = told(&(sensor("permeate_flow", more) + RATING));
        line(&text, "permeate flow and volume").to_owned()
    };
    for more in [
        "unit = \"mL/min\"\nscale = 0.5\noffset = 3",
        "unit = \"Hz\"\npulses_per_litre = 450",
        "unit = \"Hz\"\ncalibration = [[2, 0.3], [40, 6.0]]",
        "unit = \"L/min\"\nmax_age = \"1 s\"",
        "kind = \"pulses\"\npulses_per_litre = 0.01",
        "kind = \"pulses\"\nunit = \"L\"\nminimum = \"0.5 L/min\"",
        "kind = \"pulses\"\ncalibration = [[2, 0.1], [40, 6.0]]",
        "kind = \"increments\"\npulses_per_litre = 3900\nplausible = [\"0.4 L/min\", \"5 L/min\"]",
    ] {
        assert_eq!(flow(more), "measured", "{more}");
    }
}

#[test]
fn sixty_times_too_few_pulses_are_cautioned() {
    // A common label is f[Hz] = 7.5 × Q[L/min]: 450 pulses to the litre (reference value).
    let flow = |pulses: &str| {
        unwrapped(&told(&sensor(
            "permeate_flow",
            &format!("unit = \"Hz\"\npulses_per_litre = {pulses}"),
        )))
    };
    assert!(flow("7.5").contains("pulses_per_litre is 450"));
    assert!(!flow("450").contains("Look again"));
    assert!(!flow("10").contains("Look again"));
}

#[test]
fn a_meter_that_cannot_see_the_permeate_is_cautioned() {
    // 75 gal/d is 0.197 L/min (3.785 L to the gallon, 1440 min to the day).
    let least = |minimum: &str| {
        let more = format!("unit = \"L/min\"\nminimum = \"{minimum}\"");
        unwrapped(&told(&(sensor("permeate_flow", &more) + RATING)))
    };
    assert!(least("1 L/min").contains(
        "Look again permeate_flow sees nothing below 1 L/min, and the membrane is rated at 0.197 L/min"
    ));
    assert!(!least("0.1 L/min").contains("Look again"));
}

#[test]
fn a_value_that_is_read_twice_is_cautioned() {
    let text = told(&EXAMPLE.replace("\"rodi/product_tds\"", "\"rodi/permeate_tds\""));
    assert!(
        unwrapped(&text)
            .contains("permeate_tds and product_tds read the same value on rodi/permeate_tds"),
        "{text}"
    );
}

#[test]
fn every_metric_is_in_one_row() {
    let rows = rows::GROUPS.iter().flat_map(|(_, rows)| rows.iter());
    let shown: Vec<Metric> = rows.flat_map(|(_, metrics)| metrics.to_vec()).collect();
    let unique: BTreeSet<Metric> = shown.iter().copied().collect();
    assert_eq!(shown.len(), unique.len(), "one is told twice");
    assert_eq!(unique, Metric::ALL.iter().copied().collect());
}

#[test]
fn problems_go_to_standard_error_with_their_own_status() {
    let found = |toml: &str| {
        let (mut out, mut errors) = (Vec::new(), Vec::new());
        let found = from_text("t.toml", toml, &BTreeMap::new(), None);
        let status = report(found, false, &mut out, &mut errors);
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (status, text(out), text(errors))
    };
    let (status, out, errors) = found(EXAMPLE);
    assert_eq!((status, errors.as_str()), (0, ""));
    assert!(out.ends_with('\n') && out.contains("Unit kitchen"));
    let (status, out, errors) = found("[broker]\n");
    assert_eq!((status, out.as_str()), (2, ""));
    assert!(errors.ends_with("1 problem\n"), "{errors}");
}
