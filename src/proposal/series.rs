//! What one value did while it was listened to: how often it came, what it was, how it moved. Bounded,
//! whatever comes.

use std::{collections::BTreeSet, time::Duration};

use crate::{quantity::duration_text, wire::payload};

/// So much of a text is kept.
pub(super) const LONGEST_TEXT: usize = 40;
/// So many different words of one value are kept.
const MOST_WORDS: usize = 6;

/// A value as it stood in one message.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Sample {
    /// A number, with what followed it in a text.
    Number(f64, Option<String>),
    /// Another text, or a yes or no.
    Word(String),
    /// A word for "no value", an empty text, a null.
    NoValue(String),
}

impl Sample {
    /// A text as firmware sends it.
    pub(super) fn of_text(text: &str) -> Self {
        let text = payload::unquote(payload::clean(text));
        if text.is_empty() {
            return Self::NoValue("empty".to_owned());
        }
        if let Some(word) = payload::no_value(text) {
            return Self::NoValue(word);
        }
        match payload::leading_number(text) {
            Some((number, rest)) if number.is_finite() && is_unit(rest) => {
                Self::Number(number, (!rest.is_empty()).then(|| short(rest)))
            }
            _ => Self::Word(short(text)),
        }
    }
}

/// What may follow a number and still be its unit, not a date or an address.
fn is_unit(rest: &str) -> bool {
    rest.chars().count() <= 12
        && !rest.chars().any(|c| c.is_ascii_digit() && c != '3')
        && !rest.starts_with([':', '.', ',', ';', '-'])
}

/// So much of a text as is worth showing, on one line and without anything a terminal would obey.
pub(super) fn short(text: &str) -> String {
    shown(text, LONGEST_TEXT)
}

/// The same with another length.
pub(super) fn shown(text: &str, longest: usize) -> String {
    let mut letters = text.chars();
    let mut kept: String = (letters.by_ref().take(longest))
        .map(|c| if is_harmless(c) { c } else { '\u{fffd}' })
        .collect();
    if letters.next().is_some() {
        kept.push('…');
    }
    kept
}

/// No control character, and none of those that turn the direction of writing.
pub(super) fn is_harmless(letter: char) -> bool {
    !letter.is_control()
        && !matches!(letter, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2028}' | '\u{2029}' | '\u{2066}'..='\u{2069}')
}

/// The numbers of a value.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Numbers {
    pub(super) count: u32,
    pub(super) last: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) rises: u32,
    pub(super) falls: u32,
    /// All were whole.
    pub(super) whole: bool,
}

impl Numbers {
    fn new(number: f64) -> Self {
        Self {
            count: 1,
            last: number,
            low: number,
            high: number,
            rises: 0,
            falls: 0,
            whole: number.fract() == 0.0,
        }
    }

    fn take(&mut self, number: f64) {
        self.count = self.count.saturating_add(1);
        self.rises = self.rises.saturating_add(u32::from(number > self.last));
        self.falls = self.falls.saturating_add(u32::from(number < self.last));
        self.low = self.low.min(number);
        self.high = self.high.max(number);
        self.whole &= number.fract() == 0.0;
        self.last = number;
    }

    /// It was seen to grow three times and never to fall.
    pub(super) fn only_grows(&self) -> bool {
        self.rises >= 3 && self.falls == 0
    }
}

/// One value over time.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Series {
    pub(super) heard: u32,
    pub(super) live: u32,
    first_live: Option<Duration>,
    last_live: Option<Duration>,
    pub(super) last: String,
    pub(super) numbers: Option<Numbers>,
    /// What followed the number in a text.
    pub(super) unit: Option<String>,
    /// Words in lower case, a few of them.
    pub(super) words: BTreeSet<String>,
    pub(super) no_value: u32,
    /// What the document around it says of it.
    pub(super) name: Option<String>,
    pub(super) stated_unit: Option<String>,
}

impl Series {
    /// One more message held it.
    pub(super) fn take(&mut self, sample: Sample, retained: bool, after: Duration) {
        self.heard = self.heard.saturating_add(1);
        if !retained {
            self.live = self.live.saturating_add(1);
            self.first_live.get_or_insert(after);
            self.last_live = Some(after);
        }
        match sample {
            Sample::Number(number, unit) => {
                self.last = unit
                    .as_ref()
                    .map_or_else(|| format!("{number}"), |unit| format!("{number} {unit}"));
                self.unit = unit.or(self.unit.take());
                match &mut self.numbers {
                    Some(numbers) => numbers.take(number),
                    none => *none = Some(Numbers::new(number)),
                }
            }
            Sample::Word(word) => {
                self.last.clone_from(&word);
                if self.words.len() < MOST_WORDS {
                    self.words.insert(word.to_lowercase());
                }
            }
            Sample::NoValue(word) => {
                self.no_value = self.no_value.saturating_add(1);
                self.last = word;
            }
        }
    }

    /// The mean time from one live message to the next.
    pub(super) fn interval(&self) -> Option<Duration> {
        let span = self.last_live?.checked_sub(self.first_live?)?;
        (self.live > 1).then(|| span / (self.live - 1))
    }

    pub(super) fn retained_only(&self) -> bool {
        self.live == 0
    }

    /// How often it came, for people.
    pub(super) fn often(&self) -> String {
        let moved = match &self.numbers {
            Some(numbers) if numbers.only_grows() => ", only grows",
            Some(numbers) if numbers.rises + numbers.falls > 0 => ", changes",
            None if self.words.len() > 1 => ", changes",
            _ => "",
        };
        let every = match (self.live, self.interval()) {
            (0, _) => "retained only".to_owned(),
            (1, _) | (_, None) => "once live".to_owned(),
            (live, Some(interval)) => {
                format!("{live} live, every {}", duration_text(interval))
            }
        };
        format!("{every}{moved}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_numbers_words_or_nothing() {
        for (text, expected) in [
            ("4.12", Sample::Number(4.12, None)),
            (" 1,5\n", Sample::Number(1.5, None)),
            ("\"4.1\"", Sample::Number(4.1, None)),
            ("4.1 bar", Sample::Number(4.1, Some("bar".into()))),
            ("2 m3", Sample::Number(2.0, Some("m3".into()))),
            ("ON", Sample::Word("ON".into())),
            ("nan", Sample::NoValue("nan".into())),
            ("", Sample::NoValue("empty".into())),
            (
                "2026-11-25T09:00:00",
                Sample::Word("2026-11-25T09:00:00".into()),
            ),
            ("192.168.1.7", Sample::Word("192.168.1.7".into())),
            ("12:30", Sample::Word("12:30".into())),
            ("1e999", Sample::Word("1e999".into())),
        ] {
            assert_eq!(Sample::of_text(text), expected, "{text}");
        }
    }

    #[test]
    fn a_count_is_seen_by_its_growth() {
        let mut series = Series::default();
        for (at, number) in [5.0, 9.0, 9.0, 14.0, 20.0].iter().enumerate() {
            let after = Duration::from_secs(10 * at as u64);
            series.take(Sample::Number(*number, None), false, after);
        }
        assert!(series.numbers.as_ref().unwrap().only_grows());
        assert_eq!(series.often(), "5 live, every 10 s, only grows");
        series.take(Sample::Number(3.0, None), false, Duration::from_secs(50));
        assert!(!series.numbers.as_ref().unwrap().only_grows());
    }

    #[test]
    fn nothing_reaches_a_terminal_that_it_would_obey() {
        assert_eq!(
            short("a\u{1b}[31mb\n\u{202e}c"),
            "a\u{fffd}[31mb\u{fffd}\u{fffd}c"
        );
        assert_eq!(short(&"x".repeat(50)).chars().count(), 41);
    }
}
