//! Time charts: what is drawn of a series, what is said of it, how large it becomes.

use std::time::Duration;

use super::super::{
    Tone,
    tests::parsing::{parsed, text_of},
};
use super::*;

const HOUR: i64 = 3_600_000;
/// 2026-03-01T00:00:00Z.
const START: i64 = 1_772_323_200_000;

fn chart(hours: i64, points: Vec<(Wall, f64)>) -> TimeChart {
    TimeChart {
        id: "rejection".to_owned(),
        title: "Rejection".to_owned(),
        unit: "%".to_owned(),
        decimals: 1,
        from_zero: false,
        from: Wall(START),
        to: Wall(START + hours * HOUR),
        zone: TimeZone::UTC,
        lines: vec![Line {
            name: "rejection".to_owned(),
            tone: Tone::Permeate,
            points,
            longest_gap: Duration::from_secs(7200),
        }],
        bands: Vec::new(),
        marks: Vec::new(),
        limits: Vec::new(),
    }
}

fn at(hours: i64) -> Wall {
    Wall(START + hours * HOUR)
}

/// The path of the first element with that class.
fn path(drawn: &str, class: &str) -> Option<String> {
    let document = parsed(drawn);
    let own = document.descendants().find(|node| {
        node.has_tag_name("path")
            && node
                .attribute("class")
                .is_some_and(|own| own.contains(class))
    })?;
    own.attribute("d").map(str::to_owned)
}

#[test]
fn a_line_is_drawn_where_its_points_are_and_broken_where_nothing_is_known() {
    // 24 h on 720 columns: 30 to the hour. 94 to 98 % on 400 rows.
    let points = vec![
        (at(0), 94.0),
        (at(1), 96.0),
        (at(2), 98.0),
        (at(10), 95.0),
        (at(12), 96.0),
    ];
    let drawn = chart(24, points).draw().into_string();
    let line = path(&drawn, "picture-line").unwrap();
    assert_eq!(line, "M0 400l30-200 30-200M300 300l60-100");
    assert_eq!(
        text_of(&drawn, "desc"),
        "From 2026-03-01 00:00 to 2026-03-02 00:00. rejection: last 96.0 % (2026-03-01 12:00), \
         least 94.0 % (2026-03-01 00:00), most 98.0 % (2026-03-01 02:00), with one gap."
    );
}

#[test]
fn one_point_is_seen_and_no_point_is_said_in_words() {
    let drawn = chart(24, vec![(at(6), 96.0)]).draw().into_string();
    assert_eq!(path(&drawn, "picture-dots").unwrap(), "M180 200h0");
    assert!(drawn.contains("picture-end"));
    for none in [vec![], vec![(at(6), f64::NAN)], vec![(at(99), 96.0)]] {
        let drawn = chart(24, none).draw().into_string();
        parsed(&drawn);
        assert!(drawn.contains("nothing was measured in this time"));
        assert!(!drawn.contains("NaN"));
    }
    let mut backwards = chart(24, vec![(at(6), 96.0)]);
    backwards.to = at(-1);
    let drawn = backwards.draw().into_string();
    parsed(&drawn);
    assert!(drawn.contains("nothing was measured"), "{drawn}");
}

#[test]
fn limits_are_within_the_axis_and_named() {
    let mut chart = chart(24, vec![(at(0), 96.0), (at(1), 96.5)]);
    for value in [90.0, 90.1, 90.2, f64::NAN] {
        chart.limits.push(Limit {
            value,
            text: format!("alert below {value}"),
        });
    }
    let drawn = chart.draw().into_string();
    let document = parsed(&drawn);
    let lines = document
        .descendants()
        .filter(|node| node.attribute("class") == Some("picture-limits") && node.has_tag_name("g"))
        .flat_map(|group| group.children())
        .filter(|node| node.has_tag_name("line"));
    let places: Vec<f64> = lines
        .map(|line| line.attribute("y1").unwrap().parse().unwrap())
        .collect();
    assert_eq!(places.len(), 3);
    assert!(
        places.iter().all(|y| (0.0..=200.0).contains(y)),
        "{places:?}"
    );
    assert!(text_of(&drawn, "desc").contains("Limit 90.0 %: alert below 90."));
    assert!(!drawn.contains("NaN"));
}

#[test]
fn marks_of_the_span_are_numbered_and_listed_in_their_order() {
    let mut chart = chart(24, vec![(at(0), 96.0)]);
    for hour in [20, 3, 99] {
        chart.marks.push(Mark {
            at: at(hour),
            text: format!("replaced at {hour}"),
        });
    }
    let drawn = chart.draw().into_string();
    let list = text_of(&drawn, "ol");
    assert_eq!(
        list,
        "2026-03-01 03:00 replaced at 32026-03-01 20:00 replaced at 20"
    );
}

/// A run of a minute in a chart of a year lies in one column.
#[test]
fn what_is_shorter_than_a_column_is_seen_as_a_dot() {
    let minute = 60_000;
    let points = vec![(at(4380), 96.0), (Wall(at(4380).0 + minute), 96.0)];
    let drawn = chart(8760, points).draw().into_string();
    assert_eq!(path(&drawn, "picture-line").unwrap(), "");
    assert_eq!(path(&drawn, "picture-dots").unwrap(), "M360 200h0");
    assert!(
        text_of(&drawn, "desc").contains("last 96.0 % (2026-08-30),"),
        "{drawn}"
    );
}

/// A year of minutes with three lines that never rest.
#[test]
fn a_long_series_stays_small_and_keeps_its_peak() {
    let noise = |minute: i64| (minute * 7919 % 1009) as f64 / 100.0;
    let points: Vec<(Wall, f64)> = (0..525_600)
        .map(|minute| (Wall(START + minute * 60_000), noise(minute)))
        .collect();
    let mut chart = chart(8760, points);
    chart.lines[0].points[77_777].1 = 99.0;
    for name in ["feed", "product"] {
        let mut line = chart.lines[0].clone();
        line.name = name.to_owned();
        chart.lines.push(line);
    }
    let drawn = chart.draw().into_string();
    parsed(&drawn);
    assert!(drawn.len() < 40_000, "{}", drawn.len());
    chart.lines.truncate(1);
    let drawn = chart.draw().into_string();
    assert!(drawn.len() < 25_000, "{}", drawn.len());
    // 99 of an axis to 100 is row 4.
    let mut row = 0;
    let mut highest = 400;
    let path = path(&drawn, "picture-line").unwrap().replace('-', " -");
    let (begin, steps) = path[1..].split_once('l').unwrap();
    row += begin.split(' ').nth(1).unwrap().parse::<i64>().unwrap();
    let steps: Vec<i64> = steps
        .split_whitespace()
        .map(|step| step.parse().unwrap())
        .collect();
    for step in steps.chunks(2) {
        row += step[1];
        highest = highest.min(row);
    }
    assert_eq!(highest, 4);
}

#[test]
fn gaps_of_the_clock_and_bands_leave_a_whole_document() {
    let mut chart = chart(24, vec![(at(0), 96.0), (at(1), 96.5)]);
    chart.bands.push(Band {
        name: "likely".to_owned(),
        tone: Tone::Permeate,
        points: vec![
            (at(0), 95.0, 97.0),
            (at(1), 97.5, 95.5),
            (at(2), f64::NAN, 97.0),
            (at(9), 95.0, 97.0),
        ],
        longest_gap: Duration::from_secs(7200),
    });
    chart.zone = TimeZone::get("Europe/Berlin").unwrap();
    let drawn = chart.draw().into_string();
    let band = path(&drawn, "picture-band").unwrap();
    // 95 to 98 % here; high ends first, then the low ones back, each piece closed.
    assert_eq!(band.matches('z').count(), 2, "{band}");
    assert!(!drawn.contains("NaN"));
}
