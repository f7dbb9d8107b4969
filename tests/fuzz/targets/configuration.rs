//! A configuration's text.

use std::collections::BTreeMap;

use permeated::{cli::check, config};

/// Larger ones only say the same again, more slowly.
const LARGEST: usize = 8 * 1024;

/// What is accepted holds only finite numbers and can be described; what is not is told with places that
/// are in the text.
pub fn take(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    if text.len() > LARGEST {
        return;
    }
    let none = BTreeMap::new();
    match config::from_text("c.toml", text, &none, None) {
        Ok(settings) => {
            let written = without_texts(&format!("{settings:?}"));
            for word in ["NaN", "inf"] {
                let mut words = written.split(|letter: char| !letter.is_alphanumeric());
                assert!(!words.any(|other| other == word), "{word} in {written}");
            }
            assert!(check::text(&settings, &[]).starts_with("The configuration is right."));
        }
        Err(problems) => {
            let lines = text.split('\n').count();
            assert!(problems.iter().count() > 0);
            for problem in problems.iter() {
                assert!(!problem.sentence.is_empty(), "{problem:?}");
                let line = problem.line().unwrap_or(1);
                assert!((1..=lines).contains(&line), "{problem:?} of {lines}");
            }
            assert!(!problems.to_string().is_empty());
        }
    }
    // The parts that `listen` needs are read alike.
    let alone = config::broker_from_text("c.toml", text, &none);
    if let Ok(settings) = config::from_text("c.toml", text, &none, None) {
        assert_eq!(alone.ok().map(|(broker, _)| broker), Some(settings.broker));
    }
}

/// What people wrote may be any word.
fn without_texts(written: &str) -> String {
    let (mut kept, mut is_text, mut is_escaped) = (String::new(), false, false);
    for letter in written.chars() {
        match letter {
            _ if is_escaped => is_escaped = false,
            '\\' if is_text => is_escaped = true,
            '"' => is_text = !is_text,
            letter if !is_text => kept.push(letter),
            _ => {}
        }
    }
    kept
}
