//! More messages than can be worked off: no freeze, no growing memory, and the newest value arrives.

use std::{thread, time::Duration};

use rusqlite::Connection;

use crate::site::{Feed, Service, Site, until};

const PROBE: &str = r#"
[publish]
interval = "1 s"
[store]
directory = "state"
checkpoint = "1 s"
[[unit.u.sensor]]
at = "feed_tds"
topic = "rig/feed"
pointer = "/value"
unit = "uS/cm"
smoothing = 1
"#;
const MESSAGES: usize = 20_000;
const NEWEST: &str = "permeated/u/value/feed_conductivity_us_cm";
/// A debug build with its libraries; the flood does not fit.
const MOST_KIB: u64 = 64 * 1024;

/// A broker that drops nothing by itself, and the service.
fn site() -> (Site, Service) {
    let site = Site::new("max_queued_messages 0\nlog_type error\n", "");
    site.configure_all("", PROBE);
    let before = site.broker.log().len();
    let service = site.launch();
    site.hears(before);
    (site, service)
}

/// 20 000 documents of 4 KiB, 80 MB together, with the values 1 to 20 000.
fn flood(site: &Site) -> thread::JoinHandle<Feed> {
    let mut feed = site.feed("rig/feed");
    let padding = "x".repeat(4000);
    thread::spawn(move || {
        for value in 1..=MESSAGES {
            feed.send(format!(
                "{{\"padding\": \"{padding}\", \"value\": {value}}}"
            ));
        }
        feed
    })
}

fn newest_arrives(site: &Site, service: Service) {
    until("the newest value is published", || {
        site.value(NEWEST) == Some(20_000.0)
    });
    let peak = service.peak_kib();
    assert!(peak < MOST_KIB, "{peak} KiB");
    service.terminate();
}

#[test]
fn a_flood_while_the_process_stands_still() {
    let (site, service) = site();
    service.signal("-STOP");
    let flood = flood(&site);
    thread::sleep(Duration::from_millis(2500));
    service.signal("-CONT");
    flood.join().unwrap().finish();
    newest_arrives(&site, service);
}

#[test]
fn a_flood_while_the_store_is_held_up() {
    let (site, service) = site();
    site.broker.publish("rig/feed", "{\"value\": 400}", &[]);
    until("there is a state", || !site.kept("u").is_null());
    let lock = Connection::open(site.database()).unwrap();
    lock.execute_batch("BEGIN IMMEDIATE").unwrap();
    flood(&site).join().unwrap().finish();
    // The store is still held up: nothing of this waits for it.
    until("the newest value is published", || {
        site.value(NEWEST) == Some(20_000.0)
    });
    lock.execute_batch("ROLLBACK").unwrap();
    newest_arrives(&site, service);
}
