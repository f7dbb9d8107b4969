//! `[metrics]`: what a scraper gets from the built program, over a plain socket, and who gets nothing.

use std::{
    io::{Read as _, Write as _},
    net::{TcpListener, TcpStream},
    thread,
    time::{Duration, Instant},
};

use serde_json::json;

use crate::{
    scrape::{parsed, sample},
    site::{LIMIT, Service, Site, until},
    support::{BOARD, MAKING, free_port},
};

const OPEN: &str = "Accept: application/openmetrics-text;version=1.0.0,text/plain;q=0.5\r\n";

/// A service whose metrics are at a free port.
fn site() -> (Site, u16) {
    let port = free_port();
    let site = Site::new("", "");
    site.configure(&format!(
        "[metrics]\nlisten = \"127.0.0.1:{port}\"\n{BOARD}"
    ));
    (site, port)
}

/// Sends these bytes and reads until the other side closes.
fn exchange(port: u16, bytes: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(LIMIT)).unwrap();
    stream.write_all(bytes.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

pub fn get(port: u16, more: &str) -> String {
    exchange(
        port,
        &format!("GET /metrics HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{more}\r\n"),
    )
}

pub fn body(answer: &str) -> &str {
    answer.split_once("\r\n\r\n").unwrap().1
}

fn start(site: &Site) -> Service {
    let service = site.start();
    until("metrics are served", || {
        service.log().contains("metrics at")
    });
    service
}

#[test]
fn a_scraper_reads_what_the_sensors_say() {
    let (site, port) = site();
    let service = start(&site);
    for _ in 0..3 {
        site.broker.publish("rig/board", MAKING, &[]);
    }
    let unit = json!({"unit": "u"});
    let mut answer = String::new();
    until("the temperature is there", || {
        answer = get(port, OPEN);
        answer.contains("permeated_feed_temperature_celsius{")
    });
    let head = answer
        .split_once("\r\n\r\n")
        .unwrap()
        .0
        .to_ascii_lowercase();
    for wanted in [
        "http/1.1 200 ok",
        "content-type: application/openmetrics-text; version=1.0.0; charset=utf-8",
        "x-content-type-options: nosniff",
        "content-security-policy: default-src 'none'",
        "cache-control: no-store",
    ] {
        assert!(head.contains(wanted), "{wanted}: {head}");
    }
    let families = parsed(body(&answer), "open");
    assert_eq!(
        sample(&families, "permeated_feed_temperature_celsius", &unit),
        Some(15.0)
    );
    assert_eq!(
        sample(&families, "permeated_mqtt_connected", &json!({})),
        Some(1.0)
    );
    assert!(sample(&families, "permeated_mqtt_messages_total", &json!({})) >= Some(1.0));
    until("a checkpoint was written", || {
        let families = parsed(body(&get(port, OPEN)), "open");
        sample(&families, "permeated_store_writes_total", &json!({})) >= Some(1.0)
    });
    let plain = get(port, "");
    assert!(
        plain
            .to_ascii_lowercase()
            .contains("content-type: text/plain; version=0.0.4")
    );
    let families = parsed(body(&plain), "classic");
    assert_eq!(
        sample(&families, "permeated_feed_temperature_celsius", &unit),
        Some(15.0)
    );
    service.terminate();
    assert!(
        TcpStream::connect(("127.0.0.1", port)).is_err(),
        "the port is still open"
    );
}

#[test]
fn what_is_no_scraper_gets_nothing() {
    let (site, port) = site();
    let service = start(&site);
    let local = format!("Host: localhost:{port}\r\n");
    for (request, status) in [
        // A page whose name was made to lead to this machine.
        (
            "GET /metrics HTTP/1.1\r\nHost: evil.example\r\n\r\n".to_owned(),
            "421",
        ),
        ("GET /metrics HTTP/1.1\r\n\r\n".to_owned(), "400"),
        (
            format!("GET /metrics HTTP/1.1\r\n{local}Host: a\r\n\r\n"),
            "400",
        ),
        (
            format!("POST /metrics HTTP/1.1\r\n{local}Content-Length: 1\r\n\r\nx"),
            "405",
        ),
        (format!("DELETE /metrics HTTP/1.1\r\n{local}\r\n"), "405"),
        (format!("GET / HTTP/1.1\r\n{local}\r\n"), "404"),
        (format!("GET /metrics/../x HTTP/1.1\r\n{local}\r\n"), "404"),
        (
            format!(
                "GET /metrics HTTP/1.1\r\n{local}A: {}\r\n\r\n",
                "a".repeat(10_000)
            ),
            "431",
        ),
        ("nonsense\r\n\r\n".to_owned(), "400"),
    ] {
        let answer = exchange(port, &request);
        assert!(
            answer.starts_with(&format!("HTTP/1.1 {status} ")),
            "{request}: {answer}"
        );
        assert!(!answer.contains("permeated_"), "{request}: {answer}");
    }
    let head = exchange(port, &format!("HEAD /metrics HTTP/1.1\r\n{local}\r\n"));
    assert!(
        head.starts_with("HTTP/1.1 200 ") && body(&head).is_empty(),
        "{head}"
    );
    assert!(get(port, "").starts_with("HTTP/1.1 200 "));
    service.terminate();
}

/// Connections that never end their request are closed, and hold up neither others nor the end.
#[test]
fn slow_connections_are_closed() {
    let (site, port) = site();
    let service = start(&site);
    let began = Instant::now();
    let mut slow: Vec<TcpStream> = (0..40)
        .map(|_| {
            let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
            stream
                .write_all(b"GET /metrics HTTP/1.1\r\nHost: local")
                .unwrap();
            stream.set_read_timeout(Some(LIMIT)).unwrap();
            stream
        })
        .collect();
    // It drips on, and is closed all the same.
    let mut dripping = slow.remove(0);
    let drip = thread::spawn(move || {
        while dripping.write_all(b"h").is_ok() && began.elapsed() < LIMIT {
            thread::sleep(Duration::from_millis(200));
        }
        began.elapsed()
    });
    assert!(get(port, "").starts_with("HTTP/1.1 200 "));
    assert!(began.elapsed() < LIMIT);
    let mut rest = String::new();
    slow[0].read_to_string(&mut rest).unwrap();
    assert!(!rest.contains("permeated_"), "{rest}");
    assert!(drip.join().unwrap() < LIMIT);
    service.terminate();
}

#[test]
fn a_port_in_use_is_told_at_once() {
    let (site, port) = site();
    let taken = TcpListener::bind(("127.0.0.1", port)).unwrap();
    let mut service = site.launch();
    let status = service.ended(LIMIT);
    assert_eq!(status.code(), Some(1));
    let log = service.log();
    let wanted = format!("metrics cannot be served at 127.0.0.1:{port}");
    assert!(log.contains(&wanted) && log.contains("listen"), "{log}");
    drop(taken);
}

/// Without the table nobody listens.
#[test]
fn it_is_off_unless_asked_for() {
    let site = Site::new("", BOARD);
    let service = site.start();
    assert!(!service.log().contains("metrics at"), "{}", service.log());
    service.terminate();
}
