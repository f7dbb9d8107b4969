//! Messages no sensor sends: each is refused for a stated reason, and everything else goes on.

use std::{
    fs,
    io::{Read as _, Write as _},
    net::TcpStream,
    process::Command,
    thread,
    time::Duration,
};

use serde_json::Value;

use crate::{
    site::{CLIENT, LIMIT, Service, Site, until},
    support::free_port,
};

const SENSORS: &str = r#"
[[unit.u.sensor]]
at = "product_tds"
topic = "rig/board"
pointer = "/a"
unit = "ppm"
smoothing = 1
[[unit.u.sensor]]
at = "feed_tds"
topic = "rig/plain"
unit = "uS/cm"
smoothing = 1
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/steps"
kind = "increments"
pulses_per_litre = 10000
maximum = "200 L/min"
"#;
const PRODUCT: &str = "permeated/u/value/product_tds_mg_l";
const FEED: &str = "permeated/u/value/feed_conductivity_us_cm";

/// A service that hears, and the port of its metrics.
fn start(broker: &str) -> (Site, Service, u16) {
    let site = Site::new(broker, "");
    let port = free_port();
    site.configure(&format!(
        "[metrics]\nlisten = \"127.0.0.1:{port}\"\n{SENSORS}"
    ));
    let service = site.start();
    (site, service, port)
}

/// A sample of the plain text for scrapers, by its name and labels as they stand there; 0 while there is none.
fn metric(port: u16, sample: &str) -> f64 {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(LIMIT)).unwrap();
    let request = format!("GET /metrics HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    let start = format!("{sample} ");
    let value = answer.lines().find_map(|line| line.strip_prefix(&start));
    value.map_or(0.0, |value| value.parse().unwrap())
}

fn publish(site: &Site, topic: &str, payload: &[u8]) {
    let path = site.folder().join("payload");
    fs::write(&path, payload).unwrap();
    let port = site.broker.port().to_string();
    let status = Command::new("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &port, "-q", "1", "-t", topic, "-f"])
        .arg(path)
        .status()
        .unwrap();
    assert!(status.success());
}

fn nested(open: &str, inner: &str, close: &str, depth: usize) -> Vec<u8> {
    [open.repeat(depth), inner.to_owned(), close.repeat(depth)]
        .concat()
        .into_bytes()
}

/// What is at most a packet's size is told as no reading; what is larger is passed over unread.
#[test]
fn hostile_payloads_are_refused_and_counted_and_the_next_reading_counts() {
    let (site, service, port) = start("");
    let digits = |count: usize| "7".repeat(count).into_bytes();
    let hostile: Vec<(&str, Vec<u8>)> = vec![
        ("unclosed brackets", b"[".repeat(100_000)),
        ("unclosed brackets within the limit", b"[".repeat(60_000)),
        ("nested lists", nested("[", "1", "]", 30_000)),
        ("nested objects", nested("{\"a\":", "1", "}", 10_000)),
        ("digits within the limit", digits(60_000)),
        ("digits", digits(250_000)),
        ("a huge exponent", b"1e999999999".to_vec()),
        ("a huge exponent in JSON", b"{\"a\": 1e999999999}".to_vec()),
        ("no UTF-8", b"{\"a\": \"\xff\xfe\"}".to_vec()),
        ("NUL within", b"{\"a\": 1\0}".to_vec()),
        ("a lone surrogate", b"{\"a\": \"\\ud800\"}".to_vec()),
        ("binary", (0..=255).collect()),
    ];
    let mut count = 0.0;
    for (what, payload) in &hostile {
        for topic in ["rig/board", "rig/plain"] {
            publish(&site, topic, payload);
        }
        count += 1.0;
        for sensor in ["product_tds", "feed_tds"] {
            let sample = format!(
                "permeated_sensor_rejected_total{{unit=\"u\",sensor=\"{sensor}\",reason=\"no_reading\"}}"
            );
            until(what, || metric(port, &sample) >= count);
            assert_eq!(metric(port, &sample), count, "{what} {sensor}");
        }
    }
    // Larger than is read at all: it comes again to nobody, and cuts nobody off twice.
    for _ in 0..3 {
        publish(&site, "rig/board", &digits(1_000_000));
    }
    let too_large = "permeated_mqtt_messages_rejected_total{reason=\"too_large\"}";
    until("they are passed over", || metric(port, too_large) >= 2.0);
    assert!(site.broker.connections_of(CLIENT) <= 2, "one to learn it");
    let log = service.log();
    assert_eq!(log.matches("is more than is read").count(), 1, "{log}");
    assert_eq!(
        log.matches("event=\"no_reading\"").count(),
        2,
        "once a sensor: {log}"
    );
    // Of a key that is there twice the last counts.
    publish(&site, "rig/board", b"{\"a\": 1, \"a\": 2}");
    publish(&site, "rig/plain", b"3");
    until("the next readings count", || {
        site.value(PRODUCT) == Some(2.0) && site.value(FEED) == Some(3.0)
    });
    service.terminate();
}

/// As fast as a client can: far more than a thousand a second.
#[test]
fn a_sensor_that_floods_is_thinned_and_its_last_value_arrives() {
    const MESSAGES: u32 = 20_000;
    let (site, service, port) = start("max_queued_messages 0\nlog_type error\n");
    let mut feed = site.feed("rig/plain");
    let flood = thread::spawn(move || {
        for value in 1..=MESSAGES {
            feed.send(value);
        }
        feed.finish();
    });
    let (mut quiet, mut told) = (0.0, 0.0);
    while !flood.is_finished() {
        // Within what water can have.
        quiet = 1.0 + (quiet % 50.0);
        told += 1.0;
        site.broker
            .publish("rig/board", &format!("{{\"a\": {quiet}}}"), &[]);
        thread::sleep(Duration::from_millis(50));
    }
    flood.join().unwrap();
    until("both last values are there", || {
        site.value(FEED) == Some(f64::from(MESSAGES)) && site.value(PRODUCT) == Some(quiet)
    });
    let heard = metric(port, "permeated_mqtt_messages_total");
    let thinned = metric(
        port,
        "permeated_mqtt_messages_rejected_total{reason=\"too_often\"}",
    );
    let overtaken = metric(
        port,
        "permeated_mqtt_messages_rejected_total{reason=\"overtaken\"}",
    );
    // None is unaccounted for.
    assert_eq!(heard + thinned + overtaken, f64::from(MESSAGES) + told);
    assert!(thinned > f64::from(MESSAGES) / 2.0, "{thinned}");
    let log = service.log();
    assert_eq!(log.matches("sends faster than").count(), 1, "{log}");
    service.terminate();
}

/// Where every message counts none is passed over: 3000 steps of a ten-thousandth of a litre.
#[test]
fn increments_are_counted_one_by_one_however_fast_they_come() {
    let (site, service, port) = start("max_queued_messages 0\nlog_type error\n");
    let mut feed = site.feed("rig/steps");
    feed.send(0);
    for _ in 0..3000 {
        feed.send(1);
    }
    feed.finish();
    until("all are counted", || {
        let kept: Value = site.kept("u");
        let litres = kept["totals"]["permeate"].as_f64().unwrap_or(0.0);
        (litres - 0.3).abs() < 1e-6
    });
    let thinned = metric(
        port,
        "permeated_mqtt_messages_rejected_total{reason=\"too_often\"}",
    );
    assert_eq!(thinned, 0.0);
    service.terminate();
}
