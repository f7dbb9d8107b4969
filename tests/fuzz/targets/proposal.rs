//! Messages of a strange broker to `listen`: a topic, a space or a tab, a payload; one a line.

use std::{collections::BTreeMap, sync::OnceLock, time::Duration};

use permeated::{
    config::{self, Broker},
    proposal::{Entry, Heard, Message, Proposal},
    time::Wall,
};

/// Whatever a broker carries: what is proposed passes the check, if there is a sensor at all; what is
/// told of it holds nothing that a terminal would obey.
pub fn take(bytes: &[u8]) {
    let mut heard = Heard::new("permeated");
    for (number, line) in (0_u32..).zip(bytes.split(|byte| *byte == b'\n')) {
        let end = line.iter().position(|byte| b" \t".contains(byte));
        let (topic, payload) = line.split_at(end.unwrap_or(line.len()));
        let topic = String::from_utf8_lossy(topic);
        // No broker lets such a topic pass (MQTT 3.1.1, 4.7.1 and 4.7.3).
        if topic.is_empty() || topic.contains(['+', '#', '\0']) {
            continue;
        }
        let seconds = 10 * number;
        heard.take(Message {
            topic: &topic,
            payload: payload.get(1..).unwrap_or_default(),
            retained: end.is_some_and(|end| line[end] == b'\t'),
            after: Duration::from_secs(u64::from(seconds)),
            at: Wall(1_795_597_200_000 + i64::from(seconds) * 1000),
        });
    }
    let proposal = Proposal::of(&heard);
    let text = proposal.configuration(&Entry {
        broker: broker(),
        prefix: "permeated",
        heard: "a while",
    });
    if proposal.has_sensors() {
        let read = config::from_text("proposed.toml", &text, &BTreeMap::new(), None);
        assert!(read.is_ok(), "{}\n{text}", read.unwrap_err());
    }
    let report = proposal.report(true);
    for shown in [&report, &text] {
        let mut letters = shown.chars();
        let control = letters.find(|letter| letter.is_control() && *letter != '\n');
        assert_eq!(control, None, "{shown:?}");
    }
}

fn broker() -> &'static Broker {
    static BROKER: OnceLock<Broker> = OnceLock::new();
    BROKER.get_or_init(|| {
        let none = BTreeMap::new();
        let read = config::broker_from_text("b", "[broker]\nurl = \"mqtt://localhost\"", &none);
        read.unwrap_or_else(|error| panic!("{error}")).0
    })
}
