//! The page itself: well formed, in need of nothing, and not harmed by what people wrote.

use std::collections::BTreeSet;

use permeated::config::Display;

use super::filled::{HOSTILE, filled, read};

#[test]
fn the_page_is_well_formed_and_fetches_and_runs_nothing() {
    let page = filled().page("2026-03-03", "2026-06-23");
    assert_eq!(
        page["wrong"].as_array().unwrap().len(),
        0,
        "{}",
        page["wrong"]
    );
    let tags: BTreeSet<&str> = page["tags"]
        .as_array()
        .unwrap()
        .iter()
        .map(|tag| tag.as_str().unwrap())
        .collect();
    for tag in [
        "script", "link", "img", "iframe", "object", "image", "use", "base", "form",
    ] {
        assert!(!tags.contains(tag), "<{tag}>");
    }
    for address in page["addresses"].as_array().unwrap() {
        assert!(address.as_str().unwrap().starts_with('#'), "{address}");
    }
    assert_eq!(page["handlers"].as_array().unwrap().len(), 0);
    let style = page["style"].as_str().unwrap();
    assert!(
        !style.contains("url(") && !style.contains("@import"),
        "{style}"
    );
    assert!(style.contains("@media print") && style.contains("prefers-color-scheme"));
    let ids: Vec<&str> = page["ids"]
        .as_array()
        .unwrap()
        .iter()
        .map(|id| id.as_str().unwrap())
        .collect();
    let once: BTreeSet<&&str> = ids.iter().collect();
    assert_eq!(once.len(), ids.len(), "each id once: {ids:?}");
    for section in [
        "summary",
        "water",
        "quality",
        "shortfall",
        "stages",
        "upkeep",
        "costs",
        "alerts",
        "gaps",
        "measured",
        "method",
    ] {
        assert!(ids.contains(&section), "{section}");
    }
}

#[test]
fn names_and_notes_are_text() {
    let page = filled().page("2026-03-03", "2026-06-23");
    let text = page["text"].as_str().unwrap();
    // As an independent parser gives it back: the name, whole.
    assert!(text.contains(HOSTILE), "{}", &text[..200]);
    assert!(text.contains("<b>A17</b>"));
}

#[test]
fn the_page_tells_what_it_does_not_prove() {
    let page = filled().page("2026-03-04", "2026-03-05");
    let text = page["text"].as_str().unwrap();
    for words in [
        "neither flood protection nor proof",
        "germs",
        "ASTM D4516",
        "Measured: from fresh readings",
    ] {
        assert!(text.contains(words), "{words}");
    }
}

#[test]
fn the_owner_reads_their_own_units() {
    let filled = filled();
    let mut settings = filled.settings.clone();
    settings.units[0].display = Display::Us;
    let file = filled.folder.path().join("us.html");
    std::fs::write(&file, filled.html("2026-03-04", "2026-03-14", settings)).unwrap();
    let us = read(&["page", file.to_str().unwrap()]);
    let metric = filled.page("2026-03-04", "2026-03-14");
    let made = |page: &serde_json::Value| page["tables"]["Water by day"][1][1].clone();
    let (us_cell, metric_cell) = (made(&us), made(&metric));
    assert_eq!(
        us_cell["value"], metric_cell["value"],
        "for programs litres"
    );
    let litres: f64 = metric_cell["value"].as_str().unwrap().parse().unwrap();
    // 1 US gal = 3.785412 L (NIST SP 811, appendix B).
    assert_eq!(
        us_cell["text"],
        format!("{:.1}\u{a0}gal", litres / 3.785_412)
    );
    let words = us["text"].as_str().unwrap();
    assert!(words.contains("psi") && words.contains("°F") && words.contains("gal/d"));
    assert!(!words.contains("\u{a0}bar") && !words.contains("\u{a0}°C"));
}
