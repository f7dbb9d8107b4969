//! Telling hubs what there is: what is announced, and when a hub's birth or a change asks for it.

use std::collections::BTreeSet;

use super::{Incoming, Installation, Seat, moment};
use crate::{
    announcer::{Announcer, Task},
    config::Discovery,
    core::Arrival,
    time::{Mono, Now},
    wire::hub::{
        self, Device,
        plan::{Announced, Before, announced, plan},
    },
};

impl Installation {
    /// Whole devices as hubs are told of them.
    #[must_use]
    pub fn announced(&self) -> Announced {
        let hub = &self.settings.hub;
        let devices = self.devices();
        // One by one: all devices of thousands of units at once would be more than the units.
        devices
            .flat_map(|device| announced(&[device], hub))
            .collect()
    }

    /// To be called before anything else: what was announced in an earlier life is taken back in
    /// order. Returns the topics that this clears away by itself.
    pub fn announced_before(&mut self, before: Before<'_>, now: Now) -> BTreeSet<String> {
        // Where nothing was announced before there is nothing to take back of what is there now.
        let is_new = before.announced.is_empty() && before.ghosts.is_empty();
        let devices: Vec<Device> = if is_new {
            Vec::new()
        } else {
            self.devices().collect()
        };
        let plan = plan(&devices, &self.settings.hub, self.prefix(), before);
        let removed = plan.removed_topics().map(str::to_owned).collect();
        self.announcer.change(plan, now);
        removed
    }

    /// How far hubs have been told what there is.
    #[must_use]
    pub fn announcer(&self) -> &Announcer {
        &self.announcer
    }

    /// The broker has everything that was drained so far.
    pub fn announcement_delivered(&mut self, now: Now) {
        self.announcer.delivered(now);
    }

    /// A hub that has started may have lost what it knew. Of what is not live the hub has heard since.
    pub(super) fn hear_birth(&mut self, now: Now, message: Incoming) {
        let hub = &self.settings.hub;
        if hub.discovery != Discovery::Off
            && message.arrival == Arrival::Live
            && message.topic == hub.birth_topic
            && message.payload == hub.birth_payload.as_bytes()
        {
            self.announcer.born(now);
        }
    }

    /// Tells hubs what is due by then.
    pub(super) fn announce(&mut self, now: Now, by: Mono) {
        while let Some((at, task)) = self.announcer.take(by) {
            match task {
                Task::Tell(messages) => self.outgoing.extend(messages),
                Task::Announce(0) => {
                    let service = hub::service(&self.settings);
                    self.outgoing.extend(service.messages(&self.settings.hub));
                }
                Task::Announce(number) => {
                    if let Some(seat) = self.seats.get(number - 1) {
                        let device = self.device(seat);
                        self.outgoing.extend(device.messages(&self.settings.hub));
                    }
                }
                Task::Repeat(seat) => {
                    let moment = moment(now, at);
                    if let Some(taken) = self.seats.get_mut(seat) {
                        taken.publisher.repeat(moment);
                    }
                    self.settle(seat, moment);
                }
            }
        }
    }

    fn device(&self, seat: &Seat) -> Device {
        hub::unit(&self.settings, &seat.unit, seat.publisher.states())
    }

    /// The service's own device, and the units'; none where hubs are told of none.
    pub(super) fn devices(&self) -> impl Iterator<Item = Device> {
        let is_told = self.settings.hub.discovery != Discovery::Off;
        let service = is_told.then(|| hub::service(&self.settings));
        let seats = if is_told { self.seats.as_slice() } else { &[] };
        let units = seats.iter().map(|seat| self.device(seat));
        service.into_iter().chain(units)
    }
}
