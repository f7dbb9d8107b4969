//! The loop's part in what hubs are told in steps, and in what the broker is to forget.

use std::collections::BTreeSet;

use super::App;
use crate::{config::Publish, installation::Installation};

impl App {
    /// What hubs are told in steps waits for each step to arrive.
    pub(super) fn go_on_announcing(&mut self) {
        if self.installation.announcer().awaits_delivery() && self.is_delivered() {
            self.installation.announcement_delivered(self.clock.now());
        }
    }

    /// Whether something goes on once the broker has everything.
    pub(super) fn waits_for_the_broker(&self) -> bool {
        let announcer = self.installation.announcer();
        let forgets = !self.steps_done || (!self.said_farewell && !announcer.owes_farewell());
        announcer.awaits_delivery() || (announcer.is_done() && forgets)
    }

    /// Whether the broker has everything.
    pub(super) fn is_delivered(&self) -> bool {
        let health = self.session.health();
        self.installation.is_drained()
            && health.connected
            && health.states_waiting == 0
            && health.in_flight == 0
    }

    /// Once hubs were told of all that left, those that were away included, it need not be remembered.
    fn forget_what_left(&mut self) {
        let announcer = self.installation.announcer();
        if !self.said_farewell && announcer.is_done() && !announcer.owes_farewell() {
            self.said_farewell = self.is_delivered();
            if self.said_farewell {
                self.keeper.note_announced(self.installation.announced());
            }
        }
    }

    /// Once the broker has taken everything, the removed topics need not be remembered.
    pub(super) fn forget_ghosts(&mut self) {
        self.forget_what_left();
        if self.steps_done && self.ghosts_sent || !self.is_delivered() {
            return;
        }
        let steps_done = self.installation.announcer().is_done();
        if steps_done && !self.steps_done {
            self.in_steps.clear();
        } else if self.ghosts_sent {
            return;
        }
        self.ghosts_sent = true;
        self.steps_done = steps_done;
        let mut topics = retained_topics(&self.installation, &self.places);
        topics.extend(self.in_steps.iter().cloned());
        self.keeper.note_retained(topics);
    }
}

/// Every topic on which we leave a retained message.
pub(super) fn retained_topics(installation: &Installation, publish: &Publish) -> BTreeSet<String> {
    let mut topics = installation.retained_topics();
    topics.extend([publish.status_topic(), publish.store_topic()]);
    topics
}
