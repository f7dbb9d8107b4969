//! Sums that only grow leave the house only once they are on disk: whoever adds up what they grow by would
//! take a sum that a crash threw back for a new beginning, and count it twice.

use std::collections::BTreeSet;

use super::App;
use crate::{
    config::Settings,
    core::Keep,
    installation::Installation,
    time::Now,
    wire::{
        Outgoing, homie,
        openmetrics::{self, Family},
    },
};

/// What is told of sums.
pub(super) struct Sums {
    /// Where the topics of units begin, by our own convention and by Homie's.
    bases: Vec<String>,
    /// The states that tell of some: the ends of their topics, the same of every unit.
    places: BTreeSet<String>,
    /// The topics of those that were not told since the start.
    untold: BTreeSet<String>,
    /// Those for scrapers that are on disk, and those that are being written, if scrapers may ask.
    durable: Option<Vec<Family>>,
    writing: Vec<Family>,
}

impl Sums {
    /// What was kept is on disk.
    pub(super) fn new(installation: &Installation, settings: &Settings, now: Now) -> Self {
        let untold = installation.topics_of_sums();
        let homie = settings.homie.as_ref().map(homie::base);
        let own = format!("{}/", settings.publish.prefix);
        let bases: Vec<String> = std::iter::once(own).chain(homie).collect();
        let places = untold.iter().filter_map(|topic| place(&bases, topic));
        let places = places.map(str::to_owned).collect();
        let durable = settings
            .metrics
            .is_some()
            .then(|| openmetrics::sums(installation.units(), now));
        Self {
            untold,
            places,
            bases,
            durable,
            writing: Vec::new(),
        }
    }

    fn are_on(&self, topic: &str) -> bool {
        place(&self.bases, topic).is_some_and(|place| self.places.contains(place))
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

/// What stands behind the unit in a topic.
fn place<'t>(bases: &[String], topic: &'t str) -> Option<&'t str> {
    let mut below = bases.iter().filter_map(|base| topic.strip_prefix(base));
    Some(below.next()?.split_once('/')?.1)
}

impl App {
    /// Holds a message that tells of sums, gives back any other. The first need not wait for long.
    pub(super) fn hold_sums(&mut self, message: Outgoing) -> Option<Outgoing> {
        if !self.sums.are_on(&message.topic) {
            return Some(message);
        }
        let is_first = self.sums.untold.contains(&message.topic);
        let keep = if is_first { Keep::Now } else { Keep::Soon };
        self.keeper.hold(message, keep);
        None
    }

    /// Writes what changed: with it all that the held messages tell of.
    pub(super) fn begin_checkpoint(&mut self) {
        let sums = if self.sums.durable.is_none() {
            self.installation.keep_told();
            Vec::new()
        } else {
            self.installation.keep_all();
            openmetrics::sums(self.installation.units(), self.clock.now())
        };
        if self.keeper.begin(&mut self.installation) {
            self.sums.writing = sums;
        }
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
