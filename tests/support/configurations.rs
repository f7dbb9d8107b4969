//! Configurations from one sensor to everything.

use std::path::Path;

pub const ONE_SENSOR: &str =
    "[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";

/// The documented example.
pub fn example() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/permeated.toml");
    std::fs::read_to_string(path).unwrap()
}

/// Two units with a sensor at every point, every kind of stage with all that can be said of it.
pub fn everything() -> String {
    let mut text = String::new();
    for unit in ["a", "a_b"] {
        text += &format!(
            "[unit.{unit}]\nname = \"Unit {unit}\"\nsuggested_area = \"Cellar\"\n\
             [unit.{unit}.membrane]\nrated_flow = \"75 gal/d\"\nrated_pressure = \"60 psi\"\n\
             rated_tds = \"250 mg/L\"\nrated_recovery = \"15 %\"\n[unit.{unit}.supply]\n\
             alkalinity = \"100 mg/L CaCO3\"\nph = 7.6\ndisinfectant = \"chlorine\"\n\
             disinfectant_level = \"1 mg/L\"\ncalcium = \"70 mg/L CaCO3\"\n\
             [unit.{unit}.costs]\ncurrency = \"EUR\"\nwater = \"4 /m3\"\nwaste_water = \"2 /m3\"\n"
        );
        for (id, more) in [
            ("sediment", "life = \"1000 L\""),
            ("carbon", "life = \"1000 L\"\ncapacity = \"20 g\""),
            ("catalytic_carbon", "life_time = \"90 d\""),
            ("booster_pump", ""),
            ("membrane", "life_time = \"700 d\""),
            ("cation", "resin = \"1 L\""),
            ("anion", "resin = \"1 L\""),
            (
                "mixed_bed",
                "resin = \"1 L\"\nlife = \"400 L\"\nprice = 20.0",
            ),
        ] {
            text += &format!("[[unit.{unit}.stage]]\nid = \"{id}\"\nkind = \"{id}\"\n{more}\n");
        }
        for (at, rest) in [
            ("supply_pressure", "unit = \"psi\""),
            ("feed_pressure", "unit = \"psi\""),
            ("concentrate_pressure", "unit = \"psi\""),
            ("permeate_pressure", "unit = \"psi\""),
            ("feed_temperature", "unit = \"degC\""),
            ("feed_tds", "unit = \"ppm\""),
            ("permeate_tds", "unit = \"ppm\""),
            ("product_tds", "unit = \"ppm\""),
            ("stage_tds", "unit = \"ppm\"\nstage = \"carbon\""),
            ("concentrate_tds", "unit = \"ppm\""),
            ("feed_flow", "unit = \"L/min\""),
            ("permeate_flow", "unit = \"L/min\""),
            ("concentrate_flow", "unit = \"L/min\""),
            ("inlet_valve", ""),
            ("flush_valve", ""),
            ("pump", ""),
            ("leak", ""),
            ("storage_level", "unit = \"L\""),
        ] {
            text += &format!(
                "[[unit.{unit}.sensor]]\nat = \"{at}\"\ntopic = \"{unit}/{at}\"\n{rest}\n"
            );
        }
    }
    text
}
