//! What is suspicious is told, and nothing else is.

use super::*;

/// A unit in which nothing is odd.
const SOUND: &str = r#"
[unit.k.supply]
pressure = "55 psi"
temperature = "12 degC"
tds = "250 mg/L"
waste_ratio = "4:1"
[unit.k.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
[unit.k.run]
start_flow = "0.02 L/min"
[[unit.k.stage]]
id = "sediment"
kind = "sediment"
life = "10000 L"
life_time = "180 d"
[[unit.k.stage]]
id = "membrane"
kind = "membrane"
[[unit.k.stage]]
id = "di"
kind = "mixed_bed"
life = "400 L"
[[unit.k.sensor]]
at = "permeate_flow"
topic = "rig/pulses"
kind = "pulses"
pulses_per_litre = 3900
[[unit.k.sensor]]
at = "feed_pressure"
topic = "rig/pressure"
unit = "bar"
[[unit.k.sensor]]
at = "feed_temperature"
topic = "rig/board"
pointer = "/temperature"
unit = "degC"
[[unit.k.sensor]]
at = "feed_tds"
topic = "rig/board"
pointer = "/feed"
unit = "ppm"
[[unit.k.sensor]]
at = "permeate_tds"
topic = "rig/board"
pointer = "/permeate"
unit = "ppm"
[[unit.k.sensor]]
at = "leak"
topic = "rig/leak"
"#;

fn suspicions(text: &str) -> Vec<String> {
    let settings = settings(text);
    settings.units.iter().flat_map(odd::suspicions).collect()
}

#[test]
fn what_is_usual_raises_no_suspicion() {
    assert_eq!(suspicions(SOUND), Vec::<String>::new());
    assert_eq!(suspicions(EXAMPLE), Vec::<String>::new());
}

/// One change each, and the words of the only suspicion that it raises. Factors: 1 psi = 0.0689476 bar,
/// 1 US gal = 3.785412 L, °F = 1.8 °C + 32 (NIST SP 811, appendix B).
#[test]
fn each_oddity_is_told_once_with_what_may_be_meant() {
    for (from, to, words) in [
        (
            "life = \"10000 L\"",
            "life = \"3 L\"",
            "life of stage sediment is 3 L; of sediment 500",
        ),
        (
            "life = \"400 L\"",
            "life = \"400 m3\"",
            "life of stage di is 400000 L",
        ),
        (
            "life_time = \"180 d\"",
            "life_time = \"180 h\"",
            "life_time of stage sediment is ",
        ),
        // 4 psi is 0.276 bar.
        (
            "\"55 psi\"",
            "\"4 psi\"",
            "pressure in [unit.k.supply] is 0.276 bar (4 psi)",
        ),
        (
            "rated_pressure = \"60 psi\"",
            "rated_pressure = \"4.1 psi\"",
            "Is it 4.1 bar?",
        ),
        (
            "rated_pressure = \"60 psi\"",
            "rated_pressure = \"15 bar\"",
            "rated_pressure in",
        ),
        // 54 °F is 12.2 °C.
        (
            "\"12 degC\"",
            "\"54 degC\"",
            "If 54 degF is meant, that is 12 °C",
        ),
        (
            "\"4:1\"",
            "\"1:4\"",
            "waste_ratio in [unit.k.supply] is 0.25: more product than waste",
        ),
        ("\"4:1\"", "\"18:1\"", "little is product"),
        (
            "tds = \"250 mg/L\"\nwaste",
            "tds = \"2.5 mg/L\"\nwaste",
            "the feed in [unit.k.supply] has 2.5 mg/L",
        ),
        // 75 gal/d × 3.785 L/gal is 284 L/d.
        ("\"75 gal/d\"", "\"75 L/d\"", "75 gal/d would be 284 L/d"),
        (
            "\"75 gal/d\"",
            "\"284 gal/d\"",
            "284 L/d would be an element of 75 gal/d",
        ),
        (
            "rated_recovery = \"15 %\"",
            "rated_recovery = \"85 %\"",
            "rated_recovery in [unit.k.membrane] is 85 %",
        ),
        (
            "\"0.02 L/min\"",
            "\"0.19 L/min\"",
            "start_flow in [unit.k.run] is 0.19 L/min, near the 0.197",
        ),
        (
            "start_flow = ",
            "start_pressure = \"60 psi\"\nstart_flow = ",
            "no run would be seen",
        ),
        (
            "kind = \"membrane\"",
            "kind = \"booster_pump\"",
            "no stage of kind membrane",
        ),
        (
            "pulses_per_litre = 3900",
            "pulses_per_litre = 65",
            "pulses_per_litre is 3900",
        ),
        (
            "pulses_per_litre = 3900",
            "pulses_per_litre = 234000",
            "has 234000 pulses to the litre",
        ),
        (
            "pulses_per_litre = 3900",
            "pulses_per_litre = 3900\nmaximum = \"0.1 L/min\"",
            "believes no more than 0.1 L/min",
        ),
        (
            "\"rig/pressure\"",
            "\"rig/line_psi\"",
            "is read in bar, but rig/line_psi speaks of psi",
        ),
        (
            "\"/temperature\"",
            "\"/temp-Fahrenheit\"",
            "speaks of fahrenheit",
        ),
        (
            "unit = \"bar\"",
            "unit = \"bar\"\nplausible = [\"20 bar\", \"100 bar\"]",
            "leaves out what is usual there",
        ),
        (
            "unit = \"bar\"",
            "unit = \"bar\"\nplausible = [\"0 bar\", \"100 bar\"]",
            "reaches far beyond",
        ),
        (
            "unit = \"degC\"",
            "unit = \"degC\"\nplausible = [\"0 degC\", \"100 degC\"]",
            "takes 85 °C for a temperature",
        ),
        (
            "unit = \"bar\"",
            "unit = \"bar\"\nmax_age = \"5 s\"",
            "max_age of feed_pressure is 5 s",
        ),
        (
            "topic = \"rig/leak\"",
            "topic = \"rig/leak\"\nmax_age = \"1 min\"",
            "max_age of leak is 1 min",
        ),
        (
            "pointer = \"/permeate\"\n",
            "",
            "permeate_tds reads rig/board as a plain value",
        ),
        (
            "\"/permeate\"",
            "\"/feed\"",
            "feed_tds and permeate_tds read the same value",
        ),
        (
            "\"/permeate\"\nunit = \"ppm\"",
            "\"/permeate\"\nunit = \"ppm\"\ntds_scale = 0.7",
            "0.5 for feed_tds and 0.7 for permeate_tds",
        ),
        (
            "\"/permeate\"\nunit = \"ppm\"",
            "\"/permeate\"\nunit = \"ppm\"\ntds_scale = 0.9",
            "tds_scale of permeate_tds is 0.9",
        ),
        (
            "[unit.k.run]",
            "[unit.k.alert.feed_pressure_low]\nlimit = \"60 psi\"\n[unit.k.run]",
            "feed_pressure_low would be there all the time",
        ),
        (
            "[unit.k.run]",
            "[unit.k.alert.feed_pressure_high]\nlimit = \"50 psi\"\n[unit.k.run]",
            "feed_pressure_high would be there all the time",
        ),
        (
            "[unit.k.run]",
            "[unit.k.alert.permeate_tds_high]\nlimit = \"300 mg/L\"\n[unit.k.run]",
            "permeate_tds_high would never come",
        ),
        (
            "[unit.k.run]",
            "[unit.k.alert.feed_temperature_out_of_range]\nlow = \"15 degC\"\n[unit.k.run]",
            "the supply has 12 °C",
        ),
        (
            "[unit.k.run]",
            "[unit.k.alert.recovery_out_of_range]\nlow = \"30 %\"\nhigh = \"50 %\"\n[unit.k.run]",
            "a waste ratio of 4 is 20 %",
        ),
    ] {
        assert!(SOUND.contains(from), "{from}");
        let found = suspicions(&SOUND.replacen(from, to, 1));
        assert_eq!(found.len(), 1, "{to}: {found:#?}");
        assert!(found[0].contains(words), "{to}: {found:#?}");
        assert!(!found[0].ends_with('.'), "{found:?}");
    }
}

#[test]
fn a_booster_pump_lifts_a_low_supply() {
    let low = SOUND.replace(
        "[unit.k.run]",
        "[unit.k.alert.feed_pressure_low]\nlimit = \"60 psi\"\n[unit.k.run]",
    );
    let pump = low.replacen(
        "[[unit.k.stage]]\nid = \"membrane\"",
        "[[unit.k.stage]]\nid = \"pump\"\nkind = \"booster_pump\"\n[[unit.k.stage]]\nid = \"membrane\"",
        1,
    );
    assert_eq!(suspicions(&pump), Vec::<String>::new());
}

#[test]
fn the_sensor_that_would_add_most_says_what_it_takes() {
    let text = told(&plain(&["product_tds"]));
    assert!(
        text.contains("To add      A sensor at permeate_flow would add most"),
        "{text}"
    );
    assert!(
        text.contains("It takes a meter made for drips in the tube behind the membrane"),
        "{text}"
    );
    assert!(
        text.contains("let the pressure off before a tube is cut"),
        "{text}"
    );
}
