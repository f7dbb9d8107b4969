//! The MQTT session against a real, private Mosquitto that is killed, frozen and started again, and
//! against an imitation where a broker must misbehave. Every test fails when the rule it names is
//! taken out of `edge::mqtt`; the rules were found by measuring what goes wrong without them.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/mod.rs"]
mod support;

mod connection;
mod identity;
mod publishing;
mod receiving;
mod sizes;

use std::{sync::Arc, time::Duration};

use permeated::{
    config::Broker,
    edge::mqtt::{FromBroker, Inbox, Message, Session, SessionOptions, Timings, open},
    wire::Outgoing,
};

/// Nothing here takes that long unless something is broken.
const LIMIT: Duration = Duration::from_secs(10);
/// Where the sessions of these tests say `online` and `offline`.
const STATUS: &str = "permeated/status";

fn milliseconds(count: u64) -> Duration {
    Duration::from_millis(count)
}

/// Options with pauses short enough for a test. Topics with `count` or `/do/` in them are precious.
fn options(port: u16, client_id: &str) -> SessionOptions {
    let broker = Broker {
        host: "127.0.0.1".to_owned(),
        port,
        tls: None,
        user: None,
        password_file: None,
        client_id: None,
        keep_alive: Duration::from_secs(5),
    };
    let mut options = SessionOptions::new(broker, client_id.to_owned(), STATUS.to_owned());
    options.precious = Arc::new(|topic| topic.contains("count") || topic.contains("/do/"));
    options.timings = Timings {
        first_pause: milliseconds(100),
        longest_pause: milliseconds(1000),
        connect: Duration::from_secs(2),
        ..Timings::default()
    };
    options
}

fn hearing(port: u16, client_id: &str, filters: &[&str]) -> SessionOptions {
    let mut options = options(port, client_id);
    options.subscribe = filters.iter().map(|filter| (*filter).to_owned()).collect();
    options
}

fn state(topic: &str, payload: impl ToString) -> Outgoing {
    Outgoing {
        topic: topic.to_owned(),
        payload: payload.to_string(),
        retain: true,
    }
}

fn event(topic: &str, payload: impl ToString) -> Outgoing {
    Outgoing {
        retain: false,
        ..state(topic, payload)
    }
}

/// A session and its inbox.
struct Station {
    session: Session,
    inbox: Inbox,
}

impl Station {
    fn open(options: SessionOptions) -> Self {
        let (session, inbox) = open(options).unwrap();
        Self { session, inbox }
    }

    /// Opens and waits for the first connection.
    async fn connect(options: SessionOptions) -> Self {
        let mut station = Self::open(options);
        station.connected().await;
        station
    }

    async fn next(&mut self) -> FromBroker {
        tokio::time::timeout(LIMIT, self.inbox.receive())
            .await
            .unwrap_or_else(|_| panic!("nothing came; {:?}", self.session.health()))
    }

    /// Passes over everything until a connection stands; tells whether the session was kept.
    async fn connected(&mut self) -> bool {
        loop {
            if let FromBroker::Connected { session_present } = self.next().await {
                return session_present;
            }
        }
    }

    /// Passes over everything until the connection is gone; tells the reason.
    async fn disconnected(&mut self) -> String {
        loop {
            if let FromBroker::Disconnected { reason } = self.next().await {
                return reason;
            }
        }
    }

    /// The next message, passing over the rest.
    async fn message(&mut self) -> Message {
        loop {
            if let FromBroker::Message(message) = self.next().await {
                return message;
            }
        }
    }

    /// Whether no message comes for a while.
    async fn silence(&mut self) -> bool {
        let quiet = async {
            loop {
                if let FromBroker::Message(message) = self.inbox.receive().await {
                    return message;
                }
            }
        };
        (tokio::time::timeout(milliseconds(300), quiet).await).is_err()
    }

    /// Waits until the broker has everything.
    async fn delivered(&self) {
        support::until(LIMIT, "everything delivered", || {
            let health = self.session.health();
            health.connected
                && (
                    health.states_waiting,
                    health.events_waiting,
                    health.in_flight,
                ) == (0, 0, 0)
        })
        .await;
    }
}

fn text(message: &Message) -> String {
    String::from_utf8(message.payload.clone()).unwrap()
}
