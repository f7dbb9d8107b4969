//! A whole household: what is not of the unit, and what is there twice.

use super::{
    super::finding::{Finding, Sureness::*},
    House, found, taken,
};

/// A household has much that is not water, and some that sounds like it.
#[test]
fn what_is_not_of_the_unit_is_passed_over() {
    let mut house = House::new().live("rodi/sensor/feed_tds/state", "250");
    for (topic, payload) in [
        (
            "tele/plug/SENSOR",
            r#"{"ENERGY":{"Power":12,"Voltage":231,"Current":0.1,"Total":7.1}}"#,
        ),
        ("home/living/temperature", "21.5"),
        ("home/heating/flow_temperature", "45"),
        ("home/gas/total", "7123.1"),
        ("weather/pressure", "1013"),
        (
            "zigbee2mqtt/plant",
            r#"{"soil_moisture":30,"conductivity":350,"temperature":20}"#,
        ),
        ("home/co2", "700 ppm"),
        ("car/tyre_pressure", "2.4"),
        ("aquarium/temperature", "25.1"),
        ("aquarium/ph", "8.1"),
        ("garage/door", "open"),
        ("homeassistant/sensor/rodi/tds/config", "{}"),
        ("permeated/kitchen/value/feed_tds_mg_l", "250"),
        ("zigbee2mqtt/pump plug", r#"{"state":"ON","power":41}"#),
        ("printer/level", "40 %"),
    ] {
        house = house.live(topic, payload);
    }
    let proposal = house.proposal();
    let places: Vec<String> = proposal.findings.iter().map(Finding::place).collect();
    assert_eq!(
        places,
        ["rodi/sensor/feed_tds/state"],
        "{}",
        proposal.report(true)
    );
    assert_eq!(proposal.ours, 1);
}

#[test]
fn a_second_sensor_at_a_point_waits() {
    let house = House::new()
        .live("rodi/sensor/feed_tds/state", "250 ppm")
        .live("rodi/sensor/tap_tds/state", "251")
        .live("other_rodi/permeate_tds_ppm", "7")
        .live("rodi/sensor/permeate_tds_ppm/state", "8");
    let proposal = house.proposal();
    assert_eq!(
        taken(&proposal, "rodi/sensor/feed_tds/state", ""),
        "feed_tds gauge ppm sure"
    );
    let second = found(&proposal, "rodi/sensor/tap_tds/state", "");
    assert_eq!(second.sureness, Doubtful);
    assert!(
        second.decide.iter().any(|decide| decide.contains("spare")),
        "{second:?}"
    );
    // Equals: two units, perhaps.
    for topic in [
        "other_rodi/permeate_tds_ppm",
        "rodi/sensor/permeate_tds_ppm/state",
    ] {
        assert_eq!(found(&proposal, topic, "").sureness, Doubtful, "{topic}");
    }
}

#[test]
fn kept_messages_alone_are_not_sure() {
    let proposal = House::new().kept("rodi/permeate_tds", "7 ppm").proposal();
    let finding = found(&proposal, "rodi/permeate_tds", "");
    assert_eq!(finding.sureness, Likely);
    assert!(finding.decide[0].contains("kept"), "{finding:?}");
}
