//! Plays the simulated unit's boards to a broker: simulated time runs at a multiple of real time.
//! The simulation itself knows neither clock nor network; this is where it meets both.

use std::{future::Future, io, net::SocketAddr, time::Duration};

use mqtt5::{ConnectOptions, MqttClient, PublishOptions, PublishResult, QoS};
use tokio::{
    sync::{mpsc, oneshot},
    time::{Instant, MissedTickBehavior, interval},
};

use super::quiet_thread;
use crate::simulation::{DemoUnit, Published};

/// Why the feed ended before it was stopped.
#[derive(Debug, thiserror::Error)]
pub enum DemoFeedError {
    /// The system gave no thread.
    #[error("the simulated unit got no thread: {0}")]
    Thread(#[from] io::Error),
    /// The broker could not be reached or did not take a message.
    #[error("the simulated unit cannot publish to the broker at {broker}: {reason}")]
    Publish {
        /// Where the broker was.
        broker: SocketAddr,
        /// The client's own words.
        reason: String,
    },
    /// The simulation's thread ended without a word.
    #[error("the simulated unit ended unexpectedly")]
    Lost,
}

/// How often simulated time moves on: by little more than a second at the usual speed.
const TICK: Duration = Duration::from_millis(20);
/// A machine that slept or stalled does not get the lost time in one burst.
const LONGEST_TICK: Duration = Duration::from_secs(2);

/// What the keeper tells of a stage that is replaced: then it is replaced in the simulated unit, too.
const REPLACED_BEFORE: &str = "permeated/basement/do/stage/";
const REPLACED_BEHIND: &str = "/replaced";

/// Publishes what the unit's boards say until `stop` resolves, then says that they are gone and
/// returns the unit as it is then. One simulated second takes 1/`speed` real seconds; `speed` is
/// more than 0.
///
/// # Errors
/// When the broker cannot be reached, or goes away meanwhile.
pub async fn feed(
    broker: SocketAddr,
    unit: DemoUnit,
    speed: f64,
    stop: impl Future<Output = ()>,
) -> Result<DemoUnit, DemoFeedError> {
    let (stopper, stopped) = oneshot::channel();
    let mut ended = quiet_thread::run("demo-feed", play(broker, unit, speed, stopped))?;
    tokio::select! {
        result = &mut ended => return result.unwrap_or(Err(DemoFeedError::Lost)),
        () = stop => drop(stopper),
    }
    ended.await.unwrap_or(Err(DemoFeedError::Lost))
}

async fn play(
    broker: SocketAddr,
    mut unit: DemoUnit,
    speed: f64,
    mut stopped: oneshot::Receiver<()>,
) -> Result<DemoUnit, DemoFeedError> {
    let failed = |reason| DemoFeedError::Publish { broker, reason };
    let options = ConnectOptions::new("demo-boards").with_automatic_reconnect(false);
    let client = MqttClient::with_options(options);
    client
        .connect(&format!("mqtt://{broker}"))
        .await
        .map_err(|error| failed(error.to_string()))?;
    let (tell, mut replaced) = mpsc::unbounded_channel();
    client
        .subscribe(
            format!("{REPLACED_BEFORE}+{REPLACED_BEHIND}"),
            move |message| {
                let stage = message.topic.strip_prefix(REPLACED_BEFORE);
                if let Some(stage) = stage.and_then(|rest| rest.strip_suffix(REPLACED_BEHIND)) {
                    // A feed that has ended needs no telling.
                    let _ = tell.send(stage.to_owned());
                }
            },
        )
        .await
        .map_err(|error| failed(error.to_string()))?;
    let mut ticks = interval(TICK);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut before = Instant::now();
    loop {
        tokio::select! {
            // Whether told or abandoned, the feed is no longer wanted.
            _ = &mut stopped => break,
            _ = ticks.tick() => {}
        }
        let now = Instant::now();
        let passed = (now - before).min(LONGEST_TICK);
        before = now;
        while let Ok(stage) = replaced.try_recv() {
            unit.replace(&stage);
        }
        for message in unit.step(passed.as_secs_f64() * speed) {
            publish(&client, message).await.map_err(failed)?;
        }
    }
    for board in &unit.boards {
        publish(&client, board.availability(false))
            .await
            .map_err(failed)?;
    }
    // Everything was acknowledged: how the connection ends is of no account.
    client.disconnect().await.ok();
    Ok(unit)
}

async fn publish(client: &MqttClient, message: Published) -> Result<(), String> {
    let options = PublishOptions {
        qos: QoS::AtLeastOnce,
        retain: message.retain,
        ..PublishOptions::default()
    };
    let result = client
        .publish_with_options(message.topic, message.payload, options)
        .await;
    match result {
        Ok(PublishResult::Sent(_)) => Ok(()),
        Ok(PublishResult::Queued(_)) => Err("the connection was lost".to_owned()),
        Err(error) => Err(error.to_string()),
    }
}
