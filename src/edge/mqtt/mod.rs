//! MQTT: the only place that knows the client library. A session is kept up for ever; what is
//! published waits in a table until the broker has it, what comes is handed over without waiting.
//! What topics and payloads mean is decided elsewhere.
//!
//! The way inside: `poll` (the task that owns the client's event loop) ↔ `link` (what both sides
//! share) ← [`Session`] (the application's side); `inbox`, `outbox`, `receipts` and `pauses` are
//! plain tables that know no client, `problem` turns errors into sentences. Apart from all that,
//! sessions that the broker forgets at once (`brief`): `ask` sends one command and waits for its
//! answer, `hear` listens and never publishes, `retained` reads what the broker retains.

mod ask;
mod brief;
mod client_id;
mod hear;
mod inbox;
mod link;
mod options;
mod outbox;
mod pace;
mod pauses;
mod poll;
mod presence;
mod problem;
mod receipts;
mod retained;
mod tls;

use std::{sync::Arc, time::Duration};

use rumqttc::{AsyncClient, NetworkOptions};
use tokio::task::JoinHandle;

pub use ask::{AskError, Asked, Question, ask};
pub use client_id::{default_client_id, default_homie_client_id};
pub use hear::{HearError, Heard, Hearing, Listened, Silence, hear};
pub use inbox::{FromBroker, Message, Receipt};
pub use options::{
    Limits, MqttError, Precious, Rate, SessionOptions, Timings, is_filter, is_topic, look_at_files,
};
pub use presence::Presence;
pub use retained::{RetainedError, retained};

use crate::wire::Outgoing;
use link::{Closing, Shared};
use poll::Poll;

/// What the status topic says while we are there …
const ONLINE: &str = "online";
/// … and when we are not.
const OFFLINE: &str = "offline";

/// Whether a filter matches a topic (MQTT 3.1.1, 4.7).
#[must_use]
pub fn matches(topic: &str, filter: &str) -> bool {
    rumqttc::matches(topic, filter)
}

/// The application's side of a session. Nothing here ever waits for the broker but
/// [`Session::close`]. Dropping it cuts the connection, and the broker says `offline` for us.
pub struct Session {
    shared: Arc<Shared>,
    task: JoinHandle<()>,
    packet_limit: usize,
}

/// Where the application hears the broker.
pub struct Inbox {
    shared: Arc<Shared>,
}

/// How a session stands. Counters count since it was opened.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Health {
    /// A connection stands.
    pub connected: bool,
    /// The polling task lives; without it nothing will ever come again.
    pub polling: bool,
    /// Connections made so far: all but the first are reconnections.
    pub connections: u64,
    /// Messages waiting for the application.
    pub inbox: usize,
    /// States not yet on their way to the broker.
    pub states_waiting: usize,
    /// Events not yet on their way to the broker.
    pub events_waiting: usize,
    /// Publishes on their way, not yet acknowledged.
    pub in_flight: usize,
    /// Incoming readings that gave way to newer ones because the application was too slow.
    pub overwritten: u64,
    /// Incoming readings that gave way to newer ones because their topic sends too often.
    pub too_often: u64,
    /// Incoming messages that were larger than is read.
    pub too_large: u64,
    /// Incoming messages that could not be kept: too many that may not give way.
    pub too_many: u64,
    /// Outgoing messages that were refused: too large, or with an impossible topic.
    pub refused: u64,
    /// Outgoing events that were dropped because too many waited.
    pub events_dropped: u64,
    /// What last went wrong on this connection, or keeps one from being made, as a sentence.
    pub problem: Option<String>,
}

/// How a session ended.
#[derive(Debug, PartialEq)]
pub struct Farewell {
    /// The broker has our `offline`, and all states.
    pub said_goodbye: bool,
    /// Events the broker did not acknowledge, oldest first.
    pub undelivered: Vec<Outgoing>,
}

/// Opens a session. It need not find a broker now: it tries for ever.
///
/// # Errors
/// Settings that cannot work, or a password or certificate file that cannot be used; or no runtime.
pub fn open(options: SessionOptions) -> Result<(Session, Inbox), MqttError> {
    let runtime = tokio::runtime::Handle::try_current().map_err(|_| MqttError::NoRuntime)?;
    let packet_limit = options.limits.packet;
    let (client, mut event_loop) = AsyncClient::new(options.client_options()?, 512);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    network.set_connection_timeout(options.timings.connect.as_secs().max(1));
    event_loop.set_network_options(network);
    let shared = Arc::new(Shared::new(client, &options));
    let task = runtime.spawn(Poll::new(event_loop, Arc::clone(&shared), options).run());
    let session = Session {
        shared: Arc::clone(&shared),
        task,
        packet_limit,
    };
    Ok((session, Inbox { shared }))
}

impl Session {
    /// Publishes with QoS 1, now or when the broker is there. Of a retained topic the newest
    /// message counts; the others are events, each of which is sent until the broker has it. What
    /// the client would choke on is refused and logged.
    pub fn publish(&self, message: Outgoing) {
        self.send(message, false);
    }

    /// Publishes an event that is never dropped, and tells [`FromBroker::Delivered`] with the number
    /// returned once the broker has it; `None` when it was refused.
    pub fn post(&self, message: Outgoing) -> Option<u64> {
        self.send(message, true)
    }

    fn send(&self, message: Outgoing, followed: bool) -> Option<u64> {
        let fault = self.fault(&message);
        let mut link = self.shared.link();
        if let Some(fault) = fault {
            link.health.refused += 1;
            tracing::error!("not published: {fault}");
            return None;
        }
        let letter = followed.then(|| link.outbox.follow_next());
        let dropped = link.outbox.put(message);
        if dropped > 0 && link.health.events_dropped == 0 {
            tracing::warn!("too many events wait for the broker: the oldest are dropped");
        }
        link.health.events_dropped += dropped as u64;
        link.pump();
        letter
    }

    fn fault(&self, message: &Outgoing) -> Option<String> {
        // Fixed header, length of the topic, packet id: MQTT 3.1.1, 3.3.
        let size = 1 + 4 + 2 + message.topic.len() + 2 + message.payload.len();
        if !options::is_topic(&message.topic) {
            Some(format!("`{}` is not an MQTT topic", message.topic))
        } else if size > self.packet_limit {
            let (topic, limit) = (&message.topic, self.packet_limit);
            Some(format!(
                "the message on {topic} has {size} bytes, allowed are {limit}"
            ))
        } else {
            None
        }
    }

    /// From now on it may be said that we are there: all that belongs to it was published.
    pub fn ready(&self) {
        let mut link = self.shared.link();
        link.outbox.ready();
        link.pump();
    }

    /// Tells that a precious message is safe. Acknowledgements go out in the order in which the
    /// messages came; a receipt of an older connection does nothing.
    pub fn acknowledge(&self, receipt: Receipt) {
        let mut link = self.shared.link();
        link.receipts.acknowledge(&receipt);
        link.pump();
    }

    /// How it stands.
    #[must_use]
    pub fn health(&self) -> Health {
        Health {
            polling: !self.task.is_finished(),
            inbox: self.shared.inbox.len(),
            ..self.shared.link().health()
        }
    }

    /// [`Session::close`] will say nothing of our leaving: we are back in a moment.
    pub fn stay_silent(&self) {
        self.shared.link().outbox.stay_silent();
    }

    /// Delivers what waits, says `offline`, and leaves; after `limit` it leaves as it is, and the
    /// broker says `offline` for us.
    pub async fn close(mut self, limit: Duration) -> Farewell {
        let connected = {
            let mut link = self.shared.link();
            link.closing = Closing::Farewell;
            link.outbox.say_offline();
            link.pump();
            link.connected
        };
        let left = connected && (tokio::time::timeout(limit, &mut self.task).await).is_ok();
        let mut link = self.shared.link();
        let said_goodbye = link.outbox.said_goodbye();
        // A connection that ended marks everything as unsent: who stays silent has left all the same.
        if !left || !(said_goodbye || link.outbox.is_silent()) {
            tracing::warn!("left without saying goodbye to the broker");
        }
        Farewell {
            said_goodbye,
            undelivered: link.outbox.take_events(),
        }
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Inbox {
    /// The next item. It may be cancelled at any moment without losing one.
    pub async fn receive(&mut self) -> FromBroker {
        self.shared.inbox.receive().await
    }
}
