//! Where a replay reads: lines of JSON or a table, told apart by how they begin.

use std::io::{self, BufRead, Read as _};

use csv::{ErrorKind, StringRecord};

use super::ReplayError;
use crate::{
    config::Settings,
    wire::log::{Entry, LineError, Table, delimiter},
};

/// A line is no longer: a whole state may stand in one.
const LONGEST_LINE: u64 = 64 * 1024 * 1024;
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// A log that is read.
pub(super) struct Source<R> {
    file: String,
    form: Form<R>,
    /// The line last read, counted from 1.
    line: u64,
    /// Bytes read up to there.
    bytes: u64,
}

enum Form<R> {
    Lines {
        log: R,
        buffer: Vec<u8>,
    },
    Table {
        log: Box<csv::Reader<R>>,
        record: StringRecord,
        table: Box<Table>,
    },
}

impl<R: BufRead> Source<R> {
    /// Looks how it begins.
    ///
    /// # Errors
    /// When it cannot be read, or is a table with a wrong header.
    pub(super) fn open(settings: &Settings, file: &str, mut log: R) -> Result<Self, ReplayError> {
        let unreadable = |source| ReplayError::Read {
            file: file.to_owned(),
            source,
        };
        if log
            .fill_buf()
            .map_err(unreadable)?
            .starts_with(BYTE_ORDER_MARK)
        {
            log.consume(BYTE_ORDER_MARK.len());
        }
        let start = log.fill_buf().map_err(unreadable)?;
        let is_table = start
            .iter()
            .find(|byte| !byte.is_ascii_whitespace())
            .is_some_and(|byte| *byte != b'{');
        let form = if is_table {
            let delimiter = delimiter(&String::from_utf8_lossy(start));
            let mut log = csv::ReaderBuilder::new()
                .delimiter(delimiter)
                .from_reader(log);
            let header = log.headers().map_err(|error| of_table(file, &error))?;
            let table = Table::new(header, settings).map_err(|source| ReplayError::Header {
                file: file.to_owned(),
                source,
            })?;
            Form::Table {
                log: Box::new(log),
                record: StringRecord::new(),
                table: Box::new(table),
            }
        } else {
            Form::Lines {
                log,
                buffer: Vec::new(),
            }
        };
        Ok(Self {
            file: file.to_owned(),
            form,
            line: 0,
            bytes: 0,
        })
    }

    /// Bytes read.
    pub(super) fn bytes(&self) -> u64 {
        self.bytes
    }

    /// What is wrong with the line last read.
    pub(super) fn wrong(&self, source: LineError) -> ReplayError {
        ReplayError::Line {
            file: self.file.clone(),
            line: self.line,
            source,
        }
    }

    /// What comes next; nothing at the end. A last line that was torn is told and left out.
    ///
    /// # Errors
    /// At a line that is wrong, or when reading fails.
    pub(super) fn next(&mut self) -> Result<Option<Entry<'_>>, ReplayError> {
        let Self {
            file,
            form,
            line,
            bytes,
        } = self;
        match form {
            Form::Lines { log, buffer } => {
                if !next_line(log, buffer, line, bytes).map_err(|source| ReplayError::Read {
                    file: file.clone(),
                    source,
                })? {
                    return Ok(None);
                }
                let read = std::str::from_utf8(buffer)
                    .map_err(|error| LineError::Form(format!("this is no UTF-8 text ({error})")))
                    .and_then(Entry::read);
                match read {
                    Ok(entry) => Ok(Some(entry)),
                    // Whatever wrote it was killed while it did.
                    Err(_) if *line > 1 && !buffer.ends_with(b"\n") => {
                        tracing::warn!("{file}:{line}: the last line was torn and is left out");
                        Ok(None)
                    }
                    Err(source) => Err(ReplayError::Line {
                        file: file.clone(),
                        line: *line,
                        source,
                    }),
                }
            }
            Form::Table { log, record, table } => {
                let is_there = log
                    .read_record(record)
                    .map_err(|error| of_table(file, &error))?;
                if !is_there {
                    return Ok(None);
                }
                if let Some(place) = record.position() {
                    (*line, *bytes) = (place.line(), place.byte());
                }
                let entry = table.read(record).map_err(|source| ReplayError::Cell {
                    file: file.clone(),
                    line: *line,
                    source,
                })?;
                Ok(Some(entry))
            }
        }
    }
}

/// Fills the buffer with the next line that is not empty; whether there is one.
fn next_line(
    log: &mut impl BufRead,
    buffer: &mut Vec<u8>,
    line: &mut u64,
    bytes: &mut u64,
) -> io::Result<bool> {
    loop {
        buffer.clear();
        let read = log.by_ref().take(LONGEST_LINE).read_until(b'\n', buffer)? as u64;
        if read == 0 {
            return Ok(false);
        }
        (*line, *bytes) = (*line + 1, *bytes + read);
        if read == LONGEST_LINE {
            let wrong = format!("line {line} is longer than {LONGEST_LINE} bytes: this is no log");
            return Err(io::Error::new(io::ErrorKind::InvalidData, wrong));
        }
        if !buffer.trim_ascii().is_empty() {
            return Ok(true);
        }
    }
}

fn of_table(file: &str, error: &csv::Error) -> ReplayError {
    let line = error.position().map_or(1, csv::Position::line);
    let text = match error.kind() {
        ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => {
            format!("{len} cells, where the header has {expected_len}")
        }
        ErrorKind::Utf8 { err, .. } => {
            let column = err.field() + 1;
            format!("column {column} is no UTF-8 text: save the table as UTF-8")
        }
        _ => error.to_string(),
    };
    ReplayError::Table {
        file: file.to_owned(),
        line,
        text,
    }
}
