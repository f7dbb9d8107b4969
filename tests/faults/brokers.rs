//! A broker that hangs, is killed again and again, lies behind a bad line, or lets nobody in or nothing large
//! pass: the service goes on, memory stays bounded, everything retained is there again, nobody is told twice.

use std::{collections::BTreeMap, thread, time::Duration};

use serde_json::json;

use crate::{
    chance::Chance,
    proxy::Line,
    receiver::Receiver,
    rig::{self, FEED, UNITS, get, litres, metric, never_fell, same},
    site::{CLIENT, Site, until, until_within},
    support::Mosquitto,
};

/// A debug build with its libraries takes some 25 MiB.
const MOST_KIB: u64 = 64 * 1024;
/// Attempts come at longer and longer intervals while no connection lasts half a minute.
const PAUSES: Duration = Duration::from_secs(60);

/// Publishes a count that a board would tell, and an addition.
fn count(site: &Site, pulses: u32, added: u32) {
    site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
    site.broker
        .publish("rig/increments", &added.to_string(), &[]);
}

/// Slow, late, and cut in the middle of packets: what the broker keeps for a session makes up for it all.
#[test]
fn a_bad_line() {
    let mut chance = Chance::seeded("a bad line");
    let site = Site::new("max_queued_messages 0\n", "");
    let line = Line::to(site.broker.port());
    rig::configure(&site, line.port, UNITS);
    let watch = site.broker.watch("permeated/u/value/permeate_l");
    let notices = site.broker.watch("permeated/u/notice");
    let service = site.start();
    count(&site, 1000, 0);
    site.broker.publish("rig/leak", "ON", &[]);
    until("the leak is told", || notices.seen().len() == 1);
    line.slow(30_000, 5);
    let (mut pulses, mut added) = (1000, 0);
    for number in 1..=2 {
        line.cut_after(20 + chance.below(4000));
        until_within(Duration::from_secs(60), "the line is cut", || {
            pulses += 10;
            added += 1;
            count(&site, pulses, 1);
            line.cuts() == number
        });
    }
    until_within(Duration::from_secs(60), "what was queued is kept", || {
        same(litres(&site, "u"), f64::from(pulses - 1000) / 1000.0)
            && same(litres(&site, "i"), f64::from(added) / 10_000.0)
    });
    line.slow(10_000_000, 0);
    let truth = f64::from(pulses - 1000) / 1000.0;
    until_within(Duration::from_secs(60), "it is told", || {
        site.value("permeated/u/value/permeate_l") == Some(truth)
    });
    site.broker.publish("rig/feed", "431", &[]);
    until("it hears", || site.value(FEED) == Some(431.0));
    assert!(service.peak_kib() < MOST_KIB, "{} KiB", service.peak_kib());
    service.terminate();
    never_fell(&watch, "permeated/u/value/permeate_l");
    // One that was on its way as the line was cut may come again, as the standard has it.
    let mut told: Vec<_> = notices.on("permeated/u/notice");
    told.dedup();
    assert_eq!(told.len(), 1, "{told:#?}");
}

/// It takes and answers nothing, and the connection stays open.
#[test]
fn a_broker_that_hangs() {
    let site = Site::new("max_queued_messages 0\n", "");
    let ports = rig::configure(&site, site.broker.port(), UNITS);
    let service = site.start();
    count(&site, 1000, 10_000);
    site.broker.publish("rig/feed", "431", &[]);
    until("it is kept", || same(litres(&site, "i"), 1.0));
    site.broker.freeze();
    let connected = || metric(ports.metrics, "permeated_mqtt_connected");
    assert_eq!(connected(), Some(1.0));
    // Keep-alive is 5 s here; the page and scrapers are answered all the time.
    until_within(Duration::from_secs(90), "it is noticed", || {
        assert!(get(ports.page, "/").starts_with("HTTP/1.1 "));
        thread::sleep(Duration::from_millis(100));
        connected() == Some(0.0)
    });
    let log = service.log();
    assert!(
        log.contains("no keep-alive any more") || log.contains("takes no data"),
        "{log}"
    );
    assert!(get(ports.page, "/").contains("The broker is away"));
    let before = site.broker.log().len();
    site.broker.thaw();
    site.hears(before);
    count(&site, 3000, 10_000);
    until("it counts again", || {
        same(litres(&site, "u"), 2.0) && same(litres(&site, "i"), 2.0)
    });
    until("it is told again", || {
        site.value("permeated/u/value/permeate_l") == Some(2.0) && site.value(FEED) == Some(431.0)
    });
    service.terminate();
}

/// Killed three times with nothing kept: each time everything retained is there again, and of the leak the
/// keeper hears once.
#[test]
fn a_broker_that_is_killed_again_and_again() {
    let receiver = Receiver::start(&[]);
    let mut site = Site::new("max_queued_messages 0\n", "");
    let port = receiver.port;
    let target =
        format!("[[notify]]\nname = \"phone\"\nurl = \"http://127.0.0.1:{port}/\"\n{UNITS}");
    rig::configure(&site, site.broker.port(), &target);
    let service = site.start();
    count(&site, 1000, 0);
    site.broker.publish("rig/leak", "ON", &[]);
    site.broker.publish("rig/feed", "431", &[]);
    until("the leak is told", || receiver.received().len() == 1);
    until("it is published", || site.value(FEED) == Some(431.0));
    let plain = |site: &Site| -> BTreeMap<String, String> {
        let mut all = site.broker.all_retained("permeated/#");
        all.retain(|topic, _| !topic.contains("seconds") && !topic.ends_with("_h"));
        all
    };
    let topics = |all: &BTreeMap<String, String>| all.keys().cloned().collect::<Vec<_>>();
    let first = plain(&site);
    assert!(first.len() > 40, "{first:#?}");
    for kill in 1..=3 {
        site.broker.kill();
        // A broker that is back before anybody noticed looks like one that prefers another client.
        let away = || service.log().matches("nobody listens").count();
        until_within(PAUSES, "it is noticed", || {
            away() == usize::try_from(kill).unwrap()
        });
        let before = site.broker.log().len();
        site.broker.restart();
        let lets_in = format!("Sending CONNACK to {CLIENT}");
        until_within(PAUSES, "it is back", || {
            site.broker.log()[before..].contains(&lets_in)
        });
        site.hears(before);
        let pulses = 1000 + 500 * kill;
        site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
        let truth = f64::from(kill) / 2.0;
        until("the sum is told", || {
            site.value("permeated/u/value/permeate_l") == Some(truth)
        });
        until("all topics are there again", || {
            let again = topics(&plain(&site));
            topics(&first).iter().all(|topic| again.contains(topic))
        });
        assert_eq!(site.document("permeated/u/alert/leak")["state"], "active");
    }
    assert_eq!(receiver.keys(), ["u-1"]);
    assert!(service.peak_kib() < MOST_KIB, "{} KiB", service.peak_kib());
    service.terminate();
    assert!(same(litres(&site, "u"), 1.5));
}

/// It queues a handful and drops the rest: counts make up for that.
#[test]
fn a_broker_that_is_full() {
    let site = Site::at(
        Mosquitto::start("max_queued_messages 5\nmax_queued_bytes 4000\n"),
        "",
    );
    rig::configure(&site, site.broker.port(), UNITS);
    let service = site.start();
    count(&site, 1000, 0);
    until("the first count is kept", || {
        site.kept_count("u") == json!(1000.0)
    });
    service.signal("-STOP");
    // Far more than it queues, while nothing is taken from it.
    site.broker.publish_numbers("rig/feed", 3000, "1").finish();
    service.signal("-CONT");
    until("it hears again", || {
        site.broker.publish("rig/feed", "432", &[]);
        site.value(FEED) == Some(432.0)
    });
    count(&site, 4000, 0);
    until("the count makes up for what was dropped", || {
        same(litres(&site, "u"), 3.0)
    });
    assert!(service.peak_kib() < MOST_KIB, "{} KiB", service.peak_kib());
    service.terminate();
}

/// Smaller packets than our documents have: such a broker closes the connection without a word. It is told
/// what may be the cause, there is no storm of attempts, and the service goes on.
#[test]
fn a_broker_that_takes_no_large_packets() {
    let site = Site::new("max_packet_size 600\nmax_queued_messages 0\n", "");
    rig::configure(&site, site.broker.port(), UNITS);
    let mut service = site.launch();
    until("the cause is told", || {
        service.log().contains("takes no messages as large as ours")
    });
    let attempts = site.broker.connections_of(CLIENT);
    thread::sleep(Duration::from_secs(5));
    assert_eq!(site.broker.connections_of(CLIENT), attempts, "a storm");
    assert!(service.is_running());
    assert!(service.peak_kib() < MOST_KIB, "{} KiB", service.peak_kib());
    service.terminate();
}
