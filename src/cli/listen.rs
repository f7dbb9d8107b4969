//! `permeated listen`: hears a broker for a while, says what looks like a sensor of the unit and why,
//! and writes a configuration to start from. It never writes to the broker.

mod output;
mod progress;

use std::{
    cell::RefCell,
    fmt::Write as _,
    path::{Path, PathBuf},
    process::ExitCode,
    time::Duration,
};

use clap::Args;

use super::{FAILED, PROBLEMS, complain, environment, run::stop_signal};
use crate::{
    config::{self, Broker, Problems},
    edge::{
        clock::Clock,
        mqtt::{self, HearError, Hearing, Listened, Silence},
    },
    proposal::{Entry, Heard, Message, Proposal},
    quantity::duration_text,
};
use progress::Progress;

/// What was typed.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ListenArguments {
    /// Where the broker is: mqtt://host[:port], or mqtts:// for an encrypted session [default:
    /// mqtt://localhost]
    #[arg(long, value_name = "URL", conflicts_with = "config")]
    broker: Option<String>,
    /// The user name, if the broker asks for one
    #[arg(long, value_name = "NAME", conflicts_with = "config")]
    user: Option<String>,
    /// A file whose first line is the password
    #[arg(long, value_name = "FILE", conflicts_with = "config")]
    password_file: Option<PathBuf>,
    /// For mqtts:// with a certificate authority of your own
    #[arg(long, value_name = "FILE", conflicts_with = "config")]
    ca_file: Option<PathBuf>,
    /// For mqtts:// brokers that ask for a certificate, with --client-key
    #[arg(long, value_name = "FILE", conflicts_with = "config")]
    client_certificate: Option<PathBuf>,
    /// The key of --client-certificate
    #[arg(long, value_name = "FILE", conflicts_with = "config")]
    client_key: Option<PathBuf>,
    /// Take the broker from this configuration; the rest of it need not be right yet
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// What to hear, + for one level and # for all below; may be given several times
    #[arg(long = "topic", value_name = "FILTER", default_value = "#")]
    topics: Vec<String>,
    /// How long to listen
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u64).range(1..=86_400))]
    seconds: u64,
    /// Where the configuration is written; without it, to standard output, and the table to standard error
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Overwrite the output file
    #[arg(long, requires = "output")]
    force: bool,
    /// Also list every value that was passed over
    #[arg(long)]
    all: bool,
}

const EXAMPLES: &str = "Examples:\n\
    \x20 permeated listen --broker mqtt://192.168.1.10 --output permeated.toml\n\
    \x20 permeated listen --broker mqtts://broker.lan --ca-file ca.pem --user me --password-file pw\n\
    \x20 permeated listen --topic 'tele/#' --seconds 330 --all\n\n\
    It only hears: nothing is published and the broker keeps no session. Let the unit make water meanwhile, so \
    that flows, counts and contacts move. Some firmware tells every 5 minutes only: listen for --seconds 330 if \
    something is missing. Ctrl-C ends it early with what was heard by then.\n\
    Exit status: 0 done, 1 the broker could not be heard, nothing looked like a sensor, or the file could not be \
    written, 2 wrong arguments or configuration.";

/// Why there is no proposal.
#[derive(Debug, thiserror::Error)]
enum ListenError {
    #[error("{error}{}", next_step(error))]
    Hear {
        #[from]
        error: HearError,
    },
    #[error("cannot talk to the broker: {0}")]
    Runtime(#[from] std::io::Error),
}

/// What a person may do about it.
fn next_step(error: &HearError) -> &'static str {
    match error {
        HearError::Settings(_) => "",
        HearError::Broker(_) => {
            "\nNothing was heard. Look whether the broker runs there, and whether --broker, --user, --password-file \
             and --ca-file (or [broker] of the configuration) are right."
        }
        HearError::Deaf(_) => " with --topic",
    }
}

/// Listens, and tells what came of it.
#[must_use]
pub fn run(arguments: &ListenArguments) -> ExitCode {
    let (broker, prefix) = match place(arguments) {
        Ok(place) => place,
        Err(problems) => {
            complain(&problems);
            return PROBLEMS.into();
        }
    };
    if let Err(sentence) = check(arguments) {
        complain(&format!("permeated: {sentence}"));
        return PROBLEMS.into();
    }
    match listen(arguments, &broker, &prefix) {
        Ok((heard, listened)) => tell(arguments, (&broker, &prefix), &heard, &listened),
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

/// The broker and our own prefix: of the configuration, or as typed, which is read just so.
fn place(arguments: &ListenArguments) -> Result<(Broker, String), Problems> {
    let (broker, publish) = match &arguments.config {
        Some(path) => config::load_broker(path, &environment())?,
        None => {
            let none = std::collections::BTreeMap::new();
            config::broker_from_text("the arguments", &typed(arguments), &none)?
        }
    };
    Ok((with_whole_paths(broker), publish.prefix))
}

/// The arguments as a `[broker]` table.
fn typed(arguments: &ListenArguments) -> String {
    let path = |path: &Option<PathBuf>| path.as_ref().map(|path| path.display().to_string());
    let mut text = "[broker]\n".to_owned();
    for (key, value) in [
        ("url", arguments.broker.clone()),
        ("user", arguments.user.clone()),
        ("password_file", path(&arguments.password_file)),
        ("ca_file", path(&arguments.ca_file)),
        ("client_certificate", path(&arguments.client_certificate)),
        ("client_key", path(&arguments.client_key)),
    ] {
        if let Some(value) = value {
            let _ = writeln!(text, "{key} = {}", toml::Value::String(value));
        }
    }
    text
}

/// The configuration may be put elsewhere: its files are named from the root.
fn with_whole_paths(mut broker: Broker) -> Broker {
    let whole = |path: &mut PathBuf| {
        if let Ok(absolute) = std::path::absolute(&*path) {
            *path = absolute;
        }
    };
    broker.password_file.as_mut().map(whole);
    if let Some(tls) = &mut broker.tls {
        for path in [
            &mut tls.ca_file,
            &mut tls.client_certificate,
            &mut tls.client_key,
        ] {
            path.as_mut().map(whole);
        }
    }
    broker
}

/// What is wrong with the rest of the arguments: better known before an hour of listening.
fn check(arguments: &ListenArguments) -> Result<(), String> {
    if let Some(filter) = arguments
        .topics
        .iter()
        .find(|filter| !mqtt::is_filter(filter))
    {
        return Err(format!(
            "--topic {filter:?} is no MQTT filter: + stands for one whole level, # for all below and comes last"
        ));
    }
    match &arguments.output {
        Some(path) => output::check(path, arguments.force),
        None => Ok(()),
    }
}

fn listen(
    arguments: &ListenArguments,
    broker: &Broker,
    prefix: &str,
) -> Result<(Heard, Listened), ListenError> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let time = Duration::from_secs(arguments.seconds);
    let hearing = Hearing {
        broker,
        filters: &arguments.topics,
        time,
    };
    let clock = Clock::real();
    let heard = RefCell::new(Heard::new(prefix));
    let progress = Progress::start(time);
    let listened = runtime.block_on(async {
        let stop = stop_signal()?;
        let hear = mqtt::hear(&hearing, stop, |message| {
            heard.borrow_mut().take(Message {
                topic: message.topic,
                payload: message.payload,
                retained: message.retained,
                after: message.after,
                at: clock.now().wall,
            });
        });
        tokio::pin!(hear);
        loop {
            // The hearing itself is never cancelled.
            tokio::select! {
                listened = &mut hear => return Ok::<_, ListenError>(listened?),
                () = tokio::time::sleep(progress::STEP) => progress.show(heard.borrow().counts()),
            }
        }
    });
    progress.end();
    // A name server that does not answer must not hold up the end.
    runtime.shutdown_background();
    Ok((heard.into_inner(), listened?))
}

fn tell(
    arguments: &ListenArguments,
    (broker, prefix): (&Broker, &str),
    heard: &Heard,
    listened: &Listened,
) -> ExitCode {
    let proposal = Proposal::of(heard);
    let time = duration_text(Duration::from_secs(
        listened.time.as_secs_f64().round() as u64
    ));
    let place = format!("{}:{}", broker.host, broker.port);
    let mut report = format!(
        "Heard {place} for {time}: {}",
        proposal.report(arguments.all)
    );
    for filter in &listened.refused {
        let _ = writeln!(
            report,
            "\nThe broker refuses to let us hear {filter}: check its access rules."
        );
    }
    match &listened.ended {
        Some(Silence::Lost(why)) => {
            let _ = writeln!(report, "\nThe listening ended early: {why}.");
        }
        Some(Silence::Stopped) | None => {}
    }
    let date = jiff::Timestamp::now().strftime("%Y-%m-%d");
    let text = proposal.has_sensors().then(|| {
        proposal.configuration(&Entry {
            broker,
            prefix,
            heard: &format!("{place}, {time}, {date}"),
        })
    });
    output::tell(
        &report,
        text.as_deref(),
        arguments.output.as_deref(),
        arguments.force,
        proposal.counts(),
    )
}

/// A path for people, as they may type it again.
fn shown(path: &Path) -> String {
    path.display().to_string()
}
