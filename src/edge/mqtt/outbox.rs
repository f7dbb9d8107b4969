//! What is to be published: a table of states (the newest of each topic waits) and a queue of
//! events (each counts). Everything stays here until the broker has acknowledged it, so nothing
//! depends on the client's own queues, which a lost connection empties. Knows nothing of the
//! client.

use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque};

use super::Presence;
use crate::wire::Outgoing;

/// What a letter is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Subject {
    /// The message to ourselves that follows what the broker had kept for us.
    Marker,
    /// The state of a topic.
    State(String),
    /// An event, by its number.
    Event(u64),
    /// What is said first, by its place in that list.
    Opening(usize),
    /// That we are here, likewise.
    Here(usize),
    /// That we leave, likewise.
    Away(usize),
}

/// Something to publish now.
#[derive(Debug)]
pub(super) struct Letter {
    pub(super) subject: Subject,
    pub(super) message: Outgoing,
}

#[derive(Debug)]
struct State {
    payload: String,
    place: Place,
}

/// Where the newest payload of a topic is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    /// In the queue of dirty topics.
    Waiting,
    /// On its way to the broker.
    Travelling,
    /// Here; an older one is on its way to the broker.
    Overtaken,
    /// At the broker.
    Delivered,
}

/// What is to be published, and how far each is.
#[derive(Debug)]
pub(super) struct Outbox {
    presence: Presence,
    marker_topic: String,
    window: usize,
    event_limit: usize,
    states: BTreeMap<String, State>,
    /// Topics that wait, oldest first; never one that travels.
    dirty: VecDeque<String>,
    events: VecDeque<(u64, Outgoing)>,
    /// That many events at the front travel.
    events_travelling: usize,
    next_event: u64,
    /// Events that are never dropped, and whose delivery is told.
    followed: BTreeSet<u64>,
    marker: Option<String>,
    /// How much of what is said first was said on this connection.
    opened: usize,
    /// How much was said of our being here; `None` while nothing is to be said of it.
    here: Option<usize>,
    /// States to go before that may be said on this connection.
    states_before_here: usize,
    is_leaving: bool,
    /// How much of our leaving was said, and how much of it the broker has.
    away: usize,
    away_delivered: usize,
    said_goodbye: bool,
    /// Given to the client, which has not numbered them yet.
    handed: VecDeque<Subject>,
    /// Numbered by the client, not yet acknowledged.
    numbered: HashMap<u16, Subject>,
}

impl Outbox {
    pub(super) fn new(
        presence: Presence,
        marker_topic: String,
        window: usize,
        event_limit: usize,
    ) -> Self {
        Self {
            presence,
            marker_topic,
            window,
            event_limit,
            states: BTreeMap::new(),
            dirty: VecDeque::new(),
            events: VecDeque::new(),
            events_travelling: 0,
            next_event: 0,
            followed: BTreeSet::new(),
            marker: None,
            opened: 0,
            here: None,
            states_before_here: 0,
            is_leaving: false,
            away: 0,
            away_delivered: 0,
            said_goodbye: false,
            handed: VecDeque::new(),
            numbered: HashMap::new(),
        }
    }

    /// The next event is never dropped, and its delivery is told under this number.
    pub(super) fn follow_next(&mut self) -> u64 {
        self.followed.insert(self.next_event);
        self.next_event
    }

    /// Takes a message; tells how many waiting events had to be dropped for it.
    pub(super) fn put(&mut self, message: Outgoing) -> usize {
        if message.retain {
            self.put_state(message.topic, message.payload);
            return 0;
        }
        self.events.push_back((self.next_event, message));
        self.next_event += 1;
        let waiting = self.events.len() - self.events_travelling;
        if waiting <= self.event_limit + self.followed.len() {
            return 0;
        }
        let mut waiting = self.events.iter().enumerate().skip(self.events_travelling);
        let oldest = waiting.find(|(_, (number, _))| !self.followed.contains(number));
        let oldest = oldest.map(|(place, _)| place);
        oldest.map_or(0, |place| usize::from(self.events.remove(place).is_some()))
    }

    fn put_state(&mut self, topic: String, payload: String) {
        let state = self.states.entry(topic.clone()).or_insert(State {
            payload: String::new(),
            place: Place::Delivered,
        });
        state.payload = payload;
        match state.place {
            Place::Waiting | Place::Overtaken => {}
            Place::Travelling => state.place = Place::Overtaken,
            Place::Delivered => {
                state.place = Place::Waiting;
                self.dirty.push_back(topic);
            }
        }
    }

    /// A new connection: nothing that travelled arrived, what is said first is said
    /// again, then all states, then that we are here.
    pub(super) fn begin(&mut self, marker: Option<String>) {
        self.handed.clear();
        self.numbered.clear();
        self.events_travelling = 0;
        self.marker = marker;
        for state in self.states.values_mut() {
            state.place = Place::Waiting;
        }
        self.dirty = self.states.keys().cloned().collect();
        self.opened = 0;
        (self.away, self.away_delivered) = (0, 0);
        self.states_before_here = self.dirty.len();
        self.say_online();
    }

    /// Says that we are here (again).
    pub(super) fn say_online(&mut self) {
        self.here = Some(0);
    }

    /// All that belongs to our being here was put down: it may be said when that is on its way.
    pub(super) fn ready(&mut self) {
        self.presence.is_held = false;
        self.states_before_here = self.dirty.len();
    }

    /// Says that we leave when all else is on its way, and that we are here no more.
    pub(super) fn say_offline(&mut self) {
        self.is_leaving = true;
    }

    /// We shall leave without a word.
    pub(super) fn stay_silent(&mut self) {
        self.presence.away.clear();
    }

    /// Whether nothing is said of our leaving.
    pub(super) fn is_silent(&self) -> bool {
        self.presence.away.is_empty()
    }

    /// Whether the broker has all of our leaving; who says nothing of it has left when all else is said.
    pub(super) fn said_goodbye(&self) -> bool {
        let nothing_to_say = || {
            self.is_leaving
                && self.is_silent()
                && self.travelling() == 0
                && self.waiting() == (0, 0)
        };
        self.said_goodbye || nothing_to_say()
    }

    /// The next word on our being here, if its time has come.
    fn next_here(&self) -> Option<Letter> {
        let waits = self.presence.is_held || self.is_leaving || self.states_before_here > 0;
        let place = self.here.filter(|_| !waits)?;
        let message = self.presence.here.get(place)?.clone();
        let subject = Subject::Here(place);
        Some(Letter { subject, message })
    }

    /// What to publish next, while fewer than the window travel.
    pub(super) fn next(&self) -> Option<Letter> {
        if self.travelling() >= self.window {
            return None;
        }
        if let Some(marker) = &self.marker {
            return Some(letter(Subject::Marker, &self.marker_topic, marker, false));
        }
        if let Some(message) = self.presence.opening.get(self.opened) {
            return Some(Letter {
                subject: Subject::Opening(self.opened),
                message: message.clone(),
            });
        }
        if let Some((number, message)) = self.events.get(self.events_travelling) {
            return Some(Letter {
                subject: Subject::Event(*number),
                message: message.clone(),
            });
        }
        if let Some(word) = self.next_here() {
            return Some(word);
        }
        if let Some(topic) = self.dirty.front() {
            let payload = self.states.get(topic).map_or("", |state| &state.payload);
            let subject = Subject::State(topic.clone());
            return Some(letter(subject, topic, payload, true));
        }
        let away = self
            .presence
            .away
            .get(self.away)
            .filter(|_| self.is_leaving && !self.said_goodbye)?;
        Some(Letter {
            subject: Subject::Away(self.away),
            message: away.clone(),
        })
    }

    /// The letter of [`Outbox::next`] was taken by the client.
    pub(super) fn handed(&mut self, subject: Subject) {
        match &subject {
            Subject::Marker => self.marker = None,
            Subject::Event(_) => self.events_travelling += 1,
            Subject::Opening(place) => self.opened = place + 1,
            Subject::Here(place) => {
                self.here = (place + 1 < self.presence.here.len()).then_some(place + 1);
            }
            Subject::Away(place) => self.away = place + 1,
            Subject::State(topic) => {
                self.dirty.pop_front();
                self.states_before_here = self.states_before_here.saturating_sub(1);
                if let Some(state) = self.states.get_mut(topic) {
                    state.place = Place::Travelling;
                }
            }
        }
        self.handed.push_back(subject);
    }

    /// The client has numbered the oldest letter it was given.
    pub(super) fn numbered(&mut self, packet_id: u16) {
        if let Some(subject) = self.handed.pop_front() {
            self.numbered.insert(packet_id, subject);
        }
    }

    /// The broker has that letter. Gives the number of an event that is followed.
    pub(super) fn delivered(&mut self, packet_id: u16) -> Option<u64> {
        match self.numbered.remove(&packet_id) {
            Some(Subject::State(topic)) => self.state_delivered(topic),
            Some(Subject::Event(number)) => {
                let place = (self.events.iter().take(self.events_travelling))
                    .position(|(other, _)| *other == number);
                if let Some(place) = place {
                    self.events.remove(place);
                    self.events_travelling -= 1;
                }
                return self.followed.take(&number);
            }
            Some(Subject::Away(_)) => {
                self.away_delivered += 1;
                self.said_goodbye = self.away_delivered >= self.presence.away.len();
            }
            Some(Subject::Opening(_) | Subject::Here(_) | Subject::Marker) | None => {}
        }
        None
    }

    fn state_delivered(&mut self, topic: String) {
        let Some(state) = self.states.get_mut(&topic) else {
            return;
        };
        if state.place == Place::Overtaken {
            state.place = Place::Waiting;
            self.dirty.push_back(topic);
        } else if state.payload.is_empty() {
            // Removed at the broker: nothing is left to be said again.
            self.states.remove(&topic);
        } else {
            state.place = Place::Delivered;
        }
    }

    /// Letters on their way.
    pub(super) fn travelling(&self) -> usize {
        self.handed.len() + self.numbered.len()
    }

    /// Letters not yet on their way: states and events.
    pub(super) fn waiting(&self) -> (usize, usize) {
        let opening = self.presence.opening.len().saturating_sub(self.opened);
        let states = self.dirty.len() + opening;
        (states, self.events.len() - self.events_travelling)
    }

    /// The events the broker has not acknowledged, oldest first.
    pub(super) fn take_events(&mut self) -> Vec<Outgoing> {
        self.events_travelling = 0;
        self.events.drain(..).map(|(_, message)| message).collect()
    }
}

fn letter(subject: Subject, topic: &str, payload: &str, retain: bool) -> Letter {
    Letter {
        subject,
        message: Outgoing {
            topic: topic.to_owned(),
            payload: payload.to_owned(),
            retain,
        },
    }
}

#[cfg(test)]
mod tests;
