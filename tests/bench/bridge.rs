//! The least a bridge in Rust does, on the same MQTT client: hears five topics, keeps their last values,
//! publishes three figures for each message. It keeps nothing on disk, judges nothing and forgets all
//! when it ends: the floor beside which the service is measured. `bridge HOST PORT QOS`.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{collections::HashMap, time::Duration};

use rumqttc::{AsyncClient, Event, MqttOptions, NetworkOptions, Packet, QoS};
use tokio::sync::mpsc;

type Figure = (&'static str, Option<f64>);

#[derive(Default)]
struct Bridge {
    last: HashMap<String, f64>,
}

impl Bridge {
    fn take(&mut self, topic: &str, payload: &[u8]) -> Option<[Figure; 3]> {
        let value: f64 = serde_json::from_slice(payload).ok()?;
        self.last
            .insert(topic.rsplit('/').next()?.to_owned(), value);
        let last = |name: &str| self.last.get(name).copied();
        let kelvin = 273.15 + last("temperature").unwrap_or(25.0);
        let correction = (2640.0 * (1.0 / 298.15 - 1.0 / kelvin)).exp();
        let salts = last("permeate_tds").zip(last("feed_tds"));
        Some([
            (
                "bench/out/rejection",
                salts.map(|(permeate, feed)| 1.0 - permeate / feed),
            ),
            (
                "bench/out/flow_at_25",
                last("flow").map(|flow| flow / correction),
            ),
            ("bench/out/correction", Some(correction)),
        ])
    }
}

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let qos = match arguments[3].as_str() {
        "0" => QoS::AtMostOnce,
        _ => QoS::AtLeastOnce,
    };
    let mut options =
        MqttOptions::new("bench-bridge", &arguments[1], arguments[2].parse().unwrap());
    options.set_keep_alive(Duration::from_secs(30));
    let (client, mut events) = AsyncClient::new(options, 4096);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    events.set_network_options(network);
    client.subscribe("bench/in/#", qos).await.unwrap();
    let (figures, mut waiting) = mpsc::channel::<Figure>(8192);
    tokio::spawn(async move {
        while let Some((topic, value)) = waiting.recv().await {
            let payload = serde_json::to_vec(&value).unwrap();
            client.publish(topic, qos, false, payload).await.unwrap();
        }
    });
    let mut bridge = Bridge::default();
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::Publish(message))) => {
                for figure in bridge
                    .take(&message.topic, &message.payload)
                    .into_iter()
                    .flatten()
                {
                    figures.try_send(figure).expect("room for a figure");
                }
            }
            Ok(_) => {}
            Err(_) => tokio::time::sleep(Duration::from_millis(200)).await,
        }
    }
}
