//! What the broker had queued while the service was away: every counted litre counts, once; no rate
//! becomes a burst; no run starts from old news.

use std::{thread, time::Duration};

use serde_json::{Value, json};

use crate::{
    COUNTED,
    site::{Site, until},
    support::Mosquitto,
};

/// A second unit that only tells a rate.
const RATED: &str = r#"
[unit.r.supply]
waste_ratio = 4.0
[[unit.r.sensor]]
at = "permeate_flow"
topic = "rig/rate"
kind = "rate"
unit = "L/min"
"#;

#[test]
fn queued_counts_make_up_the_volume_and_queued_rates_make_no_burst() {
    let site = Site::new("", &format!("{COUNTED}{RATED}"));
    let service = site.start();
    site.broker.publish("rig/pulses", "1000", &[]);
    until("the first count is kept", || {
        site.kept_count("u") == json!(1000.0)
    });
    service.terminate();

    for step in 1..=10 {
        let count = 1000 + 1000 * step;
        site.broker.publish("rig/pulses", &count.to_string(), &[]);
        site.broker.publish("rig/rate", "0.6", &[]);
    }
    let watch = site.broker.watch("permeated/#");
    let service = site.start();
    until("the queue is worked off", || {
        site.kept_count("u") == json!(11_000.0)
    });
    // (11000 − 1000) / 1000 pulses to the litre = 10 L. The rates are of unknown age: no litre.
    assert_eq!(site.kept("u")["totals"]["permeate"], json!(10.0));
    assert_eq!(site.kept("r")["totals"]["permeate"], json!(0.0));
    // A live count and a live rate are themselves again: half a litre more, at 0.6 L/min.
    site.broker.publish("rig/pulses", "11500", &[]);
    let made = "permeated/u/value/permeate_l";
    until("10.5 L are published", || {
        watch.on(made).last().is_some_and(|text| text == "10.5")
    });
    let runs: Vec<Value> = ["permeated/u/event", "permeated/r/event"]
        .iter()
        .flat_map(|topic| watch.on(topic))
        .filter_map(|text| serde_json::from_str(&text).ok())
        .filter(|event: &Value| event["event"] == "run_started")
        .collect();
    assert!(runs.is_empty(), "{runs:?}");
    let flow = "permeated/r/value/permeate_flow_l_min";
    assert!(!watch.saw(flow, "0.6"), "an old rate is shown as the flow");
    site.broker.publish("rig/rate", "0.6", &[]);
    until("the live rate is shown", || watch.saw(flow, "0.6"));
    service.terminate();
    let litres = site.kept("r")["totals"]["permeate"].as_f64().unwrap();
    assert!(litres < 0.1, "{litres} L from seconds at 0.6 L/min");
}

const INCREMENTS: &str = r#"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/increments"
kind = "increments"
pulses_per_litre = 10000
maximum = "200 L/min"
[unit.u.supply]
waste_ratio = 4.0
"#;

#[test]
fn every_increment_counts_once_through_stops_and_kills() {
    let site = Site::new("max_queued_messages 0\n", INCREMENTS);
    // The broker's session must stand before anything is sent to it.
    let service = site.start();
    service.terminate();
    // Each time 1 + 2 + … + 300 = 45150 pulses wait for the service, at 10000 to the litre 4.515 L.
    // A change is kept 0.2 s after it came and acknowledged then: the kills come before, between
    // and after.
    const WAITING: usize = 300;
    let kills = [90, 180, 230, 260, 300, 380, 450];
    for pause in kills {
        site.broker
            .publish_numbers("rig/increments", WAITING, "1")
            .finish();
        let service = site.launch();
        thread::sleep(Duration::from_millis(pause));
        service.kill();
    }
    let watch = site.broker.watch("permeated/u/value/permeate_l");
    let service = site.start();
    // A live word behind the queue, 5000 pulses more: when it counts, the queue is worked off.
    site.broker.publish("rig/increments", "5000", &[]);
    // 7 × 4.515 + 0.5 L, to the third digit.
    until("all litres are published", || {
        (watch.on("permeated/u/value/permeate_l").last())
            .is_some_and(|text| text.parse::<f64>().unwrap_or(0.0) >= 32.105)
    });
    service.terminate();
    let litres = site.kept("u")["totals"]["permeate"].as_f64().unwrap();
    let truth = 32.105;
    assert!((litres - truth).abs() < 1e-9, "{litres} L, truly {truth}");
    let log = site.broker.log();
    let again = (log.lines())
        .filter(|line| line.contains("Sending PUBLISH to under-test (d1"))
        .count();
    assert!(again > 300, "the kills met {again} messages on their way");
}

#[test]
fn receipts_that_a_dying_broker_never_read_make_nothing_count_twice() {
    let limits = "max_queued_messages 0\nmax_inflight_messages 0\n";
    let settings = format!("{limits}{}", Mosquitto::PERSISTENT);
    let mut site = Site::new(&settings, INCREMENTS);
    let service = site.start();
    service.terminate();
    // 1 + 2 + … + 300 = 45150 pulses, 4.515 L.
    const WAITING: usize = 300;
    site.broker
        .publish_numbers("rig/increments", WAITING, "1")
        .finish();
    let service = site.launch();
    let sent = |site: &Site| {
        let log = site.broker.log();
        let to_us = |line: &&str| line.contains("Sending PUBLISH to under-test");
        (log.lines().filter(to_us))
            .filter(|line| line.contains("'rig/increments'"))
            .count()
    };
    // The service stands still from the first it is sent on, so that no receipt is on its way …
    until("the broker hands out", || sent(&site) > 0);
    service.signal("-STOP");
    until("all is handed out", || sent(&site) >= WAITING);
    // … while the broker puts on its disk what it handed out: it does so for a change like the
    // first of these, and has done it when the second is answered. What it handed out without a
    // record of that, it would send again as if for the first time.
    site.broker.publish("rig/elsewhere", "1", &["-r"]);
    site.broker.publish("rig/elsewhere", "2", &["-r"]);
    // Then the broker stops reading. The service keeps what it heard and gives receipts for it,
    // which die with the broker.
    site.broker.freeze();
    service.signal("-CONT");
    until("all is kept", || {
        let remembered = &site.kept("u")["meters"]["permeate_flow"]["recent"];
        remembered.as_array().map_or(0, Vec::len) >= WAITING
    });
    service.kill();
    site.broker.restart();
    let service = site.start();
    site.broker.publish("rig/increments", "5000", &[]);
    until("the live word is kept", || {
        let remembered = &site.kept("u")["meters"]["permeate_flow"]["recent"];
        (remembered.as_array().unwrap().iter()).any(|one| one[1] == json!(5000.0))
    });
    service.terminate();
    let again = sent(&site).saturating_sub(WAITING + 1);
    assert!(again >= 100, "only {again} were sent again");
    let litres = site.kept("u")["totals"]["permeate"].as_f64().unwrap();
    assert!((litres - 5.015).abs() < 1e-9, "{litres} L, truly 5.015");
}
