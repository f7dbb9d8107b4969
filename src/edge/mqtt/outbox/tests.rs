//! The tables alone: what goes out when.

use super::*;

fn outbox() -> Outbox {
    Outbox::new(Presence::plain("s"), "s/session".to_owned(), 4, 3)
}

fn message(topic: &str, payload: &str, retain: bool) -> Outgoing {
    letter(Subject::Marker, topic, payload, retain).message
}

/// Hands over all that may go; what went, as "topic=payload".
fn hand_over(outbox: &mut Outbox) -> Vec<String> {
    std::iter::from_fn(|| {
        let letter = outbox.next()?;
        outbox.handed(letter.subject);
        Some(format!(
            "{}={}",
            letter.message.topic, letter.message.payload
        ))
    })
    .collect()
}

#[test]
fn marker_events_states_then_online_within_the_window() {
    let mut outbox = outbox();
    outbox.put(message("a", "1", true));
    outbox.put(message("b", "1", true));
    outbox.put(message("e", "x", false));
    outbox.begin(Some("m".to_owned()));
    assert_eq!(
        hand_over(&mut outbox),
        ["s/session=m", "e=x", "a=1", "b=1"],
        "four fill the window"
    );
    for id in 1..=4 {
        outbox.numbered(id);
    }
    outbox.delivered(1);
    assert_eq!(hand_over(&mut outbox), ["s=online"]);
    assert_eq!(hand_over(&mut outbox), [""; 0]);
}

#[test]
fn states_that_never_rest_cannot_keep_online_back() {
    let mut outbox = outbox();
    outbox.put(message("a", "0", true));
    outbox.begin(None);
    assert_eq!(hand_over(&mut outbox), ["a=0", "s=online"]);
}

#[test]
fn only_the_newest_of_a_topic_waits_and_changes_on_the_way_follow() {
    let mut outbox = outbox();
    outbox.begin(None);
    hand_over(&mut outbox);
    for value in ["1", "2", "3"] {
        outbox.put(message("a", value, true));
    }
    assert_eq!(hand_over(&mut outbox), ["a=3"]);
    outbox.put(message("a", "4", true));
    outbox.put(message("a", "5", true));
    assert_eq!(hand_over(&mut outbox), [""; 0], "one at a time");
    outbox.numbered(1);
    outbox.numbered(2);
    outbox.delivered(2);
    assert_eq!(hand_over(&mut outbox), ["a=5"]);
    outbox.numbered(1);
    outbox.delivered(1);
    outbox.put(message("a", "6", true));
    assert_eq!(hand_over(&mut outbox), ["a=6"]);
}

#[test]
fn a_lost_connection_sends_all_states_and_the_unacknowledged_events_again() {
    let mut outbox = outbox();
    outbox.begin(None);
    hand_over(&mut outbox);
    outbox.numbered(1);
    outbox.delivered(1);
    outbox.put(message("a", "1", true));
    outbox.put(message("e", "x", false));
    outbox.put(message("e", "y", false));
    assert_eq!(hand_over(&mut outbox), ["e=x", "e=y", "a=1"]);
    for id in 2..=4 {
        outbox.numbered(id);
    }
    outbox.delivered(2);
    outbox.delivered(4);
    outbox.begin(None);
    assert_eq!(hand_over(&mut outbox), ["e=y", "a=1", "s=online"]);
    assert_eq!(outbox.take_events(), [message("e", "y", false)]);
}

#[test]
fn a_removal_is_said_once() {
    let mut outbox = outbox();
    outbox.begin(None);
    outbox.put(message("a", "", true));
    assert_eq!(hand_over(&mut outbox), ["s=online", "a="]);
    outbox.numbered(1);
    outbox.numbered(2);
    outbox.delivered(2);
    outbox.begin(None);
    assert_eq!(hand_over(&mut outbox), ["s=online"]);
}

#[test]
fn too_many_events_drop_the_oldest_that_does_not_travel() {
    let mut outbox = outbox();
    outbox.begin(None);
    let dropped: usize = (0..5)
        .map(|n| outbox.put(message("e", &n.to_string(), false)))
        .sum();
    assert_eq!(dropped, 2);
    assert_eq!(hand_over(&mut outbox), ["e=2", "e=3", "e=4", "s=online"]);
}

#[test]
fn goodbye_comes_last_and_only_once() {
    let mut outbox = outbox();
    outbox.begin(None);
    outbox.put(message("a", "1", true));
    outbox.say_offline();
    assert_eq!(hand_over(&mut outbox), ["a=1", "s=offline"]);
    outbox.numbered(1);
    outbox.numbered(2);
    assert!(!outbox.said_goodbye());
    outbox.delivered(2);
    assert!(outbox.said_goodbye());
    assert_eq!(hand_over(&mut outbox), [""; 0]);
}

#[test]
fn a_followed_event_is_never_dropped_and_its_delivery_is_told_once() {
    let mut outbox = outbox();
    let letter = outbox.follow_next();
    assert_eq!(outbox.put(message("n", "told", false)), 0);
    let dropped: usize = (0..6)
        .map(|number| outbox.put(message("e", &number.to_string(), false)))
        .sum();
    // Three others may wait beside it.
    assert_eq!((dropped, outbox.waiting()), (3, (0, 4)));
    outbox.begin(None);
    assert_eq!(hand_over(&mut outbox), ["n=told", "e=3", "e=4", "e=5"]);
    outbox.numbered(1);
    // The connection is lost before the broker answers: it goes again.
    outbox.begin(None);
    assert_eq!(hand_over(&mut outbox)[0], "n=told");
    outbox.numbered(7);
    assert_eq!(outbox.delivered(1), None);
    assert_eq!(outbox.delivered(7), Some(letter));
    assert_eq!(outbox.delivered(7), None);
}

/// Homie's `$state`: `init` before and `ready` after all else, units before the service, each connection
/// anew; `disconnected` last.
#[test]
fn longer_words_are_said_in_order_around_the_states() {
    let say = |word: &str| ["u", "s"].map(|topic| message(topic, word, true)).to_vec();
    let presence = Presence {
        opening: say("init"),
        here: say("ready"),
        is_held: true,
        away: say("gone"),
        will: "lost".to_owned(),
    };
    let mut outbox = Outbox::new(presence, "m".to_owned(), 20, 3);
    outbox.put(message("a", "1", true));
    outbox.begin(None);
    assert_eq!(outbox.waiting().0, 3);
    assert_eq!(hand_over(&mut outbox), ["u=init", "s=init", "a=1"]);
    outbox.put(message("b", "1", true));
    outbox.ready();
    let ready = ["b=1", "u=ready", "s=ready"];
    assert_eq!(hand_over(&mut outbox), ready);
    outbox.begin(None);
    let again = ["u=init", "s=init", "a=1", "b=1", "u=ready", "s=ready"];
    assert_eq!(hand_over(&mut outbox), again);
    outbox.say_offline();
    assert_eq!(hand_over(&mut outbox), ["u=gone", "s=gone"]);
    for id in 1..=8 {
        outbox.numbered(id);
    }
    outbox.delivered(7);
    assert!(!outbox.said_goodbye(), "one of two");
    outbox.delivered(8);
    assert!(outbox.said_goodbye());
    outbox.begin(None);
    assert!(
        outbox.said_goodbye(),
        "the end of the connection takes nothing back"
    );
}
