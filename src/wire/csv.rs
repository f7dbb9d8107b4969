//! Comma-separated values by RFC 4180, fit to be opened in a spreadsheet: what people wrote stays text
//! there.

use csv::{Terminator, WriterBuilder};

/// A field of a record.
#[derive(Clone, Debug, PartialEq)]
pub enum Field {
    /// Nothing is known.
    Empty,
    /// A word, a number or a time of ours, to the last digit that is known.
    Ours(String),
    /// What a person wrote.
    Text(String),
}

/// With one of these at its beginning a spreadsheet takes a text for a formula; the wide ones do so
/// where such letters are typed.
const BEGINS_FORMULA: &[char] = &['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];
/// Stands before such a text, and before one that begins with it: whoever reads the file takes one away
/// and has what was written.
const MARK: char = '\'';

impl Field {
    /// A number as it is kept; empty where there is none.
    #[must_use]
    pub fn number(number: Option<f64>) -> Self {
        number.map_or(Self::Empty, |number| Self::Ours(number.to_string()))
    }

    /// A word of ours; empty where there is none.
    #[must_use]
    pub fn ours(word: impl Into<String>) -> Self {
        Self::Ours(word.into())
    }

    /// What a person wrote; empty where nobody did.
    #[must_use]
    pub fn text(text: Option<String>) -> Self {
        text.map_or(Self::Empty, Self::Text)
    }

    /// As it stands in the file, before it is quoted.
    fn written(self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Ours(word) => word,
            Self::Text(text) if text.starts_with(BEGINS_FORMULA) || text.starts_with(MARK) => {
                format!("{MARK}{text}")
            }
            Self::Text(text) => text,
        }
    }
}

/// A header and records; lines end in CR LF.
#[must_use]
pub fn table<'h>(
    header: impl IntoIterator<Item = &'h str>,
    records: impl IntoIterator<Item = Vec<Field>>,
) -> String {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .flexible(true)
        .from_writer(Vec::new());
    // Memory takes whatever is written.
    let _ = writer.write_record(header);
    for record in records {
        let _ = writer.write_record(record.into_iter().map(Field::written));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What a reader gets that takes the mark away, as the README says.
    fn read(text: &str) -> Vec<Vec<String>> {
        let mut reader = csv::ReaderBuilder::new().from_reader(text.as_bytes());
        let unmarked = |field: &str| field.strip_prefix(MARK).unwrap_or(field).to_owned();
        let records = reader.records();
        records
            .map(|record| record.unwrap().iter().map(unmarked).collect())
            .collect()
    }

    #[test]
    fn what_looks_like_a_formula_stays_text_and_a_negative_number_a_number() {
        let fields = vec![
            Field::text(Some("=HYPERLINK(\"x\")".to_owned())),
            Field::text(Some("'tis fine, all".to_owned())),
            Field::text(Some("plain".to_owned())),
            Field::number(Some(-0.25)),
            Field::Empty,
        ];
        assert_eq!(
            table(["a", "b", "c", "d", "e"], [fields]),
            "a,b,c,d,e\r\n\"'=HYPERLINK(\"\"x\"\")\",\"''tis fine, all\",plain,-0.25,\r\n"
        );
    }

    proptest! {
        #[test]
        fn whatever_is_written_is_read_again(texts in prop::collection::vec(".{0,12}|[=+@'\",\r\n-]{1,4}", 1..4)) {
            let fields = texts.iter().cloned().map(|text| Field::text(Some(text))).chain([Field::ours("end")]);
            let header = vec!["column"; texts.len() + 1];
            let written = table(header, [fields.collect()]);
            let mut expected = texts.clone();
            expected.push("end".to_owned());
            prop_assert_eq!(read(&written), vec![expected]);
            for field in csv::ReaderBuilder::new().from_reader(written.as_bytes()).records() {
                for field in field.unwrap().iter() {
                    prop_assert!(!field.starts_with(BEGINS_FORMULA));
                }
            }
        }
    }
}
