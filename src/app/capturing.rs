//! The loop's part in a log of what the service hears: with it a replay does what the service did. A
//! debugging aid that never stops the service.

use std::{collections::BTreeMap, fs::File, io};

use serde_json::Value;

use super::App;
use crate::{
    core::{Keep, UnitState},
    edge::recording::Recording,
    installation::Incoming,
    time::{Now, Wall},
};

/// The log, and since when the broker is away, and why.
pub(super) struct Capture {
    log: Recording<File>,
    away: Option<(Wall, String)>,
}

impl Capture {
    /// Begins with the state that was kept.
    pub(super) fn begin(
        mut log: Recording<File>,
        kept: &BTreeMap<String, UnitState>,
        now: Now,
    ) -> Option<Self> {
        let began = serde_json::to_value(kept)
            .map_err(io::Error::from)
            .and_then(|kept: Value| log.service_began(now, kept));
        told(began).then_some(Self { log, away: None })
    }
}

/// Whether it was written.
fn told(written: io::Result<()>) -> bool {
    if let Err(error) = &written {
        tracing::error!(
            "what is heard cannot be written to the log ({error}): nothing more is, and the log is whole up \
             to here"
        );
    }
    written.is_ok()
}

impl App {
    /// Does what is due, and tells by when; what was done when is part of the log.
    pub(super) fn advance(&mut self) -> Now {
        let now = self.clock.now();
        if self
            .installation
            .deadline()
            .is_some_and(|at| at <= now.mono)
        {
            self.capture(|capture| capture.log.looked(now));
        }
        self.installation.advance(now);
        now
    }

    /// Hears a message, and writes it down.
    pub(super) fn take_in(&mut self, incoming: Incoming) -> Keep {
        let now = self.clock.now();
        self.capture(|capture| capture.log.heard(now, &incoming));
        self.installation.hear(now, incoming)
    }

    /// The broker is away: what is sent meanwhile comes late, or never.
    pub(super) fn note_away(&mut self, why: &str) {
        let now = self.clock.now();
        self.capture(|capture| {
            capture.away = Some((now.wall, why.to_owned()));
            Ok(())
        });
    }

    /// The broker is there again.
    pub(super) fn note_back(&mut self) {
        let now = self.clock.now();
        self.capture(|capture| match capture.away.take() {
            Some((since, why)) => capture.log.gap(now, since, &why),
            None => Ok(()),
        });
    }

    /// The last look.
    pub(super) fn advance_and_end(&mut self) {
        let now = self.clock.now();
        self.note_back();
        self.capture(|capture| capture.log.ended(now));
        self.installation.advance(now);
    }

    fn capture(&mut self, write: impl FnOnce(&mut Capture) -> io::Result<()>) {
        if let Some(capture) = &mut self.capture
            && !told(write(capture))
        {
            self.capture = None;
        }
    }
}
