//! The built program: what it is asked for, what it writes where, and what it refuses.

use super::filled::{FORMULA, ask, empty, filled, read};

fn said(output: &std::process::Output) -> (Option<i32>, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (
        output.status.code(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

#[test]
fn nothing_is_written_over_unless_that_is_said() {
    let filled = filled();
    let half = ["--from", "2026-03-05", "--to", "2026-03-12"];
    let (status, out, error) = said(&filled.ask(&half));
    assert_eq!((status, error.as_str()), (Some(0), ""));
    assert_eq!(out, "permeated-home-2026-03-05-2026-03-11.html\n");
    let file = filled.folder.path().join(out.trim());
    let before = std::fs::read_to_string(&file).unwrap();
    assert!(before.starts_with("<!DOCTYPE html>"));
    std::fs::write(&file, "mine").unwrap();
    let (status, _, error) = said(&filled.ask(&half));
    assert_eq!(status, Some(1));
    assert!(
        error.contains("is there already") && error.contains("--force"),
        "{error}"
    );
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
    // A table in the way keeps the page from being written, too.
    std::fs::create_dir_all(filled.folder.path().join("tables")).unwrap();
    std::fs::write(filled.folder.path().join("tables/samples.csv"), "mine").unwrap();
    let mut both = half.to_vec();
    both.extend(["--output", "new.html", "--csv", "tables"]);
    assert_eq!(said(&filled.ask(&both)).0, Some(1));
    assert!(!filled.folder.path().join("new.html").exists());
    both.push("--force");
    assert_eq!(said(&filled.ask(&both)).0, Some(0));
    for name in ["new.html", "tables/runs.csv", "tables/samples.csv"] {
        assert!(
            std::fs::metadata(filled.folder.path().join(name))
                .unwrap()
                .len()
                > 1000,
            "{name}"
        );
    }
}

#[test]
fn a_period_without_anything_says_what_there_is() {
    let filled = filled();
    let (status, out, error) = said(&filled.ask(&["--from", "2025-01-01", "--to", "2025-02-01"]));
    assert_eq!((status, out.as_str()), (Some(1), ""));
    assert!(
        error.contains("nothing was recorded") && error.contains("2026-03-02 to 2026-06-22"),
        "{error}"
    );
    let folder = tempfile::tempdir().unwrap();
    let (status, _, error) = said(&ask(folder.path(), &empty(folder.path()), &[]));
    assert_eq!(status, Some(1));
    assert!(error.contains("no state yet"), "{error}");
    assert!(!folder.path().join("state").exists(), "nothing is made");
}

#[test]
fn what_is_typed_wrong_is_refused() {
    let filled = filled();
    for (arguments, words) in [
        (
            &["--from", "2026-03-01", "--to", "2026-02-01"][..],
            "later than its beginning",
        ),
        (&["--from", "2026-02-30"], "2026-02-30"),
        (&["--period", "week"], "month, quarter, year, all"),
        (
            &["--period", "year", "--from", "2026-01-01"],
            "cannot be used with",
        ),
        (&["--unit", "cellar"], "configured: home"),
        (&["--output", "-", "--csv", "runs"], "only one of them"),
    ] {
        let (status, out, error) = said(&filled.ask(arguments));
        assert_eq!((status, out.as_str()), (Some(2), ""), "{arguments:?}");
        assert!(error.contains(words), "{arguments:?}: {error}");
    }
}

fn records(arguments: &[&str]) -> Vec<Vec<String>> {
    let filled = filled();
    let output = filled.ask(arguments);
    assert!(output.status.success(), "{output:?}");
    let file = filled
        .folder
        .path()
        .join(format!("{}.csv", arguments.join("")));
    std::fs::write(&file, output.stdout).unwrap();
    serde_json::from_value(read(&["csv", file.to_str().unwrap()])).unwrap()
}

#[test]
fn runs_are_told_to_the_last_digit() {
    let kept = filled().kept();
    let runs = kept["runs"].as_array().unwrap();
    let records = records(&[
        "--from",
        "2026-03-03",
        "--to",
        "2026-06-23",
        "--csv",
        "runs",
    ]);
    let column = |name: &str| records[0].iter().position(|head| head == name).unwrap();
    assert_eq!(records.len(), runs.len() + 1);
    assert!(
        records
            .iter()
            .all(|record| record.len() == records[0].len())
    );
    let (made, seconds, rejection) = (
        column("permeate_l"),
        column("seconds"),
        column("rejection_pct"),
    );
    for (record, run) in records[1..].iter().zip(runs) {
        let number = |column: usize| record[column].parse::<f64>().ok();
        assert_eq!(number(made), run["volumes"]["permeate"].as_f64());
        assert_eq!(number(seconds), run["seconds"].as_f64());
        let steady = run["steady"].as_array().unwrap();
        let kept = steady.iter().find(|pair| pair[0] == "rejection_pct");
        let kept = kept.and_then(|pair| pair[1][0].as_f64().or(pair[1]["value"].as_f64()));
        assert_eq!(number(rejection), kept);
        assert!(
            record[0].ends_with('Z') && record[0].contains('T'),
            "{}",
            record[0]
        );
    }
}

#[test]
fn samples_are_those_of_the_store() {
    let kept = filled().kept();
    let samples = kept["samples"].as_array().unwrap();
    let records = records(&[
        "--from",
        "2026-03-01",
        "--to",
        "2026-06-23",
        "--csv",
        "samples",
    ]);
    assert_eq!(records.len(), samples.len() + 1);
    let column = |name: &str| records[0].iter().position(|head| head == name).unwrap();
    for (record, sample) in records[1..].iter().zip(samples) {
        for (kind, name) in [
            ("mean", "feed_tds_mg_l"),
            ("mean", "bed/left_pct"),
            ("last", "permeate_l"),
            ("last", "life_water_cost"),
        ] {
            assert_eq!(
                record[column(name)].parse::<f64>().ok(),
                sample[kind][name].as_f64(),
                "{name}"
            );
        }
        assert_eq!(record[1], sample["seconds"].to_string());
    }
}

/// The mark before what a spreadsheet would take for a formula can be taken away again.
#[test]
fn a_note_is_no_formula_and_not_lost() {
    let filled = filled();
    let configuration = filled.configuration();
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_permeated"))
        .args([
            "log",
            "show",
            "--csv",
            "--config",
            configuration.to_str().unwrap(),
        ])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let file = filled.folder.path().join("log.csv");
    std::fs::write(&file, output.stdout).unwrap();
    let records: Vec<Vec<String>> =
        serde_json::from_value(read(&["csv", file.to_str().unwrap()])).unwrap();
    let column = records[0].iter().position(|head| head == "note").unwrap();
    let notes: Vec<&str> = records[1..]
        .iter()
        .map(|record| record[column].as_str())
        .collect();
    let marked = format!("'{FORMULA}");
    assert!(notes.contains(&marked.as_str()), "{notes:?}");
    let formulas = records
        .iter()
        .flatten()
        .filter(|field| field.starts_with(['=', '+', '@']));
    assert_eq!(formulas.count(), 0);
}
