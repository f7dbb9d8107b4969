//! Sums that only grow leave the house only once they are on disk: whoever adds up what they grow by would
//! take a sum that a crash threw back for a new beginning, and count it twice.

use std::collections::BTreeSet;

use super::App;
use crate::{
    core::Keep,
    installation::Installation,
    time::Now,
    wire::{
        Outgoing,
        openmetrics::{self, Family},
    },
};

/// What is told of sums.
pub(super) struct Sums {
    /// The states that tell of some.
    topics: BTreeSet<String>,
    /// Those of them that were not told since the start.
    untold: BTreeSet<String>,
    /// Those for scrapers that are on disk, and those that are being written, if scrapers may ask.
    durable: Option<Vec<Family>>,
    writing: Vec<Family>,
}

impl Sums {
    /// What was kept is on disk.
    pub(super) fn new(installation: &Installation, is_scraped: bool, now: Now) -> Self {
        let topics = installation.topics_of_sums();
        let durable = is_scraped.then(|| openmetrics::sums(installation.units(), now));
        Self {
            untold: topics.clone(),
            topics,
            durable,
            writing: Vec::new(),
        }
    }

    /// Whether all were told once.
    pub(super) fn are_told(&self) -> bool {
        self.untold.is_empty()
    }

    /// Those for scrapers.
    pub(super) fn durable(&self) -> &[Family] {
        self.durable.as_deref().unwrap_or_default()
    }
}

impl App {
    /// Holds a message that tells of sums, gives back any other. The first need not wait for long.
    pub(super) fn hold_sums(&mut self, message: Outgoing) -> Option<Outgoing> {
        if !self.sums.topics.contains(&message.topic) {
            return Some(message);
        }
        let is_first = self.sums.untold.contains(&message.topic);
        let keep = if is_first { Keep::Now } else { Keep::Soon };
        self.keeper.hold(message, keep);
        None
    }

    /// Writes what changed: with it all that the held messages tell of.
    pub(super) fn begin_checkpoint(&mut self) {
        self.installation.keep_all();
        if self.sums.durable.is_some() {
            self.sums.writing = openmetrics::sums(self.installation.units(), self.clock.now());
        }
        self.keeper.begin(&mut self.installation);
    }

    /// These are on disk.
    pub(super) fn release_sums(&mut self, held: Vec<Outgoing>, are_durable: bool) {
        if are_durable && self.sums.durable.is_some() {
            self.sums.durable = Some(std::mem::take(&mut self.sums.writing));
        }
        for message in held {
            self.sums.untold.remove(&message.topic);
            self.send(message);
        }
    }
}
