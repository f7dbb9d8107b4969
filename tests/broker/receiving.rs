//! What comes: floods, messages queued while away, acknowledgements, subscriptions.

use std::time::Instant;

use permeated::edge::mqtt::FromBroker;

use super::{LIMIT, STATUS, Station, event, hearing, milliseconds, options, state, text};
use crate::support::{Imitation, Log, Mosquitto, until};

/// Naive clients hang here after a handful of messages (publishing from the task that polls, or
/// waiting for a full hand-over queue).
#[tokio::test]
async fn a_flood_neither_freezes_nor_hides_the_newest_value() {
    const COUNT: usize = 20_000;
    let broker = Mosquitto::start("max_queued_messages 0\n");
    let mut options = hearing(broker.port(), "flood", &["in/#"]);
    options.limits.inbox = 500;
    options.limits.rate = None;
    let mut station = Station::connect(options).await;
    let _publisher = broker.publish_numbers("in/a", COUNT, "0");
    let mut heard = 0;
    let mut highest = 0;
    loop {
        let message = station.message().await;
        let number: usize = text(&message).parse().unwrap();
        assert!(number > highest, "{number} after {highest}");
        highest = number;
        heard += 1;
        for output in ["out/a", "out/b", "out/c"] {
            station.session.publish(state(output, number));
        }
        assert!(station.session.health().inbox <= 500);
        if number == COUNT {
            break;
        }
        if heard % 10 == 0 {
            tokio::time::sleep(milliseconds(1)).await;
        }
    }
    let overwritten = station.session.health().overwritten as usize;
    assert_eq!(heard + overwritten, COUNT, "each is accounted for");
    assert!(overwritten > 0, "the flood was no flood");
    station.delivered().await;
    for output in ["out/a", "out/b", "out/c"] {
        assert_eq!(broker.retained(output), Some(COUNT.to_string()));
    }
}

/// Were readings acknowledged only when the application is done with them, a slow application
/// would fill the broker's window (20) and queue (1000), and the broker drops the newest.
#[tokio::test]
async fn an_application_that_stands_still_does_not_make_the_broker_drop_the_newest() {
    let broker = Mosquitto::start("");
    let mut options = hearing(broker.port(), "still", &["in/a"]);
    options.limits.rate = None;
    let mut station = Station::connect(options).await;
    for round in 1..=4 {
        broker.publish_numbers("in/a", 500, "1").finish();
        until(LIMIT, "all are with us, not with the broker", || {
            station.session.health().inbox == round * 500
        })
        .await;
    }
    for number in (0..4).flat_map(|_| 1..=500) {
        assert_eq!(text(&station.message().await), number.to_string());
    }
}

/// Counts that came while we were away are kept by the broker; their age is unknown. The backlog
/// (500) is far longer than the broker's window (20). The end of it is marked exactly, also when
/// the application takes its time.
#[tokio::test]
async fn what_was_queued_while_away_is_late_and_nothing_else_is() {
    let broker = Mosquitto::start("");
    let options = hearing(broker.port(), "away", &["in/count", "in/reading"]);
    drop(Station::connect(options.clone()).await);
    broker.publish_numbers("in/count", 500, "1").finish();
    broker.publish("in/reading", "old", &[]);

    let mut station = Station::open(options);
    assert!(station.connected().await, "the broker kept the session");
    // Published while the backlog is still being delivered: it may be called late, but it must
    // come behind, and nothing behind it may be late.
    for number in 1..=500 {
        let message = station.message().await;
        assert_eq!(text(&message), number.to_string(), "in order");
        assert!(message.late && !message.retained, "{message:?}");
        station.session.acknowledge(message.receipt.unwrap());
        if number % 100 == 0 {
            tokio::time::sleep(milliseconds(5)).await;
        }
    }
    let old = station.message().await;
    assert!(text(&old) == "old" && old.late, "{old:?}");
    // The broker now holds our marker, and whatever follows is behind it.
    for payload in ["new", "newer"] {
        broker.publish("in/reading", payload, &[]);
        let new = station.message().await;
        assert!(text(&new) == payload && !new.late, "{new:?}");
    }
}

/// A marker of an earlier connection may itself be in the queue; it must not end the backlog.
#[tokio::test]
async fn a_backlog_cut_short_is_still_late_the_next_time() {
    let broker = Mosquitto::start("");
    let options = hearing(broker.port(), "cut", &["in/count", "in/reading"]);
    drop(Station::connect(options.clone()).await);
    broker.publish_numbers("in/count", 100, "1").finish();
    let mut station = Station::connect(options.clone()).await;
    station.delivered().await;
    assert!(station.message().await.late);
    drop(station);
    broker.publish_numbers("in/count", 100, "1").finish();

    let mut station = Station::connect(options).await;
    for number in (1..=100).chain(1..=100) {
        let message = station.message().await;
        assert_eq!(text(&message), number.to_string());
        assert!(message.late, "{message:?}");
        station.session.acknowledge(message.receipt.unwrap());
    }
    broker.publish("in/reading", "new", &[]);
    assert!(!station.message().await.late);
}

/// A broker may forbid us to hear our own topics: then a time must do.
#[tokio::test]
async fn a_marker_that_never_returns_does_not_make_everything_late_for_ever() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(
        folder.path().join("acl"),
        "topic readwrite in/#\ntopic write permeated/#\n",
    )
    .unwrap();
    let broker = Mosquitto::start_with(
        folder,
        "listener {port} 127.0.0.1\nallow_anonymous true\nacl_file {folder}/acl\n",
    );
    let mut options = hearing(broker.port(), "mute", &["in/a"]);
    options.timings.marker_wait = milliseconds(700);
    drop(Station::connect(options.clone()).await);
    let mut station = Station::open(options);
    assert!(station.connected().await);
    let start = Instant::now();
    broker.publish("in/a", "1", &[]);
    assert!(station.message().await.late, "it cannot be known");
    tokio::time::sleep(milliseconds(750).saturating_sub(start.elapsed())).await;
    broker.publish("in/a", "2", &[]);
    assert!(!station.message().await.late);
}

#[tokio::test]
async fn retained_messages_are_marked_and_are_not_late() {
    let broker = Mosquitto::start("");
    broker.publish("in/a", "old", &["-r"]);
    let options = hearing(broker.port(), "retained", &["in/a"]);
    for session_present in [false, true] {
        let mut station = Station::open(options.clone());
        assert_eq!(station.connected().await, session_present);
        let message = station.message().await;
        assert!(message.retained && !message.late, "{message:?}");
        broker.publish("in/a", "old", &["-r"]);
        let message = station.message().await;
        assert!(!message.retained, "live: {message:?}");
    }
}

/// What could not be had again is the broker's until it is safe here.
#[tokio::test]
async fn an_unacknowledged_message_comes_again_and_an_acknowledged_one_does_not() {
    let broker = Mosquitto::start("");
    let options = hearing(broker.port(), "again", &["in/count"]);
    let mut station = Station::connect(options.clone()).await;
    broker.publish("in/count", "3", &[]);
    broker.publish("in/count", "4", &[]);
    let first = station.message().await;
    let second = station.message().await;
    assert!(!first.duplicate && first.packet_id > 0);
    station.session.acknowledge(first.receipt.unwrap());
    tokio::time::sleep(milliseconds(100)).await;
    drop(station);

    let mut station = Station::connect(options.clone()).await;
    let again = station.message().await;
    assert_eq!(text(&again), "4", "the first is done with");
    assert!(again.duplicate, "{again:?}");
    assert_eq!(again.packet_id, second.packet_id, "it can be recognised");
    station.session.acknowledge(again.receipt.unwrap());
    assert!(station.session.close(LIMIT).await.said_goodbye);

    let mut station = Station::connect(options).await;
    assert!(station.silence().await);
}

#[tokio::test]
async fn the_broker_forgets_topics_that_are_no_longer_wanted() {
    let broker = Mosquitto::start("");
    let before = hearing(broker.port(), "forget", &["in/a", "in/b"]);
    drop(Station::connect(before).await);
    broker.publish("in/b", "queued", &[]);

    let mut options = hearing(broker.port(), "forget", &["in/a"]);
    options.unsubscribe = vec!["in/b".to_owned(), "in/a".to_owned()];
    let mut station = Station::connect(options).await;
    loop {
        match station.next().await {
            FromBroker::Unsubscribed { filter } => {
                assert_eq!(filter, "in/b");
                break;
            }
            FromBroker::Message(message) => assert_eq!(text(&message), "queued"),
            other => panic!("{other:?}"),
        }
    }
    broker.publish("in/b", "gone", &[]);
    broker.publish("in/a", "here", &[]);
    assert_eq!(text(&station.message().await), "here");
    drop(station);

    broker.publish("in/b", "gone", &[]);
    broker.publish("in/a", "here", &[]);
    let after = hearing(broker.port(), "forget", &["in/a"]);
    let mut station = Station::connect(after).await;
    assert_eq!(text(&station.message().await), "here");
    assert!(station.silence().await);
}

/// The client hands out what it had read before an error as if it came over the next connection:
/// its acknowledgement would then meet another message of the same number.
#[tokio::test]
async fn what_came_before_an_error_is_not_acknowledged_on_the_next_connection() {
    let (sender, acknowledged) = std::sync::mpsc::channel();
    let broker = Imitation::start(move |number, mut wire| {
        if wire.accept(true).is_none() {
            return;
        }
        if number == 0 {
            // Wait for our SUBSCRIBE, then a message (QoS 1, id 7) and nonsense in one piece.
            while wire.read().is_some_and(|packet| packet.filters().is_none()) {}
            wire.write(b"\x32\x0b\x00\x05count\x00\x073 \xf0\x00");
        }
        while let Some(packet) = wire.read() {
            if packet.first == 0x40 {
                sender.send((number, packet.body)).unwrap();
            }
        }
    });
    let mut station = Station::connect(options(broker.port, "stale")).await;
    let message = station.message().await;
    assert_eq!((message.packet_id, text(&message).as_str()), (7, "3 "));
    assert!(station.connected().await);
    station.session.acknowledge(message.receipt.unwrap());
    assert!(station.silence().await, "it came once");
    assert_eq!(acknowledged.try_recv().ok(), None);
}

#[tokio::test]
async fn refused_subscriptions_are_told_and_asked_for_again() {
    let log = Log::catch();
    let (sender, asked) = std::sync::mpsc::channel();
    let broker = Imitation::start(move |_, mut wire| {
        if wire.accept(false).is_none() {
            return;
        }
        let mut refuse = true;
        while let Some(packet) = wire.read() {
            if let Some(filters) = packet.filters() {
                let mut answer = vec![0x90, 2 + filters.len() as u8];
                answer.extend(&packet.body[..2]);
                for filter in &filters {
                    let code = if refuse && filter == "in/b" { 0x80 } else { 1 };
                    answer.push(code);
                }
                wire.write(&answer);
                refuse = false;
                sender.send(filters).unwrap();
            }
        }
    });
    let mut options = hearing(broker.port, "refused", &["in/a", "in/b"]);
    options.timings.subscribe_again = milliseconds(300);
    let station = Station::connect(options).await;
    let mut all = Vec::new();
    until(LIMIT, "a second request", || {
        all.extend(asked.try_iter());
        all.len() == 2
    })
    .await;
    let status = STATUS.to_owned();
    let marker = format!("{STATUS}/session");
    assert_eq!(all[0], [status.as_str(), &marker, "in/a", "in/b"]);
    assert_eq!(all[1], ["in/b"], "only what was refused");
    assert_eq!(log.lines_with(&["WARN", "refuses to let us hear in/b:"]), 1);
    tokio::time::sleep(milliseconds(400)).await;
    assert!(asked.try_recv().is_err(), "granted now");
    station.session.publish(event("x", "y"));
    assert!(station.session.health().connected);
}
