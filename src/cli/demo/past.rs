//! The past that the demo opens with: the household's messages through the same [`Installation`] and
//! the same store as the service's, on a clock of its own. Nothing is published, and no notice of the
//! past is sent.

use std::{path::Path, time::Duration};

use tokio::sync::oneshot;

use crate::{
    config::{Discovery, Settings},
    core::{Arrival, Event, EventKind, UnitState},
    edge::store::{Checkpoint, Store, StoreError},
    installation::{Incoming, Installation},
    keeper::gather,
    simulation::Household,
    time::{Mono, Now, Wall},
};

const DAY: f64 = 86_400.0;
/// What is long past is kept as means of hours and days, so it need not be looked at every minute.
const LONG_AGO: Duration = Duration::from_secs(300);
const LATELY: Duration = Duration::from_secs(60);
/// The store keeps samples as they came for three days.
const LATELY_DAYS: f64 = 3.5;
/// So much is written at once: many samples cost little more than a few.
const WRITTEN_DAYS: f64 = 5.0;

/// Why a past was not played to its end.
#[derive(Debug, thiserror::Error)]
pub enum PastError {
    /// It could not be kept.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Whoever looked on has seen enough.
    #[error("the past was broken off")]
    BrokenOff,
}

/// What happened in a past.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Played {
    /// Runs that ended.
    pub runs: u64,
    /// Everything else that happened, in its order.
    pub events: Vec<Event>,
    /// Sentences of the alerts that are active at its end.
    pub active: Vec<String>,
}

/// Plays the household's first `days` into a new store in `directory`; it began at `began`. `go_on` is
/// asked after each day, given how many are over, and breaks off with `false`. Blocks.
///
/// # Errors
/// When the store cannot be opened or written, or `go_on` has broken off; what was written stays.
pub fn play(
    settings: &Settings,
    directory: &Path,
    household: &mut Household,
    (began, days): (Wall, u32),
    mut go_on: impl FnMut(u32) -> bool,
) -> Result<Played, PastError> {
    let (store, _) = Store::open(directory)?;
    let mut past = Past::new(settings, store, began);
    household.unit.hurry();
    for day in 1..=days {
        if f64::from(days - day) < LATELY_DAYS {
            past.installation.sample_only(LATELY);
        }
        past.live(household, f64::from(day) * DAY);
        if f64::from(day) % WRITTEN_DAYS == 0.0 {
            past.write()?;
        }
        if !go_on(day) {
            return Err(PastError::BrokenOff);
        }
    }
    household.unit.take_time();
    past.end()
}

struct Past {
    installation: Installation,
    store: Store,
    /// The write under way.
    writing: Option<oneshot::Receiver<Result<(), StoreError>>>,
    began: Wall,
    played: Played,
}

impl Past {
    fn new(settings: &Settings, store: Store, began: Wall) -> Self {
        let mut quiet = settings.clone();
        quiet.hub.discovery = Discovery::Off;
        quiet.homie = None;
        let start = Now {
            mono: Mono(0),
            wall: began,
        };
        let mut installation = Installation::new(&quiet, |_| UnitState::default(), start);
        installation.sample_only(LONG_AGO);
        Self {
            installation,
            store,
            writing: None,
            began,
            played: Played::default(),
        }
    }

    fn at(&self, seconds: f64) -> Now {
        let milliseconds = (seconds * 1000.0).round() as u64;
        let passed = i64::try_from(milliseconds).unwrap_or(i64::MAX);
        Now {
            mono: Mono(milliseconds),
            wall: Wall(self.began.0.saturating_add(passed)),
        }
    }

    fn live(&mut self, household: &mut Household, until: f64) {
        while household.unit.plant.seconds() < until - 1e-6 {
            let messages = household.go_on(until);
            let now = self.at(household.unit.plant.seconds());
            for message in messages {
                let incoming = Incoming {
                    topic: &message.topic,
                    payload: message.payload.as_bytes(),
                    arrival: Arrival::Live,
                    packet: None,
                };
                self.installation.hear(now, incoming);
            }
        }
        self.installation.advance(self.at(until));
        self.note();
    }

    fn note(&mut self) {
        while self.installation.drain().is_some() {}
        for (_, event) in self.installation.take_events() {
            match event.event {
                EventKind::RunEnded => self.played.runs += 1,
                EventKind::RunStarted => {}
                EventKind::AlertRaised
                | EventKind::AlertCleared
                | EventKind::AlertReminded
                | EventKind::BaselineSet
                | EventKind::CommandDone
                | EventKind::CommandRefused
                | EventKind::CountOdd
                | EventKind::HoldTestEnded
                | EventKind::NoReading
                | EventKind::StageReplaced => self.played.events.push(event),
            }
        }
    }

    /// Hands over what changed; waits for the write before.
    fn write(&mut self) -> Result<(), StoreError> {
        let mut checkpoint = Checkpoint::default();
        let gathered = gather(&mut self.installation, &mut checkpoint, true);
        checkpoint.samples = gathered.samples;
        for (unit, notice) in gathered.notices {
            // Nobody wants to be told today of what was the matter months ago.
            self.installation.delivered(&unit, notice.number);
        }
        self.wait()?;
        self.writing = Some(self.store.save(checkpoint));
        Ok(())
    }

    fn wait(&mut self) -> Result<(), StoreError> {
        match self.writing.take() {
            Some(writing) => writing.blocking_recv().unwrap_or(Err(StoreError::Stopped)),
            None => Ok(()),
        }
    }

    fn end(mut self) -> Result<Played, PastError> {
        self.write()?;
        // Once more for the state without the notices that have been taken out of it.
        self.write()?;
        self.wait()?;
        self.store.close()?;
        let alerts = self.installation.units().flat_map(|unit| unit.alerts());
        self.played.active = alerts
            .filter(|alert| alert.is_active())
            .filter_map(|alert| alert.told().map(|seen| seen.sentence.clone()))
            .collect();
        Ok(self.played)
    }
}
