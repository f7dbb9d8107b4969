//! What holds for every picture: legible colours, harmless names, small, and told in words.

use std::{collections::BTreeMap, time::Duration};

use jiff::tz::TimeZone;

use super::*;
use parsing::{parsed, text_of};

pub(super) mod parsing;

/// The custom properties of one block of the style.
fn palette(block: &str) -> BTreeMap<String, [f64; 3]> {
    let colours = block.lines().filter_map(|line| {
        let (name, value) = line.trim().strip_prefix("--picture-")?.split_once(": #")?;
        let value = u32::from_str_radix(value.strip_suffix(';')?, 16).ok()?;
        let channel = |shift: u32| f64::from(value >> shift & 0xFF) / 255.0;
        Some((name.to_owned(), [channel(16), channel(8), channel(0)]))
    });
    colours.collect()
}

/// The light, the dark and the printed palette.
fn palettes() -> [BTreeMap<String, [f64; 3]>; 3] {
    let blocks: Vec<&str> = style().split(":root {").skip(1).collect();
    let blocks: [&str; 3] = blocks.try_into().unwrap();
    blocks.map(|block| palette(block.split_once('}').unwrap().0))
}

/// Relative luminance and contrast ratio by WCAG 2.2 (<https://www.w3.org/TR/WCAG22/#dfn-relative-luminance>,
/// `#dfn-contrast-ratio`).
fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
    let luminance = |colour: [f64; 3]| {
        let linear = |channel: f64| {
            if channel <= 0.04045 {
                channel / 12.92
            } else {
                ((channel + 0.055) / 1.055).powf(2.4)
            }
        };
        let [red, green, blue] = colour.map(linear);
        0.2126 * red + 0.7152 * green + 0.0722 * blue
    };
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// Success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (what a graphic is understood by, 3:1).
#[test]
fn texts_and_lines_stand_out_from_the_paper() {
    // The formula itself: black on white is 21:1, by its definition; #767676 on white is the usual
    // example of a grey that just passes (4.54:1).
    let grey = [f64::from(0x76) / 255.0; 3];
    assert!((contrast([0.0; 3], [1.0; 3]) - 21.0).abs() < 1e-9);
    assert!((contrast(grey, [1.0; 3]) - 4.54).abs() < 0.01);
    for palette in palettes() {
        assert_eq!(palette.len(), 13);
        let paper = palette["paper"];
        for text in ["ink", "soft", "limit", "concentrate"] {
            let found = contrast(palette[text], paper);
            assert!(found >= 4.5, "{text}: {found}");
        }
        let lines = [
            "feed",
            "permeate",
            "concentrate",
            "product",
            "warmth",
            "plain",
            "limit",
            "more",
            "less",
        ];
        for line in lines {
            let found = contrast(palette[line], paper);
            assert!(found >= 3.0, "{line}: {found}");
        }
    }
    let [light, _, print] = palettes();
    assert_eq!(light, print, "paper is light");
}

#[test]
fn every_class_that_is_drawn_with_a_tone_has_its_rule() {
    for tone in Tone::ALL {
        let rule = format!(".{} {{ --tone: ", tone.class());
        assert!(style().contains(&rule), "{tone:?}");
    }
}

/// Nothing in the markup asks for a style, a script or anything from elsewhere: a page may forbid them all.
#[test]
fn hostile_names_do_nothing_wherever_they_stand() {
    let hostile = "\"><script>alert(1)</script>'&amp;]]>\u{0}\u{202E}שלום 👩\u{200D}🔬 ".repeat(12);
    let at = Wall(1_795_597_200_000);
    let chart = TimeChart {
        id: hostile.clone(),
        title: hostile.clone(),
        unit: hostile.clone(),
        decimals: 1,
        from_zero: false,
        from: at,
        to: Wall(at.0 + 1000),
        zone: TimeZone::UTC,
        lines: vec![Line {
            name: hostile.clone(),
            tone: Tone::Feed,
            points: vec![(at, 1.0)],
            longest_gap: Duration::MAX,
        }],
        bands: vec![Band {
            name: hostile.clone(),
            tone: Tone::Feed,
            points: vec![(at, 1.0, 2.0)],
            longest_gap: Duration::MAX,
        }],
        marks: vec![Mark {
            at,
            text: hostile.clone(),
        }],
        limits: vec![Limit {
            value: 1.0,
            text: hostile.clone(),
        }],
    };
    let bars = Bars {
        id: hostile.clone(),
        title: hostile.clone(),
        unit: hostile.clone(),
        decimals: 1,
        parts: vec![Part {
            name: hostile.clone(),
            tone: Tone::Feed,
        }],
        bars: vec![Bar {
            label: hostile.clone(),
            values: vec![Some(1.0)],
        }],
    };
    let contributions = Contributions {
        id: hostile.clone(),
        title: hostile.clone(),
        unit: hostile.clone(),
        decimals: 1,
        start: (hostile.clone(), 2.0),
        parts: vec![(hostile.clone(), -1.0)],
        end: (hostile.clone(), 1.0),
    };
    let left = LeftBar {
        id: hostile.clone(),
        title: hostile.clone(),
        left: Some(1.0),
        band: None,
        order_at: None,
        note: hostile.clone(),
    };
    let pictures = [chart.draw(), bars.draw(), contributions.draw(), left.draw()];
    for picture in pictures {
        let drawn = picture.into_string();
        let document = parsed(&drawn);
        for node in document.descendants() {
            assert!(!node.has_tag_name("script"), "{drawn}");
            for attribute in node.attributes() {
                let name = attribute.name();
                assert!(!name.starts_with("on") && name != "style", "{name}");
            }
        }
        assert!(!drawn.contains('\u{202E}') && !drawn.contains('\u{0}'));
        assert!(drawn.len() < 8000, "{}", drawn.len());
    }
    let drawn = chart.draw().into_string();
    assert!(text_of(&drawn, "title").chars().count() <= 80);
}

#[test]
fn every_drawing_has_a_title_and_words_that_it_names() {
    let chart = LeftBar {
        id: "resin".to_owned(),
        title: "Resin".to_owned(),
        left: None,
        band: None,
        order_at: None,
        note: String::new(),
    };
    let drawn = chart.draw().into_string();
    let document = parsed(&drawn);
    let svg = document
        .descendants()
        .find(|node| node.attribute("role") == Some("img"));
    let named = svg.unwrap().attribute("aria-labelledby").unwrap();
    for id in named.split(' ') {
        assert!(
            document
                .descendants()
                .any(|node| node.attribute("id") == Some(id)),
            "{id}"
        );
    }
}
