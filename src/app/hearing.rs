//! The loop's part in what the broker brings: messages, and how the connection and what we sent fare.

use super::App;
use crate::{
    core::{Arrival, Keep, Packet},
    edge::mqtt::{FromBroker, Message},
    installation::Incoming,
};

impl App {
    /// The broker has a notice: it need not be kept any more.
    fn delivered(&mut self, letter: u64) {
        if let Some((unit, number)) = self.posted.remove(&letter) {
            self.installation.delivered(&unit, number);
            self.keeper.note(Keep::Now, None);
        }
    }

    pub(super) fn take(&mut self, item: FromBroker) {
        self.tell_manager(&item);
        match item {
            FromBroker::Message(message) => self.hear(message),
            FromBroker::Delivered { letter } => self.delivered(letter),
            // The session has logged both, with what to do about it.
            FromBroker::Connected { .. } => {
                self.connection_since = self.clock.now().date();
                self.note_back();
            }
            FromBroker::Disconnected { reason } => {
                self.connection_since = self.clock.now().date();
                self.note_away(&reason);
                if !self.session.health().polling {
                    self.lost = Some(reason);
                }
            }
            FromBroker::Unsubscribed { filter } => {
                self.unwanted.remove(&filter);
                if self.unwanted.is_empty() {
                    self.keeper
                        .note_subscriptions(self.installation.subscriptions());
                }
            }
        }
    }

    fn hear(&mut self, message: Message) {
        self.heard += 1;
        let arrival = if message.retained {
            Arrival::Retained
        } else if message.late {
            Arrival::Late
        } else {
            Arrival::Live
        };
        let packet = (message.packet_id != 0).then_some(Packet {
            id: message.packet_id,
            duplicate: message.duplicate,
        });
        let incoming = Incoming {
            topic: &message.topic,
            payload: &message.payload,
            arrival,
            packet,
        };
        let keep = self.take_in(incoming);
        match (keep, message.receipt) {
            (Keep::Now, receipt) => self.keeper.note(Keep::Now, receipt),
            // What changed nothing that could not be had again need not wait for the store: the
            // broker keeps only so many messages without a receipt on their way.
            (_, Some(receipt)) => self.session.acknowledge(receipt),
            (keep, None) => self.keeper.note(keep, None),
        }
        self.note(Keep::Nothing);
    }
}
