//! One command, and its answer: a short session of its own that the broker forgets afterwards, beside
//! the service's. It keeps nothing, tries nothing twice, and ends when its time is over.

use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, Packet, QoS, SubscribeFilter, SubscribeReasonCode};

use super::{MqttError, OFFLINE, brief, problem::Problem};
use crate::config::Broker;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question<'a> {
    /// Where the broker is and how it is entered; its client id is the service's and not used.
    pub broker: &'a Broker,
    /// Where the service says whether it is there.
    pub status_topic: String,
    /// Where the command goes, and the command.
    pub topic: String,
    /// Its payload.
    pub payload: String,
    /// Where the answer comes.
    pub answers: String,
    /// How long to wait for it.
    pub patience: Duration,
}

/// What came of it.
#[derive(Debug, PartialEq, Eq)]
pub enum Asked<T> {
    /// The answer.
    Answer(T),
    /// The broker took the command, and nobody answered in time.
    Silence {
        /// Whether the service has said that it is away.
        is_offline: bool,
    },
}

/// Why nothing was asked.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// Settings that cannot work.
    #[error(transparent)]
    Settings(#[from] MqttError),
    /// The broker could not be reached, or cut us off.
    #[error("{0}")]
    Broker(String),
    /// It will not let us hear the answer.
    #[error("the broker refuses to let us hear {0}: check its access rules")]
    Deaf(String),
    /// It did not take the command in time.
    #[error("the broker at {host}:{port} did not take the command within {} s: is it the right one (`broker.url`), and does it answer others?", patience.as_secs())]
    NotTaken {
        /// The broker's host.
        host: String,
        /// Its port.
        port: u16,
        /// What was waited.
        patience: Duration,
    },
}

/// Room for our packets.
const PACKET_BYTES: usize = 256 * 1024;

/// Publishes the command with QoS 1, not retained, and waits for the message that `read` takes for the
/// answer.
///
/// # Errors
/// When the broker cannot be reached, does not let us in or hear, or did not take the command.
pub async fn ask<T>(
    question: &Question<'_>,
    read: impl FnMut(&[u8]) -> Option<T>,
) -> Result<Asked<T>, AskError> {
    let (client, event_loop) = brief::open(question.broker, PACKET_BYTES, question.patience)?;
    let mut talk = Talk {
        question,
        client,
        event_loop,
        is_taken: false,
        is_offline: false,
    };
    // The polling is given up only when all is: it must not be cancelled before.
    let answer = tokio::time::timeout(question.patience, talk.answer(read)).await;
    let outcome = match answer {
        Ok(answer) => answer.map(Asked::Answer),
        Err(_) if talk.is_taken => Ok(Asked::Silence {
            is_offline: talk.is_offline,
        }),
        Err(_) => Err(AskError::NotTaken {
            host: question.broker.host.clone(),
            port: question.broker.port,
            patience: question.patience,
        }),
    };
    brief::leave(&talk.client, &mut talk.event_loop).await;
    outcome
}

struct Talk<'a> {
    question: &'a Question<'a>,
    client: AsyncClient,
    event_loop: EventLoop,
    /// The broker has the command.
    is_taken: bool,
    /// The service said that it is away.
    is_offline: bool,
}

impl Talk<'_> {
    /// Waits for the answer. The client's queue has room for both requests, so that nothing here
    /// waits for the loop it drives.
    async fn answer<T>(&mut self, mut read: impl FnMut(&[u8]) -> Option<T>) -> Result<T, AskError> {
        let Question { topic, answers, .. } = self.question;
        loop {
            let event = (self.event_loop.poll().await).map_err(|error| {
                AskError::Broker(Problem::of(&error, self.question.broker).text)
            })?;
            match event {
                Event::Incoming(Packet::ConnAck(_)) => {
                    let heard = [answers, &self.question.status_topic]
                        .map(|topic| SubscribeFilter::new(topic.clone(), QoS::AtLeastOnce));
                    self.request(self.client.try_subscribe_many(heard))?;
                }
                Event::Incoming(Packet::SubAck(answer)) => {
                    // One code for each filter, in their order (MQTT 3.1.1, 3.9.3).
                    if answer.return_codes.first() == Some(&SubscribeReasonCode::Failure) {
                        return Err(AskError::Deaf(answers.clone()));
                    }
                    let payload = self.question.payload.as_bytes();
                    let sent = (self.client).try_publish(topic, QoS::AtLeastOnce, false, payload);
                    self.request(sent)?;
                }
                Event::Incoming(Packet::PubAck(_)) => self.is_taken = true,
                Event::Incoming(Packet::Publish(publish)) => {
                    if publish.topic == self.question.status_topic {
                        self.is_offline = publish.payload.as_ref() == OFFLINE.as_bytes();
                    } else if let Some(answer) = read(&publish.payload) {
                        return Ok(answer);
                    }
                }
                Event::Incoming(_) | Event::Outgoing(_) => {}
            }
        }
    }

    fn request(&self, requested: Result<(), rumqttc::ClientError>) -> Result<(), AskError> {
        requested.map_err(|error| AskError::Broker(error.to_string()))
    }
}
