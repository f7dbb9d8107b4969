//! Values reach the settings as they were meant.

use std::{path::Path, time::Duration};

use approx::assert_relative_eq;

use super::super::{CountConversion, Measure, Point, RateConversion, StageWater, Storage};
use super::*;

fn unit(text: &str) -> super::super::UnitSettings {
    let settings = read(&format!("{SMALLEST}{text}"));
    settings
        .unwrap_or_else(|problems| panic!("{problems}"))
        .units
        .remove(0)
}

#[test]
fn one_sensor_is_enough() {
    let settings = read(SMALLEST).unwrap();
    assert_eq!(settings.broker.host, "localhost");
    assert_eq!(settings.broker.port, 1883);
    assert_eq!(settings.publish.interval, Duration::from_secs(10));
    assert_eq!(settings.store.directory, Path::new("/var/lib/permeated"));
    let sensor = &settings.units[0].sensors[0];
    assert_eq!(
        (sensor.id.as_str(), sensor.at),
        ("product_tds", Point::ProductTds)
    );
    assert_eq!(sensor.max_age, Duration::from_secs(600));
    let pump = unit("[[unit.k.sensor]]\nat = \"pump\"\ntopic = \"t\"\n");
    assert_eq!(
        pump.sensors[1].max_age,
        Duration::from_secs(7 * 86_400),
        "told on change only"
    );
    assert_eq!(sensor.smoothing, 3);
    assert_eq!(settings.units[0].storage, Storage::Unstated);
}

#[test]
fn paths_start_at_the_file_and_the_service_manager_names_the_state_folder() {
    let state = Path::new("/run/state");
    let read = |text: &str| {
        from_text(
            "/etc/permeated/permeated.toml",
            &format!("{text}{SMALLEST}"),
            &BTreeMap::new(),
            Some(state),
        )
        .unwrap()
    };
    let settings = read("[broker]\nuser = \"u\"\npassword_file = \"secret\"\n");
    assert_eq!(
        settings.broker.password_file.as_deref(),
        Some(Path::new("/etc/permeated/secret"))
    );
    assert_eq!(settings.store.directory, state);
    assert_eq!(
        read("[store]\ndirectory = \"/srv/x\"\n").store.directory,
        Path::new("/srv/x")
    );
}

#[test]
fn ratings_and_ratios_are_understood_in_the_trades_spelling() {
    let unit = unit(
        "[unit.k.supply]\nwaste_ratio = \"4:1\"\ntds = \"250 mg/L\"\n[unit.k.membrane]\n\
         rated_flow = \"50 gal/d\"\nelements = 2\nrated_pressure = \"60 psi\"\n\
         rated_tds = \"250 ppm\"\nrated_recovery = \"15 %\"\nrated_rejection = 0.96\n\
         [unit.k.storage]\nkind = \"pressurised\"\npressure = \"30 psi\"\n",
    );
    assert_eq!(unit.supply.waste_ratio, Some(4.0));
    assert_eq!(unit.supply.conductivity.unwrap().us_per_cm(), 500.0);
    let membrane = unit.membrane.as_ref().unwrap();
    // 100 US gal/d = 378.541 L/d: NIST SP 811, 1 US gal = 3.785411784 L.
    assert_relative_eq!(
        membrane.flow.l_per_day(),
        378.541_178_4,
        max_relative = 1e-12
    );
    assert_relative_eq!(membrane.recovery, 0.15, max_relative = 1e-12);
    assert_relative_eq!(
        unit.run.start_flow.l_per_day(),
        37.854_117_84,
        max_relative = 1e-12
    );
    assert!(
        matches!(unit.storage, Storage::Pressurised(Some(pressure)) if (pressure.psi() - 30.0).abs() < 1e-9)
    );
}

#[test]
fn a_stage_sees_the_water_of_its_place() {
    let stages = |kinds: &[&str]| {
        let text: String = kinds
            .iter()
            .enumerate()
            .map(|(at, kind)| format!("[[unit.k.stage]]\nid = \"s{at}\"\nkind = \"{kind}\"\n"))
            .collect();
        unit(&text)
            .stages
            .iter()
            .map(|stage| stage.water)
            .collect::<Vec<_>>()
    };
    use StageWater::{Feed, Permeate};
    // Carbon behind the membrane polishes permeate; without a membrane the kind decides.
    assert_eq!(
        stages(&["sediment", "carbon", "membrane", "mixed_bed", "carbon"]),
        [Feed, Feed, Permeate, Permeate, Permeate]
    );
    assert_eq!(stages(&["carbon", "mixed_bed"]), [Feed, Permeate]);
}

fn flow(lines: &str) -> Measure {
    unit(&format!(
        "[[unit.k.sensor]]\nat = \"permeate_flow\"\ntopic = \"f\"\n{lines}"
    ))
    .sensors
    .remove(1)
    .measure
}

#[test]
fn counts_become_litres_in_each_of_the_three_ways() {
    for (lines, counts, seconds, litres) in [
        (
            "kind = \"pulses\"\npulses_per_litre = 450",
            450.0,
            60.0,
            1.0,
        ),
        (
            "kind = \"increments\"\nunit = \"gal\"",
            2.0,
            60.0,
            7.570_823_568,
        ),
        (
            "kind = \"pulses\"\nunit = \"L\"\nscale = 0.1",
            5.0,
            60.0,
            0.5,
        ),
        // 5 pulses a second are 1 L/min by the calibration: one minute is a litre.
        (
            "kind = \"pulses\"\ncalibration = [[0, 0], [10, 2]]",
            300.0,
            60.0,
            1.0,
        ),
    ] {
        let convert: CountConversion = match flow(lines) {
            Measure::Pulses { litres, .. } | Measure::Increments { litres, .. } => litres,
            other => panic!("{other:?}"),
        };
        assert_relative_eq!(convert.litres(counts, seconds), litres, max_relative = 1e-9);
    }
}

#[test]
fn rates_become_flows_in_each_of_the_three_ways() {
    for (lines, raw, l_per_min) in [
        ("unit = \"mL/min\"\nscale = 2", 100.0, 0.2),
        // A turbine with f[Hz] = 7.5 x Q[L/min] gives 450 pulses to the litre (reference value).
        ("unit = \"Hz\"\npulses_per_litre = 450", 7.5, 1.0),
        ("unit = \"Hz\"\ncalibration = [[0, 0], [10, 2]]", 5.0, 1.0),
    ] {
        let convert: RateConversion = match flow(lines) {
            Measure::Rate { convert, .. } => convert,
            other => panic!("{other:?}"),
        };
        assert_relative_eq!(
            convert.flow(raw).l_per_min(),
            l_per_min,
            max_relative = 1e-9
        );
    }
}

#[test]
fn a_flow_sensor_that_cannot_become_a_flow_is_refused() {
    let start = format!("{SMALLEST}[[unit.k.sensor]]\nat = \"permeate_flow\"\ntopic = \"f\"\n");
    for (lines, line, part) in [
        ("", 5, "\"unit\" is missing"),
        ("unit = \"Hz\"\n", 5, "pulses_per_litre, or calibration"),
        ("unit = \"psi\"\n", 8, "gal/min, Hz"),
        ("unit = \"l/Min\"\n", 8, "did you mean"),
        ("unit = \"L/min\"\npulses_per_litre = 450\n", 9, "frequency"),
        ("kind = \"pulses\"\n", 5, "a count needs"),
        ("kind = \"pulses\"\nunit = \"Hz\"\n", 9, "volume"),
        (
            "kind = \"pulses\"\nunit = \"L\"\npulses_per_litre = 1\n",
            10,
            "not both",
        ),
        (
            "kind = \"pulses\"\nunit = \"L\"\noffset = 1\n",
            10,
            "differences",
        ),
        (
            "kind = \"pulses\"\npulses_per_litre = 0\n",
            9,
            "out of range",
        ),
        (
            "kind = \"pulses\"\nunit = \"L\"\nsmoothing = 3\n",
            10,
            "only for: gauge, rate",
        ),
        (
            "unit = \"L/min\"\nminimum = \"20 L/min\"\n",
            9,
            "below the greatest",
        ),
        ("unit = \"L/min\"\ntds_scale = 0.5\n", 9, "probes only"),
    ] {
        one_problem(&format!("{start}{lines}"), line, part);
    }
}

#[test]
fn plausible_ranges_are_kept_in_the_base_unit() {
    let sensor = |lines: &str| {
        unit(&format!("[[unit.k.sensor]]\ntopic = \"p\"\n{lines}"))
            .sensors
            .remove(1)
    };
    let pressure =
        sensor("at = \"feed_pressure\"\nunit = \"psi\"\nplausible = [\"0 kPa\", \"1 MPa\"]\n");
    assert_eq!(pressure.plausible, Some((0.0, 10.0)));
    let tds = sensor(
        "at = \"feed_tds\"\nunit = \"ppm\"\ntds_scale = 0.7\nplausible = [\"7 ppm\", \"1 mS/cm\"]\n",
    );
    let (low, high) = tds.plausible.unwrap();
    assert_relative_eq!(low, 10.0, max_relative = 1e-12);
    assert_relative_eq!(high, 1000.0, max_relative = 1e-12);
    // Both are from memory: 85 °C at power-on and −127 °C without an answer tell a fault.
    let (low, high) = sensor("at = \"feed_temperature\"\nunit = \"degF\"\n")
        .plausible
        .unwrap();
    assert!(low > -127.0 && high < 85.0);
}

#[test]
fn a_spare_and_a_stage_name_their_sensors() {
    let unit = unit(
        "[[unit.k.sensor]]\nat = \"product_tds\"\ntopic = \"b\"\nunit = \"uS/cm\"\nspare = true\n\
         [[unit.k.sensor]]\nat = \"stage_tds\"\ntopic = \"c\"\nunit = \"ppm\"\nstage = \"bed\"\n\
         [[unit.k.stage]]\nid = \"bed\"\nkind = \"mixed_bed\"\ninstalled = \"2026-05-01\"\n",
    );
    let ids: Vec<_> = unit
        .sensors
        .iter()
        .map(|sensor| sensor.id.as_str())
        .collect();
    assert_eq!(ids, ["product_tds", "product_tds_spare", "stage_tds_bed"]);
    assert_eq!(unit.sensors[2].after_stage, Some(0));
    assert_eq!(
        unit.stages[0].installed,
        Some(jiff::civil::date(2026, 5, 1))
    );
    // A probe that sends conductivity has no TDS scale.
    assert!(
        matches!(&unit.sensors[1].measure, Measure::Gauge { probe: Some(probe), .. } if probe.scale.is_none())
    );
}

#[test]
fn alerts_have_the_trades_limits_unless_written() {
    let unit = unit("");
    let alerts = &unit.alerts;
    let product = alerts.product_tds_high.unwrap();
    // Common practice, no source: 1 mg/L, which a 0.5 scale shows at 2 µS/cm.
    assert_relative_eq!(product.raise.us_per_cm(), 2.0, max_relative = 1e-12);
    assert_relative_eq!(product.clear.us_per_cm(), 1.6, max_relative = 1e-12);
    let pressure = alerts.feed_pressure_low.unwrap();
    assert_relative_eq!(pressure.raise.psi(), 40.0, max_relative = 1e-12);
    assert_relative_eq!(pressure.clear.psi(), 43.0, max_relative = 1e-12);
    assert_eq!(pressure.clear_hold, pressure.hold);
    assert_relative_eq!(
        alerts.rejection_low.unwrap().clear,
        0.92,
        max_relative = 1e-12
    );
    assert_eq!(alerts.sensor_silent, Some(Duration::from_secs(600)));
}

#[test]
fn the_range_of_the_recovery_follows_the_configured_waste_ratio() {
    let range = |text: &str| unit(text).alerts.hydraulics.recovery_out_of_range.unwrap();
    // 40 % either side of 4:1 are 2.4:1 and 5.6:1: by hand 1/3.4 and 1/6.6.
    let of_ratio = range("[unit.k.supply]\nwaste_ratio = \"4:1\"\n");
    assert_relative_eq!(of_ratio.high, 1.0 / 3.4, max_relative = 1e-12);
    assert_relative_eq!(of_ratio.low, 1.0 / 6.6, max_relative = 1e-12);
    let plain = range("");
    assert_eq!((plain.low, plain.high), (0.10, 0.50));
    let written = range("[unit.k.alert.recovery_out_of_range]\nlow = \"20 %\"\n");
    assert_relative_eq!(written.clear_low, 0.21, max_relative = 1e-12);
}

#[test]
fn a_written_limit_takes_its_clear_along_and_off_is_off() {
    let unit = unit(
        "[unit.k.alert.rejection_low]\nlimit = 0.95\nhold = \"1 h\"\n\
         [unit.k.alert.stage_low]\nenabled = false\n[unit.k.alert.sensor_silent]\nenabled = false\n",
    );
    let rejection = unit.alerts.rejection_low.unwrap();
    assert_relative_eq!(rejection.clear, 0.96, max_relative = 1e-12);
    assert_eq!(rejection.clear_hold, Duration::from_secs(3600));
    assert_eq!(unit.alerts.stage_low, None);
    assert_eq!(unit.alerts.sensor_silent, None);
}

#[test]
fn limits_that_cannot_be_meant_are_refused() {
    for (lines, part) in [
        ("[unit.k.alert.rejection_low]\nlimit = 90\n", "\"99.99 %\""),
        (
            "[unit.k.alert.recovery_out_of_range]\nlow = \"60 %\"\n",
            "low must be less than high, and here the range is 60.0 % to 50.0 %",
        ),
        (
            "[unit.k.alert.feed_temperature_out_of_range]\nhigh = \"20 degC\"\nlow = \"30 degC\"\n",
            "here the range is 30 degC to 20 degC",
        ),
        (
            "[unit.k.alert.rejection_low]\nclear = \"80 %\"\n",
            "clear above",
        ),
        (
            "[unit.k.alert.feed_pressure_high]\nclear = \"101 psi\"\n",
            "clear below",
        ),
        (
            "[unit.k.alert.product_tds_high]\nlimit = \"1 psi\"\n",
            "mg/L, g/L, uS/cm",
        ),
        ("[unit.k.alert.stage_low]\ndays = -1\n", "0 to 365"),
    ] {
        one_problem(&format!("{SMALLEST}{lines}"), 6, part);
    }
    one_problem(
        &format!("{SMALLEST}[unit.k.alert.rejection_lo]\nlimit = 0.9\n"),
        5,
        "did you mean \"rejection_low\"?",
    );
}

#[test]
fn out_of_range_is_told_in_the_unit_that_was_written() {
    one_problem(
        &format!("{SMALLEST}[unit.k.supply]\npressure = \"600 psi\"\n"),
        6,
        "1.45 to 290.1 psi",
    );
    one_problem(
        &format!("{SMALLEST}[unit.k.run]\nstart_flow = \"0 gal/d\"\n"),
        6,
        "gal/d",
    );
}

#[test]
fn a_flush_is_expected_where_a_valve_tells_of_it_or_the_keeper_says_so() {
    let valve = "[[unit.k.sensor]]\nat = \"flush_valve\"\ntopic = \"t/flush\"\n";
    let drain =
        "[[unit.k.sensor]]\nat = \"concentrate_flow\"\ntopic = \"t/drain\"\nunit = \"L/min\"\n";
    let said = |word: &str| format!("[unit.k.run]\nflush_expected = {word}\n");
    for (more, expected) in [
        (String::new(), false),
        (valve.to_owned(), true),
        (said("false") + valve, false),
        (said("true") + drain, true),
    ] {
        let settings = read(&format!("{SMALLEST}{more}")).unwrap_or_else(|found| panic!("{found}"));
        assert_eq!(settings.units[0].run.flush_expected, expected, "{more}");
    }
    let sensors = "at = \"product_tds\"\ntopic = \"t/product\"\nunit = \"mg/L\"\n";
    let alone = format!(
        "[broker]\nurl = \"mqtt://localhost\"\n[unit.k]\n{}[[unit.k.sensor]]\n{sensors}",
        said("true")
    );
    let problems = read(&alone).unwrap_err().to_string();
    assert!(
        problems.contains("needs a flush_valve, concentrate_flow or feed_flow sensor"),
        "{problems}"
    );
}
