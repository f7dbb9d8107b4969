//! `permeated notify --test`: sends a test notice to each configured target, once, and prints what came
//! back. It reads and changes nothing that the service keeps.

use std::{fmt::Write as _, process::ExitCode};

use clap::Args;

use super::{FAILED, PROBLEMS, complain};
use crate::{
    config::{NotifyTarget, Settings},
    edge::notify::{Courier, Outcome},
    wire::notice::Notice,
};

/// What to send, and to whom.
#[derive(Debug, Args)]
pub struct NotifyArguments {
    /// Send a notice that says that it is a test
    #[arg(long, required = true)]
    test: bool,
    /// Only to this target; to all when left out
    #[arg(long, value_name = "NAME")]
    to: Option<String>,
}

/// Sends the test notice. Status 1 when a target did not take it, 2 when there is no such target.
#[must_use]
pub fn run(settings: &Settings, arguments: &NotifyArguments) -> ExitCode {
    let wanted = |target: &&NotifyTarget| arguments.to.as_ref().is_none_or(|to| *to == target.name);
    let targets: Vec<&NotifyTarget> = settings.notify.iter().filter(wanted).collect();
    if targets.is_empty() {
        complain(&none(settings, arguments));
        return PROBLEMS.into();
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build();
    let runtime = match runtime {
        Ok(runtime) => runtime,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            return FAILED.into();
        }
    };
    let mut failed = false;
    for target in targets {
        let (line, taken) = runtime.block_on(send(target));
        failed |= !taken;
        // A reader that went away wants no more.
        let _ = std::io::Write::write_all(&mut std::io::stdout(), line.as_bytes());
    }
    // A name server that does not answer would hold us up.
    runtime.shutdown_background();
    if failed {
        FAILED.into()
    } else {
        ExitCode::SUCCESS
    }
}

fn none(settings: &Settings, arguments: &NotifyArguments) -> String {
    match &arguments.to {
        Some(to) if !settings.notify.is_empty() => {
            let names = settings.notify.iter().map(|target| target.name.as_str());
            let names: Vec<&str> = names.collect();
            format!(
                "there is no target {to:?}; configured are {}",
                names.join(", ")
            )
        }
        Some(_) | None => "no target is configured; one begins with [[notify]]".to_owned(),
    }
}

async fn send(target: &NotifyTarget) -> (String, bool) {
    let mut line = format!("{} ({}): ", target.name, target.server);
    let outcome = match Courier::new(target) {
        Ok(courier) => courier.deliver(&Notice::test()).await,
        Err(error) => Outcome::Refused {
            why: error.to_string(),
        },
    };
    // Writing into a text cannot fail.
    let _ = match &outcome {
        Outcome::Taken { status } => writeln!(line, "taken ({status})"),
        Outcome::Refused { why } => writeln!(line, "refused: {why}"),
        Outcome::Later { why, asked: None } => writeln!(line, "not now: {why}"),
        Outcome::Later {
            why,
            asked: Some(asked),
        } => writeln!(line, "not now: {why}; it asks to wait {asked:?}"),
    };
    (line, matches!(outcome, Outcome::Taken { .. }))
}
