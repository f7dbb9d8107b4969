//! Writing a log: each line whole and at once with the system, so that a kill leaves no more than one torn
//! line behind. What a line says is the business of `wire::log`.

use std::{
    borrow::Cow,
    fs::{File, OpenOptions},
    io::{self, Read as _, Seek as _, SeekFrom, Write},
    os::unix::fs::OpenOptionsExt as _,
    path::{Path, PathBuf},
};

use serde_json::Value;

use crate::{
    installation::Incoming,
    time::{Now, Wall},
    wire::log::{Entry, Mark, Message, What},
};

/// A log being written.
#[derive(Debug)]
pub struct Recording<W> {
    out: W,
    line: Vec<u8>,
    /// A look that needs no line unless the wall clock moves before the next one.
    looked: Option<Now>,
}

/// What is done with a file that is there already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IfThere {
    /// It is left alone.
    Refuse,
    /// What is recorded follows what it holds.
    Append,
    /// It is emptied.
    Overwrite,
}

/// Why a log cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// It is there already.
    #[error("{0} is there already; --append adds to it, --force overwrites it")]
    Exists(PathBuf),
    /// It cannot be opened.
    #[error("cannot write {path}: {source}")]
    Open {
        /// Which file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// What stands in it is no log.
    #[error("{0} does not end with a line of a log, so nothing was added to it; name another file")]
    NoLog(PathBuf),
}

/// By this the program calls itself in a log.
const BY: &str = concat!("permeated ", env!("CARGO_PKG_VERSION"));
/// So begins every line that is written here.
const BEGIN: &[u8] = b"{\"time\":\"";
/// A line is no longer than this: a payload of 256 KiB with everything escaped, a state with room to spare.
const LONGEST_LINE: u64 = 16 * 1024 * 1024;

/// Opens a log to write. Where a line was torn at its end, it is taken away.
///
/// # Errors
/// When the file is there and may not be touched, is no log, or cannot be opened.
pub fn open(path: &Path, if_there: IfThere) -> Result<Recording<File>, RecordingError> {
    let wrong = |source| RecordingError::Open {
        path: path.to_owned(),
        source,
    };
    let mut options = OpenOptions::new();
    // It holds the maintenance log, and whatever its topics hold.
    options.mode(0o600);
    match if_there {
        IfThere::Refuse => options.write(true).create_new(true),
        IfThere::Append => options.read(true).append(true).create(true),
        IfThere::Overwrite => options.write(true).create(true).truncate(true),
    };
    let mut file = options.open(path).map_err(|source| match source.kind() {
        io::ErrorKind::AlreadyExists => RecordingError::Exists(path.to_owned()),
        _ => wrong(source),
    })?;
    if if_there == IfThere::Append {
        let is_log = mend(&mut file, path).map_err(wrong)?;
        if !is_log {
            return Err(RecordingError::NoLog(path.to_owned()));
        }
    }
    Ok(Recording::new(file))
}

/// Makes the file end with a whole line; whether that is one of a log.
fn mend(file: &mut File, path: &Path) -> io::Result<bool> {
    let length = file.metadata()?.len();
    // A pipe or a terminal has no end to look at.
    if length == 0 {
        return Ok(true);
    }
    let mut end = Vec::new();
    file.seek(SeekFrom::Start(length.saturating_sub(2 * LONGEST_LINE)))?;
    file.read_to_end(&mut end)?;
    let is_line =
        |line: &[u8]| std::str::from_utf8(line).is_ok_and(|line| Entry::read(line).is_ok());
    let last = |text: &[u8]| {
        let start = text.iter().rposition(|byte| *byte == b'\n');
        start.map_or(0, |start| start + 1)
    };
    let torn = last(&end);
    let (whole, tail) = end.split_at(torn);
    if tail.is_empty() || !is_line(tail) {
        let whole = whole.trim_ascii_end();
        let is_first = whole.is_empty() && is_torn(tail);
        if !is_first && !is_line(&whole[last(whole)..]) {
            return Ok(false);
        }
        if !tail.is_empty() {
            tracing::warn!(
                "the last line of {} was torn ({} bytes); it is taken away",
                path.display(),
                tail.len()
            );
            file.set_len(length - tail.len() as u64)?;
        }
    } else {
        file.write_all(b"\n")?;
    }
    Ok(true)
}

/// Whether a whole line of a log might begin with it.
fn is_torn(tail: &[u8]) -> bool {
    (BEGIN.starts_with(tail) || tail.starts_with(BEGIN))
        && serde_json::from_slice::<Value>(tail).is_err_and(|error| error.is_eof())
}

impl<W: Write> Recording<W> {
    /// A log written to `out`.
    pub fn new(out: W) -> Self {
        Self {
            out,
            line: Vec::new(),
            looked: None,
        }
    }

    /// A recording begins.
    ///
    /// # Errors
    /// When it cannot be written, as with all that follow.
    pub fn began(&mut self, now: Now) -> io::Result<()> {
        self.write(now, What::Mark(Mark::Began(BY.into())))
    }

    /// The service that records begins, with the state it had kept, by unit.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn service_began(&mut self, now: Now, state: Value) -> io::Result<()> {
        self.write(now, What::Mark(Mark::ServiceBegan(state)))
    }

    /// A message came.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn heard(&mut self, now: Now, message: &Incoming) -> io::Result<()> {
        let message = Message {
            topic: Cow::Borrowed(message.topic),
            payload: Cow::Borrowed(message.payload),
            arrival: message.arrival,
            packet: message.packet,
        };
        self.write(now, What::Message(message))
    }

    /// The service does what is due by now. Both clocks are read one after the other, so that they drift
    /// by a millisecond against each other: what is dated by this look would be dated by the next line
    /// otherwise. As long as they do not, the next line tells the same.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn looked(&mut self, now: Now) -> io::Result<()> {
        self.settle(now)?;
        self.looked = Some(now);
        Ok(())
    }

    /// Messages may be missing since then, and why.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn gap(&mut self, now: Now, since: Wall, why: &str) -> io::Result<()> {
        self.write(now, What::Mark(Mark::Gap(since, why.into())))
    }

    /// The recording ends in good order.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn ended(&mut self, now: Now) -> io::Result<()> {
        self.write(now, What::Mark(Mark::Ended))
    }

    /// What it was written to.
    pub fn into_inner(self) -> W {
        self.out
    }

    fn write(&mut self, now: Now, what: What) -> io::Result<()> {
        self.settle(now)?;
        self.put(now, what)
    }

    fn settle(&mut self, now: Now) -> io::Result<()> {
        let apart = |now: Now| i128::from(now.wall.0) - i128::from(now.mono.0);
        match self.looked.take() {
            Some(looked) if apart(looked) != apart(now) => {
                self.put(looked, What::Mark(Mark::Looked))
            }
            Some(_) | None => Ok(()),
        }
    }

    fn put(&mut self, now: Now, what: What) -> io::Result<()> {
        let entry = Entry {
            time: now.wall,
            mono: Some(now.mono),
            what,
        };
        self.line.clear();
        entry.write(&mut self.line)?;
        self.line.push(b'\n');
        self.out.write_all(&self.line)?;
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::time::Mono;

    fn at(mono: u64, wall: i64) -> Now {
        Now {
            mono: Mono(mono),
            wall: Wall(1_800_000_000_000 + wall),
        }
    }

    #[test]
    fn a_look_is_written_only_where_the_clocks_moved_against_each_other() {
        let mut recording = Recording::new(Vec::new());
        recording.looked(at(10, 10)).unwrap();
        recording.looked(at(20, 20)).unwrap();
        recording.looked(at(30, 31)).unwrap();
        recording.ended(at(40, 41)).unwrap();
        let text = String::from_utf8(recording.into_inner()).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 2, "{text}");
        assert!(
            lines[0].contains("looked") && lines[0].contains(":20"),
            "{text}"
        );
        assert!(lines[1].contains("ended"), "{text}");
    }

    #[test]
    fn a_file_that_is_there_is_left_alone_unless_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.jsonl");
        let write = |if_there| open(&path, if_there).map(|mut log| log.ended(at(1, 1)).unwrap());
        write(IfThere::Refuse).unwrap();
        let told = write(IfThere::Refuse).unwrap_err().to_string();
        assert!(
            told.contains("--append") && told.contains("--force"),
            "{told}"
        );
        write(IfThere::Append).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap().lines().count(), 2);
        write(IfThere::Overwrite).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap().lines().count(), 1);
    }

    #[test]
    fn what_a_kill_tore_is_mended_and_what_is_no_log_left_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.jsonl");
        let line = r#"{"time":"2026-11-25T09:00:00Z","topic":"a","payload":"1"}"#;
        for (before, after) in [
            (format!("{line}\n{}", &line[..20]), format!("{line}\n")),
            (format!("{line}\n{line}"), format!("{line}\n{line}\n")),
            (line[..20].to_owned(), String::new()),
            (line[..3].to_owned(), String::new()),
            (String::new(), String::new()),
        ] {
            fs::write(&path, &before).unwrap();
            open(&path, IfThere::Append).unwrap();
            assert_eq!(fs::read_to_string(&path).unwrap(), after);
        }
        for other in [
            "a letter\nto somebody\n",
            "{\"a\":1}\n",
            "{\"a\":",
            "{\"time\":\"noon\"}",
        ] {
            fs::write(&path, other).unwrap();
            assert!(
                matches!(open(&path, IfThere::Append), Err(RecordingError::NoLog(_))),
                "{other}"
            );
            assert_eq!(fs::read_to_string(&path).unwrap(), other);
        }
    }
}
