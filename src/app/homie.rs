//! The loop's part in the Homie convention: a session of its own, for a session has one will and the main
//! one's is our status topic. It only publishes; commands are heard by the main session, with its care.

use std::{collections::BTreeSet, time::Duration};

use super::App;
use crate::{
    config::Settings,
    edge::mqtt::{self, FromBroker, Inbox, MqttError, Presence, Session, SessionOptions},
    wire::{Outgoing, homie},
};

/// The session for Homie.
pub(super) struct HomieSession {
    session: Session,
    inbox: Inbox,
    /// Where its topics begin.
    base: String,
    is_ready: bool,
}

impl HomieSession {
    /// Opens it, if it is wanted.
    pub(super) fn open(settings: &Settings) -> Result<Option<Self>, MqttError> {
        let Some(homie) = &settings.homie else {
            return Ok(None);
        };
        let broker = settings.broker.clone();
        let client_id = broker.client_id.as_ref().map_or_else(
            || mqtt::default_homie_client_id(&settings.publish),
            |id| format!("{id}-homie"),
        );
        let mut options = SessionOptions::new(broker, client_id, homie::status_topic(homie));
        options.keeps_session = false;
        let all = |word| homie::states(settings, homie, word);
        options.presence = Presence {
            // The service's own first: units may change only while it is not ready.
            opening: all(homie::INIT).into_iter().rev().collect(),
            here: all(homie::READY),
            is_held: true,
            away: all(homie::DISCONNECTED),
            will: homie::LOST.to_owned(),
        };
        let (session, inbox) = mqtt::open(options)?;
        Ok(Some(Self {
            session,
            inbox,
            base: homie::base(homie),
            is_ready: false,
        }))
    }

    /// Takes a message that is its; gives back any other.
    pub(super) fn publish(&self, message: Outgoing) -> Option<Outgoing> {
        if !message.topic.starts_with(&self.base) {
            return Some(message);
        }
        self.session.publish(message);
        None
    }

    /// Says that all is there once every value was said.
    pub(super) fn look(&mut self, has_told_all: bool) {
        if has_told_all {
            self.is_ready = true;
            self.session.ready();
        }
    }

    /// Why it ended by itself, if it did.
    pub(super) fn lost(&self, item: FromBroker) -> Option<String> {
        match item {
            FromBroker::Disconnected { reason } if !self.session.health().polling => Some(reason),
            // The session has logged them; nothing else comes to one that hears nothing.
            FromBroker::Connected { .. }
            | FromBroker::Delivered { .. }
            | FromBroker::Disconnected { .. }
            | FromBroker::Message(_)
            | FromBroker::Unsubscribed { .. } => None,
        }
    }
}

impl App {
    pub(super) fn take_of_homie(&mut self, item: FromBroker) {
        let lost = self.homie.as_ref().and_then(|homie| homie.lost(item));
        if lost.is_some() {
            self.lost = lost;
        }
    }

    /// Hands over what is to be published, each to its session.
    pub(super) fn publish(&mut self) {
        while let Some(message) = self.installation.drain() {
            if let Some(message) = self.hold_sums(message) {
                self.send(message);
            }
        }
        if let Some(homie) = self.homie.as_mut().filter(|homie| !homie.is_ready) {
            homie.look(self.installation.has_told_all() && self.sums.are_told());
        }
    }

    pub(super) fn send(&self, message: Outgoing) {
        send(self.homie.as_ref(), &self.session, message);
    }
}

/// Hands a message to the session it belongs to.
pub(super) fn send(homie: Option<&HomieSession>, session: &Session, message: Outgoing) {
    let message = match homie {
        Some(homie) => homie.publish(message),
        None => Some(message),
    };
    if let Some(message) = message {
        session.publish(message);
    }
}

/// The next that comes; never without such a session.
pub(super) async fn next_item(homie: &mut Option<HomieSession>) -> FromBroker {
    match homie {
        Some(homie) => homie.inbox.receive().await,
        None => std::future::pending().await,
    }
}

/// Says `disconnected`, and leaves.
pub(super) async fn leave(homie: Option<HomieSession>, limit: Duration) {
    if let Some(homie) = homie {
        homie.session.close(limit).await;
    }
}

/// What must be cleared before all else of topics that left the configuration: a device is removed by its
/// `$state`.
pub(super) fn removals<'a>(ghosts: impl Iterator<Item = &'a String>) -> Vec<Outgoing> {
    let states = ghosts.filter(|topic| homie::is_state(topic));
    states
        .map(|topic| Outgoing {
            topic: topic.clone(),
            payload: String::new(),
            retain: true,
        })
        .collect()
}

/// The others.
pub(super) fn other_than_removals<'a>(
    ghosts: impl Iterator<Item = &'a String>,
) -> BTreeSet<String> {
    ghosts
        .filter(|topic| !homie::is_state(topic))
        .cloned()
        .collect()
}
