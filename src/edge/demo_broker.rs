//! The MQTT broker inside `permeated demo`: on the loopback interface only, in memory only. Owns
//! no knowledge of what passes through it.

use std::{
    io,
    net::{Ipv4Addr, SocketAddr},
};

use mqtt5::broker::{
    BrokerConfig, MqttBroker, StorageBackendType, StorageConfig, server::BrokerShutdownHandle,
};
use tokio::sync::oneshot;

use super::quiet_thread;

/// Why the broker did not start or did not end well.
#[derive(Debug, thiserror::Error)]
pub enum DemoBrokerError {
    /// The system gave no thread.
    #[error("the demonstration's broker got no thread: {0}")]
    Thread(#[from] io::Error),
    /// The port is taken or the broker refused to run.
    #[error("the demonstration's broker cannot serve on 127.0.0.1:{port}: {reason}")]
    Serve {
        /// The port asked for; 0 is any.
        port: u16,
        /// The broker's own words.
        reason: String,
    },
    /// The broker's thread ended without a word.
    #[error("the demonstration's broker ended unexpectedly")]
    Lost,
}

/// A running broker. It ends when it is stopped or dropped.
#[derive(Debug)]
pub struct DemoBroker {
    address: SocketAddr,
    stopper: Stopper,
    ended: oneshot::Receiver<Result<(), DemoBrokerError>>,
}

impl DemoBroker {
    /// Starts a broker on 127.0.0.1; `port` 0 takes any free one. It accepts connections when this
    /// returns.
    ///
    /// # Errors
    /// When the port is taken or the system gives no thread.
    pub async fn start(port: u16) -> Result<Self, DemoBrokerError> {
        let (tell, started) = oneshot::channel();
        let mut ended = quiet_thread::run("demo-broker", serve(port, tell))?;
        match started.await {
            Ok((address, stopper)) => Ok(Self {
                address,
                stopper,
                ended,
            }),
            // It ended before it was ready: its result says why.
            Err(_) => match (&mut ended).await {
                Ok(Err(error)) => Err(error),
                Ok(Ok(())) | Err(_) => Err(DemoBrokerError::Lost),
            },
        }
    }

    /// Where clients connect.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Ends the broker, cutting its clients; returns when the port is free again.
    ///
    /// # Errors
    /// When it had ended badly before.
    pub async fn stop(self) -> Result<(), DemoBrokerError> {
        drop(self.stopper);
        self.ended.await.unwrap_or(Err(DemoBrokerError::Lost))
    }
}

/// Stops the broker when dropped.
struct Stopper(BrokerShutdownHandle);

impl std::fmt::Debug for Stopper {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Stopper")
    }
}

impl Drop for Stopper {
    fn drop(&mut self) {
        self.0.shutdown();
    }
}

async fn serve(
    port: u16,
    tell: oneshot::Sender<(SocketAddr, Stopper)>,
) -> Result<(), DemoBrokerError> {
    let refused = |reason: String| DemoBrokerError::Serve { port, reason };
    let mut broker = MqttBroker::with_config(configuration(port))
        .await
        .map_err(|error| refused(error.to_string()))?;
    let address = broker
        .local_addr()
        .ok_or_else(|| refused("it did not tell its address".to_owned()))?;
    let stopper = Stopper(broker.shutdown_handle());
    let mut ready = broker.ready_receiver();
    let mut run = std::pin::pin!(broker.run());
    tokio::select! {
        ended = &mut run => return ended.map_err(|error| refused(error.to_string())),
        _ = ready.wait_for(|ready| *ready) => {}
    }
    if tell.send((address, stopper)).is_err() {
        // Whoever started it is gone.
        return Ok(());
    }
    run.await.map_err(|error| refused(error.to_string()))
}

fn configuration(port: u16) -> BrokerConfig {
    // Sessions are kept through persistence; in memory, so nothing is left behind on the disk.
    let storage = StorageConfig::new()
        .with_backend(StorageBackendType::Memory)
        .with_persistence(true);
    let mut configuration =
        BrokerConfig::new().with_bind_address(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
    configuration.storage_config = storage;
    configuration.sys_topics_enabled = false;
    configuration.max_clients = 100;
    configuration.max_packet_size = 1024 * 1024;
    configuration
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_taken_port_is_told_and_a_stopped_broker_frees_it() {
        let first = DemoBroker::start(0).await.unwrap();
        let address = first.address();
        assert!(address.ip().is_loopback());
        let error = DemoBroker::start(address.port()).await.unwrap_err();
        assert!(
            error.to_string().contains(&address.to_string()),
            "{error}: names the address"
        );
        first.stop().await.unwrap();
        let again = DemoBroker::start(address.port()).await.unwrap();
        assert_eq!(again.address(), address);
        again.stop().await.unwrap();
    }
}
