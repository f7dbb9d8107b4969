//! The report's figures are the store's.

use std::collections::BTreeMap;

use serde_json::Value;

use permeated::time::Wall;

use super::filled::{Filled, filled};

/// The exact value of a cell.
fn value(cell: &Value) -> f64 {
    let text = cell["value"]
        .as_str()
        .unwrap_or_else(|| panic!("no figure in {cell}"));
    text.parse().unwrap()
}

/// The water of a table by the first column: made, to the drain, into the unit; "All" is its foot.
fn water(page: &Value, caption: &str) -> BTreeMap<String, [f64; 3]> {
    let rows = page["tables"][caption]
        .as_array()
        .unwrap_or_else(|| panic!("no {caption:?}"));
    let row = |row: &Value| {
        let label = row[0]["text"].as_str().unwrap().to_owned();
        (label, [1, 2, 3].map(|column| value(&row[column])))
    };
    rows[1..]
        .iter()
        .filter(|cells| cells[1]["value"].is_string())
        .map(row)
        .collect()
}

fn sum(kept: &Value, name: &str) -> f64 {
    kept["sums"][name]["last"].as_f64().unwrap()
}

fn close(one: f64, other: f64, within: f64) -> bool {
    (one - other).abs() <= within
}

const WHOLE: (&str, &str) = ("2026-03-03", "2026-06-23");

#[test]
fn the_litres_of_the_whole_are_the_sums_of_the_store() {
    let filled = filled();
    let kept = filled.kept();
    assert_eq!(
        kept["spans"].as_array().unwrap().len(),
        3,
        "minutes, hours and days"
    );
    let water = water(&filled.page(WHOLE.0, WHOLE.1), "Water by month");
    let all = water["All"];
    for (column, name, total) in [
        (0, "permeate_l", "permeate"),
        (1, "concentrate_l", "concentrate"),
        (2, "feed_l", "feed"),
    ] {
        // The totals of the unit's state, which began at nothing: samples are rounded to a thousandth.
        let state = kept["totals"][total].as_f64().unwrap();
        assert!(state > 200.0);
        assert!(
            close(all[column], state, 0.01),
            "{name}: {} of {state}",
            all[column]
        );
        assert!(
            close(sum(&kept, name), state, 1.0),
            "{name}: the samples themselves"
        );
        let parts: f64 = water
            .iter()
            .filter(|(label, _)| *label != "All")
            .map(|(_, litres)| litres[column])
            .sum();
        assert!(
            close(parts, all[column], 1e-6),
            "{name}: the months make up the whole"
        );
    }
}

#[test]
fn the_litres_of_a_day_are_those_of_its_runs() {
    let filled = filled();
    let by_day = filled.kept()["by_day"].clone();
    // Days of universal time are all that is left of March, when the clocks changed on the 8th.
    for (from, to) in [("2026-03-03", "2026-03-15"), ("2026-06-13", "2026-06-22")] {
        let water = water(&filled.page(from, to), "Water by day");
        assert!(water.len() > 9, "{water:?}");
        for (day, [permeate, ..]) in water.iter().filter(|(day, _)| *day != "All") {
            let runs = by_day[day]["permeate"].as_f64().unwrap();
            // A cup for what a sample holds of the next day, and for what came outside of runs.
            assert!(
                close(*permeate, runs, 0.25 + 0.02 * runs),
                "{day}: {permeate} L, by runs {runs} L"
            );
        }
    }
}

#[test]
fn parts_of_the_time_add_up_to_the_whole() {
    let filled = filled();
    let all = |from: &str, to: &str, caption: &str| water(&filled.page(from, to), caption)["All"];
    let whole = all(WHOLE.0, WHOLE.1, "Water by month");
    let cuts = [
        "2026-03-03",
        "2026-03-04",
        "2026-03-08",
        "2026-03-09",
        "2026-03-20",
        "2026-06-15",
        "2026-06-23",
    ];
    let mut parts = [0.0; 3];
    for pair in cuts.windows(2) {
        let part = all(pair[0], pair[1], "Water by day");
        for (sum, litres) in parts.iter_mut().zip(part) {
            *sum += litres;
        }
    }
    for (part, whole) in parts.iter().zip(whole) {
        assert!(close(*part, whole, 1e-6), "{parts:?} of {whole:?}");
    }
}

#[test]
fn costs_are_the_prices_times_the_litres_and_what_was_used_of_the_fillings() {
    let filled = filled();
    let kept = filled.kept();
    let page = filled.page(WHOLE.0, WHOLE.1);
    let rows = page["tables"]["Costs by month, EUR"].as_array().unwrap();
    let foot = rows.last().unwrap();
    for (column, name) in [
        (1, "life_cartridges_cost"),
        (2, "life_water_cost"),
        (3, "life_waste_cost"),
    ] {
        assert!(
            close(value(&foot[column]), sum(&kept, name), 0.02),
            "{name}: {foot}"
        );
    }
    // 4 EUR and 2.50 EUR for a cubic metre.
    let feed = kept["totals"]["feed"].as_f64().unwrap();
    let waste = kept["totals"]["concentrate"].as_f64().unwrap();
    assert!(close(value(&foot[2]), feed * 0.004, 0.02), "{foot}");
    assert!(close(value(&foot[3]), waste * 0.0025, 0.02), "{foot}");
}

#[test]
fn gaps_are_told_with_their_hours() {
    let filled = filled();
    // Away until one o'clock on the 13th of June: 49 hours from the 11th on.
    let page = filled.page("2026-06-11", "2026-06-17");
    let rows = page["tables"]["one gap"].as_array().unwrap();
    let hours = value(&rows[1][1]);
    assert!(close(hours, 49.0, 0.2), "{hours} h");
    let when = rows[1][0]["text"].as_str().unwrap();
    assert!(
        when.starts_with("2026-06-11 00:00 to 2026-06-13 01:0"),
        "{when}"
    );
    let water = page["tables"]["Water by day"].as_array().unwrap();
    let measured = |day: &str| {
        let row = water.iter().find(|row| row[0]["text"] == day).unwrap();
        row[7]["text"].as_str().unwrap().to_owned()
    };
    assert_eq!(measured("2026-06-12"), "0.0\u{a0}%");
    let there = measured("2026-06-15");
    assert!(
        there.starts_with("> 99") || there == "100.0\u{a0}%" || there.starts_with("99."),
        "{there}"
    );
    // Of a day that was gathered the hours it holds are known: 5 of the last, and nothing after it.
    let page = filled.page("2026-03-14", "2026-03-20");
    let rows = page["tables"]["2 gaps"].as_array().unwrap();
    let hours: f64 = rows[1..].iter().map(|row| value(&row[1])).sum();
    assert!(close(hours, 119.0, 0.5), "{hours} h: {rows:?}");
    assert!(
        rows[1][0]["text"].as_str().unwrap().starts_with("within "),
        "{rows:?}"
    );
}

#[test]
fn quality_is_that_of_the_runs() {
    let filled = filled();
    let kept = filled.kept();
    let (from, to) = ("2026-06-14", "2026-06-21");
    // Midnight in New York (UTC−4).
    let midnight = |day: &str| {
        Wall::from_rfc3339(&format!("{day}T00:00:00-04:00"))
            .unwrap()
            .0
    };
    let span = midnight(from)..midnight(to);
    let mut rejections: Vec<f64> = (kept["runs"].as_array().unwrap().iter())
        .filter(|run| span.contains(&run["started"].as_i64().unwrap()))
        .filter_map(|run| {
            let steady = run["steady"].as_array()?;
            let found = steady.iter().find(|pair| pair[0] == "rejection_pct")?;
            found[1][0].as_f64().or(found[1]["value"].as_f64())
        })
        .collect();
    rejections.sort_by(f64::total_cmp);
    assert!(rejections.len() > 10);
    let page = filled.page(from, to);
    let rows = page["tables"]["Figures of the runs once they had settled"]
        .as_array()
        .unwrap();
    let row = rows
        .iter()
        .find(|row| row[0]["text"] == "Rejection")
        .unwrap();
    assert_eq!(value(&row[2]), rejections[0]);
    assert_eq!(value(&row[3]), rejections[rejections.len() - 1]);
    let middle = (rejections[(rejections.len() - 1) / 2] + rejections[rejections.len() / 2]) / 2.0;
    assert!(close(value(&row[1]), middle, 1e-9));
    // What a day of running lacked is the sum of its parts, and what is left of the rating.
    let parts = page["tables"]["What a day of running gave"]
        .as_array()
        .unwrap();
    let all: f64 = parts[1..parts.len() - 1]
        .iter()
        .map(|row| value(&row[1]))
        .sum();
    assert!(
        close(all, value(&parts[parts.len() - 1][1]), 0.5),
        "{parts:?}"
    );
}

#[test]
fn the_log_stands_as_it_holds() {
    let filled: &Filled = filled();
    let page = filled.page("2026-03-06", "2026-03-14");
    let rows = page["tables"]["Maintenance log"].as_array().unwrap();
    let text = |row: usize, column: usize| rows[row][column]["text"].as_str().unwrap();
    // Replaced on the 7th with a price that was put right the next day.
    assert!(
        text(1, 2).contains("bed replaced") && text(1, 2).contains("corrected by entry 3"),
        "{}",
        text(1, 2)
    );
    assert_eq!((text(1, 3), text(1, 4)), ("<b>A17</b>", "22.50\u{a0}EUR"));
    assert!(text(2, 5).contains("=1+1"));
    assert!(
        text(3, 2).contains("withdrawn by entry 6"),
        "{}",
        text(3, 2)
    );
    assert_eq!(rows.len(), 4, "corrections are folded in");
    let ended = page["tables"]["Fillings that ended"].as_array().unwrap();
    assert_eq!(ended.len(), 2);
    let tests = filled.page("2026-03-03", "2026-03-06");
    assert_eq!(
        tests["tables"]["Tests by hand"][1][2]["text"],
        "80 mg/L CaCO3"
    );
}
