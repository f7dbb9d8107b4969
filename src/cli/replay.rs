//! `permeated replay`: a recorded log through the core, on the log's own clock. The same log gives
//! the same bytes: it is how a fault is reproduced and a limit is tuned against one's own past.

use std::{
    fs::File,
    io::{self, BufRead, BufReader, BufWriter, Write},
    path::Path,
    process::ExitCode,
};

use super::{FAILED, complain};
use crate::{
    config::Settings,
    core::{Arrival, UnitState},
    installation::{Incoming, Installation, Record},
    time::{Mono, Now, Wall},
    wire::log::{Line, LineError},
};

/// Why a replay ended early.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// A line of the log is wrong.
    #[error("{file}:{line}: {source}")]
    Line {
        /// The log.
        file: String,
        /// Its line, counted from 1.
        line: usize,
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
    /// The output cannot be written.
    #[error("cannot write the output: {0}")]
    Write(#[source] io::Error),
}

/// Replays the log at `path` to standard output.
#[must_use]
pub fn run(settings: &Settings, path: &Path) -> ExitCode {
    let file = path.display().to_string();
    let opened = File::open(path).map_err(|source| ReplayError::Read {
        file: file.clone(),
        source,
    });
    let replayed = opened.and_then(|log| {
        let mut out = BufWriter::with_capacity(1 << 16, io::stdout().lock());
        replay(
            settings,
            &file,
            BufReader::with_capacity(1 << 16, log),
            &mut out,
        )?;
        out.flush().map_err(ReplayError::Write)
    });
    match replayed {
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
    let mut replay: Option<Replay> = None;
    for (index, text) in log.lines().enumerate() {
        let text = text.map_err(|source| ReplayError::Read {
            file: file.to_owned(),
            source,
        })?;
        if text.trim().is_empty() {
            continue;
        }
        let (wall, line) = Line::read(&text).map_err(|source| ReplayError::Line {
            file: file.to_owned(),
            line: index + 1,
            source,
        })?;
        let replay = replay.get_or_insert_with(|| Replay::new(settings, wall));
        replay
            .go_to(wall, out)
            .and_then(|()| replay.hear(&line, out))
            .map_err(ReplayError::Write)?;
    }
    match replay {
        Some(mut replay) => replay.end(settings, out).map_err(ReplayError::Write),
        None => Ok(()),
    }
}

struct Replay {
    installation: Installation,
    now: Now,
}

impl Replay {
    fn new(settings: &Settings, start: Wall) -> Self {
        let now = Now {
            mono: Mono(0),
            wall: start,
        };
        Self {
            installation: Installation::new(settings, |_| UnitState::default(), now),
            now,
        }
    }

    /// Lets time pass up to the next message, with everything that falls due on the way. Where the
    /// log's clock jumps back, no time passes.
    fn go_to(&mut self, wall: Wall, out: &mut impl Write) -> io::Result<()> {
        let step = u64::try_from(wall.0 - self.now.wall.0).unwrap_or(0);
        self.now = Now {
            mono: Mono(self.now.mono.0.saturating_add(step)),
            wall,
        };
        while let Some(at) = self
            .installation
            .deadline()
            .filter(|at| *at <= self.now.mono)
        {
            let ago = i64::try_from(self.now.mono.0 - at.0).unwrap_or(0);
            let moment = Now {
                mono: at,
                wall: Wall(wall.0 - ago),
            };
            self.installation.advance(moment);
            self.write(moment.wall, out)?;
        }
        Ok(())
    }

    fn hear(&mut self, line: &Line, out: &mut impl Write) -> io::Result<()> {
        let arrival = match (line.retain, line.late) {
            (true, _) => Arrival::Retained,
            (false, true) => Arrival::Late,
            (false, false) => Arrival::Live,
        };
        let message = Incoming {
            topic: &line.topic,
            payload: line.payload.as_bytes(),
            arrival,
            packet: None,
        };
        self.installation.hear(self.now, message);
        self.write(self.now.wall, out)
    }

    /// What the last messages changed is published one interval later.
    fn end(&mut self, settings: &Settings, out: &mut impl Write) -> io::Result<()> {
        let interval = i64::try_from(settings.publish.interval.as_millis()).unwrap_or(0);
        self.go_to(Wall(self.now.wall.0.saturating_add(interval)), out)
    }

    fn write(&mut self, time: Wall, out: &mut impl Write) -> io::Result<()> {
        while let Some(message) = self.installation.drain() {
            writeln!(out, "{}", Line::of(time, message).text())?;
        }
        self.installation.take_events();
        for record in self.installation.take_records() {
            if let Record::Notice(unit, notice) = record {
                let message = self.installation.message_of(&unit, &notice);
                writeln!(out, "{}", Line::of(time, message).text())?;
                self.installation.delivered(&unit, notice.number);
            }
        }
        Ok(())
    }
}
