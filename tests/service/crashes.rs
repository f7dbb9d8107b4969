//! Killed at any moment (SIGKILL: nothing can be saved then), the service loses nothing that was
//! counted and knows again what it knew.

use std::{
    sync::atomic::{AtomicBool, AtomicU32, Ordering},
    thread,
    time::{Duration, Instant},
};

use serde_json::{Value, json};

use crate::{
    COUNTED,
    site::{Site, until},
    support::{BOARD, MAKING, RESTING},
};

#[test]
fn kills_under_load_lose_nothing_that_is_counted() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    site.broker.publish("rig/pulses", "0", &[]);
    until("the first count is kept", || {
        site.kept_count("u") == json!(0.0)
    });
    let mut service = Some(service);
    let count = AtomicU32::new(0);
    let stop = AtomicBool::new(false);
    thread::scope(|scope| {
        scope.spawn(|| {
            let mut feed = site.feed("rig/pulses");
            while !stop.load(Ordering::SeqCst) {
                feed.send(count.fetch_add(3, Ordering::SeqCst) + 3);
                thread::sleep(Duration::from_millis(7));
            }
            feed.finish();
        });
        for pause in [1310, 480, 90, 1720, 250, 930, 20, 610] {
            thread::sleep(Duration::from_millis(pause));
            if let Some(service) = service.take() {
                service.kill();
            }
            service = Some(site.launch());
        }
        stop.store(true, Ordering::SeqCst);
    });
    // A count is acknowledged when it was heard; the last before a kill may be one that was not kept
    // yet, and the counter's next word makes up for it.
    let last = count.load(Ordering::SeqCst) + 3;
    site.broker.publish("rig/pulses", &last.to_string(), &[]);
    assert!(last > 500, "no load: {last}");
    until("the last count is kept", || {
        site.kept_count("u") == json!(f64::from(last))
    });
    service.unwrap().terminate();
    let totals = &site.kept("u")["totals"];
    let litres = |name: &str| totals[name].as_f64().unwrap();
    let truth = f64::from(last) / 1000.0;
    assert!(
        (litres("permeate") - truth).abs() < 1e-6,
        "{totals}, {truth}"
    );
    // Four parts of waste to one: the feed is five times the permeate.
    assert!((litres("feed") - 5.0 * truth).abs() < 1e-6, "{totals}");
    let stages = &site.kept("u")["stages"];
    let treated = |stage: &str| stages[stage]["treated"].as_f64().unwrap();
    assert!((treated("mixed-bed") - truth).abs() < 1e-6, "{stages}");
    assert!((treated("sediment") - 5.0 * truth).abs() < 1e-6, "{stages}");
}

/// Two counted sides; neither is booked without the other's word.
const TWO_COUNTED: &str = r#"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/permeate"
kind = "pulses"
pulses_per_litre = 1000
maximum = "200 L/min"
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "rig/concentrate"
kind = "pulses"
pulses_per_litre = 1000
maximum = "200 L/min"
"#;

#[test]
fn litres_that_wait_for_the_other_meter_survive_a_kill() {
    let site = Site::new("", TWO_COUNTED);
    let service = site.start();
    let sent = |permeate: u32, concentrate: u32| {
        for (topic, count) in [("permeate", permeate), ("concentrate", concentrate)] {
            (site.broker).publish(&format!("rig/{topic}"), &count.to_string(), &[]);
        }
    };
    sent(0, 0);
    sent(1000, 4000);
    site.broker.publish("rig/permeate", "3000", &[]);
    until("the count is kept", || {
        site.kept_count("u") == json!(3000.0)
    });
    service.kill();
    let service = site.start();
    sent(3500, 14_000);
    until("the count is kept", || {
        site.kept_count("u") == json!(3500.0)
    });
    service.terminate();
    let totals = &site.kept("u")["totals"];
    // 3500 and 14000 pulses at 1000 to the litre; the feed is their sum.
    for (name, truth) in [("permeate", 3.5), ("concentrate", 14.0), ("feed", 17.5)] {
        let litres = totals[name].as_f64().unwrap();
        assert!((litres - truth).abs() < 1e-9, "{name}: {totals}");
    }
}

#[test]
fn alerts_stages_baseline_and_last_run_survive_a_kill() {
    let limit = "[unit.u.alert.permeate_tds_high]\nlimit = \"1 mg/L\"\nhold = \"0 s\"\n";
    let mut site = Site::new("", &format!("{BOARD}{limit}"));
    let watch = site.broker.watch("permeated/u/#");
    let service = site.start();
    let mut board = site.feed("rig/board");
    // A run has figures with its third sample, the steady part being sampled every ten seconds.
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(22) {
        board.send(MAKING);
        thread::sleep(Duration::from_millis(200));
    }
    let happened = |event: &str| {
        (watch.on("permeated/u/event").iter()).any(|text| text.contains(&format!("\"{event}\"")))
    };
    until("run and baseline", || {
        board.send(RESTING);
        thread::sleep(Duration::from_millis(100));
        happened("run_ended") && happened("baseline_set")
    });
    // What matters here; the time of writing and the readings of the moment are another matter. That
    // no sensor is in doubt is not kept: every one is judged anew within moments.
    let lasting = || {
        let mut kept = site.broker.all_retained("permeated/u/#");
        let is_one = |topic: &str, parts: &[&str]| {
            let of = |part: &&str| topic.starts_with(&format!("permeated/u/{part}"));
            parts.iter().any(of)
        };
        kept.retain(|topic, _| {
            is_one(topic, &["alert", "membrane", "run", "stage", "totals"])
                && !is_one(topic, &["alert/sensor_implausible", "alert/sensor_stuck"])
        });
        let documents = kept.into_iter().map(|(topic, text)| {
            let mut document: Value = serde_json::from_str(&text).unwrap();
            document.as_object_mut().unwrap().remove("time");
            (topic, document)
        });
        documents.collect::<std::collections::BTreeMap<_, _>>()
    };
    until("all is published", || {
        let membrane = &site.document("permeated/u/membrane");
        membrane["baseline_flow_l_min"].is_number() && membrane["as_of"].is_string()
    });
    // Everything of value was kept within a second; then nothing more changed.
    thread::sleep(Duration::from_millis(1500));
    let before = lasting();
    let of = |topic: &str, key: &str| before[&format!("permeated/u/{topic}")][key].clone();
    // The permeate has 8 mg/L.
    assert_eq!(
        of("alert/permeate_tds_high", "state"),
        "active",
        "{before:#?}"
    );
    assert_eq!(of("run", "rejection_pct"), 96.0);
    // As in the test of the figures: 0.2554 L/min under the conditions of the rating.
    assert_eq!(of("membrane", "baseline_flow_l_min"), 0.2554);
    assert_eq!(of("totals", "runs"), json!(1));

    service.kill();
    site.broker.restart();
    assert!(
        site.broker.retained("permeated/u/run").is_none(),
        "the broker remembers by itself"
    );
    let service = site.start();
    until("all is published again", || {
        let after = site.broker.all_retained("permeated/u/#");
        after.contains_key("permeated/u/totals") && after.contains_key("permeated/u/run")
    });
    let after = site.broker.all_retained("permeated/u/#");
    for (topic, document) in &before {
        let text = after.get(topic).unwrap_or_else(|| panic!("{topic}"));
        let mut again: Value = serde_json::from_str(text).unwrap();
        again.as_object_mut().unwrap().remove("time");
        assert_eq!(again, *document, "{topic}");
    }
    service.terminate();
}
