//! The configuration and the report as texts, whatever the names in them.

use proptest::prelude::*;

use super::{super::Entry, House, broker};
use crate::config::{Point, Settings, from_text};

fn configuration(house: &House) -> String {
    house.proposal().configuration(&Entry {
        broker: &broker(),
        prefix: "permeated",
        heard: "127.0.0.1, 60 s",
    })
}

fn settings(text: &str) -> Settings {
    from_text(
        "proposed.toml",
        text,
        &std::collections::BTreeMap::new(),
        None,
    )
    .unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

#[test]
fn what_is_active_is_configured_as_found_and_the_rest_is_a_comment() {
    let house = House::new()
        .kept("/we\"ird \u{1f4a7} rodi\\/status", "online")
        .live("/we\"ird \u{1f4a7} rodi\\/feed_tds", "250 ppm")
        .live("/we\"ird \u{1f4a7} rodi\\/pulses", "5")
        .live("rodi/board/", r#"{"permeate tds":{"a~b/c":"7 mg/L"}}"#);
    let text = configuration(&house);
    let settings = settings(&text);
    let sensors = &settings.units[0].sensors;
    let points: Vec<Point> = sensors.iter().map(|sensor| sensor.at).collect();
    assert_eq!(points, [Point::FeedTds, Point::PermeateTds], "{text}");
    assert_eq!(
        sensors[0].topic.as_written(),
        "/we\"ird \u{1f4a7} rodi\\/feed_tds"
    );
    assert_eq!(
        sensors[0].availability.as_ref().unwrap().topic.as_written(),
        "/we\"ird \u{1f4a7} rodi\\/status"
    );
    assert_eq!(sensors[1].pointer.as_deref(), Some("/permeate tds/a~0b~1c"));
    assert!(text.contains("#? pulses_per_litre"), "{text}");
}

#[test]
fn a_decided_entry_passes_once_its_marks_are_taken_away() {
    let house = House::new()
        .live("rodi/feed_tds", "250 ppm")
        .live("rodi/tds", "7 ppm");
    let text = configuration(&house);
    let decided: String = (text.lines())
        .skip_while(|line| !line.contains("To be decided"))
        .map(|line| format!("{}\n", line.strip_prefix("#? ").unwrap_or(line)))
        .collect();
    let before = text.split("# --- To be decided").next().unwrap();
    let settings = settings(&format!("{before}{decided}"));
    assert_eq!(settings.units[0].sensors.len(), 2);
    // The placeholders of the train, too.
    let filled: String = text
        .lines()
        .map(|line| format!("{}\n", line.strip_prefix("#?").unwrap_or(line).trim_start()))
        .collect();
    let settings = self::settings(&filled);
    assert_eq!(settings.units[0].stages.len(), 4);
}

#[test]
fn the_least_doubtful_stands_where_nothing_is_sure() {
    let house = House::new()
        .live("rodi/tds", "7 ppm")
        .live("rodi/flow", "3");
    let text = configuration(&house);
    let settings = settings(&text);
    assert_eq!(settings.units[0].sensors[0].topic.as_written(), "rodi/tds");
    assert!(text.contains("nothing here is sure"), "{text}");
}

#[test]
fn a_report_says_why_what_to_decide_and_what_was_passed_over() {
    let house = House::new()
        .live("rodi/feed_tds", "250 ppm")
        .live("rodi/tds", "7 ppm")
        .live("rodi/csv", "1;2;3")
        .live("home/living/temperature", "21\u{1b}[31m")
        .live("home/living/humidity", "40")
        .kept("tele/ro-board/LWT", "Online");
    let report = house.proposal().report(false);
    for wanted in [
        "Sure",
        "feed_tds",
        "the payload says \"ppm\"",
        "decide: before the membrane it is feed_tds",
        "rodi/csv  1;2;3",
        "air and weather",
        "--seconds 330",
        "--all",
    ] {
        assert!(report.contains(wanted), "{wanted} is not in\n{report}");
    }
    assert!(!report.contains('\u{1b}'));
    assert!(
        house
            .proposal()
            .report(true)
            .contains("home/living/humidity  40")
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]
    /// Any names and payloads: the configuration is one, and means only what was heard.
    #[test]
    fn any_house_gives_a_right_configuration(
        messages in proptest::collection::vec(
            ("[^+#\u{0}$][^+#\u{0}]{0,12}", "(rodi|feed|tds|di|flow|leak|pressure|total|status|state|LWT|temp| |/|_){1,4}", any::<bool>(),
             prop_oneof!["[0-9]{1,4}([.,][0-9])?( (psi|bar|ppm|L|%|\"))?", "on|off|ONLINE|true|wet|nan|", "\\PC{0,20}",
                "\\{\"(feed_tds|leak|t/~\"?|unit|name|time)\":(1|\"2 ppm\"|null|\\[3,4\\]|true)\\}"]),
            1..12)
    ) {
        let mut house = House::new();
        for (start, name, retained, payload) in &messages {
            house.message(&format!("{start}/{name}"), payload.as_bytes(), *retained);
        }
        let proposal = house.proposal();
        let report = proposal.report(true);
        prop_assert!(report.chars().all(|c| c == '\n' || !c.is_control()));
        if proposal.has_sensors() {
            let settings = settings(&configuration(&house));
            for sensor in &settings.units[0].sensors {
                let is_heard = messages.iter().any(|(start, name, ..)| sensor.topic.as_written() == format!("{start}/{name}"));
                prop_assert!(is_heard, "{}", sensor.topic);
            }
        }
    }

    /// Any announcement, by anybody.
    #[test]
    fn any_announcement_is_harmless(up in "[a-z]{0,3}", down in "[a-zA-Z \"]{0,3}", topic in "[a-z+#$/\u{7f}]{0,8}", unit in "ppm|uS/cm|bar|x|") {
        let told = serde_json::json!({"state_topic": "rodi/feed_tds", "unit_of_measurement": unit, "availability_topic": topic,
            "payload_available": up, "payload_not_available": down});
        let house = House::new().kept("homeassistant/sensor/a/config", &told.to_string()).live("rodi/feed_tds", "250");
        if house.proposal().has_sensors() {
            settings(&configuration(&house));
        }
    }
}
