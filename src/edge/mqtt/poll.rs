//! The one task that owns the client's event loop. It polls, hands over without waiting, and
//! pauses after an error; nothing else, for a loop that waits for anybody freezes the connection,
//! and one that is cancelled never connects.

mod arrival;

use std::{
    hash::{BuildHasher, RandomState},
    ops::ControlFlow,
    sync::Arc,
    time::{Duration, Instant},
};

use rumqttc::{ConnAck, ConnectionError, Event, EventLoop, Packet, SubAck};

use super::{
    FromBroker, SessionOptions,
    link::{Closing, Shared},
    pauses::{Pauses, Takeover},
    problem::{Kind, Problem},
};

/// The task's own state.
pub(super) struct Poll {
    client: EventLoop,
    shared: Arc<Shared>,
    options: SessionOptions,
    filters: Vec<String>,
    unwanted: Vec<String>,
    marker_topic: String,
    pauses: Pauses,
    takeover: Takeover,
    connected_at: Option<Instant>,
    /// While present, what comes was queued for us: until this marker comes back, or this time.
    backlog: Option<(String, Instant)>,
    online_said: Option<Instant>,
    /// The text last logged, so that a retry that fails alike is not told again.
    told: String,
    told_oversize: String,
    told_refusal: String,
    told_secrets: String,
    /// The broker did not let us in the last time.
    was_refused: bool,
}

impl Poll {
    pub(super) fn new(client: EventLoop, shared: Arc<Shared>, options: SessionOptions) -> Self {
        Self {
            client,
            shared,
            filters: options.filters(),
            unwanted: options.unwanted(),
            marker_topic: options.marker_topic(),
            pauses: Pauses::new(&options.timings),
            takeover: Takeover::default(),
            connected_at: None,
            backlog: None,
            online_said: None,
            told: String::new(),
            told_oversize: String::new(),
            told_refusal: String::new(),
            told_secrets: String::new(),
            was_refused: false,
            options,
        }
    }

    /// Until the session is closed.
    pub(super) async fn run(mut self) {
        let mut alarm = Alarm {
            shared: Arc::clone(&self.shared),
            armed: true,
        };
        loop {
            match self.client.poll().await {
                Ok(event) => {
                    if self.handle(event).is_break() {
                        break;
                    }
                    self.shared.link().pump();
                }
                Err(error) => match self.lost(&error) {
                    ControlFlow::Break(()) => break,
                    ControlFlow::Continue(pause) => {
                        tokio::time::sleep(pause).await;
                        self.refresh_secrets();
                    }
                },
            }
        }
        alarm.armed = false;
    }

    fn handle(&mut self, event: Event) -> ControlFlow<()> {
        match event {
            Event::Incoming(Packet::ConnAck(_)) if self.purging() => self.purged(),
            Event::Incoming(Packet::ConnAck(answer)) => self.connected(&answer),
            Event::Incoming(Packet::Publish(publish)) => self.arrived(publish),
            Event::Incoming(Packet::PubAck(answer)) => {
                let letter = self.shared.link().outbox.delivered(answer.pkid);
                if let Some(letter) = letter {
                    (self.shared.inbox).tell(FromBroker::Delivered { letter });
                }
            }
            Event::Incoming(Packet::SubAck(answer)) => self.subscribed(&answer),
            Event::Incoming(Packet::UnsubAck(answer)) => {
                let filter = self.shared.link().unsubscribed(answer.pkid);
                filter.into_iter().for_each(|filter| self.forgotten(filter));
            }
            Event::Outgoing(rumqttc::Outgoing::Publish(packet_id)) => {
                self.shared.link().outbox.numbered(packet_id);
            }
            Event::Outgoing(rumqttc::Outgoing::Subscribe(packet_id)) => {
                self.shared.link().subscribe_numbered(packet_id);
            }
            Event::Outgoing(rumqttc::Outgoing::Unsubscribe(packet_id)) => {
                self.shared.link().unsubscribe_numbered(packet_id);
            }
            Event::Outgoing(rumqttc::Outgoing::Disconnect) => return ControlFlow::Break(()),
            Event::Incoming(_) | Event::Outgoing(_) => {}
        }
        ControlFlow::Continue(())
    }

    fn connected(&mut self, answer: &ConnAck) {
        let now = Instant::now();
        let timings = &self.options.timings;
        self.takeover.connected(now, timings.takeover_gap);
        self.connected_at = Some(now);
        self.online_said = Some(now);
        let session_present = answer.session_present;
        // What the broker queued for us comes before what it queues from now on, so a message to
        // ourselves marks the end of the former. It differs every time: an old one may be queued.
        let marker = session_present.then(|| format!("{:016x}", RandomState::new().hash_one(now)));
        self.backlog = (marker.clone()).map(|marker| (marker, now + timings.marker_wait));
        if !session_present {
            let unwanted = std::mem::take(&mut self.unwanted);
            unwanted
                .into_iter()
                .for_each(|filter| self.forgotten(filter));
        }
        {
            let mut link = self.shared.link();
            link.connected(&self.filters, &self.unwanted, marker);
            link.health.connections += 1;
            link.health.problem = None;
        }
        let broker = &self.options.broker;
        if !self.takeover.suspected() {
            self.told.clear();
            tracing::info!(
                "connected to the broker at {}:{}, which {}",
                broker.host,
                broker.port,
                if session_present {
                    "kept our session"
                } else {
                    "knew no session of ours"
                }
            );
        }
        (self.shared.inbox).tell(FromBroker::Connected { session_present });
    }

    /// Whether this connection is made only to end the session the broker keeps.
    fn purging(&self) -> bool {
        self.options.keeps_session && self.client.mqtt_options.clean_session()
    }

    fn purged(&mut self) {
        self.client.mqtt_options.set_clean_session(false);
        self.client.clean();
    }

    fn forgotten(&mut self, filter: String) {
        self.unwanted.retain(|other| *other != filter);
        self.shared.inbox.tell(FromBroker::Unsubscribed { filter });
    }

    fn subscribed(&mut self, answer: &SubAck) {
        let refused: Vec<String> = {
            let mut link = self.shared.link();
            let filters = link.subscribed(answer.pkid).into_iter();
            (filters.zip(&answer.return_codes))
                .filter(|(_, code)| matches!(code, rumqttc::SubscribeReasonCode::Failure))
                .map(|(filter, _)| filter)
                .collect()
        };
        if refused.is_empty() {
            return;
        }
        let text = format!(
            "the broker refuses to let us hear {}: check its access rules",
            refused.join(", ")
        );
        if self.told_refusal != text {
            tracing::warn!("{text}");
            self.told_refusal.clone_from(&text);
        }
        self.shared.link().health.problem = Some(text);
        self.later(self.options.timings.subscribe_again, |shared| {
            shared.link().subscribe(refused);
        });
    }

    /// Does something later, if the same connection still stands then.
    fn later(&self, pause: Duration, action: impl FnOnce(&Shared) + Send + 'static) {
        let epoch = self.shared.link().epoch;
        let shared = Arc::downgrade(&self.shared);
        tokio::spawn(async move {
            tokio::time::sleep(pause).await;
            if let Some(shared) = shared.upgrade()
                && shared.link().epoch == epoch
            {
                action(&shared);
                shared.link().pump();
            }
        });
    }

    /// An error: cleans up, tells, and says how long to pause.
    fn lost(&mut self, error: &ConnectionError) -> ControlFlow<(), Duration> {
        // What had come before the error still waits in the client, which would hand it out as
        // if it had come over the next connection.
        for event in std::mem::take(&mut self.client.state.events) {
            self.handle(event)?;
        }
        let was_connected = self.connected_at.take();
        let closing = {
            let mut link = self.shared.link();
            link.disconnected();
            // The client would send its leftovers again on top of what we say anew anyway, or,
            // after a collision of packet ids, never recover.
            self.client.clean();
            self.client.pending.clear();
            self.client.state.collision = None;
            link.closing != Closing::No
        };
        if closing {
            return ControlFlow::Break(());
        }
        if was_connected.is_some_and(|at| at.elapsed() >= self.options.timings.settled) {
            self.pauses.reset();
        }
        let broker = &self.options.broker;
        let mut problem = match was_connected {
            Some(_) => Problem::of(error, broker),
            None => Problem::of_attempt(error, broker),
        };
        self.look_for_takeover(&mut problem, was_connected.is_some());
        let pause = self.pause(problem.kind);
        self.tell(&problem.text, was_connected.is_some());
        self.shared.link().health.problem = Some(problem.text.clone());
        if was_connected.is_some() {
            let reason = problem.text;
            (self.shared.inbox).tell(FromBroker::Disconnected { reason });
        }
        ControlFlow::Continue(pause)
    }

    fn look_for_takeover(&mut self, problem: &mut Problem, was_connected: bool) {
        if !was_connected {
            self.takeover.failed();
        } else if problem.kind == Kind::CutOff {
            self.takeover.cut_off();
            if self.takeover.suspected() {
                problem.kind = Kind::Refused;
                problem.text = format!(
                    "the broker cuts us off again and again: another client probably uses the \
                     client id `{}` (give each its own), or the broker takes no messages as large \
                     as ours; its log tells which",
                    self.options.client_id
                );
            }
        }
    }

    fn pause(&mut self, kind: Kind) -> Duration {
        match kind {
            Kind::Passing | Kind::CutOff => self.pauses.next(),
            Kind::Refused => {
                self.was_refused = true;
                self.pauses.slow()
            }
            Kind::Oversize(size) if size <= self.options.limits.swallow => {
                let limits = &self.options.limits;
                (self.client.mqtt_options).set_max_packet_size(limits.swallow, limits.packet);
                self.pauses.next()
            }
            Kind::Oversize(_) => {
                // It stands first in our session and would for ever.
                tracing::warn!("the broker is asked to forget what it keeps for us");
                self.client.mqtt_options.set_clean_session(true);
                self.pauses.slow()
            }
        }
    }

    /// Right before the next attempt: what a person put right during the pause counts at once.
    fn refresh_secrets(&mut self) {
        if std::mem::take(&mut self.was_refused) {
            let options = &mut self.client.mqtt_options;
            if let Err(error) = self.options.refresh_secrets(options) {
                let text = error.to_string();
                if self.told_secrets != text {
                    tracing::warn!("{text}; going on with what was read before");
                    self.told_secrets = text;
                }
            }
        }
    }

    fn tell(&mut self, text: &str, was_connected: bool) {
        if self.told == text {
            tracing::debug!("{text}");
            return;
        }
        text.clone_into(&mut self.told);
        if was_connected {
            tracing::warn!("lost the broker: {text}; trying again");
        } else {
            tracing::warn!("no connection to the broker: {text}; trying again");
        }
    }
}

/// Tells the application when the task ends otherwise than by closing: by a panic in the client.
struct Alarm {
    shared: Arc<Shared>,
    armed: bool,
}

impl Drop for Alarm {
    fn drop(&mut self) {
        self.shared.link().disconnected();
        if self.armed {
            let reason = "the MQTT client has stopped".to_owned();
            (self.shared.inbox).tell(FromBroker::Disconnected { reason });
        }
    }
}
