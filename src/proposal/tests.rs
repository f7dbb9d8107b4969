//! The payloads of common firmware, as listed from their documentation and sources, each with what it
//! should be taken for; and what a broker can do to us.

mod house;
mod limits;
mod texts;

use std::time::Duration;

use super::{
    Proposal,
    finding::{Finding, Sureness::*},
    heard::{Heard, Message},
};
use crate::{
    config::{Broker, Point},
    time::Wall,
};

/// 2026-11-25T09:00:00Z.
const NOW: i64 = 1_795_597_200_000;

/// A broker's messages, ten seconds apart.
struct House(Heard, u64);

impl House {
    fn new() -> Self {
        Self(Heard::new("permeated"), 0)
    }

    fn message(&mut self, topic: &str, payload: &[u8], retained: bool) {
        self.1 += 10;
        self.0.take(Message {
            topic,
            payload,
            retained,
            after: Duration::from_secs(self.1),
            at: Wall(NOW + 1000 * i64::try_from(self.1).unwrap()),
        });
    }

    fn live(mut self, topic: &str, payload: &str) -> Self {
        self.message(topic, payload.as_bytes(), false);
        self
    }

    fn kept(mut self, topic: &str, payload: &str) -> Self {
        self.message(topic, payload.as_bytes(), true);
        self
    }

    fn proposal(&self) -> Proposal {
        Proposal::of(&self.0)
    }
}

fn found<'p>(proposal: &'p Proposal, topic: &str, pointer: &str) -> &'p Finding {
    let pointer = (!pointer.is_empty()).then_some(pointer);
    (proposal.findings.iter())
        .find(|finding| finding.topic == topic && finding.pointer.as_deref() == pointer)
        .unwrap_or_else(|| {
            panic!(
                "{topic} {pointer:?} was not found in {}",
                proposal.report(true)
            )
        })
}

/// Point, kind, unit and sureness of a value.
fn taken(proposal: &Proposal, topic: &str, pointer: &str) -> String {
    let finding = found(proposal, topic, pointer);
    format!(
        "{} {} {} {}",
        finding.point().unwrap().key(),
        finding.kind.key(),
        finding.unit.unwrap_or("-"),
        finding.sureness.text()
    )
}

fn broker() -> Broker {
    Broker {
        host: "127.0.0.1".to_owned(),
        port: 1883,
        tls: None,
        user: None,
        password_file: None,
        client_id: None,
        keep_alive: Duration::from_secs(30),
    }
}

#[test]
fn esphome_with_and_without_announcements() {
    let house = House::new()
        .kept("rodi/status", "online")
        .live("rodi/sensor/feed_tds/state", "282")
        .live("rodi/sensor/permeate_tds/state", "8")
        .live("rodi/sensor/feed_pressure/state", "58.1")
        .live("rodi/sensor/permeate_pulses/state", "1000")
        .live("rodi/sensor/permeate_pulses/state", "1040")
        .live("rodi/binary_sensor/leak/state", "OFF")
        .live("rodi/sensor/water_temperature/state", "nan")
        .live("rodi/sensor/uptime/state", "777")
        .live("rodi/debug", "\u{1b}[0;36m[D][sensor:094]: 'Feed TDS': Sending state 282")
        .kept(
            "homeassistant/sensor/rodi/drain/config",
            r#"{"name":"Drain flow","stat_t":"rodi/sensor/x1/state","unit_of_meas":"L/min","dev_cla":"volume_flow_rate","avty_t":"rodi/status","dev":{"name":"RO/DI"}}"#,
        )
        .live("rodi/sensor/x1/state", "0.62");
    let proposal = house.proposal();
    let taken = |name: &str| taken(&proposal, &format!("rodi/{name}/state"), "");
    assert_eq!(taken("sensor/feed_tds"), "feed_tds gauge ppm likely");
    assert_eq!(
        taken("sensor/permeate_tds"),
        "permeate_tds gauge ppm likely"
    );
    assert_eq!(
        taken("sensor/feed_pressure"),
        "feed_pressure gauge psi likely"
    );
    assert_eq!(
        taken("sensor/permeate_pulses"),
        "permeate_flow pulses - doubtful"
    );
    assert_eq!(taken("binary_sensor/leak"), "leak contact - sure");
    assert_eq!(
        taken("sensor/water_temperature"),
        "feed_temperature gauge - doubtful"
    );
    assert_eq!(taken("sensor/x1"), "concentrate_flow rate L/min sure");
    let presence = found(&proposal, "rodi/sensor/feed_tds/state", "")
        .presence
        .clone()
        .unwrap();
    assert_eq!(
        (presence.topic.as_str(), presence.up.as_str()),
        ("rodi/status", "online")
    );
    assert_eq!(proposal.findings.len(), 7);
}

#[test]
fn tasmota_with_two_probes_and_a_counter() {
    let sensor = r#"{"Time":"2026-11-25T09:00:00","DS18B20-1":{"Id":"0300","Temperature":17.5},"DS18B20-2":{"Id":"0301","Temperature":21.5},"COUNTER":{"C1":1234},"ANALOG":{"A0":512},"ESP32":{"Temperature":51.1},"TempUnit":"C"}"#;
    let house = House::new()
        .live("rodi/feed_tds", "250 ppm")
        .kept("tele/rodi/LWT", "Online")
        .live("tele/rodi/STATE", r#"{"Time":"2026-11-25T09:00:00","Uptime":"0T01:00:00","UptimeSec":3600,"Heap":25,"LoadAvg":19,"POWER":"ON","Wifi":{"AP":1,"RSSI":88,"Signal":-56}}"#)
        .live("tele/rodi/SENSOR", sensor)
        .live("stat/rodi/STATUS8", r#"{"StatusSNS":{"Time":"2026-11-25T09:00:00","COUNTER":{"C1":1234}}}"#);
    let proposal = house.proposal();
    let taken = |pointer: &str| taken(&proposal, "tele/rodi/SENSOR", pointer);
    // Two thermometers: which is in the feed only a person knows.
    assert_eq!(
        taken("/DS18B20-1/Temperature"),
        "feed_temperature gauge degC doubtful"
    );
    assert_eq!(
        taken("/DS18B20-2/Temperature"),
        "feed_temperature gauge degC doubtful"
    );
    assert_eq!(taken("/COUNTER/C1"), "permeate_flow pulses - doubtful");
    assert_eq!(taken("/ANALOG/A0"), "feed_pressure gauge - doubtful");
    assert_eq!(
        found(&proposal, "tele/rodi/SENSOR", "/DS18B20-1/Temperature")
            .presence
            .as_ref()
            .unwrap()
            .up,
        "online"
    );
    assert!(
        found(&proposal, "stat/rodi/STATUS8", "/StatusSNS/COUNTER/C1")
            .mirror_of
            .is_some()
    );
    assert_eq!(proposal.findings.len(), 6, "{}", proposal.report(true));
    // A time without a zone is none.
    assert!(
        proposal
            .findings
            .iter()
            .all(|finding| finding.time.is_none())
    );

    let one = House::new()
        .live(
            "tele/rodi/SENSOR",
            r#"{"DS18B20":{"Temperature":59.5},"TDS":{"Feed":282},"TempUnit":"F"}"#,
        )
        .proposal();
    let of = |pointer: &str| super::tests::taken(&one, "tele/rodi/SENSOR", pointer);
    assert_eq!(
        of("/DS18B20/Temperature"),
        "feed_temperature gauge degF likely"
    );
    assert_eq!(of("/TDS/Feed"), "feed_tds gauge ppm likely");
}

#[test]
fn zigbee_names_with_spaces_and_both_kinds_of_availability() {
    let leak = r#"{"water_leak":false,"battery":100,"linkquality":90,"last_seen":1795597221000}"#;
    let house = House::new()
        .kept("zigbee2mqtt/bridge/state", r#"{"state":"online"}"#)
        .kept(
            "zigbee2mqtt/RO cabinet \"left\"/availability",
            r#"{"state":"online"}"#,
        )
        .live("zigbee2mqtt/RO cabinet \"left\"", leak)
        .kept("zigbee2mqtt/Waschk\u{fc}che/availability", "offline")
        .kept("zigbee2mqtt/Waschk\u{fc}che", leak)
        .live(
            "zigbee2mqtt/living/thermo",
            r#"{"temperature":21.5,"humidity":40,"pressure":1013.2}"#,
        );
    let proposal = house.proposal();
    let named = found(&proposal, "zigbee2mqtt/RO cabinet \"left\"", "/water_leak");
    assert_eq!((named.point(), named.sureness), (Some(Point::Leak), Sure));
    let presence = named.presence.as_ref().unwrap();
    assert_eq!(
        (presence.pointer.as_deref(), presence.down.as_str()),
        (Some("/state"), "offline")
    );
    assert_eq!(named.time.as_deref(), Some("/last_seen"));
    // Somebody's leak probe, of unknown place, and away.
    let other = found(&proposal, "zigbee2mqtt/Waschk\u{fc}che", "/water_leak");
    assert_eq!(other.sureness, Doubtful);
    assert_eq!(proposal.findings.len(), 2, "{}", proposal.report(true));
}

#[test]
fn shelly_tells_twice_and_in_both_degrees() {
    let house = House::new()
        .kept("shelly-rodi/online", "true")
        .live("shelly-rodi/status/temperature:100", r#"{"id":100,"tC":21.4,"tF":70.5}"#)
        .live("shelly-rodi/status/voltmeter:100", r#"{"id":100,"voltage":2.31}"#)
        .live("shelly-rodi/status/input:2", r#"{"id":2,"counts":{"total":123}}"#)
        .live("shelly-rodi/events/rpc", r#"{"src":"shelly-rodi","dst":"shelly-rodi/events","method":"NotifyStatus","params":{"ts":1795597250.62,"temperature:100":{"id":100,"tC":21.4,"tF":70.5}}}"#);
    let proposal = house.proposal();
    assert_eq!(
        taken(&proposal, "shelly-rodi/status/temperature:100", "/tC"),
        "feed_temperature gauge degC likely"
    );
    assert!(
        found(&proposal, "shelly-rodi/status/temperature:100", "/tF")
            .mirror_of
            .is_some()
    );
    assert!(
        found(
            &proposal,
            "shelly-rodi/events/rpc",
            "/params/temperature:100/tC"
        )
        .mirror_of
        .is_some()
    );
    assert_eq!(
        taken(&proposal, "shelly-rodi/status/input:2", "/counts/total"),
        "permeate_flow pulses - doubtful"
    );
    assert_eq!(
        taken(&proposal, "shelly-rodi/status/voltmeter:100", "/voltage"),
        "feed_pressure gauge - doubtful"
    );
    let presence = found(&proposal, "shelly-rodi/status/temperature:100", "/tC")
        .presence
        .clone()
        .unwrap();
    assert_eq!(
        (presence.up.as_str(), presence.down.as_str()),
        ("true", "false")
    );
}

#[test]
fn plain_topics_with_units_commas_and_lists() {
    let house = House::new()
        .live("/home/rodi/feed_pressure", "4.1 bar")
        .live("/home/rodi/product_tds", "0,4\n")
        .live("/home/rodi/waste_flow_l_min", "\"0.61\"")
        .live("/home/rodi/flow", "0.15")
        .live("/home/rodi/all", "21.4;55;300")
        .live("/home/rodi/line_pressure", "59 PSI")
        .kept("/home/rodi/status", "Connected")
        .live("sensors/inlet_valve", "open")
        .live("garden/flow", "3");
    let proposal = house.proposal();
    let taken = |topic: &str| taken(&proposal, topic, "");
    assert_eq!(
        taken("/home/rodi/feed_pressure"),
        "feed_pressure gauge bar sure"
    );
    assert_eq!(
        taken("/home/rodi/product_tds"),
        "product_tds gauge ppm likely"
    );
    assert_eq!(
        taken("/home/rodi/waste_flow_l_min"),
        "concentrate_flow rate L/min sure"
    );
    assert_eq!(taken("/home/rodi/flow"), "permeate_flow rate - doubtful");
    // The service reads "psi" only.
    assert_eq!(
        taken("/home/rodi/line_pressure"),
        "supply_pressure gauge psi doubtful"
    );
    let presence = found(&proposal, "/home/rodi/flow", "")
        .presence
        .clone()
        .unwrap();
    assert_eq!(
        (presence.up.as_str(), presence.down.as_str()),
        ("connected", "connection lost")
    );
    assert_eq!(proposal.lists.len(), 1);
    assert_eq!(proposal.findings.len(), 5, "{}", proposal.report(true));
}

#[test]
fn states_of_a_hub_and_their_attributes() {
    let house = House::new()
        .live("homeassistant/sensor/ro_permeate/state", "12")
        .live(
            "homeassistant/sensor/ro_permeate/unit_of_measurement",
            "\"\u{b5}S/cm\"",
        )
        .live(
            "homeassistant/sensor/ro_permeate/device_class",
            "\"conductivity\"",
        )
        .live("homeassistant/sensor/ro_feed_tds/state", "unavailable")
        .live("homeassistant/sensor/kitchen_temperature/state", "21");
    let proposal = house.proposal();
    assert_eq!(
        taken(&proposal, "homeassistant/sensor/ro_permeate/state", ""),
        "permeate_tds gauge uS/cm sure"
    );
    assert_eq!(
        taken(&proposal, "homeassistant/sensor/ro_feed_tds/state", ""),
        "feed_tds gauge - doubtful"
    );
    assert_eq!(proposal.findings.len(), 2, "{}", proposal.report(true));
}

#[test]
fn documents_with_lists_and_names_inside() {
    let up = r#"{"received_at":"2026-11-25T09:00:10Z","uplink_message":{"f_cnt":7,"decoded_payload":{"pressure":[4.1,3.9],"tds/feed":282},"rx_metadata":[{"rssi":-90}]}}"#;
    let flow = r#"{"readings":[{"sensor":"permeate_tds","unit":"ppm","value":7},{"sensor":"co2","unit":"ppm","value":700}]}"#;
    let house = House::new()
        .live("v3/rodi/devices/a/up", up)
        .live("nodered/rodi", flow);
    let proposal = house.proposal();
    let tds = found(
        &proposal,
        "v3/rodi/devices/a/up",
        "/uplink_message/decoded_payload/tds~1feed",
    );
    assert_eq!(
        (tds.point(), tds.time.as_deref()),
        (Some(Point::FeedTds), Some("/received_at"))
    );
    let pressure = taken(
        &proposal,
        "v3/rodi/devices/a/up",
        "/uplink_message/decoded_payload/pressure/0",
    );
    assert_eq!(pressure, "feed_pressure gauge bar doubtful");
    assert_eq!(
        taken(&proposal, "nodered/rodi", "/readings/0/value"),
        "permeate_tds gauge ppm likely"
    );
    assert_eq!(proposal.findings.len(), 4, "{}", proposal.report(true));
}
