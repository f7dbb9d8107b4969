//! What a log's lines say, there and back.

use proptest::prelude::*;

use super::*;

fn written(entry: &Entry) -> String {
    let mut line = Vec::new();
    entry.write(&mut line).unwrap();
    String::from_utf8(line).unwrap()
}

#[test]
fn lines_go_there_and_back() {
    let text =
        r#"{"time":"2026-11-25T09:00:00.000Z","topic":"rodi/flow","payload":"1.5","retain":false}"#;
    let (time, line) = Line::read(text).unwrap();
    assert_eq!(time.to_rfc3339(), "2026-11-25T09:00:00.000Z");
    assert_eq!(line.text(), text);
    assert_eq!(written(&Entry::read(text).unwrap()), text);
}

#[test]
fn wrong_lines_say_why() {
    for (text, expected) in [
        ("{}", "missing field"),
        (r#"{"time":"noon","topic":"a","payload":"1"}"#, "noon"),
        (
            r#"{"time":"2026-11-25T09:00:00Z","topic":"a"}"#,
            "missing field `payload`",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","payload":"1"}"#,
            "missing field `topic`",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","topic":"a","payload":"1","payload_base64":"MQ=="}"#,
            "exclude each other",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","topic":"a","payload_base64":"M"}"#,
            "no base64",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","topic":"a","mark":"looked"}"#,
            "not both",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","mark":"lookde"}"#,
            "unknown variant",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","mark":"looked","mono":18446744073709551615}"#,
            "milliseconds, 3155760000000 at most",
        ),
        (
            r#"{"time":"2026-11-25T09:00:00Z","topic":"a","payload":"1","text":"x"}"#,
            "belong to a `mark`",
        ),
    ] {
        let error = Entry::read(text).unwrap_err().to_string();
        assert!(error.contains(expected), "{text}: {error}");
    }
}

/// RFC 4648, section 10, gives "foobar" as Zm9vYmFy; 0xff 0xfe is no UTF-8 in any place (RFC 3629).
#[test]
fn bytes_that_are_no_text_are_kept_as_base64() {
    let text = r#"{"time":"2026-11-25T09:00:00Z","topic":"a","payload_base64":"Zm9vYmFy"}"#;
    let What::Message(message) = Entry::read(text).unwrap().what else {
        panic!("a message");
    };
    assert_eq!(&*message.payload, b"foobar");
    let entry = Entry {
        time: Wall(1_800_000_000_000),
        mono: None,
        what: What::Message(Message {
            topic: "a".into(),
            payload: Cow::Borrowed(&[0xff, 0xfe]),
            arrival: Arrival::Live,
            packet: None,
        }),
    };
    let line = written(&entry);
    assert!(line.contains(r#""payload_base64":"//4=""#), "{line}");
    assert_eq!(Entry::read(&line).unwrap(), entry);
}

#[test]
fn marks_go_there_and_back() {
    for (mark, text) in [
        (
            Mark::Began("permeated 1".into()),
            r#""mark":"began","text":"permeated 1""#,
        ),
        (
            Mark::ServiceBegan(serde_json::json!({"u": {"a": 1.5}})),
            r#""mark":"service_began""#,
        ),
        (Mark::Looked, r#""mark":"looked""#),
        (
            Mark::Gap(Wall(1_799_999_990_000), "the broker was away".into()),
            r#""since":"2027-01-15T07:59:50.000Z""#,
        ),
        (Mark::Ended, r#""mark":"ended""#),
    ] {
        let entry = Entry {
            time: Wall(1_800_000_000_000),
            mono: Some(Mono(17)),
            what: What::Mark(mark),
        };
        let line = written(&entry);
        assert!(
            line.contains(text) && line.contains(r#""mono":17"#),
            "{line}"
        );
        assert_eq!(Entry::read(&line).unwrap(), entry);
    }
}

proptest! {
    #[test]
    fn any_message_goes_there_and_back(
        topic in ".{1,20}",
        payload in prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..50),
            ".{0,50}".prop_map(String::into_bytes),
        ],
        time in 0_i64..4_000_000_000_000,
        mono in proptest::option::of(0..=LARGEST_MONO),
        way in 0..3,
        packet in proptest::option::of((1_u16.., any::<bool>())),
    ) {
        let arrival = [Arrival::Live, Arrival::Late, Arrival::Retained][usize::try_from(way).unwrap()];
        let entry = Entry {
            time: Wall(time),
            mono: mono.map(Mono),
            what: What::Message(Message {
                topic: topic.into(),
                payload: payload.into(),
                arrival,
                packet: packet.map(|(id, duplicate)| Packet { id, duplicate }),
            }),
        };
        let line = written(&entry);
        prop_assert!(!line.contains('\n'));
        prop_assert_eq!(Entry::read(&line).unwrap(), entry);
    }
}
