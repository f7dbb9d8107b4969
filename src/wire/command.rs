//! Commands: what a keeper tells a unit on `<prefix>/<unit>/do/…`.

mod fields;
mod maintenance;

use super::{answer, hold_test};
use crate::{config::UnitSettings, core::Command, time::Now};
pub(super) use fields::is_bare;

/// Larger commands are refused unread.
pub const LARGEST_BYTES: usize = 4096;

/// A sentence about a command is told in the log and answered: it repeats so much of the beginning and the
/// end of what was sent, or of itself.
const LONGEST_SENTENCE: usize = 1000;

/// Reads a command; `path` is what stands behind `do/`.
///
/// # Errors
/// A sentence that says what was wrong and what is allowed; nothing may change then.
pub fn read(
    settings: &UnitSettings,
    now: Now,
    path: &str,
    payload: &[u8],
) -> Result<Command, String> {
    read_whole(settings, now, path, payload).map_err(shortened)
}

fn shortened(sentence: String) -> String {
    let letters = sentence.chars().count();
    if letters <= LONGEST_SENTENCE {
        return sentence;
    }
    let half = LONGEST_SENTENCE / 2;
    let begin: String = sentence.chars().take(half).collect();
    let end: String = sentence.chars().skip(letters - half).collect();
    format!("{begin} … {end}")
}

fn read_whole(
    settings: &UnitSettings,
    now: Now,
    path: &str,
    payload: &[u8],
) -> Result<Command, String> {
    if payload.len() > LARGEST_BYTES {
        return Err(format!(
            "the message has {} bytes; a command has at most {LARGEST_BYTES}",
            payload.len()
        ));
    }
    let levels: Vec<&str> = path.split('/').collect();
    match levels.as_slice() {
        ["stage", id, "replaced"] => maintenance::replaced(settings, now, id, payload),
        ["test", name] => maintenance::test(settings, now, name, payload),
        ["sanitised"] => maintenance::sanitised(settings, now, payload),
        ["note"] => maintenance::note(settings, now, payload),
        ["log", number, "withdraw"] => maintenance::withdraw(number, payload),
        ["log", number, "correct"] => maintenance::correct(settings, now, number, payload),
        ["membrane", "rebaseline"] => {
            if is_bare(payload) {
                Ok(Command::Rebaseline)
            } else {
                Err("it takes no payload".to_owned())
            }
        }
        ["hold_test", "start"] => Ok(Command::StartHoldTest(hold_test::request(payload)?)),
        ["hold_test", "stop"] if is_bare(payload) => Ok(Command::StopHoldTest),
        ["hold_test", "stop"] => Err("it takes no payload".to_owned()),
        ["alert", key @ .., answer] if !key.is_empty() => {
            let answer = answer::read(answer, payload).unwrap_or_else(|| {
                Err(format!(
                    "nothing can be done to an alert by {answer:?}; known are acknowledge and snooze"
                ))
            })?;
            Ok(Command::Answer {
                alert: key.join("/"),
                answer,
            })
        }
        _ => Err(format!(
            "there is no command {path:?}; the commands are stage/<id>/replaced, test/<name>, sanitised, note, log/<number>/correct, \
             log/<number>/withdraw, membrane/rebaseline, hold_test/start, hold_test/stop, alert/<code>/acknowledge and \
             alert/<code>/snooze"
        )),
    }
}
