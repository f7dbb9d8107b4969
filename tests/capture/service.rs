//! A log that the service writes, with the built program at a real broker.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
};

use permeated::wire::log::{Line, Mark};

use crate::{
    program::{Running, marks, messages, path, publish, run, site, subscribed, text},
    site::until,
    support::Seen,
};

/// Payloads by topic, in their order.
fn by_topic(said: impl IntoIterator<Item = (String, String)>) -> BTreeMap<String, Vec<String>> {
    let mut topics: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (topic, payload) in said {
        topics.entry(topic).or_default().push(payload);
    }
    topics
}

/// Whether all of `part` stand in `whole`, in their order.
fn is_within(part: &[String], whole: &[String]) -> bool {
    let mut whole = whole.iter();
    part.iter().all(|one| whole.any(|other| other == one))
}

#[test]
fn a_log_of_the_service_replays_to_what_it_published() {
    let site = site();
    let (config, log, heard) = (
        path(&site, "permeated.toml"),
        path(&site, "service.jsonl"),
        path(&site, "heard.jsonl"),
    );
    publish(&site.broker, "rig/leak", b"OFF", &["-r"]);
    // Its reader ends at a payload that is no text, so the rig's topics are left out.
    let watch = site.broker.watch("permeated/#");
    let hub = site.broker.watch("homeassistant/#");
    let before = site.broker.log().len();
    let capture = Running::start(&["capture", "--config", &config, "--output", &heard]);
    subscribed(&site.broker, "permeated-", before);
    let mut count = 5000_u32;
    for life in 0..2 {
        let before = site.broker.log().len();
        let service = Running::start(&["run", "--config", &config, "--capture", &log]);
        site.hears(before);
        for step in 0..8 {
            count += 400;
            let board = format!("{{\"feed\": {}, \"permeate\": 16}}", 400 + step);
            publish(&site.broker, "rig/board", board.as_bytes(), &[]);
            publish(
                &site.broker,
                "rig/pulses",
                count.to_string().as_bytes(),
                &[],
            );
        }
        publish(&site.broker, "rig/leak", b"\xff\xfe", &[]);
        publish(&site.broker, "rig/leak", b"ON", &[]);
        publish(&site.broker, "permeated/u/do/note", b"tightened it", &[]);
        publish(&site.broker, "permeated/u/do/nothing", b"", &[]);
        publish(&site.broker, "homeassistant/status", b"online", &[]);
        until("the leak and the refused command are told", || {
            let events = watch.on("permeated/u/event");
            let refused = events
                .iter()
                .filter(|text| text.contains("command_refused"));
            // A leak that was told in the first life is known in the second.
            let is_told = !watch.on("permeated/u/notice").is_empty();
            refused.count() > life && is_told
        });
        publish(&site.broker, "rig/leak", b"OFF", &[]);
        until("the leak is over", || {
            watch
                .on("permeated/u/value/leak")
                .last()
                .is_some_and(|word| word == "OFF")
        });
        let said = service.end("-TERM");
        assert!(said.status.success(), "{said:?}");
        until("it is offline", || {
            watch
                .on("permeated/status")
                .last()
                .is_some_and(|word| word == "offline")
        });
    }
    let captured = capture.end("-INT");
    assert!(captured.status.success(), "{captured:?}");

    let replay = run(&["replay", "--config", &config, &log]);
    assert!(replay.status.success(), "{replay:?}");
    let replayed = text(&replay.stdout);
    let replayed = by_topic(replayed.lines().map(|line| {
        let line = Line::read(line).unwrap().1;
        (line.topic, line.payload)
    }));
    let is_ours = |seen: &Seen| {
        let is_session = seen.topic.starts_with("permeated/status");
        let is_command = seen.topic.starts_with("permeated/u/do/");
        let is_birth = seen.topic == "homeassistant/status";
        !is_session && !is_command && !is_birth
    };
    let published = watch.seen().into_iter().chain(hub.seen());
    let published = published.filter(is_ours);
    let published = by_topic(published.map(|seen| (seen.topic, seen.payload)));
    let topics =
        |said: &BTreeMap<String, Vec<String>>| said.keys().cloned().collect::<BTreeSet<_>>();
    assert_eq!(topics(&published), topics(&replayed));
    assert!(published.len() > 30, "{:?}", topics(&published));
    for (topic, published) in &published {
        let replayed = &replayed[topic];
        // Each event counts. Of a state that waits for the broker the newest counts: what it overtook there
        // was never published, and that is all that may lack.
        if topic.ends_with("/event") || topic.ends_with("/notice") {
            assert_eq!(published, replayed, "{topic}");
        } else {
            assert!(
                is_within(published, replayed),
                "{topic}: {published:?} {replayed:?}"
            );
            assert_eq!(published.last(), replayed.last(), "{topic}");
        }
    }

    // Another client heard the same. Between the two lives only it was there, but then nothing was sent.
    let (service, capture) = (
        fs::read_to_string(&log).unwrap(),
        fs::read_to_string(&heard).unwrap(),
    );
    let live = |log: &str| {
        messages(log)
            .into_iter()
            .filter(|(.., retained)| !retained)
            .collect::<Vec<_>>()
    };
    let of = |messages: &[(String, Vec<u8>, bool)]| {
        let mut topics: BTreeMap<String, Vec<Vec<u8>>> = BTreeMap::new();
        for (topic, payload, _) in messages {
            topics
                .entry(topic.clone())
                .or_default()
                .push(payload.clone());
        }
        topics
    };
    assert_eq!(of(&live(&service)), of(&live(&capture)));
    assert!(
        live(&capture)
            .iter()
            .any(|(_, payload, _)| payload == b"\xff\xfe")
    );
    assert!(matches!(
        marks(&service)[..],
        [Mark::ServiceBegan(_), .., Mark::Ended]
    ));
}
