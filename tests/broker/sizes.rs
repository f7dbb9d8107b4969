//! Messages too large for us, or for the broker.

use super::{LIMIT, Station, hearing, milliseconds, state, text};
use crate::support::{Log, Mosquitto, until};

/// With wildcards alone, one large retained message anywhere cuts the client off for ever.
#[tokio::test]
async fn a_large_message_on_a_topic_we_do_not_hear_is_harmless() {
    let broker = Mosquitto::start("");
    broker.publish_large("in/picture", 600_000);
    let mut station = Station::connect(hearing(broker.port(), "other", &["in/a"])).await;
    station.delivered().await;
    broker.publish("in/a", "heard", &[]);
    assert_eq!(text(&station.message().await), "heard");
    assert_eq!(station.session.health().connections, 1);
}

#[tokio::test]
async fn a_large_retained_message_on_our_topic_is_told_and_everything_else_goes_on() {
    let log = Log::catch();
    let broker = Mosquitto::start("");
    broker.publish_large("in/picture", 600_000);
    let filters = ["in/picture", "in/count"];
    let mut station = Station::connect(hearing(broker.port(), "large", &filters)).await;
    until(LIMIT, "it is thrown away", || {
        station.session.health().too_large > 0
    })
    .await;
    let problem = station.session.health().problem.unwrap();
    assert!(
        problem.contains("in/picture") && problem.contains("600000"),
        "{problem}"
    );
    broker.publish("in/count", "1", &[]);
    let message = station.message().await;
    assert_eq!(text(&message), "1");
    station.session.acknowledge(message.receipt.unwrap());
    // Live, too, and with the window of 20 the broker must not run out of acknowledgements.
    for _ in 0..25 {
        broker.publish_large("in/picture", 300_000);
    }
    broker.publish("in/count", "2", &[]);
    assert_eq!(text(&station.message().await), "2");
    assert_eq!(broker.connections_of("large"), 2, "one attempt to learn it");
    assert_eq!(log.lines_with(&["WARN", "in/picture"]), 1);
}

#[tokio::test]
async fn a_huge_retained_message_on_our_topic_is_told_and_makes_no_storm() {
    let broker = Mosquitto::start("");
    broker.publish_large("in/picture", 600_000);
    let mut options = hearing(broker.port(), "huge", &["in/picture"]);
    options.limits.swallow = 500_000;
    options.timings.longest_pause = milliseconds(1000);
    let mut station = Station::connect(options).await;
    let reason = station.disconnected().await;
    assert!(
        reason.contains("6000") && reason.contains("subscribed topics"),
        "{reason}"
    );
    tokio::time::sleep(milliseconds(2000)).await;
    let connections = broker.connections_of("huge");
    assert!((2..=5).contains(&connections), "{connections} in 2 s");
    // Somebody clears it away.
    broker.publish("in/picture", "", &["-r"]);
    until(LIMIT, "heard again", || {
        broker.publish("in/picture", "small", &[]);
        station.session.health().inbox > 0
    })
    .await;
}

/// The client kills the connection over it, and loses it.
#[tokio::test]
async fn an_own_message_too_large_is_refused_and_the_connection_lives() {
    let log = Log::catch();
    let broker = Mosquitto::start("");
    let station = Station::connect(hearing(broker.port(), "own", &[])).await;
    let limit = 256 * 1024;
    let fits = limit - "out/a".len() - 9;
    station.session.publish(state("out/a", "x".repeat(fits)));
    station
        .session
        .publish(state("out/b", "x".repeat(fits + 1)));
    station.session.publish(state("out/+", "no topic"));
    station.session.publish(state("out/c", "small"));
    station.delivered().await;
    let health = station.session.health();
    assert_eq!((health.refused, health.connections), (2, 1));
    assert_eq!(broker.retained("out/a").map(|text| text.len()), Some(fits));
    assert_eq!(broker.retained("out/b"), None);
    assert_eq!(broker.retained("out/c").as_deref(), Some("small"));
    assert_eq!(
        log.lines_with(&["ERROR", "out/b", "262145"]),
        1,
        "{}",
        log.text()
    );
    assert_eq!(log.lines_with(&["ERROR", "out/+"]), 1);
}
