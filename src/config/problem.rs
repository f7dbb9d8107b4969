//! What is wrong with a configuration, as people are shown it. Owns the wording of the frame (the
//! place, the line, the caret); the sentences come from where the mistake was found.

use std::{fmt, io, path::Path};

/// Where a problem lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// In the text of the file.
    Text {
        /// The file as it was named.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Column, in characters from 1.
        column: usize,
        /// The line itself, shortened when it is very long.
        excerpt: String,
        /// How many characters the caret underlines, at least 1.
        width: usize,
    },
    /// In the file as a whole.
    File {
        /// The file as it was named.
        file: String,
    },
    /// In the value of an environment variable.
    Variable {
        /// The variable's name.
        name: String,
    },
}

/// One mistake.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where it is.
    pub place: Place,
    /// The key it concerns, such as `unit.kitchen.sensor[2].unit` (tables of a list are counted
    /// from 1); empty when it concerns no key.
    pub key: String,
    /// What was found and what is allowed.
    pub sentence: String,
}

impl Problem {
    /// The line in the file, from 1, when the problem lies on one.
    #[must_use]
    pub fn line(&self) -> Option<usize> {
        match &self.place {
            Place::Text { line, .. } => Some(*line),
            Place::File { .. } | Place::Variable { .. } => None,
        }
    }

    /// Other files come behind `main`.
    fn order(&self, main: &str) -> (u8, String, usize, usize) {
        match &self.place {
            Place::Text {
                file, line, column, ..
            } => (u8::from(file != main), file.clone(), *line, *column),
            Place::File { .. } => (2, String::new(), 0, 0),
            Place::Variable { .. } => (3, String::new(), 0, 0),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Place::Text {
                file,
                line,
                column,
                excerpt,
                width,
            } => {
                writeln!(out, "{file}:{line}:{column}")?;
                writeln!(out, "  {excerpt}")?;
                // A tab stays a tab, so that the caret stands under its character.
                let margin: String = excerpt
                    .chars()
                    .take(column - 1)
                    .map(|c| if c == '\t' { '\t' } else { ' ' })
                    .collect();
                writeln!(out, "  {margin}{}", "^".repeat(*width))?;
            }
            Place::File { file } => writeln!(out, "{file}")?,
            Place::Variable { name } => writeln!(out, "environment variable {name}")?,
        }
        if self.key.is_empty() {
            writeln!(out, "  {}", self.sentence)
        } else {
            writeln!(out, "  {}: {}", self.key, self.sentence)
        }
    }
}

/// Everything that is wrong with a configuration, in the order of the file; never empty.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct Problems(Vec<Problem>);

impl Problems {
    pub(super) fn sorted(mut problems: Vec<Problem>, main: &str) -> Self {
        problems.sort_by_cached_key(|problem| problem.order(main));
        Self(problems)
    }

    pub(super) fn unreadable(path: &Path, error: &io::Error) -> Self {
        Self(vec![Problem {
            place: Place::File {
                file: path.display().to_string(),
            },
            key: String::new(),
            sentence: format!(
                "the configuration file cannot be read: {error}. Name yours (`permeated check FILE`, `--config \
                 FILE` elsewhere), or begin with the one in README.md"
            ),
        }])
    }

    /// The problems, in the order of the file.
    pub fn iter(&self) -> impl Iterator<Item = &Problem> {
        self.0.iter()
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for problem in &self.0 {
            writeln!(out, "{problem}")?;
        }
        match self.0.len() {
            1 => write!(out, "1 problem"),
            number => write!(out, "{number} problems"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_shows_its_line_with_a_caret_under_the_value() {
        let problem = Problem {
            place: Place::Text {
                file: "a.toml".to_owned(),
                line: 3,
                column: 5,
                excerpt: "\tx = 12".to_owned(),
                width: 2,
            },
            key: "x".to_owned(),
            sentence: "too many".to_owned(),
        };
        assert_eq!(
            problem.to_string(),
            "a.toml:3:5\n  \tx = 12\n  \t   ^^\n  x: too many\n"
        );
        let problems = Problems::sorted(vec![problem], "a.toml");
        assert!(problems.to_string().ends_with("\n\n1 problem"));
    }
}
