//! Collects the problems while a configuration is resolved and turns byte ranges into lines and
//! columns. Hides passwords: what is reported may end in a log.

use std::{cell::RefCell, collections::BTreeSet, ops::Range};

use super::{
    problem::{Place, Problem},
    secret,
    tree::Origin,
};

/// Longer lines are cut in the report.
const LONGEST_EXCERPT: usize = 120;

/// The problems found so far in one text.
pub(super) struct Report<'t> {
    file: &'t str,
    text: &'t str,
    /// Where each line begins.
    lines: Vec<usize>,
    found: RefCell<Vec<Found>>,
}

struct Found {
    problem: Problem,
    kind: Kind,
}

/// What became of the text before a problem was found decides whether it can be trusted.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    /// The text is no TOML here, and what follows may have been misread.
    Structure,
    /// The text is no TOML here, but the rest was read as meant.
    Syntax,
    /// Something that is there is wrong.
    Wrong,
    /// Something is not there.
    Absent,
    /// Something is wrong in another file.
    Elsewhere,
}

impl<'t> Report<'t> {
    pub(super) fn new(file: &'t str, text: &'t str) -> Self {
        Self {
            file,
            text,
            lines: std::iter::once(0)
                .chain(text.match_indices('\n').map(|(at, _)| at + 1))
                .collect(),
            found: RefCell::default(),
        }
    }

    /// Something that is there is wrong.
    pub(super) fn wrong(&self, origin: &Origin, key: &str, sentence: impl Into<String>) {
        self.add(Kind::Wrong, self.place(origin), key, sentence.into());
    }

    /// As [`Report::wrong`], without showing the value.
    pub(super) fn wrong_hidden(&self, origin: &Origin, key: &str, sentence: impl Into<String>) {
        let mut place = self.place(origin);
        if let Place::Text {
            excerpt,
            column,
            width,
            ..
        } = &mut place
        {
            *excerpt = excerpt
                .chars()
                .take(*column - 1)
                .chain(std::iter::repeat_n('*', *width))
                .collect();
        }
        self.add(Kind::Wrong, place, key, sentence.into());
    }

    /// Something is wrong in a file that this one names.
    pub(super) fn wrong_elsewhere(&self, place: Place, sentence: &str) {
        self.add(Kind::Elsewhere, place, "", sentence.to_owned());
    }

    /// Something is not there; `origin` is the table it should stand in.
    pub(super) fn absent(&self, origin: &Origin, key: &str, sentence: impl Into<String>) {
        self.add(Kind::Absent, self.place(origin), key, sentence.into());
    }

    /// The text is no TOML. `misleads`: what follows may have been misread.
    pub(super) fn syntax(&self, span: Range<usize>, misleads: bool, sentence: impl Into<String>) {
        let kind = if misleads {
            Kind::Structure
        } else {
            Kind::Syntax
        };
        self.add(kind, self.place_of(span), "", sentence.into());
    }

    /// The line of a byte, from 1.
    pub(super) fn line(&self, byte: usize) -> usize {
        self.lines.partition_point(|start| *start <= byte)
    }

    /// The text as typed.
    pub(super) fn typed(&self, span: &Range<usize>) -> &'t str {
        self.text.get(span.clone()).unwrap_or("")
    }

    /// The problems worth showing: on a line that is no TOML only that is said, and nothing that
    /// may follow from a misread text.
    pub(super) fn into_problems(self) -> Vec<Problem> {
        let found = self.found.into_inner();
        let lines = |wanted: &[Kind]| -> BTreeSet<usize> {
            found
                .iter()
                .filter(|found| wanted.contains(&found.kind))
                .filter_map(|found| found.problem.line())
                .collect()
        };
        let syntax = lines(&[Kind::Syntax, Kind::Structure]);
        let misread_from = lines(&[Kind::Structure]).first().copied();
        let shown = |found: &Found| match (found.kind, found.problem.line()) {
            (Kind::Structure | Kind::Syntax, _) => true,
            (Kind::Wrong, Some(line)) => {
                !syntax.contains(&line) && misread_from.is_none_or(|from| line < from)
            }
            (Kind::Absent, Some(line)) => !syntax.contains(&line) && misread_from.is_none(),
            (Kind::Wrong | Kind::Absent, None) | (Kind::Elsewhere, _) => misread_from.is_none(),
        };
        let shown: Vec<bool> = found.iter().map(shown).collect();
        found
            .into_iter()
            .zip(shown)
            .filter_map(|(found, shown)| shown.then_some(found.problem))
            .collect()
    }

    fn add(&self, kind: Kind, place: Place, key: &str, sentence: String) {
        let problem = Problem {
            place,
            key: key.to_owned(),
            sentence: secret::without_password(&sentence),
        };
        self.found.borrow_mut().push(Found { problem, kind });
    }

    fn place(&self, origin: &Origin) -> Place {
        match origin {
            Origin::Text(span) => self.place_of(span.clone()),
            Origin::File => Place::File {
                file: self.file.to_owned(),
            },
            Origin::Variable(name) => Place::Variable { name: name.clone() },
        }
    }

    /// The header of the table that a line stands in.
    fn section(&self, line: usize) -> &'t str {
        let before = self.text.lines().take(line.saturating_sub(1));
        let headers = before.filter(|text| text.trim_start().starts_with('['));
        headers.last().unwrap_or("")
    }

    fn place_of(&self, span: Range<usize>) -> Place {
        let line = self.line(span.start);
        let start = self.lines[line - 1];
        let line_text = self.text[start..].lines().next().unwrap_or("");
        let column = self
            .text
            .get(start..span.start)
            .map_or(0, |before| before.chars().count())
            + 1;
        let spanned = self
            .typed(&span)
            .lines()
            .next()
            .map_or(0, |line| line.chars().count());
        let excerpt = shortened(&secret::hidden(line_text, self.section(line)));
        let room = excerpt.chars().count().saturating_sub(column - 1).max(1);
        Place::Text {
            file: self.file.to_owned(),
            line,
            column,
            excerpt,
            width: spanned.clamp(1, room),
        }
    }
}

fn shortened(line: &str) -> String {
    if line.chars().count() <= LONGEST_EXCERPT {
        return line.to_owned();
    }
    line.chars()
        .take(LONGEST_EXCERPT - 1)
        .chain(['…'])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_range_becomes_line_and_column_in_characters() {
        let text = "first\nµ = \"ü\"\n";
        let report = Report::new("x.toml", text);
        let span = text.find("\"ü\"").unwrap()..text.rfind('"').unwrap() + 1;
        report.wrong(&Origin::Text(span), "µ", "no");
        let problems = report.into_problems();
        assert_eq!(
            problems[0].place,
            Place::Text {
                file: "x.toml".to_owned(),
                line: 2,
                column: 5,
                excerpt: "µ = \"ü\"".to_owned(),
                width: 3,
            }
        );
    }
}
