//! `permeated replay`: a recorded log through the core, on the log's own clock. The same log gives
//! the same bytes: it is how a fault is reproduced and a limit is tuned against one's own past. With
//! `--speed` it goes to a broker instead, for others to watch.

mod course;
mod live;
mod source;
mod summary;

use std::{
    fs::File,
    io::{self, BufRead, BufReader, BufWriter, IsTerminal as _, Write},
    path::PathBuf,
    process::ExitCode,
};

use clap::Args;
use indicatif::ProgressBar;

use super::{
    DEFAULT_FILE, FAILED, PROBLEMS, complain,
    progress::{bar, grouped},
};
use crate::{
    config::Settings,
    edge::mqtt,
    time::Wall,
    wire::{
        Outgoing,
        log::{CellError, HeaderError, Line, LineError},
    },
};
use course::{Audience, Course, CourseError};
use source::Source;
use summary::Summary;

/// What was typed.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ReplayArguments {
    /// The configuration file
    #[arg(long, default_value = DEFAULT_FILE)]
    pub config: PathBuf,
    /// The log: JSON, one message a line, or a table of comma-separated values; `-` is standard input
    log: PathBuf,
    /// Only messages on these topics: a filter with + and #; may be given again
    #[arg(long, value_name = "FILTER", value_parser = filter, conflicts_with = "summary")]
    only: Vec<String>,
    /// Tell of runs and alerts instead of printing messages
    #[arg(long, conflicts_with = "speed")]
    summary: bool,
    #[command(flatten)]
    live: live::LiveArguments,
}

const EXAMPLES: &str = "Examples:\n\
    \x20 permeated replay day.jsonl > published.jsonl\n\
    \x20 permeated replay day.jsonl --only 'permeated/+/alert/#'\n\
    \x20 permeated replay table.csv --summary\n\
    \x20 permeated replay day.jsonl --speed 60 --broker mqtt://localhost --prefix replay/\n\n\
    A table has the columns time, topic, payload and perhaps retain, or time and one for each sensor, by its \
    id; a time without a zone is of the configured `time_zone`.\n\
    Exit status: 0 done, 1 failed, 2 wrong arguments or configuration.";

/// Why a replay ended early.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// A cell of a table is wrong.
    #[error("{file}:{line}: {source}")]
    Cell {
        /// The table.
        file: String,
        /// Its line, counted from 1.
        line: u64,
        /// What is wrong.
        source: CellError,
    },
    /// The header of a table is wrong.
    #[error("{file}:1: {source}")]
    Header {
        /// The table.
        file: String,
        /// What is wrong.
        source: HeaderError,
    },
    /// A line of the log is wrong.
    #[error("{file}:{line}: {source}")]
    Line {
        /// The log.
        file: String,
        /// Its line, counted from 1.
        line: u64,
        /// What is wrong.
        source: LineError,
    },
    /// The log cannot be read.
    #[error("cannot read the log {file}: {source}")]
    Read {
        /// The log.
        file: String,
        /// What the system says.
        source: io::Error,
    },
    /// A record of a table is wrong.
    #[error("{file}:{line}: {text}")]
    Table {
        /// The table.
        file: String,
        /// Its line, counted from 1.
        line: u64,
        /// What is wrong.
        text: String,
    },
    /// The output cannot be written.
    #[error("cannot write the output: {0}")]
    Write(#[source] io::Error),
}

/// A filter as it is typed.
pub(super) fn filter(text: &str) -> Result<String, String> {
    if mqtt::is_filter(text) {
        Ok(text.to_owned())
    } else {
        Err("`+` stands for one whole level, `#` for all below, last".to_owned())
    }
}

/// A log that was opened: what it is called, how long it is, and its text.
struct Log {
    file: String,
    length: Option<u64>,
    text: Box<dyn BufRead>,
}

impl Log {
    fn open(arguments: &ReplayArguments) -> Result<Self, ReplayError> {
        if arguments.log.as_os_str() == "-" {
            return Ok(Self {
                file: "standard input".to_owned(),
                length: None,
                text: Box::new(io::stdin().lock()),
            });
        }
        let file = arguments.log.display().to_string();
        let wrong = |source| ReplayError::Read {
            file: file.clone(),
            source,
        };
        let log = File::open(&arguments.log).map_err(wrong)?;
        // What is no plain file says 0 of itself.
        let length = log.metadata().map_err(wrong)?.len();
        Ok(Self {
            file,
            length: Some(length).filter(|length| *length > 0),
            text: Box::new(BufReader::with_capacity(1 << 16, log)),
        })
    }
}

/// Replays the log: to standard output, as a summary, or to a broker.
#[must_use]
pub fn run(settings: &Settings, arguments: &ReplayArguments) -> ExitCode {
    let done = match arguments.live.asked(settings) {
        Ok(None) => Log::open(arguments).and_then(|log| print(settings, arguments, log)),
        Ok(Some(play)) => {
            let played = Log::open(arguments)
                .map_err(live::LiveError::from)
                .and_then(|log| {
                    let bar = bar(log.length);
                    let source = Source::open(settings, &log.file, log.text)?;
                    play.run(settings, &arguments.only, source, &bar)
                });
            return live::exit(played);
        }
        Err(wrong) => {
            complain(&format!("permeated: {wrong}"));
            return PROBLEMS.into();
        }
    };
    match done {
        // A reader that has seen enough is no failure.
        Err(ReplayError::Write(error)) if error.kind() == io::ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
        Ok(()) => ExitCode::SUCCESS,
    }
}

fn print(settings: &Settings, arguments: &ReplayArguments, log: Log) -> Result<(), ReplayError> {
    let mut source = Source::open(settings, &log.file, log.text)?;
    let out = io::stdout().lock();
    // Messages and a bar on the same terminal would only be in each other's way.
    let bar = if arguments.summary || !out.is_terminal() {
        bar(log.length)
    } else {
        ProgressBar::hidden()
    };
    let mut out = BufWriter::with_capacity(1 << 16, out);
    let done = if arguments.summary {
        let mut summary = Summary::new(settings);
        feed(settings, &mut source, &mut summary, &bar)
            .and_then(|()| write!(out, "{}", summary.text()).map_err(ReplayError::Write))
    } else {
        let mut printer = Printer::new(&mut out, &arguments.only);
        feed(settings, &mut source, &mut printer, &bar)
    };
    bar.finish_and_clear();
    // What came before a wrong line stands.
    let written = out.flush().map_err(ReplayError::Write);
    done.and(written)
}

/// Feeds a log to the core and writes what the service would have published, in the same form.
///
/// # Errors
/// At the first line that is wrong, or when reading or writing fails.
pub fn replay(
    settings: &Settings,
    file: &str,
    log: impl BufRead,
    out: &mut impl Write,
) -> Result<(), ReplayError> {
    let mut source = Source::open(settings, file, log)?;
    let mut printer = Printer::new(out, &[]);
    feed(settings, &mut source, &mut printer, &ProgressBar::hidden())
}

/// The bar moves once in so many entries.
const SHOWN_EVERY: u64 = 1 << 10;

fn feed<R: BufRead>(
    settings: &Settings,
    source: &mut Source<R>,
    audience: &mut impl Audience,
    bar: &ProgressBar,
) -> Result<(), ReplayError> {
    let mut course = Course::new(settings);
    let mut entries = 0_u64;
    while let Some(entry) = source.next()? {
        audience.entry(&entry);
        let taken = course.take(&entry, audience);
        taken.map_err(|error| match error {
            CourseError::Audience(error) => ReplayError::Write(error),
            CourseError::State(error) => source.wrong(LineError::Form(format!(
                "the `state` in it cannot be read: {error}"
            ))),
        })?;
        entries += 1;
        if entries.is_multiple_of(SHOWN_EVERY) {
            show(bar, source, entries);
        }
    }
    course.end(audience).map_err(ReplayError::Write)
}

fn show<R: BufRead>(bar: &ProgressBar, source: &Source<R>, entries: u64) {
    if !bar.is_hidden() {
        bar.set_position(source.bytes());
        bar.set_message(format!("{} messages", grouped(entries)));
    }
}

/// Prints messages as lines of a log.
struct Printer<'a, W> {
    out: &'a mut W,
    only: &'a [String],
    /// The time of the last message, as text: many are said at the same moment.
    time: (Wall, String),
    /// Room for a line.
    line: Vec<u8>,
}

impl<'a, W> Printer<'a, W> {
    fn new(out: &'a mut W, only: &'a [String]) -> Self {
        let time = Wall(0);
        Self {
            out,
            only,
            time: (time, time.to_rfc3339()),
            line: Vec::new(),
        }
    }
}

impl<W: Write> Audience for Printer<'_, W> {
    fn message(&mut self, time: Wall, message: Outgoing) -> io::Result<()> {
        if !is_wanted(self.only, &message.topic) {
            return Ok(());
        }
        if time != self.time.0 {
            self.time = (time, time.to_rfc3339());
        }
        self.line.clear();
        Line::write(&self.time.1, &message, &mut self.line);
        self.line.push(b'\n');
        self.out.write_all(&self.line)
    }
}

/// Whether one of the filters matches, or there are none.
fn is_wanted(only: &[String], topic: &str) -> bool {
    only.is_empty() || only.iter().any(|filter| mqtt::matches(topic, filter))
}
