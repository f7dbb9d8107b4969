//! What the application's side and the polling task share. Nothing here waits: requests go to the
//! client's queue while it has room, and stay in our own tables while it has not.

use std::{
    collections::{HashMap, VecDeque},
    sync::{Mutex, MutexGuard, PoisonError},
};

use rumqttc::{AsyncClient, Publish, QoS, SubscribeFilter};

use super::{
    Health, SessionOptions,
    inbox::Queue,
    outbox::{Outbox, Subject},
    receipts::Receipts,
};

/// So many filters go into one packet: brokers limit its size.
const FILTERS_IN_A_PACKET: usize = 50;

/// How far the end of the session is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Closing {
    /// Not begun.
    No,
    /// `offline` is to be said.
    Farewell,
    /// The client was told to disconnect.
    Disconnecting,
}

/// Everything shared.
pub(super) struct Shared {
    link: Mutex<Link>,
    pub(super) inbox: Queue,
}

impl Shared {
    pub(super) fn new(client: AsyncClient, options: &SessionOptions) -> Self {
        Self {
            link: Mutex::new(Link::new(client, options)),
            inbox: Queue::new(&options.limits),
        }
    }

    pub(super) fn link(&self) -> MutexGuard<'_, Link> {
        self.link.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Our side of the connection.
pub(super) struct Link {
    client: AsyncClient,
    pub(super) outbox: Outbox,
    pub(super) receipts: Receipts,
    subscriptions: Requests<Vec<String>>,
    unsubscriptions: Requests<String>,
    pub(super) connected: bool,
    /// Counts connections made and lost; what was started under another number is void.
    pub(super) epoch: u64,
    pub(super) closing: Closing,
    pub(super) health: Health,
}

impl Link {
    fn new(client: AsyncClient, options: &SessionOptions) -> Self {
        Self {
            client,
            outbox: Outbox::new(
                options.presence.clone(),
                options.marker_topic(),
                options.limits.window.clamp(1, 200),
                options.limits.events,
            ),
            receipts: Receipts::default(),
            subscriptions: Requests::default(),
            unsubscriptions: Requests::default(),
            connected: false,
            epoch: 0,
            closing: Closing::No,
            health: Health::default(),
        }
    }

    /// A connection stands: everything is asked for and said again, whatever the broker kept.
    pub(super) fn connected(
        &mut self,
        filters: &[String],
        unwanted: &[String],
        marker: Option<String>,
    ) {
        self.forget_connection();
        self.connected = true;
        self.outbox.begin(marker);
        let packets = filters.chunks(FILTERS_IN_A_PACKET).map(<[String]>::to_vec);
        self.subscriptions.to_send.extend(packets);
        self.unsubscriptions
            .to_send
            .extend(unwanted.iter().cloned());
    }

    /// The connection is gone.
    pub(super) fn disconnected(&mut self) {
        self.connected = false;
        self.forget_connection();
        self.outbox.begin(None);
    }

    fn forget_connection(&mut self) {
        self.epoch += 1;
        self.receipts.begin();
        self.subscriptions = Requests::default();
        self.unsubscriptions = Requests::default();
    }

    /// Asks for these filters again.
    pub(super) fn subscribe(&mut self, filters: Vec<String>) {
        self.subscriptions.to_send.push_back(filters);
    }

    pub(super) fn subscribe_numbered(&mut self, packet_id: u16) {
        self.subscriptions.numbered(packet_id);
    }

    pub(super) fn unsubscribe_numbered(&mut self, packet_id: u16) {
        self.unsubscriptions.numbered(packet_id);
    }

    /// The filters a SUBACK answers.
    pub(super) fn subscribed(&mut self, packet_id: u16) -> Vec<String> {
        self.subscriptions.answered(packet_id).unwrap_or_default()
    }

    /// The filter an UNSUBACK answers.
    pub(super) fn unsubscribed(&mut self, packet_id: u16) -> Option<String> {
        self.unsubscriptions.answered(packet_id)
    }

    /// Gives the client what it has room for.
    pub(super) fn pump(&mut self) {
        if self.connected {
            // A full queue stops us: the next event of the client, which made room, goes on.
            let _ = self.pump_until_full();
        }
    }

    fn pump_until_full(&mut self) -> Result<(), rumqttc::ClientError> {
        while let Some((packet_id, quality)) = self.receipts.next() {
            let quality = if quality == 2 {
                QoS::ExactlyOnce
            } else {
                QoS::AtLeastOnce
            };
            let mut received = Publish::new("", quality, "");
            received.pkid = packet_id;
            self.client.try_ack(&received)?;
            self.receipts.sent();
        }
        while let Some(filters) = self.subscriptions.to_send.front() {
            let filters = filters
                .iter()
                .map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtLeastOnce));
            self.client.try_subscribe_many(filters)?;
            self.subscriptions.sent();
        }
        while let Some(filter) = self.unsubscriptions.to_send.front() {
            self.client.try_unsubscribe(filter)?;
            self.unsubscriptions.sent();
        }
        while let Some(letter) = self.outbox.next() {
            let message = letter.message;
            let quality = QoS::AtLeastOnce;
            (self.client).try_publish(message.topic, quality, message.retain, message.payload)?;
            if matches!(letter.subject, Subject::Here(_)) {
                tracing::debug!("saying that we are here");
            }
            self.outbox.handed(letter.subject);
        }
        if self.closing == Closing::Farewell && self.outbox.said_goodbye() {
            self.client.try_disconnect()?;
            self.closing = Closing::Disconnecting;
        }
        Ok(())
    }

    /// How it stands.
    pub(super) fn health(&self) -> Health {
        let (states_waiting, events_waiting) = self.outbox.waiting();
        Health {
            connected: self.connected,
            states_waiting,
            events_waiting,
            in_flight: self.outbox.travelling(),
            ..self.health.clone()
        }
    }
}

/// Requests that the client numbers in the order given, and the broker answers by number.
struct Requests<T> {
    to_send: VecDeque<T>,
    sent: VecDeque<T>,
    numbered: HashMap<u16, T>,
}

impl<T> Default for Requests<T> {
    fn default() -> Self {
        Self {
            to_send: VecDeque::new(),
            sent: VecDeque::new(),
            numbered: HashMap::new(),
        }
    }
}

impl<T> Requests<T> {
    fn sent(&mut self) {
        self.sent.extend(self.to_send.pop_front());
    }

    fn numbered(&mut self, packet_id: u16) {
        if let Some(request) = self.sent.pop_front() {
            self.numbered.insert(packet_id, request);
        }
    }

    fn answered(&mut self, packet_id: u16) -> Option<T> {
        self.numbered.remove(&packet_id)
    }
}
