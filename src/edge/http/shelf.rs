//! The past as pages show it: read from the store, and kept at hand for some seconds, so that a page that
//! is asked for again and again costs one reading.

use std::{
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
    time::{Duration, Instant},
};

use crate::{edge::store, page::Span, past::Past, time::Wall};

/// What was read stays good for so long: graphs do not change faster.
const KEPT: Duration = Duration::from_secs(20);

/// What was read lately.
#[derive(Debug)]
pub(super) struct Shelf {
    directory: PathBuf,
    read: Mutex<Vec<Read>>,
}

#[derive(Clone, Debug)]
struct Read {
    unit: String,
    span: Span,
    at: Instant,
    past: Found,
}

/// `None` when nothing is kept yet.
type Found = Result<Option<Arc<Past>>, String>;

impl Shelf {
    pub fn new(directory: &Path) -> Self {
        Self {
            directory: directory.to_owned(),
            read: Mutex::default(),
        }
    }

    /// The past of a unit up to `now`, or why it cannot be read, in a sentence. It may take its time: one
    /// is read after the other.
    pub fn past(&self, unit: &str, span: Span, now: Wall) -> Found {
        // What a reader that panicked left behind is as good as before.
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        read.retain(|read| read.at.elapsed() < KEPT);
        let known = |read: &&Read| read.unit == unit && read.span == span;
        if let Some(read) = read.iter().find(known) {
            return read.past.clone();
        }
        let from = span.length().map_or(Wall(0), |length| {
            let length = i64::try_from(length.as_millis()).unwrap_or(i64::MAX);
            Wall(now.0.saturating_sub(length))
        });
        let past = store::past(&self.directory, unit, from, Wall(now.0 + 1));
        let past = past.map(|past| past.map(Arc::new)).map_err(|error| {
            tracing::warn!("the page cannot show the past: {error}");
            error.to_string()
        });
        read.push(Read {
            unit: unit.to_owned(),
            span,
            at: Instant::now(),
            past: past.clone(),
        });
        past
    }
}
