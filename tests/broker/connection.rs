//! Coming and going: reconnection without deafness and without storms.

use std::time::Instant;

use super::{LIMIT, Station, hearing, milliseconds, options, state, text};
use crate::support::{Imitation, Log, Mosquitto, free_port, until};

/// The client library never subscribes again by itself.
#[tokio::test]
async fn a_session_is_not_deaf_after_a_broker_that_forgot_it() {
    let mut broker = Mosquitto::start("");
    let mut station = Station::connect(hearing(broker.port(), "deaf", &["in/a"])).await;
    broker.kill();
    station.disconnected().await;
    broker.restart();
    assert!(!station.connected().await, "the session is new");
    station.delivered().await;
    broker.publish("in/a", "heard", &[]);
    let message = station.message().await;
    assert!(text(&message) == "heard" && !message.late, "{message:?}");
    assert_eq!(station.session.health().connections, 2);
}

#[tokio::test]
async fn a_session_hears_on_after_a_broker_that_kept_it() {
    let mut broker = Mosquitto::start(Mosquitto::PERSISTENT);
    let mut station = Station::connect(hearing(broker.port(), "kept", &["in/count"])).await;
    station.delivered().await;
    broker.kill();
    station.disconnected().await;
    broker.restart();
    broker.publish("in/count", "1", &[]);
    assert!(station.connected().await, "the session was kept");
    let message = station.message().await;
    assert_eq!(text(&message), "1");
    station.session.acknowledge(message.receipt.unwrap());
    broker.publish("in/count", "2", &[]);
    assert_eq!(text(&station.message().await), "2");
}

#[tokio::test]
async fn a_broker_that_is_not_up_yet_is_waited_for_and_told_once() {
    let log = Log::catch();
    let port = free_port();
    let mut station = Station::open(options(port, "early"));
    station.session.publish(state("out/a", "1"));
    until(LIMIT, "some attempts", || {
        log.lines_with(&["nobody listens at"]) >= 4
    })
    .await;
    assert_eq!(
        log.lines_with(&["WARN", "nobody listens at"]),
        1,
        "{}",
        log.text()
    );
    let problem = station.session.health().problem.unwrap();
    assert!(problem.contains(&format!("127.0.0.1:{port}")), "{problem}");
    let broker = Imitation::start_on(port, |_, mut wire| {
        wire.accept(false);
        while wire.read().is_some() {}
    });
    assert!(!station.connected().await);
    assert_eq!(log.lines_with(&["INFO", "connected to the broker"]), 1);
    assert_eq!(station.session.health().problem, None);
    assert_eq!(broker.connections(), 1);
}

/// Without pauses: 62 000 attempts in a second.
#[tokio::test]
async fn attempts_do_not_become_a_storm() {
    let refusing = Log::catch();
    let mut options = options(free_port(), "storm");
    options.timings.longest_pause = milliseconds(400);
    let closing = Imitation::start(|_, wire| drop(wire));
    let welcoming = Imitation::start(|_, mut wire| {
        wire.accept(false);
    });
    let stations = [None, Some(closing.port), Some(welcoming.port)].map(|port| {
        options.broker.port = port.unwrap_or(options.broker.port);
        Station::open(options.clone())
    });
    tokio::time::sleep(milliseconds(2000)).await;
    // 0.1 s, 0.2 s, then 0.4 s each, up to a quarter less: 6 to 9 attempts in 2 s.
    let refused = refusing.lines_with(&["nobody listens at"]);
    for attempts in [refused, closing.connections(), welcoming.connections()] {
        assert!((4..=10).contains(&attempts), "{attempts} attempts in 2 s");
    }
    assert!(
        stations
            .iter()
            .all(|station| station.session.health().polling)
    );
}

/// A connection that stops answering while it stays open is noticed by the keep-alive; meanwhile
/// nobody waits.
#[tokio::test]
async fn a_frozen_broker_is_noticed_and_found_again() {
    let broker = Mosquitto::start("");
    let mut options = hearing(broker.port(), "frozen", &["in/a"]);
    options.broker.keep_alive = milliseconds(1000);
    options.timings.connect = milliseconds(1000);
    let mut station = Station::connect(options).await;
    station.delivered().await;
    broker.freeze();
    let start = Instant::now();
    for number in 0..5000 {
        station
            .session
            .publish(state(&format!("out/{}", number % 100), number));
    }
    assert!(
        start.elapsed() < milliseconds(500),
        "publishing never waits"
    );
    let reason = station.disconnected().await;
    assert!(
        start.elapsed() < milliseconds(3000),
        "{:?}",
        start.elapsed()
    );
    assert!(reason.contains("keep-alive"), "{reason}");
    assert!(
        station.session.health().states_waiting <= 100,
        "one of each topic"
    );
    broker.thaw();
    station.connected().await;
    station.delivered().await;
    for number in 4900..5000 {
        let topic = format!("out/{}", number % 100);
        if number % 10 == 0 {
            assert_eq!(broker.retained(&topic), Some(number.to_string()));
        }
    }
    broker.publish("in/a", "heard", &[]);
    assert_eq!(text(&station.message().await), "heard");
}

/// Small packets must not wait for each other in the kernel: measured without `TCP_NODELAY`, an
/// answer took 40 ms or more.
#[tokio::test]
async fn answers_leave_at_once() {
    let (sender, times) = std::sync::mpsc::channel();
    let broker = Imitation::start(move |_, mut wire| {
        if wire.accept(false).is_none() {
            return;
        }
        for packet_id in 1..=21 {
            let start = Instant::now();
            wire.write(&[0x32, 0x06, 0x00, 0x01, b'a', 0x00, packet_id, b'x']);
            let mut seen = (false, false);
            while seen != (true, true) {
                let Some(packet) = wire.read() else { return };
                seen.0 |= packet.first == 0x40;
                if packet.published().is_some_and(|(topic, _)| topic == "b") {
                    seen.1 = true;
                    // The PUBACK: its packet id follows the topic.
                    wire.write(&[0x40, 2, packet.body[3], packet.body[4]]);
                }
            }
            sender.send(start.elapsed()).unwrap();
        }
    });
    let mut station = Station::connect(options(broker.port, "prompt")).await;
    for number in 1..=21 {
        station.message().await;
        station.session.publish(state("b", number));
    }
    let mut all = Vec::new();
    until(LIMIT, "all answers", || {
        all.extend(times.try_iter());
        all.len() == 21
    })
    .await;
    all.sort();
    assert!(
        all[10] < milliseconds(20),
        "half took more than {:?}",
        all[10]
    );
}
