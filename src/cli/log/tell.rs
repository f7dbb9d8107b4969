//! Tells the running service through the broker what was done, and prints its answer.

use std::{process::ExitCode, time::Duration};

use serde_json::{Map, Value, json};

use super::What;
use crate::{
    cli::{FAILED, PROBLEMS, complain},
    config::{Settings, UnitSettings},
    core::EventKind,
    edge::{
        clock::Clock,
        mqtt::{self, AskError, Asked, Question},
    },
    time::{Now, Wall},
    wire::command,
};

/// The service answers within a moment when it is there.
const PATIENCE: Duration = Duration::from_secs(5);
/// Exit status when the service did not answer.
const UNANSWERED: u8 = 3;

/// What the service said.
struct Answer {
    is_done: bool,
    text: String,
}

#[derive(Debug, thiserror::Error)]
enum TellError {
    #[error(transparent)]
    Ask(#[from] AskError),
    #[error("cannot talk to the broker: {0}")]
    Runtime(#[from] std::io::Error),
}

/// Tells it; status 0 when it is done.
pub(super) fn run(settings: &Settings, unit: &UnitSettings, what: &What) -> ExitCode {
    if !unit.takes_commands {
        complain(
            &"permeated: the service takes no commands (`commands = false` in its configuration): nothing was told",
        );
        return PROBLEMS.into();
    }
    let now = Clock::real().now();
    let (path, payload) = command_of(what, now);
    // What is wrong by itself is told at once, also while the service is away.
    if let Err(reason) = command::read(unit, now, &path, payload.as_bytes()) {
        complain(&format!("permeated: {reason}"));
        return PROBLEMS.into();
    }
    match tell(settings, unit, &path, payload) {
        Ok(Asked::Answer(answer)) if answer.is_done => {
            use std::io::Write as _;
            // A reader that went away is no failure.
            let _ = writeln!(std::io::stdout(), "{}", answer.text);
            ExitCode::SUCCESS
        }
        Ok(Asked::Answer(answer)) => {
            complain(&format!("refused: {}", answer.text));
            FAILED.into()
        }
        Ok(Asked::Silence { is_offline }) => {
            complain(&silence(settings, unit, is_offline));
            UNANSWERED.into()
        }
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

/// Why nobody answered, and what becomes of the command.
fn silence(settings: &Settings, unit: &UnitSettings, is_offline: bool) -> String {
    let (prefix, seconds) = (&settings.publish.prefix, PATIENCE.as_secs());
    if is_offline {
        format!(
            "the service is away ({prefix}/status says offline). The broker has the command: it keeps it \
             for the service if it still has the service's session, and the answer will come on \
             {prefix}/{}/event",
            unit.id
        )
    } else {
        format!(
            "the service did not answer within {seconds} s: does `permeated run` run with this \
             configuration, and may it hear {prefix}/{}/do/# and tell {prefix}/{}/event?",
            unit.id, unit.id
        )
    }
}

fn tell(
    settings: &Settings,
    unit: &UnitSettings,
    path: &str,
    payload: String,
) -> Result<Asked<Answer>, TellError> {
    let place = format!("{}/{}", settings.publish.prefix, unit.id);
    let question = Question {
        broker: &settings.broker,
        status_topic: settings.publish.status_topic(),
        topic: format!("{place}/do/{path}"),
        payload,
        answers: format!("{place}/event"),
        patience: PATIENCE,
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let asked = mqtt::ask(&question, |event| answer(event, path));
    Ok(runtime.block_on(asked)?)
}

/// The answer to the command on `path`, if this event is one.
fn answer(event: &[u8], path: &str) -> Option<Answer> {
    let event: Value = serde_json::from_slice(event).ok()?;
    let kind = event["event"].as_str()?;
    let is_done = kind == EventKind::CommandDone.key();
    let is_answer = is_done || kind == EventKind::CommandRefused.key();
    (is_answer && event["about"].as_str() == Some(path)).then(|| Answer {
        is_done,
        text: event["text"].as_str().unwrap_or_default().to_owned(),
    })
}

/// The command's path behind `do/` and its payload. What has a date is sent with one, so that it is right
/// even when the service comes to it later.
fn command_of(what: &What, now: Now) -> (String, String) {
    let dated = |date: &Option<String>| date.clone().or(now.date().map(Wall::to_rfc3339));
    match what {
        What::Correct {
            number,
            date,
            lot,
            price,
            note,
            value,
        } => {
            let fields = [
                ("date", date),
                ("lot", lot),
                ("price", price),
                ("note", note),
                ("value", value),
            ];
            (format!("log/{number}/correct"), object(&fields))
        }
        What::Note { text, date } => {
            let fields = [("text", &Some(text.clone())), ("date", &dated(date))];
            ("note".to_owned(), object(&fields))
        }
        What::Replaced {
            stage,
            date,
            lot,
            price,
            note,
        } => {
            let fields = [
                ("date", &dated(date)),
                ("lot", lot),
                ("price", price),
                ("note", note),
            ];
            (format!("stage/{stage}/replaced"), object(&fields))
        }
        What::Sanitised { date, note } => {
            let fields = [("date", &dated(date)), ("note", note)];
            ("sanitised".to_owned(), object(&fields))
        }
        What::Test {
            name,
            value,
            after,
            date,
            note,
        } => {
            let fields = [
                ("value", &Some(value.clone())),
                ("date", &dated(date)),
                ("after", after),
                ("note", note),
            ];
            (format!("test/{name}"), object(&fields))
        }
        What::Withdraw { number, note } => {
            (format!("log/{number}/withdraw"), object(&[("note", note)]))
        }
        // Showing tells nothing.
        What::Show { .. } => (String::new(), String::new()),
    }
}

fn object(fields: &[(&str, &Option<String>)]) -> String {
    let given = fields
        .iter()
        .filter_map(|(key, text)| Some(((*key).to_owned(), json!(text.as_ref()?))));
    Value::Object(given.collect::<Map<String, Value>>()).to_string()
}
