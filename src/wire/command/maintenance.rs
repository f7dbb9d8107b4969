//! Commands for the maintenance log: `stage/<id>/replaced`, `test/<name>`, `sanitised`, `note` and
//! `log/<number>/…`.

use serde_json::Value;

use super::fields::{Fields, is_bare};
use crate::{
    config::{Disinfectant, StageKind, StageSettings, StageWater, UnitSettings},
    core::{Command, Correction, HandTest, Remark, Replacement, Tested},
    time::Now,
};

const REPLACED_ALLOWED: &str = "send nothing for now, or {\"date\": \"2026-05-01\"} (or an RFC 3339 time) for a day in the \
     past, and as you like \"lot\", \"price\", \"note\"";
const TEST_ALLOWED: &str = "send a number, a text with a unit, or {\"value\": \"80 mg/L CaCO3\"} and as you like \"date\", \
     \"note\", \"after\"";
const REMARK_ALLOWED: &str = "send nothing for now, or {\"date\": \"2026-05-01\", \"note\": \"…\"}";
const NOTE_ALLOWED: &str = "send a text, or {\"text\": \"…\", \"date\": \"2026-05-01\"}";
const WITHDRAW_ALLOWED: &str = "send nothing, or {\"note\": \"…\"}";
const CORRECT_ALLOWED: &str = "send what changes: {\"date\", \"lot\", \"price\", \"note\", \"value\"}; null takes a lot, price \
     or note away";

pub(super) fn replaced(
    settings: &UnitSettings,
    now: Now,
    id: &str,
    payload: &[u8],
) -> Result<Command, String> {
    let stages = &settings.stages;
    let stage = stages
        .iter()
        .position(|stage| stage.id == id)
        .ok_or_else(|| {
            let known = ids(stages.iter());
            format!("there is no stage {id:?}; the stages are {known}")
        })?;
    let keys = ["date", "lot", "price", "note"];
    let fields = Fields::read(payload, &keys, REPLACED_ALLOWED)?;
    Ok(Command::Replaced(Replacement {
        stage,
        date: fields.date(settings, now)?,
        lot: fields.lot("lot")?,
        price: fields.price("price")?,
        note: fields.note("note")?,
    }))
}

pub(super) fn test(
    settings: &UnitSettings,
    now: Now,
    name: &str,
    payload: &[u8],
) -> Result<Command, String> {
    let test = HandTest::ALL
        .into_iter()
        .find(|test| test.key() == name)
        .ok_or_else(|| {
            let known = HandTest::ALL.map(HandTest::key).join(", ");
            format!("there is no test {name:?}; the tests are {known}")
        })?;
    if test == HandTest::DisinfectantLevel
        && settings.supply.chemistry.disinfectant == Some(Disinfectant::None)
    {
        return Err(
            "the configuration says disinfectant = \"none\"; there is no level of it".to_owned(),
        );
    }
    let (value, fields) = valued(payload)?;
    let asked = fields.id("after")?;
    Ok(Command::Test(Tested {
        test,
        value: test.read_value(settings, &value)?,
        after: after(settings, test, asked)?,
        date: fields.date(settings, now)?,
        note: fields.note("note")?,
    }))
}

/// A plain number or text, or an object with a value.
fn valued(payload: &[u8]) -> Result<(String, Fields), String> {
    let keys = ["value", "date", "note", "after"];
    let none = Fields::read(b"", &keys, TEST_ALLOWED)?;
    match serde_json::from_slice(payload) {
        Ok(Value::Object(_)) => {
            let fields = Fields::read(payload, &keys, TEST_ALLOWED)?;
            let value = fields.value("value")?;
            Ok((value.ok_or_else(|| fields.wrong("no value"))?, fields))
        }
        Ok(Value::Number(number)) => Ok((number.to_string(), none)),
        Ok(Value::String(text)) => Ok((text, none)),
        Ok(_) | Err(_) => match std::str::from_utf8(payload) {
            Ok(text) if !is_bare(payload) => Ok((text.to_owned(), none)),
            _ => Err(format!("no value; {TEST_ALLOWED}")),
        },
    }
}

/// The carbon behind which chlorine was tested: the one named, or else the last before the membrane.
fn after(
    settings: &UnitSettings,
    test: HandTest,
    asked: Option<String>,
) -> Result<Option<String>, String> {
    if test != HandTest::TotalChlorine {
        return match asked {
            None => Ok(None),
            Some(_) => Err(format!(
                "\"after\" belongs to total_chlorine only; {} is tested in the feed",
                test.title()
            )),
        };
    }
    let is_carbon = |stage: &&StageSettings| {
        let is_carbon = matches!(stage.kind, StageKind::Carbon | StageKind::CatalyticCarbon);
        is_carbon && stage.water == StageWater::Feed
    };
    let mut carbons = settings.stages.iter().filter(is_carbon);
    match asked {
        None => match carbons.next_back() {
            Some(last) => Ok(Some(last.id.clone())),
            None => Err(
                "there is no carbon before the membrane, so there is nothing behind which to test \
                 for total chlorine; what is in the feed is told by test/disinfectant_level"
                    .to_owned(),
            ),
        },
        Some(id) if carbons.clone().any(|stage| stage.id == id) => Ok(Some(id)),
        Some(id) => Err(format!(
            "{id:?} is no carbon before the membrane; those are: {}",
            ids(carbons)
        )),
    }
}

fn ids<'a>(stages: impl Iterator<Item = &'a StageSettings>) -> String {
    let ids: Vec<&str> = stages.map(|stage| stage.id.as_str()).collect();
    if ids.is_empty() {
        "none".to_owned()
    } else {
        ids.join(", ")
    }
}

pub(super) fn sanitised(
    settings: &UnitSettings,
    now: Now,
    payload: &[u8],
) -> Result<Command, String> {
    let fields = Fields::read(payload, &["date", "note"], REMARK_ALLOWED)?;
    Ok(Command::Sanitised(Remark {
        date: fields.date(settings, now)?,
        note: fields.note("note")?,
    }))
}

pub(super) fn note(settings: &UnitSettings, now: Now, payload: &[u8]) -> Result<Command, String> {
    let text = std::str::from_utf8(payload).map_err(|_| format!("no text; {NOTE_ALLOWED}"))?;
    let keys = ["text", "date"];
    let is_object = text.trim_start().starts_with('{');
    let fields = if is_object {
        Fields::read(payload, &keys, NOTE_ALLOWED)?
    } else {
        // A JSON text is its content, anything else stands for itself.
        let text = serde_json::from_str(text).unwrap_or_else(|_| text.to_owned());
        let object = serde_json::json!({ "text": text }).to_string();
        Fields::read(object.as_bytes(), &keys, NOTE_ALLOWED)?
    };
    let note = fields.note("text")?;
    Ok(Command::Note(Remark {
        date: fields.date(settings, now)?,
        note: Some(note.ok_or_else(|| format!("no text; {NOTE_ALLOWED}"))?),
    }))
}

pub(super) fn withdraw(number: &str, payload: &[u8]) -> Result<Command, String> {
    let fields = Fields::read(payload, &["note"], WITHDRAW_ALLOWED)?;
    Ok(Command::Withdraw {
        entry: entry(number)?,
        note: fields.note("note")?,
    })
}

pub(super) fn correct(
    settings: &UnitSettings,
    now: Now,
    number: &str,
    payload: &[u8],
) -> Result<Command, String> {
    let keys = ["date", "lot", "price", "note", "value"];
    let fields = Fields::read(payload, &keys, CORRECT_ALLOWED)?;
    if fields.is_empty() {
        return Err(fields.wrong("nothing to correct"));
    }
    Ok(Command::Correct(Correction {
        entry: entry(number)?,
        date: fields.date(settings, now)?,
        lot: fields.change("lot", Fields::lot)?,
        price: fields.change("price", Fields::price)?,
        note: fields.change("note", Fields::note)?,
        value: fields.value("value")?,
    }))
}

fn entry(number: &str) -> Result<u64, String> {
    number
        .parse()
        .map_err(|_| format!("{number:?} is no number of an entry"))
}
