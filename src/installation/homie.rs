//! What is told by the Homie convention, and what is heard by it, when that is switched on. How devices
//! stand (`$state`) is the session's business.

use super::{Incoming, Installation};
use crate::{
    core::{Arrival, Keep},
    time::Now,
    wire::{
        Outgoing,
        homie::{self, commands},
    },
};

impl Installation {
    /// Whether every unit has said all its values once.
    #[must_use]
    pub fn has_told_all(&self) -> bool {
        self.seats.iter().all(|seat| seat.publisher.has_told_all())
    }

    /// Says what there is.
    pub(super) fn describe(&mut self) {
        let descriptions = self.descriptions();
        self.outgoing.extend(descriptions);
    }

    fn descriptions(&self) -> Vec<Outgoing> {
        let Some(homie) = &self.settings.homie else {
            return Vec::new();
        };
        let units = self.seats.iter();
        let units = units.map(|seat| homie::unit(homie, &seat.unit, seat.publisher.states()));
        std::iter::once(homie::service(&self.settings, homie))
            .chain(units)
            .collect()
    }

    /// Every topic of the convention on which a message of ours may stay.
    pub(super) fn homie_topics(&self) -> Vec<String> {
        let Some(homie) = &self.settings.homie else {
            return Vec::new();
        };
        let states = homie::states(&self.settings, homie, homie::INIT);
        let messages = states.into_iter().chain(self.descriptions());
        let values = self
            .seats
            .iter()
            .flat_map(|seat| seat.publisher.homie_topics());
        messages
            .map(|message| message.topic)
            .chain(values.map(str::to_owned))
            .collect()
    }

    /// Where the commands of a unit that takes any begin, by the convention: nothing else is heard there.
    #[must_use]
    pub fn homie_devices(&self) -> Vec<String> {
        let Some(homie) = &self.settings.homie else {
            return Vec::new();
        };
        let units = self.settings.units.iter();
        units
            .filter(|unit| unit.takes_commands)
            .map(|unit| {
                format!(
                    "{}{}/",
                    homie::base(homie),
                    homie::device_id(homie, &unit.id)
                )
            })
            .collect()
    }

    pub(super) fn homie_filters(&self) -> Vec<String> {
        let devices = self.homie_devices().into_iter();
        devices.map(|device| format!("{device}+/+/set")).collect()
    }

    /// A property was set: the same as the command on `do/…`.
    pub(super) fn hear_homie(&mut self, now: Now, message: Incoming) -> Option<Keep> {
        let homie = self.settings.homie.as_ref()?;
        let rest = message.topic.strip_prefix(&homie::base(homie))?;
        let rest = rest.strip_suffix("/set")?;
        let (device, place) = rest.split_once('/')?;
        let (node, property) = place.split_once('/')?;
        let mut units = self.settings.units.iter();
        let seat = units
            .position(|unit| unit.takes_commands && homie::device_id(homie, &unit.id) == device)?;
        let asked = commands::asked(
            self.settings.units.get(seat)?,
            node,
            property,
            message.payload,
        )?;
        let topic = format!("{}{rest}", homie::base(homie));
        match asked {
            Ok(asked) => {
                self.carry_out(seat, now, &asked.path, &asked.payload, message.arrival);
                if asked.is_moment && message.arrival != Arrival::Retained {
                    let payload = String::from_utf8_lossy(message.payload).into_owned();
                    self.outgoing.push_back(Outgoing {
                        topic,
                        payload,
                        retain: false,
                    });
                }
            }
            Err(reason) => {
                let taken = self.seats.get_mut(seat)?;
                taken.unit.refuse(now, place, reason);
                self.settle(seat, now);
            }
        }
        Some(Keep::Now)
    }
}
