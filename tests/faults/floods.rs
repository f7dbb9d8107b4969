//! Sensors that send a thousand times a second: others are heard in time, no litre is lost or made, memory
//! stays bounded. It holds whether the service takes every message in or leaves some out.

use std::{
    sync::atomic::{AtomicBool, Ordering},
    thread,
    time::{Duration, Instant},
};

use crate::{
    publisher::Publisher,
    rig::{self, FEED, Over, UNITS, litres, same},
    site::{Site, until},
    support::Watch,
};

/// At least so long, and until every quiet reading was heard.
const SECONDS: u64 = 4;
const QUIET: u16 = 5;
/// Messages a second of each that floods.
const RATE: u64 = 1000;
/// What a debug build may need more while flooded: its queue holds a few hundred short messages.
const MORE_KIB: u64 = 24 * 1024;
fn told_last(watch: &Watch) -> Option<f64> {
    watch.on(FEED).last()?.parse().ok()
}

/// Sends numbers made of the message's own, a thousand a second; gives how many were sent.
fn flood(port: u16, topic: &str, over: &AtomicBool, payload: impl Fn(u64) -> String) -> u64 {
    let mut publisher = Publisher::connect(port, &topic.replace('/', "-"));
    let began = Instant::now();
    let mut sent = 0;
    while !over.load(Ordering::SeqCst) {
        let due = began.elapsed().as_millis() as u64 * RATE / 1000;
        while sent < due {
            sent += 1;
            publisher.publish_once(topic, payload(sent).as_bytes());
        }
        thread::sleep(Duration::from_millis(1));
    }
    publisher.finish();
    sent
}

#[test]
fn a_thousand_messages_a_second_from_each_of_four_sensors() {
    let settings = "max_queued_messages 0\nlog_type error\nlog_type subscribe\n";
    let site = Site::new(settings, "");
    let probe = "[unit.f]\n[[unit.f.sensor]]\nat = \"permeate_tds\"\ntopic = \"rig/noisy\"\nunit = \"uS/cm\"\n";
    rig::configure(&site, site.broker.port(), &format!("{UNITS}{probe}"));
    let service = site.launch();
    until("it hears", || {
        site.broker.publish("rig/feed", "499", &[]);
        site.value(FEED) == Some(499.0)
    });
    site.broker.publish("rig/pulses", "0", &[]);
    until("the first count is kept", || site.kept_count("u") == 0.0);
    let before = service.memory_kib("VmRSS:");
    let port = site.broker.port();
    let watch = site.broker.watch(FEED);
    let mut slowest = Duration::ZERO;
    let stop = AtomicBool::new(false);
    let over = &stop;
    let (sent, began) = thread::scope(|scope| {
        let ends = Over(over);
        let began = Instant::now();
        let counts = scope.spawn(move || flood(port, "rig/pulses", over, |n| n.to_string()));
        scope.spawn(move || flood(port, "rig/rate", over, |_| "3".to_owned()));
        scope.spawn(move || flood(port, "rig/noisy", over, |n| (n % 50).to_string()));
        scope.spawn(move || flood(port, "rig/leak", over, |_| "OFF".to_owned()));
        for reading in 500..500 + QUIET {
            let told = Instant::now();
            site.broker.publish("rig/feed", &reading.to_string(), &[]);
            until("a quiet sensor is heard", || {
                told_last(&watch) == Some(f64::from(reading))
            });
            slowest = slowest.max(told.elapsed());
            thread::sleep(Duration::from_secs(SECONDS) / u32::from(QUIET));
        }
        drop(ends);
        (counts.join().unwrap(), began)
    });
    println!("{sent} counts, the slowest quiet reading after {slowest:?}");
    assert!(sent > RATE * SECONDS / 2, "no flood: {sent}");
    // The board's next word, in peace.
    thread::sleep(Duration::from_secs(1));
    site.broker
        .publish("rig/pulses", &(sent + 500).to_string(), &[]);
    let truth = (sent + 500) as f64 / 1000.0;
    until("every litre is kept", || same(litres(&site, "u"), truth));
    let most = began.elapsed().as_secs_f64() * 3.0 / 60.0;
    let after = service.memory_kib("VmRSS:");
    println!(
        "{before} KiB before, {after} after, {} at most",
        service.peak_kib()
    );
    assert!(after < before + MORE_KIB, "{before} → {after} KiB");
    let log = service.log();
    assert!(log.lines().count() < 60, "{log}");
    service.terminate();
    // Three litres a minute for five seconds, less what the sums of a second may lack at its ends.
    let (rates, least) = (litres(&site, "r"), (SECONDS as f64 - 1.0) * 3.0 / 60.0);
    assert!(
        (least..=most).contains(&rates),
        "{rates} L: {least} to {most}"
    );
}
