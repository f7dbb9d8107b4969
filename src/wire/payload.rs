//! A sensor's payload: bytes → a number or a word, or a stated reason why it holds neither.
//!
//! Firmware sends plain numbers, numbers as strings, JSON of every shape, units and decimal commas
//! inside, and many words for "no value". None of these may become a zero.

use std::{borrow::Cow, cell::OnceCell, fmt};

use serde_json::Value;

use crate::{quantity::Unit, time::Wall};

/// Larger payloads are no sensor's: refused unread.
pub const LARGEST_BYTES: usize = 64 * 1024;

/// A payload; its JSON is read at most once, however many sensors look into it.
pub struct Payload<'a> {
    bytes: &'a [u8],
    json: OnceCell<Option<Value>>,
}

/// Why a payload holds no reading.
#[derive(Clone, Debug, PartialEq)]
pub enum NoReading {
    /// Nothing in it.
    Empty,
    /// A word for "no value", such as `nan`, `null` or `unavailable`.
    NoValue(String),
    /// Not JSON, though a pointer into JSON is configured.
    NotJson,
    /// Nothing at the configured pointer.
    NotThere(String),
    /// Something else than a number.
    NotANumber(String),
    /// A number in another unit than the configured one.
    OtherUnit(String),
    /// A word that means neither yes nor no.
    NotAWord(String),
    /// Not text.
    NotText,
    /// Larger than any sensor's payload.
    TooLarge(usize),
}

impl fmt::Display for NoReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("the payload is empty"),
            Self::NoValue(word) => write!(f, "the firmware says {word:?}: no value"),
            Self::NotJson => f.write_str("the payload is not JSON, though a pointer is configured"),
            Self::NotThere(pointer) => write!(f, "there is nothing at {pointer:?} in the JSON"),
            Self::NotANumber(text) => write!(f, "{text:?} is not a number"),
            Self::OtherUnit(text) => write!(f, "{text:?} is not in the configured unit"),
            Self::NotAWord(text) => write!(f, "{text:?} is none of the configured words"),
            Self::NotText => f.write_str("the payload is not text"),
            Self::TooLarge(bytes) => write!(
                f,
                "the payload has {bytes} bytes, more than {LARGEST_BYTES}"
            ),
        }
    }
}

/// Words for "no value", compared without case.
const NO_VALUE: [&str; 10] = [
    "nan",
    "-nan",
    "inf",
    "-inf",
    "null",
    "none",
    "unknown",
    "unavailable",
    "offline",
    "error",
];
/// How much of a strange payload is worth repeating.
const LONGEST_QUOTE: usize = 40;

impl<'a> Payload<'a> {
    /// A payload as it came.
    #[must_use]
    pub fn new(bytes: &'a [u8]) -> Self {
        Self {
            bytes,
            json: OnceCell::new(),
        }
    }

    /// The number at `pointer` (the whole payload without one), which may carry `unit` in its text.
    ///
    /// # Errors
    /// When there is no finite number in the sensor's unit.
    pub fn number(&self, pointer: Option<&str>, unit: Option<&Unit>) -> Result<f64, NoReading> {
        let found = self.find(pointer)?;
        if let Found::Json(Value::Number(number)) = found {
            return number
                .as_f64()
                .ok_or_else(|| NoReading::NotANumber(number.to_string()));
        }
        number_from_text(&found.text()?, unit)
    }

    /// Whether the word at `pointer` is among `on` (yes) or `off` (no); numbers and booleans count
    /// by their text.
    ///
    /// # Errors
    /// When it is neither.
    pub fn contact(
        &self,
        pointer: Option<&str>,
        on: &[String],
        off: &[String],
    ) -> Result<bool, NoReading> {
        let found = self.find(pointer)?;
        let found = found.text()?;
        let is = |words: &[String]| words.iter().any(|word| word.eq_ignore_ascii_case(&found));
        if is(on) {
            Ok(true)
        } else if is(off) {
            Ok(false)
        } else if let Some(word) = no_value(&found) {
            Err(NoReading::NoValue(word))
        } else {
            Err(NoReading::NotAWord(quote(&found)))
        }
    }

    /// The time at `pointer`: RFC 3339 with a zone, or epoch seconds or milliseconds. A time
    /// without a zone is no time.
    #[must_use]
    pub fn time(&self, pointer: &str) -> Option<Wall> {
        /// Epoch numbers beyond this are milliseconds: as seconds they would lie in the year 5138.
        const LARGEST_SECONDS: f64 = 1e11;
        match self.find(Some(pointer)).ok()? {
            Found::Json(Value::Number(number)) => {
                let number = number.as_f64()?;
                let milliseconds = if number.abs() > LARGEST_SECONDS {
                    number
                } else {
                    number * 1000.0
                };
                #[allow(clippy::cast_possible_truncation)] // `as` saturates, and 1e15 ms is plenty.
                (milliseconds.abs() < 1e15).then_some(Wall(milliseconds as i64))
            }
            found => Wall::from_rfc3339(&found.text().ok()?),
        }
    }

    fn find(&self, pointer: Option<&str>) -> Result<Found<'_>, NoReading> {
        if self.bytes.len() > LARGEST_BYTES {
            return Err(NoReading::TooLarge(self.bytes.len()));
        }
        let Some(pointer) = pointer else {
            let text = std::str::from_utf8(self.bytes).map_err(|_| NoReading::NotText)?;
            let text = clean(text);
            if text.is_empty() {
                return Err(NoReading::Empty);
            }
            return Ok(Found::Text(text));
        };
        let trimmed = self.bytes.trim_ascii_end();
        let trimmed = trimmed.strip_suffix(b"\0").unwrap_or(trimmed);
        let json = self
            .json
            .get_or_init(|| serde_json::from_slice(trimmed).ok());
        let json = json.as_ref().ok_or(if trimmed.is_empty() {
            NoReading::Empty
        } else {
            NoReading::NotJson
        })?;
        json.pointer(pointer)
            .map(Found::Json)
            .ok_or_else(|| NoReading::NotThere(pointer.to_owned()))
    }
}

/// What stands where the sensor's value is expected.
enum Found<'a> {
    Text(&'a str),
    Json(&'a Value),
}

impl Found<'_> {
    fn text(&self) -> Result<Cow<'_, str>, NoReading> {
        match self {
            // A string in a plain payload may be quoted as JSON would.
            Self::Text(text) => Ok(Cow::Borrowed(unquote(text))),
            Self::Json(Value::String(text)) => Ok(Cow::Borrowed(clean(text))),
            Self::Json(Value::Bool(state)) => {
                Ok(Cow::Borrowed(if *state { "true" } else { "false" }))
            }
            Self::Json(Value::Number(number)) => Ok(Cow::Owned(number.to_string())),
            Self::Json(Value::Null) => Err(NoReading::NoValue("null".to_owned())),
            Self::Json(value @ (Value::Array(_) | Value::Object(_))) => {
                Err(NoReading::NotANumber(quote(&value.to_string())))
            }
        }
    }
}

/// Without the spaces, line ends and NULs that C programs leave behind.
pub(crate) fn clean(text: &str) -> &str {
    text.trim_matches(|c: char| c.is_whitespace() || c == '\0')
}

pub(crate) fn unquote(text: &str) -> &str {
    text.strip_prefix('"')
        .and_then(|inner| inner.strip_suffix('"'))
        .map_or(text, clean)
}

fn number_from_text(text: &str, unit: Option<&Unit>) -> Result<f64, NoReading> {
    if text.is_empty() {
        return Err(NoReading::Empty);
    }
    if let Some(word) = no_value(text) {
        return Err(NoReading::NoValue(word));
    }
    let (number, rest) = leading_number(text).ok_or_else(|| NoReading::NotANumber(quote(text)))?;
    if !rest.is_empty() && !unit.is_some_and(|unit| unit.is_written(rest)) {
        let looks_like_a_unit = rest
            .chars()
            .all(|c| !c.is_ascii_digit() && !c.is_whitespace());
        let quoted = quote(text);
        return Err(if looks_like_a_unit {
            NoReading::OtherUnit(quoted)
        } else {
            NoReading::NotANumber(quoted)
        });
    }
    if number.is_finite() {
        Ok(number)
    } else {
        Err(NoReading::NotANumber(quote(text)))
    }
}

/// The number at the begin of a text and what follows it, which may be its unit.
pub(crate) fn leading_number(text: &str) -> Option<(f64, &str)> {
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | 'e' | 'E')))
        .unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    Some((decimal(digits)?, rest.trim_start()))
}

/// A number with a decimal point, or with one decimal comma.
fn decimal(digits: &str) -> Option<f64> {
    if digits.contains(',') && !digits.contains('.') && digits.matches(',').count() == 1 {
        return digits.replace(',', ".").parse().ok();
    }
    digits.parse().ok()
}

pub(crate) fn no_value(text: &str) -> Option<String> {
    NO_VALUE
        .iter()
        .find(|word| word.eq_ignore_ascii_case(text))
        .map(|word| (*word).to_owned())
}

fn quote(text: &str) -> String {
    let mut quoted: String = text.chars().take(LONGEST_QUOTE).collect();
    if quoted.len() < text.len() {
        quoted.push('…');
    }
    quoted
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::quantity::{Pressure, Quantity};

    fn number(text: &str, pointer: Option<&str>) -> Result<f64, NoReading> {
        Payload::new(text.as_bytes()).number(pointer, Pressure::unit("bar"))
    }

    /// Payloads of common firmware, as listed from their documentation and sources.
    #[test]
    fn reads_what_firmware_sends() {
        let nested = r#"{"Time":"2026-11-25T09:00:00","DS18B20":{"Temperature":17.5},"COUNTER":{"C1":1234},"ANALOG":{"A0":512},"TempUnit":"C"}"#;
        for (text, pointer, expected) in [
            ("4.12", None, 4.12),
            (" 4.12 \n", None, 4.12),
            ("4.12\0", None, 4.12),
            ("\"4.12\"", None, 4.12),
            ("1,5", None, 1.5),
            ("4.1 bar", None, 4.1),
            ("4.1bar", None, 4.1),
            ("1e3", None, 1000.0),
            ("-3", None, -3.0),
            (nested, Some("/DS18B20/Temperature"), 17.5),
            (nested, Some("/COUNTER/C1"), 1234.0),
            (r#"{"temperature":"17.5"}"#, Some("/temperature"), 17.5),
            (r#"{"id":100,"tC":21.4}"#, Some("/tC"), 21.4),
            (
                r#"{"params":{"ts":1680962879.62,"temperature:100":{"tC":21.4}}}"#,
                Some("/params/temperature:100/tC"),
                21.4,
            ),
            (
                r#"{"uplink_message":{"decoded_payload":{"pressure":[4.1,4.2]}}}"#,
                Some("/uplink_message/decoded_payload/pressure/0"),
                4.1,
            ),
            (r#"{"a/b":{"c~d":7}}"#, Some("/a~1b/c~0d"), 7.0),
            ("{\"x\":1}\0", Some("/x"), 1.0),
            ("42", Some(""), 42.0),
        ] {
            assert_eq!(number(text, pointer), Ok(expected), "{text}");
        }
    }

    #[test]
    fn takes_nothing_for_a_zero() {
        use NoReading::{Empty, NoValue, NotANumber, NotJson, NotThere, OtherUnit};
        for (text, pointer, expected) in [
            ("", None, Empty),
            (" \n", None, Empty),
            ("\"\"", None, Empty),
            ("nan", None, NoValue("nan".into())),
            ("-NaN", None, NoValue("-nan".into())),
            ("Unavailable", None, NoValue("unavailable".into())),
            ("inf", None, NoValue("inf".into())),
            ("0x1F", None, NotANumber("0x1F".into())),
            ("59 psi", None, OtherUnit("59 psi".into())),
            ("1.5,2.5", None, NotANumber("1.5,2.5".into())),
            ("true", None, NotANumber("true".into())),
            (r#"{"x":null}"#, Some("/x"), NoValue("null".into())),
            (r#"{"x":true}"#, Some("/x"), NotANumber("true".into())),
            (r#"{"x":[1]}"#, Some("/x"), NotANumber("[1]".into())),
            (r#"{"y":1}"#, Some("/x"), NotThere("/x".into())),
            ("not json", Some("/x"), NotJson),
            ("", Some("/x"), Empty),
            ("1e999", None, NotANumber("1e999".into())),
        ] {
            assert_eq!(number(text, pointer), Err(expected), "{text}");
        }
        assert_eq!(
            Payload::new(&[0xff, 0xfe]).number(None, None),
            Err(NoReading::NotText)
        );
        let large = vec![b'1'; LARGEST_BYTES + 1];
        assert_eq!(
            Payload::new(&large).number(None, None),
            Err(NoReading::TooLarge(LARGEST_BYTES + 1))
        );
    }

    /// The README states the depth; a deeper document could exhaust the stack of who reads it.
    #[test]
    fn json_may_be_so_deep_and_no_deeper() {
        for (depth, expected) in [(127, Ok(1.0)), (128, Err(NoReading::NotJson))] {
            let text = format!("{}1{}", "{\"a\":".repeat(depth), "}".repeat(depth));
            assert_eq!(
                number(&text, Some(&"/a".repeat(depth))),
                expected,
                "{depth}"
            );
        }
        // RFC 8259, 4, leaves open which of two alike counts.
        assert_eq!(number(r#"{"a":1,"a":2}"#, Some("/a")), Ok(2.0));
    }

    #[test]
    fn contacts_have_their_own_words() {
        let (on, off) = (
            ["on", "true", "1"].map(String::from),
            ["off", "false", "0"].map(String::from),
        );
        for (text, pointer, expected) in [
            ("ON", None, Ok(true)),
            ("off", None, Ok(false)),
            ("1", None, Ok(true)),
            (r#"{"state":true}"#, Some("/state"), Ok(true)),
            (r#"{"state":0}"#, Some("/state"), Ok(false)),
            ("ajar", None, Err(NoReading::NotAWord("ajar".into()))),
            ("unknown", None, Err(NoReading::NoValue("unknown".into()))),
        ] {
            assert_eq!(
                Payload::new(text.as_bytes()).contact(pointer, &on, &off),
                expected,
                "{text}"
            );
        }
    }

    #[test]
    fn times_need_a_zone() {
        let time = |text: &str| Payload::new(text.as_bytes()).time("/t");
        assert_eq!(
            time(r#"{"t":1680962879.62}"#),
            Some(Wall(1_680_962_879_620))
        );
        assert_eq!(
            time(r#"{"t":1680962879620}"#),
            Some(Wall(1_680_962_879_620))
        );
        assert_eq!(
            time(r#"{"t":"2023-04-08T14:07:59.620Z"}"#),
            Some(Wall(1_680_962_879_620))
        );
        assert_eq!(time(r#"{"t":"2026-11-25T09:00:00"}"#), None);
    }

    proptest! {
        #[test]
        fn any_bytes_give_a_finite_number_or_a_reason(bytes in proptest::collection::vec(any::<u8>(), 0..200), pointer in proptest::option::of("(/[a-z~0-9]{0,4}){0,4}")) {
            let payload = Payload::new(&bytes);
            if let Ok(number) = payload.number(pointer.as_deref(), None) {
                prop_assert!(number.is_finite());
            }
            let _ = payload.time("/t");
        }
    }
}
