//! What a configuration as a whole must do: every mistake told at its line, nothing accepted that
//! cannot be meant, nothing that panics.

mod care;
mod costs;
mod environment;
mod example;
mod homie;
mod loads;
mod mistakes;
mod notices;
mod notify;
mod units;
mod values;
mod web;

use std::collections::BTreeMap;

use super::{Problems, Settings, from_text};

/// The smallest unit.
const SMALLEST: &str = "[[unit.k.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";

fn read(text: &str) -> Result<Settings, Problems> {
    from_text("test.toml", text, &BTreeMap::new(), None)
}

fn with_environment(text: &str, variables: &[(&str, &str)]) -> Result<Settings, Problems> {
    let environment = variables
        .iter()
        .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
        .collect();
    from_text("test.toml", text, &environment, None)
}

/// Asserts that `text` has exactly one problem, on `line`, whose sentence holds `part`.
fn one_problem(text: &str, line: usize, part: &str) {
    let problems = read(text).expect_err(text);
    let found: Vec<_> = problems.iter().collect();
    assert_eq!(found.len(), 1, "{text}\n{problems}");
    assert_eq!(found[0].line(), Some(line), "{problems}");
    assert!(found[0].sentence.contains(part), "{part}: {problems}");
}
