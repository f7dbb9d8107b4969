//! What goes out: nothing is lost over a broken connection, and who is there is always told right.

use std::time::{Duration, Instant};

use super::{LIMIT, STATUS, Station, event, hearing, milliseconds, options, state};
use crate::support::{Imitation, Mosquitto, until};

/// The client library alone loses all of it in both cases but one.
async fn publishes_before_the_broker_dies_are_there_afterwards(settings: &str, pause: Duration) {
    let mut broker = Mosquitto::start(settings);
    let mut options = options(broker.port(), "loss");
    options.timings.first_pause = milliseconds(700);
    let station = Station::connect(options).await;
    station.session.publish(state("out/early", "1"));
    station.delivered().await;
    for number in 0..50 {
        station
            .session
            .publish(state(&format!("out/{number}"), number));
        station.session.publish(event("event", number));
    }
    if !pause.is_zero() {
        tokio::time::sleep(pause).await;
    }
    broker.kill();
    station.session.publish(state("out/7", "changed"));
    station.session.publish(event("event", "after"));
    broker.restart();
    let watch = broker.watch("#");
    station.delivered().await;
    until(LIMIT, "all events", || {
        let events = watch.on("event");
        let heard = |text: &str| events.iter().any(|event| event == text);
        // With a pause some went through before the kill, to nobody.
        heard("after") && (!pause.is_zero() || (0..50).all(|number| heard(&number.to_string())))
    })
    .await;
    let value = |number: usize| match number {
        7 => "changed".to_owned(),
        _ => number.to_string(),
    };
    until(LIMIT, "all states", || {
        // That of before, too, although it had been delivered.
        watch.saw("out/early", "1")
            && (0..50).all(|number| watch.saw(&format!("out/{number}"), &value(number)))
    })
    .await;
    assert_eq!(broker.retained("out/7").as_deref(), Some("changed"));
    assert_eq!(broker.retained(STATUS).as_deref(), Some("online"));
}

#[tokio::test]
async fn nothing_is_lost_when_the_broker_forgets_everything() {
    publishes_before_the_broker_dies_are_there_afterwards("", Duration::ZERO).await;
}

#[tokio::test]
async fn nothing_is_lost_when_the_broker_forgets_everything_in_the_middle() {
    publishes_before_the_broker_dies_are_there_afterwards("", milliseconds(2)).await;
}

#[tokio::test]
async fn nothing_is_lost_when_the_broker_keeps_everything() {
    let settings = Mosquitto::PERSISTENT;
    publishes_before_the_broker_dies_are_there_afterwards(settings, Duration::ZERO).await;
}

#[tokio::test]
async fn nothing_is_lost_when_the_broker_keeps_everything_in_the_middle() {
    let settings = Mosquitto::PERSISTENT;
    publishes_before_the_broker_dies_are_there_afterwards(settings, milliseconds(2)).await;
}

/// The client's leftovers, sent again beside our own, would say everything twice and mix up which
/// acknowledgement is whose.
#[tokio::test]
async fn a_kept_session_gets_every_unacknowledged_message_once() {
    let (sender, published) = std::sync::mpsc::channel();
    let broker = Imitation::start(move |number, mut wire| {
        if wire.accept(true).is_none() {
            return;
        }
        while let Some(packet) = wire.read() {
            let Some((topic, payload)) = packet.published() else {
                continue;
            };
            let last = payload == "last";
            sender.send((number, topic, payload)).unwrap();
            if number == 0 && last {
                return;
            }
        }
    });
    let mut options = options(broker.port, "once");
    // Everything fits: this broker never acknowledges.
    options.limits.window = 20;
    let station = Station::connect(options).await;
    station.session.publish(state("out/a", "1"));
    for payload in ["one", "two", "last"] {
        station.session.publish(event("event", payload));
    }
    let mut second = Vec::new();
    until(LIMIT, "all said again", || {
        let new = published.try_iter().filter(|(number, ..)| *number == 1);
        second.extend(new.map(|(_, topic, payload)| format!("{topic} {payload}")));
        second.iter().any(|said| said.ends_with("online"))
    })
    .await;
    tokio::time::sleep(milliseconds(200)).await;
    second.extend(
        published
            .try_iter()
            .map(|(_, topic, payload)| format!("{topic} {payload}")),
    );
    assert!(
        second[0].starts_with("permeated/status/session "),
        "{second:?}"
    );
    let expected = ["event one", "event two", "event last", "out/a 1"];
    assert_eq!(second[1..5], expected);
    assert_eq!(second[5..], [format!("{STATUS} online")]);
}

/// Hubs take the states of a device as soon as it is said to be there.
#[tokio::test]
async fn states_come_before_online() {
    let mut broker = Mosquitto::start("");
    let mut options = options(broker.port(), "order");
    options.timings.first_pause = milliseconds(700);
    let station = Station::connect(options).await;
    for number in 0..100 {
        station
            .session
            .publish(state(&format!("out/{number}"), number));
    }
    station.delivered().await;
    broker.restart();
    let watch = broker.watch("#");
    until(LIMIT, "online", || watch.saw(STATUS, "online")).await;
    let seen = watch.seen();
    let online = seen.iter().position(|seen| seen.topic == STATUS).unwrap();
    let states = (seen[..online].iter())
        .filter(|seen| seen.topic.starts_with("out/"))
        .count();
    assert_eq!(states, 100, "before online");
}

/// A clean end makes the broker drop the will, so `offline` must be said by ourselves.
#[tokio::test]
async fn closing_delivers_what_waits_and_says_offline_once() {
    let broker = Mosquitto::start("");
    let station = Station::connect(options(broker.port(), "bye")).await;
    station.delivered().await;
    let watch = broker.watch("#");
    for number in 0..100 {
        station
            .session
            .publish(state(&format!("out/{number}"), number));
    }
    station.session.publish(event("event", "last words"));
    let farewell = station.session.close(LIMIT).await;
    assert!(
        farewell.said_goodbye && farewell.undelivered.is_empty(),
        "{farewell:?}"
    );
    until(LIMIT, "offline", || watch.saw(STATUS, "offline")).await;
    assert!(watch.saw("out/99", "99") && watch.saw("event", "last words"));
    tokio::time::sleep(milliseconds(200)).await;
    assert_eq!(
        watch.on(STATUS),
        ["online", "offline"],
        "the first is retained"
    );
    assert_eq!(broker.retained(STATUS).as_deref(), Some("offline"));
    assert!(broker.log().contains("Received DISCONNECT from bye"));
}

#[tokio::test]
async fn a_sudden_end_makes_the_broker_say_offline() {
    let broker = Mosquitto::start("");
    let station = Station::connect(options(broker.port(), "crash")).await;
    station.delivered().await;
    assert_eq!(broker.retained(STATUS).as_deref(), Some("online"));
    drop(station);
    tokio::time::sleep(milliseconds(50)).await;
    let watch = broker.watch(STATUS);
    until(LIMIT, "the will", || watch.saw(STATUS, "offline")).await;
    assert_eq!(
        broker.retained(STATUS).as_deref(),
        Some("offline"),
        "retained"
    );
}

#[tokio::test]
async fn closing_without_a_broker_returns_at_once_with_what_was_not_delivered() {
    let station = Station::open(options(crate::support::free_port(), "alone"));
    station.session.publish(event("event", "kept"));
    station.session.publish(state("out/a", "1"));
    let start = Instant::now();
    let farewell = station.session.close(LIMIT).await;
    assert!(start.elapsed() < milliseconds(500));
    assert!(!farewell.said_goodbye);
    assert_eq!(farewell.undelivered, [event("event", "kept")]);
}

#[tokio::test]
async fn closing_before_a_frozen_broker_takes_no_longer_than_allowed() {
    let broker = Mosquitto::start("");
    let station = Station::connect(options(broker.port(), "ice")).await;
    station.delivered().await;
    broker.freeze();
    station.session.publish(event("event", "stuck"));
    let start = Instant::now();
    let farewell = station.session.close(milliseconds(300)).await;
    assert!(start.elapsed() < milliseconds(800), "{:?}", start.elapsed());
    assert!(!farewell.said_goodbye);
    assert_eq!(farewell.undelivered, [event("event", "stuck")]);
}

/// The will of an older connection of ours, or another instance, may say `offline` behind our back.
#[tokio::test]
async fn offline_said_by_somebody_else_is_contradicted_but_not_in_a_storm() {
    let broker = Mosquitto::start("");
    let mut options = hearing(broker.port(), "here", &["in/a"]);
    options.timings.online_gap = milliseconds(400);
    let station = Station::connect(options).await;
    station.delivered().await;
    let watch = broker.watch(STATUS);
    let start = Instant::now();
    for _ in 0..20 {
        broker.publish(STATUS, "offline", &["-r"]);
    }
    let allowed = || 2 + start.elapsed().as_millis() as usize / 400;
    until(LIMIT, "online has the last word", || {
        watch.on(STATUS).last().is_some_and(|said| said == "online")
            && watch
                .on(STATUS)
                .iter()
                .filter(|said| *said == "offline")
                .count()
                == 20
    })
    .await;
    let online = watch
        .on(STATUS)
        .iter()
        .filter(|said| *said == "online")
        .count()
        - 1;
    assert!(
        (1..=allowed()).contains(&online),
        "{online} in {:?}",
        start.elapsed()
    );
    assert_eq!(broker.retained(STATUS).as_deref(), Some("online"));
}

/// The will of the connection before waits in our own session: it is older than our `online`.
#[tokio::test]
async fn our_own_old_will_is_not_contradicted() {
    let broker = Mosquitto::start("");
    let mut options = options(broker.port(), "will");
    options.timings.online_gap = milliseconds(1);
    let station = Station::connect(options.clone()).await;
    station.delivered().await;
    drop(station);
    let watch = broker.watch(STATUS);
    until(LIMIT, "the will", || watch.saw(STATUS, "offline")).await;
    let station = Station::connect(options).await;
    station.delivered().await;
    tokio::time::sleep(milliseconds(200)).await;
    let online = watch
        .on(STATUS)
        .iter()
        .filter(|said| *said == "online")
        .count();
    let retained = watch
        .seen()
        .iter()
        .filter(|seen| seen.retained && seen.payload == "online")
        .count();
    assert_eq!(online - retained, 1, "{:?}", watch.seen());
}
