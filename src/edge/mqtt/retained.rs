//! What a broker retains, read by a short session of its own that only listens and that the broker
//! forgets afterwards. It tries nothing twice, and ends when its time is over.

use std::{collections::BTreeMap, time::Duration};

use rumqttc::{Event, Packet, QoS, SubscribeFilter, SubscribeReasonCode};
use tokio::time::timeout_at;

use super::{MqttError, brief, problem::Problem};
use crate::config::Broker;

/// Why nothing was read.
#[derive(Debug, thiserror::Error)]
pub enum RetainedError {
    /// Settings that cannot work.
    #[error(transparent)]
    Settings(#[from] MqttError),
    /// The broker could not be reached, or cut us off.
    #[error("{0}")]
    Broker(String),
    /// It will not let us hear.
    #[error("the broker refuses to let us hear {0}: check its access rules")]
    Deaf(String),
    /// It did not answer in time.
    #[error("the broker at {host}:{port} did not answer within {} s: is it the right one (`broker.url`), and does it answer others?", patience.as_secs())]
    Late {
        /// The broker's host.
        host: String,
        /// Its port.
        port: u16,
        /// What was waited.
        patience: Duration,
    },
}

/// Room for a packet.
const PACKET_BYTES: usize = 256 * 1024;
/// Retained messages come at once and together; after so long without one that was all, …
const CALM: Duration = Duration::from_millis(300);
/// … and after so long where what must be there has not come.
const LONG_CALM: Duration = Duration::from_millis(1500);

/// Every message that the broker retains on topics of `filters`, by topic. One on the topic `sign` is to be
/// expected; where none comes, a slow broker is given more time.
///
/// # Errors
/// When the broker cannot be reached, does not let us in or hear, or did not answer within `patience`.
pub async fn retained(
    broker: &Broker,
    filters: &[String],
    sign: &str,
    patience: Duration,
) -> Result<BTreeMap<String, Vec<u8>>, RetainedError> {
    let end = tokio::time::Instant::now() + patience;
    // Its time to connect ends later than our own, which says more.
    let limit = patience + Duration::from_secs(1);
    let (client, mut event_loop) = brief::open(broker, PACKET_BYTES, limit)?;
    let mut heard = BTreeMap::new();
    // When the last one came, or the broker let us hear.
    let mut last = None;
    loop {
        let calm = if heard.contains_key(sign) {
            CALM
        } else {
            LONG_CALM
        };
        let until = last.map_or(end, |last: tokio::time::Instant| end.min(last + calm));
        let Ok(event) = timeout_at(until, event_loop.poll()).await else {
            break;
        };
        let event = event.map_err(|error| {
            let problem = match last {
                Some(_) => Problem::of(&error, broker),
                None => Problem::of_attempt(&error, broker),
            };
            RetainedError::Broker(problem.text)
        })?;
        match event {
            Event::Incoming(Packet::ConnAck(_)) => {
                let filters = filters
                    .iter()
                    .map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtLeastOnce));
                // The client's queue has room for it.
                (client.try_subscribe_many(filters))
                    .map_err(|error| RetainedError::Broker(error.to_string()))?;
            }
            Event::Incoming(Packet::SubAck(answer)) => {
                // One code for each filter, in their order (MQTT 3.1.1, 3.9.3).
                let codes = answer.return_codes.iter().zip(filters);
                let mut refused = codes.filter(|(code, _)| **code == SubscribeReasonCode::Failure);
                if let Some((_, filter)) = refused.next() {
                    return Err(RetainedError::Deaf(filter.clone()));
                }
                last = Some(tokio::time::Instant::now());
            }
            Event::Incoming(Packet::Publish(publish)) => {
                if publish.retain {
                    last = Some(tokio::time::Instant::now());
                }
                heard.insert(publish.topic, publish.payload.to_vec());
            }
            Event::Incoming(_) | Event::Outgoing(_) => {}
        }
    }
    brief::leave(&client, &mut event_loop).await;
    if last.is_none() {
        return Err(RetainedError::Late {
            host: broker.host.clone(),
            port: broker.port,
            patience,
        });
    }
    Ok(heard)
}
