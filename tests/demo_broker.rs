//! The demonstration's broker and boards, met from outside with clients that know nothing of them:
//! mosquitto's own and the library the service uses, both speaking MQTT 3.1.1.
#![cfg(feature = "demo-broker")]
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    io::Write,
    net::SocketAddr,
    process::{Command, Output},
    sync::{Arc, Mutex, OnceLock},
    time::{Duration, Instant},
};

use permeated::{
    edge::{
        demo_broker::DemoBroker,
        demo_feed::{DemoFeedError, feed},
    },
    simulation::DemoUnit,
};
use rumqttc::{AsyncClient, Event, EventLoop, LastWill, MqttOptions, Packet, Publish, QoS};
use tokio::time::timeout;

const PATIENCE: Duration = Duration::from_secs(10);

fn client(address: SocketAddr, id: &str) -> MqttOptions {
    let mut options = MqttOptions::new(id, address.ip().to_string(), address.port());
    options.set_keep_alive(Duration::from_secs(30));
    options
}

/// Polls until a packet of the wanted sort comes.
async fn until<T>(events: &mut EventLoop, wanted: impl Fn(Packet) -> Option<T>) -> T {
    timeout(PATIENCE, async {
        loop {
            if let Event::Incoming(packet) = events.poll().await.expect("connected")
                && let Some(found) = wanted(packet)
            {
                return found;
            }
        }
    })
    .await
    .expect("in time")
}

async fn message(events: &mut EventLoop) -> Publish {
    until(events, |packet| match packet {
        Packet::Publish(publish) => Some(publish),
        _ => None,
    })
    .await
}

/// Connects and returns whether the broker had kept the session.
async fn connected(events: &mut EventLoop) -> bool {
    until(events, |packet| match packet {
        Packet::ConnAck(answer) => Some(answer.session_present),
        _ => None,
    })
    .await
}

async fn subscribed(client: &AsyncClient, events: &mut EventLoop, filter: &str) {
    client.subscribe(filter, QoS::AtLeastOnce).await.unwrap();
    until(events, |packet| {
        matches!(packet, Packet::SubAck(_)).then_some(())
    })
    .await;
}

async fn published(client: &AsyncClient, events: &mut EventLoop, topic: &str, payload: &str) {
    let qos = QoS::AtLeastOnce;
    client.publish(topic, qos, false, payload).await.unwrap();
    until(events, |packet| {
        matches!(packet, Packet::PubAck(_)).then_some(())
    })
    .await;
}

fn mosquitto(program: &str, address: SocketAddr, arguments: &[&str]) -> Option<Output> {
    let result = Command::new(program)
        .args(["-h", "127.0.0.1", "-p", &address.port().to_string()])
        .args(arguments)
        .output();
    if result.is_err() {
        eprintln!("NOT TESTED: {program} is not installed");
    }
    result.ok()
}

#[tokio::test]
async fn mosquittos_clients_find_retained_messages_and_their_removal() {
    let broker = DemoBroker::start(0).await.unwrap();
    let address = broker.address();
    for version in ["mqttv311", "mqttv5"] {
        let publish = |payload: &[&str]| {
            let mut arguments = vec!["-V", version, "-q", "1", "-r", "-t", "demo/kept"];
            arguments.extend_from_slice(payload);
            mosquitto("mosquitto_pub", address, &arguments)
        };
        let subscribe = || {
            let arguments = [
                "-V", version, "-t", "demo/#", "-C", "1", "-W", "1", "-F", "%r %p",
            ];
            mosquitto("mosquitto_sub", address, &arguments)
        };
        let (Some(sent), Some(heard)) = (publish(&["-m", "5.5"]), subscribe()) else {
            break;
        };
        assert!(sent.status.success(), "{sent:?}");
        assert_eq!(
            String::from_utf8_lossy(&heard.stdout),
            "1 5.5\n",
            "{version}"
        );
        publish(&["-n"]).unwrap();
        let nothing = subscribe().unwrap();
        assert_eq!(nothing.stdout, b"", "{version}: removed");
    }
    broker.stop().await.unwrap();
}

#[tokio::test]
async fn a_will_is_told_and_kept_when_a_client_vanishes() {
    let broker = DemoBroker::start(0).await.unwrap();
    let address = broker.address();
    let (watcher, mut watching) = AsyncClient::new(client(address, "watcher"), 10);
    connected(&mut watching).await;
    subscribed(&watcher, &mut watching, "demo/status").await;

    let mut options = client(address, "mortal");
    options.set_last_will(LastWill::new(
        "demo/status",
        "offline",
        QoS::AtLeastOnce,
        true,
    ));
    let (_mortal, mut living) = AsyncClient::new(options, 10);
    connected(&mut living).await;
    // The connection is cut without a DISCONNECT.
    drop(living);
    let will = message(&mut watching).await;
    assert_eq!((&will.payload[..], will.retain), (&b"offline"[..], false));

    let (late, mut listening) = AsyncClient::new(client(address, "late"), 10);
    connected(&mut listening).await;
    subscribed(&late, &mut listening, "demo/status").await;
    let kept = message(&mut listening).await;
    assert_eq!((&kept.payload[..], kept.retain), (&b"offline"[..], true));
    broker.stop().await.unwrap();
}

#[tokio::test]
async fn a_kept_session_is_given_what_it_missed_in_order() {
    let broker = DemoBroker::start(0).await.unwrap();
    let address = broker.address();
    let mut options = client(address, "sleeper");
    options.set_clean_session(false);
    let (sleeper, mut events) = AsyncClient::new(options.clone(), 10);
    assert!(!connected(&mut events).await, "nothing kept yet");
    subscribed(&sleeper, &mut events, "demo/count").await;
    drop((sleeper, events));

    let (counter, mut counting) = AsyncClient::new(client(address, "counter"), 10);
    connected(&mut counting).await;
    // More than the usual window of twenty in flight.
    for count in 0..50 {
        published(&counter, &mut counting, "demo/count", &count.to_string()).await;
    }
    let (_sleeper, mut events) = AsyncClient::new(options, 10);
    assert!(connected(&mut events).await, "the session was kept");
    for count in 0..50 {
        let missed = message(&mut events).await;
        assert_eq!(missed.payload, count.to_string().as_bytes());
        assert_eq!((missed.qos, missed.retain), (QoS::AtLeastOnce, false));
    }
    broker.stop().await.unwrap();
}

#[tokio::test]
async fn stopping_does_not_wait_for_connected_clients() {
    let broker = DemoBroker::start(0).await.unwrap();
    let (_client, mut events) = AsyncClient::new(client(broker.address(), "lingerer"), 10);
    connected(&mut events).await;
    let begin = Instant::now();
    broker.stop().await.unwrap();
    assert!(
        begin.elapsed() < Duration::from_secs(3),
        "{:?}",
        begin.elapsed()
    );
}

#[tokio::test]
async fn the_feed_shows_a_run_and_says_goodbye_and_neither_fills_the_log() {
    let log = everything_logged();
    let broker = DemoBroker::start(0).await.unwrap();
    let (watcher, mut events) = AsyncClient::new(client(broker.address(), "watcher"), 1000);
    connected(&mut events).await;
    subscribed(&watcher, &mut events, "#").await;
    let unit = DemoUnit::new(7, jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0));
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    // Ten minutes to the second: the run that begins after some five is seen at once.
    let feeding = feed(broker.address(), unit, 600.0, async {
        stopped.await.ok();
    });
    let watching = async {
        let (mut permeate, mut open) = (0, false);
        let begin = Instant::now();
        while permeate < 1000 || !open {
            assert!(begin.elapsed() < PATIENCE);
            let seen = message(&mut events).await;
            assert!(!seen.retain, "live");
            if seen.topic == "tele/demo_flow/SENSOR" {
                let document: serde_json::Value = serde_json::from_slice(&seen.payload).unwrap();
                permeate = document["COUNTER"]["C1"].as_u64().unwrap();
            }
            open |= seen.topic.ends_with("inlet_valve/state") && seen.payload == "ON";
        }
        stop.send(()).unwrap();
        let mut gone = Vec::new();
        while gone.len() < 2 {
            let seen = message(&mut events).await;
            if seen.payload.eq_ignore_ascii_case(b"offline") {
                gone.push(seen.topic);
            }
        }
        assert_eq!(gone, ["tele/demo_flow/LWT", "demo/quality/status"]);
    };
    let (unit, ()) = tokio::join!(feeding, watching);
    assert!(unit.unwrap().plant.truth().totals.permeate_litres > 0.2);
    broker.stop().await.unwrap();
    let logged = String::from_utf8(log.0.lock().unwrap().clone()).unwrap();
    assert!(!logged.contains("mqtt5"), "{logged}");
}

#[tokio::test]
async fn the_feed_ends_with_a_reason_when_its_broker_goes() {
    let broker = DemoBroker::start(0).await.unwrap();
    let address = broker.address();
    let unit = DemoUnit::new(7, jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0));
    let feeding = feed(address, unit.clone(), 60.0, std::future::pending());
    let leaving = async {
        tokio::time::sleep(Duration::from_millis(500)).await;
        broker.stop().await.unwrap();
    };
    let (result, ()) = timeout(PATIENCE, async { tokio::join!(feeding, leaving) })
        .await
        .expect("in time");
    assert!(
        matches!(result, Err(DemoFeedError::Publish { .. })),
        "{result:?}"
    );
    let nobody = feed(address, unit, 60.0, std::future::pending()).await;
    let error = nobody.unwrap_err().to_string();
    assert!(error.contains(&address.to_string()), "{error}");
}

#[derive(Clone, Default)]
struct Log(Arc<Mutex<Vec<u8>>>);

impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// A log of every level, for the whole process: a service's log at its most talkative.
fn everything_logged() -> Log {
    static LOG: OnceLock<Log> = OnceLock::new();
    LOG.get_or_init(|| {
        let log = Log::default();
        let writer = log.clone();
        tracing_subscriber::fmt()
            .with_max_level(tracing::Level::TRACE)
            .with_writer(move || writer.clone())
            .init();
        tracing::info!("the log works");
        assert!(!log.0.lock().unwrap().is_empty());
        log
    })
    .clone()
}
