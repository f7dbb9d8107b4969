//! The particulars of a command as they stand in its payload: nothing, or a JSON object with known keys.

use jiff::civil;
use serde_json::{Map, Value};

use crate::{
    config::{EARLIEST_INSTALLED_YEAR, UnitSettings},
    time::{Now, Wall},
};

/// A date from a clock that is ahead of ours by no more than this is taken as now, in milliseconds.
const AHEAD: i64 = 300_000;
/// Letters a note or a lot may have: the last entries are kept at hand.
const LONGEST_NOTE: usize = 500;
const LONGEST_LOT: usize = 80;
/// Dearer than any cartridge, in any currency.
const HIGHEST_PRICE: f64 = 1e9;

/// Nothing, or the word a hub's button sends.
pub(in crate::wire) fn is_bare(payload: &[u8]) -> bool {
    let payload = payload.trim_ascii();
    payload.is_empty() || payload == b"PRESS"
}

/// The fields of a payload.
pub(super) struct Fields {
    fields: Map<String, Value>,
    found: String,
    /// What to send, for sentences.
    allowed: &'static str,
}

impl Fields {
    /// Reads a payload whose keys are among `keys`; `allowed` says in a sentence what to send.
    pub fn read(payload: &[u8], keys: &[&str], allowed: &'static str) -> Result<Self, String> {
        let mut fields = Self {
            fields: Map::new(),
            found: String::from_utf8_lossy(payload).into_owned(),
            allowed,
        };
        if is_bare(payload) {
            return Ok(fields);
        }
        let Ok(Value::Object(read)) = serde_json::from_slice(payload) else {
            return Err(fields.wrong("no JSON object"));
        };
        if let Some(unknown) = read.keys().find(|key| !keys.contains(&key.as_str())) {
            return Err(fields.wrong(&format!("unknown key {unknown:?}")));
        }
        fields.fields = read;
        Ok(fields)
    }

    /// A sentence that says what is wrong and what is allowed.
    pub fn wrong(&self, what: &str) -> String {
        format!("{what} in {:?}; {}", self.found, self.allowed)
    }

    pub fn is_empty(&self) -> bool {
        self.fields.is_empty()
    }

    /// `Some(None)` where the key says `null` or nothing: what was told before shall be taken away.
    pub fn change<T>(
        &self,
        key: &str,
        read: impl FnOnce(&Self, &str) -> Result<Option<T>, String>,
    ) -> Result<Option<Option<T>>, String> {
        if self.fields.contains_key(key) {
            read(self, key).map(Some)
        } else {
            Ok(None)
        }
    }

    pub fn note(&self, key: &str) -> Result<Option<String>, String> {
        self.text(key, LONGEST_NOTE)
    }

    pub fn lot(&self, key: &str) -> Result<Option<String>, String> {
        self.text(key, LONGEST_LOT)
    }

    pub fn id(&self, key: &str) -> Result<Option<String>, String> {
        self.text(key, LONGEST_LOT)
    }

    /// A text; an empty one is none.
    fn text(&self, key: &str, longest: usize) -> Result<Option<String>, String> {
        let text = match self.fields.get(key) {
            None | Some(Value::Null) => return Ok(None),
            Some(Value::String(text)) => text.trim(),
            Some(_) => return Err(self.wrong(&format!("{key:?} is no text"))),
        };
        let length = text.chars().count();
        if length > longest {
            return Err(format!(
                "{key:?} has {length} letters; it may have {longest}"
            ));
        }
        Ok((!text.is_empty()).then(|| text.to_owned()))
    }

    /// A number of 0 or more, also as text.
    pub fn price(&self, key: &str) -> Result<Option<f64>, String> {
        let price = match self.fields.get(key) {
            None | Some(Value::Null) => return Ok(None),
            Some(Value::String(text)) if text.trim().is_empty() => return Ok(None),
            Some(Value::String(text)) => text.trim().parse().ok(),
            Some(other) => other.as_f64(),
        };
        price
            .filter(|price| (0.0..=HIGHEST_PRICE).contains(price))
            .map(Some)
            .ok_or_else(|| self.wrong(&format!("{key:?} is no price of 0 or more")))
    }

    /// A number or a text, as text.
    pub fn value(&self, key: &str) -> Result<Option<String>, String> {
        match self.fields.get(key) {
            None => Ok(None),
            Some(Value::Number(number)) => Ok(Some(number.to_string())),
            Some(Value::String(text)) => Ok(Some(text.clone())),
            Some(_) => Err(self.wrong(&format!("{key:?} is no number and no text"))),
        }
    }

    /// A day or a time in the past. A day is the owner's, at its noon, so that it is the same day on
    /// most other clocks, too; today is now as long as it is before noon.
    pub fn date(&self, settings: &UnitSettings, now: Now) -> Result<Option<Wall>, String> {
        let text = match self.fields.get("date") {
            None => return Ok(None),
            Some(Value::String(text)) => text.trim(),
            Some(_) => return Err(self.wrong("no date")),
        };
        let is_day = text.parse::<civil::Date>().ok();
        let is_day = is_day.filter(|_| text.len() == "2026-05-01".len());
        let read = match is_day {
            Some(day) => noon(settings, day).map(|noon| match now.date() {
                Some(today) if today.day_in(&settings.time_zone) == Some(day) => noon.min(today),
                _ => noon,
            }),
            None => Wall::from_rfc3339(text),
        };
        let earliest = noon(settings, civil::date(EARLIEST_INSTALLED_YEAR, 1, 1));
        let date = read.map(|date| match now.date() {
            Some(today) if date > today && date.0 - today.0 <= AHEAD => today,
            _ => date,
        });
        date.filter(|date| now.date().is_none_or(|today| *date <= today))
            .filter(|date| earliest.is_none_or(|earliest| *date >= earliest))
            .map(Some)
            .ok_or_else(|| {
                self.wrong(&format!(
                    "no day in the past, from {EARLIEST_INSTALLED_YEAR} on,"
                ))
            })
    }
}

fn noon(settings: &UnitSettings, day: civil::Date) -> Option<Wall> {
    let noon = settings.time_zone.to_timestamp(day.at(12, 0, 0, 0)).ok()?;
    Some(Wall(noon.as_millisecond()))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::{config, time::Mono};

    const SENSOR: &str =
        "[unit.u]\n[[unit.u.sensor]]\nat = \"feed_tds\"\ntopic = \"t\"\nunit = \"mg/L\"\n";

    /// The date that is read where it is `now` (RFC 3339; none: the clock is unset), or why there is none.
    fn date(zone: &str, now: Option<&str>, text: &str) -> Result<String, String> {
        let file =
            format!("time_zone = \"{zone}\"\n[broker]\nurl = \"mqtt://localhost\"\n{SENSOR}");
        let settings = config::from_text("u.toml", &file, &BTreeMap::new(), None).unwrap();
        let now = Now {
            mono: Mono(0),
            wall: now.map_or(Wall(0), |now| Wall::from_rfc3339(now).unwrap()),
        };
        let payload = format!("{{\"date\": \"{text}\"}}");
        let fields = Fields::read(payload.as_bytes(), &["date"], "send a date")?;
        let date = fields.date(&settings.units[0], now)?;
        Ok(date.unwrap().to_rfc3339())
    }

    /// New York is four hours behind UTC in summer, Auckland twelve ahead (the tz database).
    #[test]
    fn a_day_is_the_owners_noon_and_today_is_now_until_then() {
        let now = Some("2026-07-10T14:00:00Z");
        let of = |zone, text| date(zone, now, text).unwrap();
        assert_eq!(of("UTC", "2026-07-01"), "2026-07-01T12:00:00.000Z");
        assert_eq!(
            of("America/New_York", "2026-07-01"),
            "2026-07-01T16:00:00.000Z"
        );
        assert_eq!(
            of("Pacific/Auckland", "2026-07-01"),
            "2026-07-01T00:00:00.000Z"
        );
        // 10 o'clock in New York, 2 in the morning of the next day in Auckland.
        assert_eq!(
            of("America/New_York", "2026-07-10"),
            "2026-07-10T14:00:00.000Z"
        );
        assert_eq!(
            of("Pacific/Auckland", "2026-07-11"),
            "2026-07-10T14:00:00.000Z"
        );
        assert_eq!(of("UTC", "2026-07-10"), "2026-07-10T12:00:00.000Z");
        assert_eq!(of("UTC", "2000-01-01"), "2000-01-01T12:00:00.000Z");
        // A clock some minutes ahead of ours.
        assert_eq!(
            of("UTC", "2026-07-10T14:04:00Z"),
            "2026-07-10T14:00:00.000Z"
        );
    }

    #[test]
    fn what_is_no_day_in_the_past_is_refused_and_an_unset_clock_believes_the_keeper() {
        let now = Some("2026-07-10T14:00:00Z");
        for text in [
            "2026-07-11",
            "2026-07-10T14:06:00Z",
            "1999-12-31",
            "2026-7-1",
            "2026-07-01T12:00:00",
            "",
        ] {
            let error = date("UTC", now, text).unwrap_err();
            assert!(error.contains("no day in the past"), "{text:?}: {error}");
        }
        assert_eq!(
            date("UTC", None, "2026-07-11").unwrap(),
            "2026-07-11T12:00:00.000Z"
        );
    }

    #[test]
    fn texts_and_prices_have_their_limits() {
        let fields = |text: &str| Fields::read(text.as_bytes(), &["note", "price"], "…").unwrap();
        let long = "ü".repeat(LONGEST_NOTE + 1);
        let error = fields(&format!("{{\"note\": \"{long}\"}}"))
            .note("note")
            .unwrap_err();
        assert!(error.contains("501") && error.contains("500"), "{error}");
        assert_eq!(fields("{\"note\": \"  \"}").note("note").unwrap(), None);
        for (text, price) in [
            ("7", Some(7.0)),
            ("\"24.9\"", Some(24.9)),
            ("\"\"", None),
            ("null", None),
        ] {
            let read = fields(&format!("{{\"price\": {text}}}")).price("price");
            assert_eq!(read.unwrap(), price, "{text}");
        }
        for text in ["-1", "\"nan\"", "true", "1e300", "\"24,9\""] {
            let read = fields(&format!("{{\"price\": {text}}}")).price("price");
            assert!(read.unwrap_err().contains("no price"), "{text}");
        }
    }
}
