//! Samples over time: as they came, gathered into hours and days, and read back each as fine as it is
//! still kept. Means worked by hand.

use super::*;

const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;
/// 2026-03-01T00:00:00Z, in milliseconds.
const START: i64 = 1_772_323_200_000;

fn sample(start: i64, seconds: u32, flow: f64, litres: f64) -> SampleRow {
    SampleRow {
        unit: "rodi".to_owned(),
        start: START + start,
        seconds,
        document: format!(r#"{{"mean":{{"flow":{flow}}},"last":{{"litres":{litres}}}}}"#),
    }
}

fn keep(store: &Store, samples: Vec<SampleRow>) {
    let checkpoint = Checkpoint {
        samples,
        ..Checkpoint::default()
    };
    saved(store, checkpoint).unwrap();
}

/// The service ran on the two days before, too, with another unit: a clock that leaps is not believed.
fn ran_before(store: &Store, start: i64) {
    let other = |days: i64| SampleRow {
        unit: "other".to_owned(),
        ..sample(start - days * DAY, 60, 0.0, 0.0)
    };
    keep(store, vec![other(2), other(1)]);
}

/// What is read from `since` to `until`: start, seconds, flow and litres.
fn read(folder: &Folder, since: i64, until: i64) -> Vec<(i64, u32, f64, f64)> {
    samples(&folder.state(), "rodi", START + since, START + until)
        .unwrap()
        .into_iter()
        .map(|row| {
            let document: serde_json::Value = serde_json::from_str(&row.document).unwrap();
            let figure = |kind: &str, name: &str| document[kind][name].as_f64().unwrap();
            (
                row.start - START,
                row.seconds,
                figure("mean", "flow"),
                figure("last", "litres"),
            )
        })
        .collect()
}

#[test]
fn samples_grow_coarser_with_age() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    // 60 s at 1 and 180 s at 2 in the first hour: (60 × 1 + 180 × 2)/240 = 1.75. One in the second.
    let first = vec![sample(0, 60, 1.0, 5.0), sample(HOUR / 2, 180, 2.0, 11.0)];
    keep(&store, first.clone());
    keep(&store, first);
    keep(&store, vec![sample(HOUR + 60_000, 60, 4.0, 15.0)]);
    let fine = [
        (0, 60, 1.0, 5.0),
        (HOUR / 2, 180, 2.0, 11.0),
        (HOUR + 60_000, 60, 4.0, 15.0),
    ];
    assert_eq!(read(&folder, 0, DAY), fine, "nothing twice, nothing coarse");
    // Three days and an hour later the first hour is left as a mean only; the second is gathered, too,
    // but as it came it stands for itself: it is not older than three days.
    ran_before(&store, 3 * DAY + HOUR);
    keep(&store, vec![sample(3 * DAY + HOUR, 60, 3.0, 40.0)]);
    assert_eq!(
        read(&folder, 0, 4 * DAY),
        [
            (0, 240, 1.75, 11.0),
            (HOUR + 60_000, 60, 4.0, 15.0),
            (3 * DAY + HOUR, 60, 3.0, 40.0)
        ]
    );
    // A quarter of a year later hours have become days: (240 × 1.75 + 60 × 4)/300 = 2.2.
    ran_before(&store, 100 * DAY);
    keep(&store, vec![sample(100 * DAY, 900, 0.0, 90.0)]);
    assert_eq!(
        read(&folder, 0, 101 * DAY),
        [
            (0, 300, 2.2, 15.0),
            (3 * DAY, 60, 3.0, 40.0),
            (100 * DAY, 900, 0.0, 90.0)
        ]
    );
    assert_eq!(read(&folder, DAY, 4 * DAY).len(), 1);
    assert_eq!(
        samples(&folder.state(), "strange", 0, i64::MAX).unwrap(),
        []
    );
    store.close().unwrap();
    // A restart in the midst of an hour gathers nothing twice.
    let (store, _) = folder.open();
    keep(&store, vec![sample(100 * DAY + 1_000_000, 900, 0.0, 90.0)]);
    assert_eq!(folder.count("sample WHERE unit = 'rodi'"), 4);
}

#[test]
fn a_figure_that_was_not_there_is_not_counted_as_nothing() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    let mut silent = sample(60_000, 60, 0.0, 7.0);
    silent.document = r#"{"mean":{},"last":{"litres":7.0}}"#.to_owned();
    keep(&store, vec![sample(0, 60, 3.0, 5.0), silent]);
    ran_before(&store, 10 * DAY);
    keep(&store, vec![sample(10 * DAY, 60, 1.0, 9.0)]);
    assert_eq!(read(&folder, 0, DAY), [(0, 120, 3.0, 7.0)]);
}

#[test]
fn a_clock_that_was_years_ahead_for_a_while_makes_no_samples_coarse() {
    let folder = Folder::new();
    let (store, _) = folder.open();
    keep(&store, vec![sample(0, 60, 1.0, 1.0)]);
    for hour in 0..30 {
        keep(&store, vec![sample(5000 * DAY + hour * HOUR, 60, 9.0, 2.0)]);
    }
    for minute in 0..120 {
        keep(&store, vec![sample(HOUR + minute * 60_000, 60, 2.0, 3.0)]);
    }
    assert_eq!(read(&folder, 0, DAY).len(), 121);
    assert_eq!(folder.count("sample WHERE span > 0"), 0);
}
