//! A span of time read back whole while the store is open, what left the configuration included.

use super::*;
use crate::{
    core::{
        Deed, Entry, Particulars, RunRecord, StageRecord,
        alert::{Code, End, Ending, Episode},
    },
    keeper::alert_row,
    time::Wall,
    wire::{document::run_text, recorded},
};

const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;
/// 2026-03-01T00:00:00Z.
const START: i64 = 1_772_323_200_000;

fn at(after: i64) -> Wall {
    Wall(START + after)
}

fn read(folder: &Folder, from: i64, to: i64) -> crate::past::Past {
    past(&folder.state(), "rodi", at(from), at(to))
        .unwrap()
        .unwrap()
}

fn run(began: Option<i64>, ended: Option<i64>) -> RunRecord {
    RunRecord {
        started: began.map(at),
        ended: ended.map(at),
        seconds: 100.0 / 3.0,
        ..RunRecord::default()
    }
}

fn run_row(run: &RunRecord) -> RunRow {
    RunRow {
        unit: "rodi".to_owned(),
        started: run.started.map(Wall::to_rfc3339),
        ended: run.ended.map(Wall::to_rfc3339),
        document: recorded::text(run),
    }
}

fn episode(number: u64, raised: Option<i64>, ended: Option<Option<i64>>) -> Episode {
    Episode {
        number,
        code: Code::StageLow,
        about: Some("gone".to_owned()),
        severity: Code::StageLow.severity(),
        sentence: "10 % are left.".to_owned(),
        raised: raised.map(at),
        times: 1,
        acknowledged: None,
        end: ended.map(|at_| End {
            at: at_.map(at),
            how: Ending::Cleared,
        }),
    }
}

fn alerts(episodes: &[Episode]) -> Checkpoint {
    let rows = episodes.iter();
    Checkpoint {
        alerts: rows
            .map(|episode| alert_row("rodi".to_owned(), episode))
            .collect(),
        ..Checkpoint::default()
    }
}

fn numbers(past: &crate::past::Past) -> Vec<u64> {
    past.alerts.iter().map(|alert| alert.number).collect()
}

#[test]
fn without_a_file_there_is_no_past_and_of_a_stranger_an_empty_one() {
    let folder = Folder::new();
    assert_eq!(past(&folder.state(), "rodi", at(0), at(DAY)).unwrap(), None);
    assert_eq!(units(&folder.state()).unwrap(), None);
    let (_store, _) = folder.open();
    let found = read(&folder, 0, DAY);
    assert!(found.samples.is_empty() && found.runs.is_empty() && found.alerts.is_empty());
}

#[test]
fn runs_of_the_span_read_back_exactly_those_of_earlier_versions_too() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let before = run(Some(-1), Some(HOUR));
    let first = run(Some(0), Some(HOUR));
    let undated_start = run(None, Some(2 * HOUR));
    let undated = run(None, None);
    let last = run(Some(DAY - 1), Some(DAY + HOUR));
    let after = run(Some(DAY), None);
    let mut published = run_row(&run(Some(3 * HOUR), None));
    published.document = run_text(&run(Some(3 * HOUR), None));
    let rows = [&before, &last, &first, &undated_start, &undated, &after];
    let mut runs: Vec<RunRow> = rows.map(run_row).into();
    runs.push(published);
    let checkpoint = Checkpoint {
        runs,
        ..Checkpoint::default()
    };
    saved(&store, checkpoint).unwrap();
    let found = read(&folder, 0, DAY);
    assert_eq!(found.runs.len(), 4, "while the store is open");
    assert_eq!(found.runs[0], first);
    assert_eq!(found.runs[1], undated_start);
    assert_eq!(
        (found.runs[2].started, found.runs[2].seconds),
        (Some(at(3 * HOUR)), 33.3)
    );
    assert_eq!(found.runs[3], last);
    assert_eq!(found.unread, [""; 0]);
}

#[test]
fn an_alert_is_one_row_however_often_it_is_told_and_is_found_while_it_lasts() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let open = episode(1, Some(HOUR), None);
    saved(
        &store,
        alerts(&[open.clone(), episode(2, Some(2 * DAY), None)]),
    )
    .unwrap();
    assert_eq!(
        numbers(&read(&folder, 5 * DAY, 6 * DAY)),
        [1, 2],
        "both last"
    );
    let over = episode(1, Some(HOUR), Some(Some(3 * HOUR)));
    saved(&store, alerts(std::slice::from_ref(&over))).unwrap();
    assert_eq!(folder.count("alert"), 2);
    assert_eq!(read(&folder, 0, DAY).alerts, [over]);
    assert_eq!(numbers(&read(&folder, 0, HOUR)), [0; 0], "not yet raised");
    assert_eq!(
        numbers(&read(&folder, 2 * HOUR, DAY)),
        [1],
        "it began before"
    );
    assert_eq!(numbers(&read(&folder, 4 * HOUR, 3 * DAY)), [2]);
    // It came back soon and goes on.
    saved(&store, alerts(&[open])).unwrap();
    assert_eq!(numbers(&read(&folder, 5 * DAY, 6 * DAY)), [1, 2]);
    // Without a clock: over, but nobody knows when; begun, but nobody knows when; never dated.
    let odd = [
        episode(3, Some(9 * DAY), Some(None)),
        episode(4, None, Some(Some(10 * DAY))),
        episode(5, None, None),
    ];
    saved(&store, alerts(&odd)).unwrap();
    assert_eq!(numbers(&read(&folder, 9 * DAY, 11 * DAY)), [1, 2, 3, 4]);
    assert_eq!(numbers(&read(&folder, 12 * DAY, 13 * DAY)), [1, 2]);
}

#[test]
fn old_alerts_give_way_only_beyond_ten_thousand_and_never_one_that_lasts() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let lasts = episode(1, Some(0), None);
    let over = |number| episode(number, Some(0), Some(Some(HOUR)));
    saved(&store, alerts(&[lasts, over(2), over(3), over(10_002)])).unwrap();
    assert_eq!(numbers(&read(&folder, 0, DAY)), [1, 3, 10_002]);
}

#[test]
fn replacements_are_dated_as_the_log_has_it_now_and_withdrawn_ones_did_not_happen() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let stage = |stage: &str, replaced: i64, entry: u64| StageRecord {
        stage: stage.to_owned(),
        replaced: Some(at(replaced)),
        entry: Some(entry),
        ..StageRecord::default()
    };
    let told = |number: u64, date: Option<i64>, deed: Deed| Entry {
        number,
        entered: Some(at(HOUR)),
        date: date.map(at),
        deed,
        note: None,
    };
    let replaced = |stage: &str| Deed::Replaced {
        stage: stage.to_owned(),
        treated_l: 1.0,
        lot: None,
        price: None,
    };
    let particulars = |date: i64| Particulars {
        date: Some(at(date)),
        ..Particulars::default()
    };
    let corrected = Deed::Corrected {
        entry: 2,
        was: particulars(-DAY),
        now: particulars(2 * HOUR),
    };
    let log = [
        told(1, Some(HOUR), replaced("gone")),
        told(2, Some(-DAY), replaced("carbon")),
        told(3, Some(3 * HOUR), replaced("resin")),
        told(4, None, corrected),
        told(5, None, Deed::Withdrawn { entry: 3 }),
    ];
    let rows = [
        stage("gone", HOUR, 1),
        stage("carbon", -DAY, 2),
        stage("resin", 3 * HOUR, 3),
    ];
    let checkpoint = Checkpoint {
        entries: log
            .iter()
            .map(|entry| EntryRow {
                unit: "rodi".to_owned(),
                number: entry.number,
                document: serde_json::to_string(entry).unwrap(),
            })
            .collect(),
        stages_replaced: rows
            .iter()
            .map(|record| StageRow {
                unit: "rodi".to_owned(),
                stage: record.stage.clone(),
                replaced: record.replaced.map(Wall::to_rfc3339),
                document: serde_json::to_string(record).unwrap(),
            })
            .collect(),
        ..Checkpoint::default()
    };
    saved(&store, checkpoint).unwrap();
    let found = read(&folder, 0, DAY);
    let ended: Vec<_> = found
        .replaced
        .iter()
        .map(|record| (record.stage.as_str(), record.replaced))
        .collect();
    assert_eq!(
        ended,
        [("gone", Some(at(HOUR))), ("carbon", Some(at(2 * HOUR)))]
    );
    assert_eq!(found.entries, log);
    let holding: Vec<u64> = found.log().iter().map(|held| held.entry.number).collect();
    assert_eq!(holding, [1, 2, 3, 4, 5]);
    assert_eq!(read(&folder, -2 * DAY, 0).replaced, []);
}

#[test]
fn samples_of_the_span_become_series_and_what_cannot_be_read_is_told() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let sample = |start: i64, document: &str| SampleRow {
        unit: "rodi".to_owned(),
        start: START + start,
        seconds: 60,
        document: document.to_owned(),
    };
    let bad = RunRow {
        document: r#"{"started":"soon"}"#.to_owned(),
        ..run_row(&run(Some(HOUR), None))
    };
    let checkpoint = Checkpoint {
        samples: vec![
            sample(
                0,
                r#"{"mean":{"rejection_pct":96.5,"resin/left_pct":40},"last":{"permeate_l":7}}"#,
            ),
            sample(
                60_000,
                r#"{"mean":{"resin/left_pct":39.5},"last":{"permeate_l":8}}"#,
            ),
            sample(DAY, r#"{"mean":{"rejection_pct":50},"last":{}}"#),
        ],
        runs: vec![bad],
        ..Checkpoint::default()
    };
    saved(&store, checkpoint).unwrap();
    let found = read(&folder, 0, DAY);
    assert_eq!(found.series("rejection_pct"), [(at(30_000), 96.5)]);
    let left = [(at(30_000), 40.0), (at(90_000), 39.5)];
    assert_eq!(found.series("resin/left_pct"), left);
    assert_eq!(
        found.sum_series("permeate_l"),
        [(at(60_000), 7.0), (at(120_000), 8.0)]
    );
    assert_eq!(found.series("nothing"), []);
    assert_eq!(found.unread.len(), 1, "{:?}", found.unread);
    assert!(found.unread[0].starts_with("a run: "), "{:?}", found.unread);
    assert_eq!(units(&folder.state()).unwrap().unwrap(), topics(&["rodi"]));
}
