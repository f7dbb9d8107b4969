//! All units of one configuration: messages in, messages out, on a clock that is given.
//!
//! This is what the service, the replay of a log and the tests drive alike. It does no I/O. What
//! is due between two messages happens at its own moment, whenever the caller comes by: the same
//! messages at the same times give the same output, live or replayed.

mod commands;
mod homie;
mod hubs;
mod keeping;
mod readings;
mod topics;

use std::{
    collections::{BTreeSet, HashMap, VecDeque},
    sync::Arc,
    time::Duration,
};

use readings::{availability, moment, observation, plain_observation};

use crate::{
    announcer::Announcer,
    config::{Discovery, Settings},
    core::{
        Arrival, Entry, Event, Keep, Observation, Output, Packet, RunRecord, StageRecord, Unit,
        UnitState,
        alert::{Episode, Notice},
    },
    publisher::Publisher,
    sampler::Sample,
    time::{Mono, Now},
    wire::{
        Outgoing, Text,
        document::{self, State},
        payload::Payload,
    },
};

/// A message from the broker.
#[derive(Clone, Copy, Debug)]
pub struct Incoming<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// Its payload.
    pub payload: &'a [u8],
    /// How it reached us.
    pub arrival: Arrival,
    /// The packet it came in, if it was sent with QoS 1.
    pub packet: Option<Packet>,
}

/// Something to keep for ever.
#[derive(Clone, Debug, PartialEq)]
pub enum Record {
    /// How an episode of an alert stands; the unit's id. It takes the place of what was kept of that number,
    /// with the state taken after it was made.
    Alert(String, Box<Episode>),
    /// An entry of the maintenance log; the unit's id.
    Entry(String, Box<Entry>),
    /// A person is to be told; the unit's id. It may be handed on once the state taken after it was made
    /// is durable, and is kept in it until [`Installation::delivered`].
    Notice(String, Box<Notice>),
    /// A run that ended; the unit's id.
    Run(String, Box<RunRecord>),
    /// Figures over a while; the unit's id.
    Sample(String, Sample),
    /// A stage that was replaced; the unit's id.
    Stage(String, Box<StageRecord>),
}

/// All units of one configuration.
pub struct Installation {
    settings: Settings,
    announcer: Announcer,
    seats: Vec<Seat>,
    listeners: HashMap<String, Arc<[Listener]>>,
    /// When each unit wants to be looked at next.
    due: BTreeSet<(Mono, usize)>,
    outgoing: VecDeque<Outgoing>,
    records: Vec<Record>,
    events: Vec<(String, Event)>,
    /// Room to write a state down in.
    text: Text,
}

/// Room for messages that is not given back.
const ROOM: usize = 1024;
/// So many units may repeat what they told at the same moment; of more each has its own.
const TOGETHER: usize = 20;

struct Seat {
    unit: Unit,
    publisher: Publisher,
    due: Mono,
}

#[derive(Clone, Copy, Debug)]
enum Listener {
    Availability { seat: usize, sensor: usize },
    Sensor { seat: usize, sensor: usize },
}

impl Installation {
    /// The units as they were kept; `kept` gives a unit's state by its id.
    pub fn new(settings: &Settings, mut kept: impl FnMut(&str) -> UnitState, now: Now) -> Self {
        let mut listeners: HashMap<String, Vec<Listener>> = HashMap::new();
        let mut seats: Vec<Seat> = Vec::with_capacity(settings.units.len());
        for (seat, unit) in settings.units.iter().enumerate() {
            for (sensor, sensing) in unit.sensors.iter().enumerate() {
                let topic = sensing.topic.of(&unit.id).into_owned();
                let own = listeners.entry(topic).or_default();
                own.push(Listener::Sensor { seat, sensor });
                if let Some(availability) = &sensing.availability {
                    let topic = availability.topic.of(&unit.id).into_owned();
                    let own = listeners.entry(topic).or_default();
                    own.push(Listener::Availability { seat, sensor });
                }
            }
            let unit = Unit::new(Arc::new(unit.clone()), kept(&unit.id), now);
            let publisher = Publisher::new(&unit, &settings.publish, now)
                .alike(seats.last().map(|seat| &seat.publisher))
                .with_homie(settings.homie.as_ref(), &unit);
            seats.push(Seat {
                unit,
                publisher,
                due: now.mono,
            });
        }
        let number = seats.len();
        if number > TOGETHER {
            for (index, seat) in seats.iter_mut().enumerate() {
                seat.publisher.take_turn(index, number, now);
            }
        }
        let mut installation = Self {
            announcer: match settings.hub.discovery {
                Discovery::Off => Announcer::default(),
                Discovery::Device | Discovery::Components => Announcer::new(seats.len(), now),
            },
            settings: settings.clone(),
            seats,
            listeners: listeners
                .into_iter()
                .map(|(topic, own)| (topic, own.into()))
                .collect(),
            due: BTreeSet::new(),
            outgoing: VecDeque::new(),
            records: Vec::new(),
            events: Vec::new(),
            text: Text::default(),
        };
        installation.describe();
        for seat in 0..installation.seats.len() {
            installation.settle(seat, now);
        }
        installation
    }

    /// From now on no state is published, and each unit is looked at this often for its samples: a past
    /// is played, of which only the records are wanted.
    pub fn sample_only(&mut self, every: Duration) {
        for seat in &mut self.seats {
            seat.publisher.sample_only(every);
        }
    }

    /// The units, in the order of the settings.
    pub fn units(&self) -> impl ExactSizeIterator<Item = &Unit> {
        self.seats.iter().map(|seat| &seat.unit)
    }

    /// Hears a message. Returns how soon the state must be kept because of it.
    pub fn hear(&mut self, now: Now, message: Incoming) -> Keep {
        self.advance(now);
        self.hear_birth(now, message);
        let command = self.hear_command(now, message);
        if let Some(keep) = command.or_else(|| self.hear_homie(now, message)) {
            return keep;
        }
        let Some(listeners) = self.listeners.get(message.topic).cloned() else {
            return Keep::Nothing;
        };
        let payload = Payload::new(message.payload);
        let mut keep = Keep::Nothing;
        // Listeners of one unit stand together: it looks when all of its sensors have heard the message.
        let mut hearing = None;
        for listener in listeners.iter().copied() {
            let (Listener::Availability { seat, sensor } | Listener::Sensor { seat, sensor }) =
                listener;
            let Some(taken) = self.seats.get_mut(seat) else {
                continue;
            };
            let Some(settings) = taken.unit.settings().sensors.get(sensor) else {
                continue;
            };
            let (observation, arrival) = match listener {
                Listener::Sensor { .. } => observation(settings, &payload, message.arrival, now),
                Listener::Availability { .. } => match availability(settings, &payload) {
                    Some(up) => (Observation::Available(up), message.arrival),
                    None => continue,
                },
            };
            let heard = taken
                .unit
                .hear(now, sensor, observation, arrival, message.packet);
            keep = keep.max(heard);
            if let Some(before) = hearing.replace(seat).filter(|before| *before != seat) {
                self.look(before, now);
            }
        }
        if let Some(seat) = hearing {
            self.look(seat, now);
        }
        keep
    }

    /// Hears sensors' plain values of one moment from a table, whatever their topics and pointers are: of each its
    /// unit and sensor, by their places in the settings, and the text.
    pub fn hear_readings<'a>(
        &mut self,
        now: Now,
        readings: impl IntoIterator<Item = (usize, usize, &'a str)>,
    ) {
        self.advance(now);
        let mut hearing = BTreeSet::new();
        for (unit, sensor, text) in readings {
            let Some(seat) = self.seats.get_mut(unit) else {
                continue;
            };
            let Some(settings) = seat.unit.settings().sensors.get(sensor) else {
                continue;
            };
            let observation = plain_observation(settings, text);
            seat.unit
                .hear(now, sensor, observation, Arrival::Live, None);
            hearing.insert(unit);
        }
        for unit in hearing {
            self.look(unit, now);
        }
    }

    /// When [`Installation::advance`] should be called if nothing is heard before.
    #[must_use]
    pub fn deadline(&self) -> Option<Mono> {
        let seats = self.due.first().map(|(at, _)| *at);
        seats.into_iter().chain(self.announcer.deadline()).min()
    }

    /// Does everything that is due by `now`, each thing at its own moment.
    pub fn advance(&mut self, now: Now) {
        while let Some(&(at, seat)) = self.due.first() {
            if at > now.mono {
                break;
            }
            self.announce(now, at);
            let moment = moment(now, at);
            let Some(taken) = self.seats.get_mut(seat) else {
                return;
            };
            // The next deadline lies ahead of this one, so this ends.
            if taken.unit.deadline() <= at {
                self.look(seat, moment);
            } else {
                self.settle(seat, moment);
            }
        }
        self.announce(now, now.mono);
    }

    fn prefix(&self) -> &str {
        &self.settings.publish.prefix
    }

    /// The next message to publish, if there is one.
    pub fn drain(&mut self) -> Option<Outgoing> {
        let next = self.outgoing.pop_front();
        if next.is_none() {
            self.outgoing.shrink_to(ROOM);
        }
        next
    }

    /// Whether every message was taken.
    #[must_use]
    pub fn is_drained(&self) -> bool {
        self.outgoing.is_empty()
    }

    /// What is to be kept for ever since last asked.
    pub fn take_records(&mut self) -> Vec<Record> {
        std::mem::take(&mut self.records)
    }

    /// What happened since last asked, by unit; each is published, too.
    pub fn take_events(&mut self) -> Vec<(String, Event)> {
        std::mem::take(&mut self.events)
    }

    /// A notice of that unit was handed over.
    pub fn delivered(&mut self, unit: &str, number: u64) {
        let mut seats = self.seats.iter_mut();
        if let Some(seat) = seats.find(|seat| seat.unit.settings().id == unit) {
            seat.unit.delivered(number);
        }
    }

    /// The message of a notice.
    #[must_use]
    pub fn message_of(&self, unit: &str, notice: &Notice) -> Outgoing {
        document::notice(self.prefix(), unit, notice)
    }

    /// Lets a unit look, and hands on what comes of it.
    fn look(&mut self, index: usize, now: Now) {
        if let Some(seat) = self.seats.get_mut(index) {
            seat.unit.tick(now);
            seat.publisher.stir();
            self.settle(index, now);
        }
    }

    /// Turns a unit's outputs into messages, publishes what is due, and notes its next deadline.
    fn settle(&mut self, index: usize, now: Now) {
        let Some(seat) = self.seats.get_mut(index) else {
            return;
        };
        while let Some(output) = seat.unit.drain() {
            let id = &seat.unit.settings().id;
            match output {
                Output::AlertChanged(alert) => seat.publisher.at_once(State::Alert(alert)),
                Output::AlertNoted(episode) => {
                    self.records.push(Record::Alert(id.clone(), episode));
                }
                Output::Event(event) => {
                    self.outgoing.push_back(document::event(
                        &self.settings.publish.prefix,
                        id,
                        &event,
                    ));
                    self.events.push((id.clone(), event));
                }
                Output::Logged(entry) => self.records.push(Record::Entry(id.clone(), entry)),
                Output::Notice(notice) => self.records.push(Record::Notice(id.clone(), notice)),
                Output::RunEnded(record) => {
                    seat.publisher.at_once(State::Run);
                    self.records.push(Record::Run(id.clone(), record));
                }
                Output::StageReplaced(record) => {
                    self.records.push(Record::Stage(id.clone(), record));
                }
            }
        }
        let (text, outgoing) = (&mut self.text, &mut self.outgoing);
        let sample = seat.publisher.publish(&seat.unit, now, text, outgoing);
        if let Some(sample) = sample {
            let id = seat.unit.settings().id.clone();
            self.records.push(Record::Sample(id, sample));
        }
        let due = seat
            .unit
            .deadline()
            .min(seat.publisher.deadline())
            .max(Mono(now.mono.0 + 1));
        if due != seat.due || !self.due.contains(&(due, index)) {
            self.due.remove(&(seat.due, index));
            self.due.insert((due, index));
            seat.due = due;
        }
    }
}
