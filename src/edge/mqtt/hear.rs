//! Hears a broker for a while and leaves no trace: a session that the broker forgets, without a will,
//! with QoS 0 so that not even receipts are sent. Nothing here can publish.

use std::{
    future::Future,
    time::{Duration, Instant},
};

use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, Packet, QoS, SubscribeFilter,
    SubscribeReasonCode,
};

use super::{
    MqttError, brief,
    problem::{Kind, Problem},
};
use crate::config::Broker;

/// What is listened to.
#[derive(Clone, Debug)]
pub struct Hearing<'a> {
    /// Where the broker is and how it is entered; its client id is the service's and not used.
    pub broker: &'a Broker,
    /// MQTT filters, at least one.
    pub filters: &'a [String],
    /// How long to listen once the broker has agreed.
    pub time: Duration,
}

/// A message that was heard.
#[derive(Debug)]
pub struct Heard<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// Its payload.
    pub payload: &'a [u8],
    /// The broker had kept it: its age is unknown.
    pub retained: bool,
    /// When it came, from the moment the subscriptions stood.
    pub after: Duration,
}

/// Why listening ended before its time. What had come counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Silence {
    /// Somebody asked for it.
    Stopped,
    /// The broker went away, as a sentence.
    Lost(String),
}

/// How it went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listened {
    /// How long it was listened.
    pub time: Duration,
    /// Filters that the broker refused, while others stood.
    pub refused: Vec<String>,
    /// Why it ended early, if it did.
    pub ended: Option<Silence>,
}

/// Why nothing was heard at all.
#[derive(Debug, thiserror::Error)]
pub enum HearError {
    /// Settings that cannot work.
    #[error(transparent)]
    Settings(#[from] MqttError),
    /// The broker could not be reached, or does not let us in.
    #[error("{0}")]
    Broker(String),
    /// It lets us in but not hear.
    #[error(
        "the broker refuses to let us hear {0}: check its access rules, or name what you may hear"
    )]
    Deaf(String),
}

/// More is not even read: one such message, kept by the broker, ends the listening.
const PACKET_BYTES: usize = 16 * 1024 * 1024;
/// To connect and to be let in.
const PATIENCE: Duration = Duration::from_secs(10);

/// Gives every message to `take`, until the time is over or `stop` resolves.
///
/// # Errors
/// When the broker cannot be reached, does not let us in, or lets us hear nothing.
pub async fn hear(
    hearing: &Hearing<'_>,
    stop: impl Future<Output = ()>,
    take: impl FnMut(Heard<'_>),
) -> Result<Listened, HearError> {
    let (client, event_loop) = brief::open(hearing.broker, PACKET_BYTES, PATIENCE)?;
    let mut ear = Ear {
        hearing,
        client,
        event_loop,
        take,
        since: None,
        refused: Vec::new(),
    };
    // The client's polling must not be cancelled while it is wanted: only ever all of it is given up.
    let ended = tokio::select! {
        ended = ear.all() => ended?,
        () = stop => Some(Silence::Stopped),
    };
    if ear.since.is_some() && !matches!(ended, Some(Silence::Lost(_))) {
        brief::leave(&ear.client, &mut ear.event_loop).await;
    }
    Ok(Listened {
        time: ear.since.map_or(Duration::ZERO, |since| since.elapsed()),
        refused: ear.refused,
        ended,
    })
}

struct Ear<'a, F> {
    hearing: &'a Hearing<'a>,
    client: AsyncClient,
    event_loop: EventLoop,
    take: F,
    /// When the subscriptions stood.
    since: Option<Instant>,
    refused: Vec<String>,
}

impl<F: FnMut(Heard<'_>)> Ear<'_, F> {
    async fn all(&mut self) -> Result<Option<Silence>, HearError> {
        let Hearing { broker, time, .. } = *self.hearing;
        match tokio::time::timeout(PATIENCE, self.begin()).await {
            Ok(begun) => begun?,
            Err(_) => {
                let problem = Problem::of(&ConnectionError::NetworkTimeout, broker);
                return Err(HearError::Broker(problem.text));
            }
        }
        let lost = tokio::time::timeout(time, self.listen()).await.ok();
        Ok(lost.map(Silence::Lost))
    }

    /// Until the broker has answered our subscriptions.
    async fn begin(&mut self) -> Result<(), HearError> {
        while self.since.is_none() {
            let event = (self.event_loop.poll().await).map_err(|error| self.kept_out(&error))?;
            match event {
                Event::Incoming(Packet::ConnAck(_)) => {
                    let filters = (self.hearing.filters.iter())
                        .map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtMostOnce));
                    (self.client.try_subscribe_many(filters))
                        .map_err(|error| HearError::Broker(error.to_string()))?;
                }
                Event::Incoming(Packet::SubAck(answer)) => self.stands(&answer.return_codes)?,
                event => self.hand_over(&event),
            }
        }
        Ok(())
    }

    /// Why we were not let in.
    fn kept_out(&self, error: &ConnectionError) -> HearError {
        HearError::Broker(Problem::of_attempt(error, self.hearing.broker).text)
    }

    /// One code for each filter, in their order (MQTT 3.1.1, 3.9.3).
    fn stands(&mut self, codes: &[SubscribeReasonCode]) -> Result<(), HearError> {
        let filters = self.hearing.filters.iter().zip(codes);
        let refused = filters.filter(|(_, code)| matches!(code, SubscribeReasonCode::Failure));
        self.refused = refused.map(|(filter, _)| filter.clone()).collect();
        if self.refused.len() == self.hearing.filters.len() {
            return Err(HearError::Deaf(self.refused.join(", ")));
        }
        self.since = Some(Instant::now());
        Ok(())
    }

    /// Until the broker goes away, which is told.
    async fn listen(&mut self) -> String {
        // A broker that never pauses must not keep us beyond our time.
        let end = Instant::now() + self.hearing.time;
        loop {
            match self.event_loop.poll().await {
                Ok(event) => self.hand_over(&event),
                Err(error) => {
                    let problem = Problem::of(&error, self.hearing.broker);
                    return match problem.kind {
                        Kind::Oversize(_) => problem.text,
                        Kind::Passing | Kind::CutOff | Kind::Refused => {
                            format!("lost the broker: {}", problem.text)
                        }
                    };
                }
            }
            if Instant::now() >= end {
                tokio::task::yield_now().await;
            }
        }
    }

    fn hand_over(&mut self, event: &Event) {
        if let Event::Incoming(Packet::Publish(publish)) = event {
            (self.take)(Heard {
                topic: &publish.topic,
                payload: &publish.payload,
                retained: publish.retain,
                after: self.since.map_or(Duration::ZERO, |since| since.elapsed()),
            });
        }
    }
}
