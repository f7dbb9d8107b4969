//! Which topics are heard, which are written, and on which every message counts.

use std::collections::BTreeSet;

use super::{Installation, Seat};
use crate::{
    config::{Discovery, Measure, SensorSettings},
    wire::document,
};

impl Installation {
    /// Every topic filter to subscribe to.
    #[must_use]
    pub fn subscriptions(&self) -> BTreeSet<String> {
        let commands = self.command_topics();
        let commands = commands.map(|topic| format!("{topic}#"));
        let hub = &self.settings.hub;
        let birth = (hub.discovery != Discovery::Off).then(|| hub.birth_topic.clone());
        let listeners = self.listeners.keys().cloned();
        listeners
            .chain(commands)
            .chain(birth)
            .chain(self.homie_filters())
            .collect()
    }

    /// Where the topics of commands begin, of each unit that takes any.
    pub fn command_topics(&self) -> impl Iterator<Item = String> {
        let units = self.settings.units.iter();
        let open = units.filter(|unit| unit.takes_commands);
        open.map(|unit| format!("{}/{}/do/", self.prefix(), unit.id))
    }

    /// Every topic we may leave a retained message on.
    #[must_use]
    pub fn retained_topics(&self) -> BTreeSet<String> {
        let topics = |seat: &Seat| {
            let states = seat.publisher.states().iter();
            states
                .map(|state| document::topic(self.prefix(), &seat.unit, *state))
                .collect::<Vec<_>>()
        };
        let devices = self.devices();
        let announcements = devices.flat_map(|device| device.messages(&self.settings.hub));
        let states = self.seats.iter().flat_map(topics);
        states
            .chain(announcements.map(|message| message.topic))
            .chain(self.homie_topics())
            .collect()
    }

    /// Every topic that tells of sums: its messages leave only once what they tell is safe, so that a crash
    /// makes none fall.
    #[must_use]
    pub fn topics_of_sums(&self) -> BTreeSet<String> {
        let seats = self.seats.iter();
        let topics = seats.flat_map(|seat| seat.publisher.topics_of_sums(&seat.unit));
        topics.collect()
    }

    /// Topics on which every message counts, so that none may give way to a newer one.
    #[must_use]
    pub fn precious_topics(&self) -> BTreeSet<String> {
        let counts =
            |sensor: &&SensorSettings| matches!(sensor.measure, Measure::Increments { .. });
        let units = self.seats.iter().map(|seat| seat.unit.settings());
        let topics = units.flat_map(|unit| {
            let sensors = unit.sensors.iter().filter(counts);
            sensors.map(|sensor| sensor.topic.of(&unit.id).into_owned())
        });
        topics.collect()
    }
}
