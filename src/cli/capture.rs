//! `permeated capture`: records what the service would hear from a live broker. It writes nothing to the
//! broker and leaves nothing there.

use std::{
    collections::BTreeSet,
    fs::File,
    future::Future,
    io::{self, Write},
    path::PathBuf,
    process::ExitCode,
    sync::Arc,
    time::Duration,
};

use clap::Args;
use indicatif::ProgressBar;
use tokio::time::{Instant, MissedTickBehavior};

use super::{
    DEFAULT_FILE, FAILED, complain,
    progress::{bar, clock_text, grouped},
    run::stop_signal,
};
use crate::{
    config::Settings,
    core::{Arrival, UnitState},
    edge::{
        clock::{Clock, sleep_until},
        mqtt::{self, FromBroker, Inbox, Message, MqttError, Session, SessionOptions},
        recording::{self, IfThere, Recording, RecordingError},
    },
    installation::{Incoming, Installation},
    quantity::{duration_from_text, duration_text},
    time::Wall,
    wire::log::not_covered,
};

/// What was typed.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct CaptureArguments {
    /// The configuration file
    #[arg(long, default_value = DEFAULT_FILE)]
    pub config: PathBuf,
    /// Where the log goes; `-` is standard output
    #[arg(long, short, value_name = "LOG", default_value = "-")]
    output: PathBuf,
    /// End so long after the first connection: "30 min", 24h; without it Ctrl-C ends it
    #[arg(long = "for", value_name = "TIME", value_parser = time)]
    length: Option<Duration>,
    /// Record these topics, too: a filter with + and #, such as "tele/#"; may be given again
    #[arg(long = "also", value_name = "FILTER", value_parser = super::replay::filter)]
    also: Vec<String>,
    /// Add to a log that is there
    #[arg(long, conflicts_with = "force")]
    append: bool,
    /// Overwrite a file that is there
    #[arg(long)]
    force: bool,
}

const EXAMPLES: &str = "Examples:\n\
    \x20 permeated capture --output day.jsonl --for 24h\n\
    \x20 permeated capture --output all.jsonl --also '#'      # everything the broker lets us hear\n\
    \x20 permeated capture | grep feed_tds                    # Ctrl-C ends it\n\n\
    Recorded is what the service would hear: its sensors, the commands and the hub's birth message. A log \
    holds whatever these topics hold: look through it before you give it away.\n\
    Exit status: 0 recorded, 1 failed, 2 wrong arguments or configuration.";

/// So many topics are counted.
const MOST_TOPICS: usize = 10_000;
/// How often it is looked whether messages were lost, and told how far it is.
const BEAT: Duration = Duration::from_millis(500);
/// A broker that is away when a time is set is waited for at least so long.
const PATIENCE: Duration = Duration::from_secs(10);
/// The broker has this long to take our leave.
const FAREWELL: Duration = Duration::from_millis(500);

#[derive(Debug, thiserror::Error)]
enum CaptureError {
    #[error(transparent)]
    Mqtt(#[from] MqttError),
    #[error(transparent)]
    Recording(#[from] RecordingError),
    #[error("could not start: {0}")]
    Runtime(#[source] io::Error),
    #[error("cannot write the log: {0}; what was written up to here is whole")]
    Write(#[from] io::Error),
    #[error("nothing was recorded: {0}")]
    NeverConnected(String),
    #[error("the MQTT session ended by itself: {0}")]
    SessionLost(String),
}

fn time(text: &str) -> Result<Duration, String> {
    let time = duration_from_text(text).map_err(|error| error.to_string())?;
    if time.is_zero() {
        Err("no time is no recording".to_owned())
    } else {
        Ok(time)
    }
}

/// Records until it is told to stop or its time is over.
#[must_use]
pub fn run(settings: &Settings, arguments: &CaptureArguments) -> ExitCode {
    let to_standard_output = arguments.output.as_os_str() == "-";
    let done = if to_standard_output {
        // Each line is flushed anyway; the lock of `stdout()` is not taken for long.
        record(settings, arguments, Recording::new(io::stdout()))
    } else {
        let if_there = match (arguments.append, arguments.force) {
            (true, _) => IfThere::Append,
            (false, true) => IfThere::Overwrite,
            (false, false) => IfThere::Refuse,
        };
        recording::open(&arguments.output, if_there)
            .map_err(CaptureError::from)
            .and_then(|log: Recording<File>| record(settings, arguments, log))
    };
    match done {
        Ok(tally) => {
            let place = if to_standard_output {
                "standard output".to_owned()
            } else {
                arguments.output.display().to_string()
            };
            complain(&tally.sentence(&place));
            ExitCode::SUCCESS
        }
        // A reader that has seen enough is no failure.
        Err(CaptureError::Write(error)) if error.kind() == io::ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

fn record<W: Write>(
    settings: &Settings,
    arguments: &CaptureArguments,
    log: Recording<W>,
) -> Result<Tally, CaptureError> {
    let clock = Clock::real();
    let heard = Installation::new(settings, |_| UnitState::default(), clock.now()).subscriptions();
    let mut options = SessionOptions::silent(settings.broker.clone());
    options.subscribe = not_covered(heard.into_iter().chain(arguments.also.iter().cloned()));
    // None may give way to a newer one.
    options.precious = Arc::new(|_| true);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(CaptureError::Runtime)?;
    let done = runtime.block_on(async {
        let stop = stop_signal().map_err(CaptureError::Runtime)?;
        let (session, inbox) = mqtt::open(options)?;
        let mut capture = Capture {
            log,
            clock,
            session,
            tally: Tally::default(),
            away: None,
            looked: clock.now().wall,
            line: bar(None),
        };
        let ended = capture.hear(inbox, stop, arguments.length).await;
        capture.line.finish_and_clear();
        let Capture { session, tally, .. } = capture;
        session.close(FAREWELL).await;
        ended.map(|()| tally)
    });
    runtime.shutdown_background();
    done
}

struct Capture<W> {
    log: Recording<W>,
    clock: Clock,
    session: Session,
    tally: Tally,
    /// Since when the broker is away, and why.
    away: Option<(Wall, String)>,
    /// When it was last looked whether messages were lost.
    looked: Wall,
    line: ProgressBar,
}

/// What was recorded.
#[derive(Default)]
struct Tally {
    began: Option<Instant>,
    messages: u64,
    topics: BTreeSet<String>,
    gaps: u64,
    /// Messages that could not be kept, as far as that was written down.
    lost: u64,
}

impl Tally {
    fn sentence(&self, place: &str) -> String {
        let topics = match self.topics.len() {
            1 => "1 topic".to_owned(),
            MOST_TOPICS => format!("{MOST_TOPICS} topics or more"),
            many => format!("{many} topics"),
        };
        let messages = match self.messages {
            1 => "1 message".to_owned(),
            many => format!("{many} messages"),
        };
        let time = self.began.map_or(Duration::ZERO, |began| began.elapsed());
        let gaps = match self.gaps {
            0 => String::new(),
            1 => "; in 1 gap, which stands in the log, messages may be missing".to_owned(),
            many => format!("; in {many} gaps, which stand in the log, messages may be missing"),
        };
        format!(
            "Recorded {messages} on {topics} in {} to {place}{gaps}.",
            duration_text(time)
        )
    }
}

impl<W: Write> Capture<W> {
    /// Until `stop`, or so long from the first connection.
    async fn hear(
        &mut self,
        mut inbox: Inbox,
        stop: impl Future<Output = ()>,
        length: Option<Duration>,
    ) -> Result<(), CaptureError> {
        tokio::pin!(stop);
        let started = Instant::now();
        let mut beat = tokio::time::interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            let end = length.map(|length| match self.tally.began {
                Some(began) => began + length,
                None => started + PATIENCE.max(length),
            });
            tokio::select! {
                // A flood must not keep the rest from being looked at.
                biased;
                () = &mut stop => break,
                () = sleep_until(end) => break,
                _ = beat.tick() => self.look()?,
                item = inbox.receive() => self.take(item)?,
            }
        }
        self.look()?;
        if self.tally.began.is_none() {
            let problem = self.session.health().problem;
            let why = problem.unwrap_or_else(|| "there was no connection to the broker".to_owned());
            return Err(CaptureError::NeverConnected(why));
        }
        self.note_back()?;
        Ok(self.log.ended(self.clock.now())?)
    }

    fn take(&mut self, item: FromBroker) -> Result<(), CaptureError> {
        match item {
            FromBroker::Message(message) => self.write(message)?,
            FromBroker::Connected { .. } => {
                if self.tally.began.is_none() {
                    self.tally.began = Some(Instant::now());
                    self.log.began(self.clock.now())?;
                }
                self.note_back()?;
            }
            FromBroker::Disconnected { reason } => {
                if !self.session.health().polling {
                    return Err(CaptureError::SessionLost(reason));
                }
                self.away = Some((self.clock.now().wall, reason));
            }
            FromBroker::Delivered { .. } | FromBroker::Unsubscribed { .. } => {}
        }
        Ok(())
    }

    fn write(&mut self, message: Message) -> io::Result<()> {
        let arrival = match (message.retained, message.late) {
            (true, _) => Arrival::Retained,
            (false, true) => Arrival::Late,
            (false, false) => Arrival::Live,
        };
        let incoming = Incoming {
            topic: &message.topic,
            payload: &message.payload,
            arrival,
            // The broker forgets this session: it delivers nothing a second time.
            packet: None,
        };
        self.log.heard(self.clock.now(), &incoming)?;
        self.tally.messages += 1;
        if self.tally.topics.len() < MOST_TOPICS && !self.tally.topics.contains(&message.topic) {
            self.tally.topics.insert(message.topic);
        }
        // With the system now; the broker need not keep it any more.
        if let Some(receipt) = message.receipt {
            self.session.acknowledge(receipt);
        }
        Ok(())
    }

    fn note_back(&mut self) -> io::Result<()> {
        if let Some((since, why)) = self.away.take() {
            self.tally.gaps += 1;
            self.log.gap(self.clock.now(), since, &why)?;
        }
        Ok(())
    }

    /// Tells how far it is, and writes down where messages came faster than they could be kept, or were too
    /// large.
    fn look(&mut self) -> io::Result<()> {
        let health = self.session.health();
        let lost = health.too_large + health.too_many + health.overwritten;
        if lost > self.tally.lost {
            let now = self.clock.now();
            let why = format!("{} messages could not be kept", lost - self.tally.lost);
            self.log.gap(now, self.looked, &why)?;
            self.tally.gaps += 1;
            self.tally.lost = lost;
        }
        self.looked = self.clock.now().wall;
        let time = self
            .tally
            .began
            .map_or(Duration::ZERO, |began| began.elapsed());
        self.line.set_message(format!(
            "{}  {} messages on {} topics{}   (Ctrl-C ends it)",
            clock_text(time),
            grouped(self.tally.messages),
            self.tally.topics.len(),
            if health.connected {
                ""
            } else {
                ", waiting for the broker"
            },
        ));
        self.line.tick();
        Ok(())
    }
}
