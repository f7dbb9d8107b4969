//! A session for one short errand, beside the service's: a client id that nobody else has, no will,
//! nothing that the broker keeps afterwards.

use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, NetworkOptions, Outgoing};

use super::{MqttError, SessionOptions, client_id::passing_client_id};
use crate::config::Broker;

/// How long a broken line goes unseen.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// To say goodbye.
const FAREWELL: Duration = Duration::from_millis(500);

/// The two ends of such a session; nothing is sent before the loop is polled. Packets from the broker
/// may have `largest` bytes, and the connection must stand within `patience`.
pub(super) fn open(
    broker: &Broker,
    largest: usize,
    patience: Duration,
) -> Result<(AsyncClient, EventLoop), MqttError> {
    let (client, mut event_loop) = AsyncClient::new(options(broker, largest)?, 16);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    network.set_connection_timeout(patience.as_secs().max(1));
    event_loop.set_network_options(network);
    Ok((client, event_loop))
}

fn options(broker: &Broker, largest: usize) -> Result<MqttOptions, MqttError> {
    let id = passing_client_id();
    let mut options = MqttOptions::new(id.clone(), &broker.host, broker.port);
    options
        .set_keep_alive(KEEP_ALIVE)
        .set_clean_session(true)
        .set_max_packet_size(largest, largest);
    SessionOptions::new(broker.clone(), id, String::new()).refresh_secrets(&mut options)?;
    Ok(options)
}

/// Says goodbye; who cannot is forgotten by the broker all the same.
pub(super) async fn leave(client: &AsyncClient, event_loop: &mut EventLoop) {
    let leaving = async {
        if client.try_disconnect().is_err() {
            return;
        }
        while let Ok(event) = event_loop.poll().await {
            if matches!(event, Event::Outgoing(Outgoing::Disconnect)) {
                return;
            }
        }
    };
    let _ = tokio::time::timeout(FAREWELL, leaving).await;
}
