//! Values: the same as on the plain topics, as rarely, and nothing where there is none.

use std::collections::BTreeMap;

use permeated::{
    core::Arrival,
    wire::document::{NO_VALUE, OFF, ON},
};

use super::{
    Site,
    configurations::{ONE_SENSOR, everything},
};

/// Where a plain value stands by Homie: `value/<name>` in one of the nodes, `_` as `-`.
fn by_homie<'a>(site: &'a Site, unit: &str, name: &str) -> Vec<Option<&'a str>> {
    let (unit, name) = (unit.replace('_', "-"), name.replace('_', "-"));
    let nodes = ["now", "membrane", "wear", "chemistry", "totals", "costs"];
    let known = site.installation.retained_topics();
    let place = |node: &&&str| known.contains(&format!("homie/5/permeated-{unit}/{node}/{name}"));
    let there = nodes.iter().filter(place);
    there
        .map(|node| site.value(&format!("permeated-{unit}/{node}/{name}")))
        .collect()
}

#[test]
fn values_are_those_of_the_plain_topics() {
    let mut site = Site::new(&everything());
    site.hear_all();
    let plain: BTreeMap<String, String> = site.retained.clone();
    let (mut numbers, mut gaps) = (0, 0);
    for (topic, text) in &plain {
        let Some((unit, name)) = (topic.strip_prefix("permeated/"))
            .and_then(|rest| rest.split_once("/value/"))
            .filter(|(_, name)| !name.contains('/') && *name != "alerts_active")
        else {
            continue;
        };
        let wanted = match text.as_str() {
            NO_VALUE => None,
            ON => Some("true"),
            OFF => Some("false"),
            other => Some(other),
        };
        assert_eq!(by_homie(&site, unit, name), [wanted], "{topic}");
        numbers += usize::from(wanted.is_some());
        gaps += usize::from(wanted.is_none());
    }
    assert!(numbers > 40 && gaps > 10, "{numbers} {gaps}");
    let stage = site.value("permeated-a-b/stage-mixed-bed/treated-l");
    let plain = &plain["permeated/a_b/value/stage/mixed_bed/treated_l"];
    assert_eq!(stage, Some(plain.as_str()));
}

/// A sensor that fell silent has no value, and neither has one of which nothing was heard since the start:
/// what an earlier life left there is taken away.
#[test]
fn a_value_that_is_not_there_has_no_message() {
    const VALUE: &str = "permeated-u/now/product-tds-mg-l";
    let mut site = Site::new(ONE_SENSOR);
    let cleared = |said: &permeated::wire::Outgoing| {
        said.topic.ends_with(VALUE) && said.payload.is_empty() && said.retain
    };
    assert_eq!(
        site.take_said().iter().filter(|said| cleared(said)).count(),
        1
    );
    site.hear("t", "3", Arrival::Live);
    site.pass(20_000);
    assert!(site.value(VALUE).unwrap().parse::<f64>().is_ok());
    assert_eq!(site.value("permeated-u/now/available"), Some("true"));
    site.take_said();
    site.pass(2 * 3_600_000);
    assert_eq!(site.value(VALUE), None);
    assert_eq!(site.value("permeated-u/now/available"), Some("false"));
    // It is taken away once, not with every heartbeat.
    assert_eq!(
        site.take_said().iter().filter(|said| cleared(said)).count(),
        1
    );
}

#[test]
fn an_alert_is_true_and_says_its_sentence_until_it_is_over() {
    const ALERT: &str = "permeated-u/alerts/sensor-silent-product-tds";
    const SENTENCE: &str = "permeated-u/$alert/sensor-silent-product-tds";
    let mut site = Site::new(ONE_SENSOR);
    site.hear("t", "3", Arrival::Live);
    site.pass(2 * 3_600_000);
    assert_eq!(site.value(ALERT), Some("true"));
    assert_eq!(site.value("permeated-u/alerts/active"), Some("1"));
    let document: serde_json::Value =
        serde_json::from_str(&site.retained["permeated/u/alert/sensor_silent/product_tds"])
            .unwrap();
    assert_eq!(site.value(SENTENCE), document["text"].as_str());
    for _ in 0..120 {
        site.hear("t", "3", Arrival::Live);
        site.pass(60_000);
    }
    assert_eq!(site.value(ALERT), Some("false"));
    assert_eq!(site.value(SENTENCE), None);
}

/// The rule of all topics: at most one message in an interval, and none without a change but the heartbeat.
#[test]
fn it_is_as_rare_as_the_plain_topics() {
    let text = format!("[publish]\ninterval = \"10 s\"\nheartbeat = \"600 s\"\n{ONE_SENSOR}");
    let mut site = Site::new(&text);
    site.take_said();
    for step in 0..60u32 {
        site.hear("t", &(3 + step % 2).to_string(), Arrival::Live);
        site.pass(1000);
    }
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    for said in site.take_said() {
        *told.entry(said.topic).or_default() += 1;
    }
    assert!(
        told["homie/5/permeated-u/now/product-tds-mg-l"] <= 6,
        "{told:?}"
    );
    // Now every message says the same.
    for _ in 0..11 {
        site.hear("t", "3", Arrival::Live);
        site.pass(1000);
    }
    site.take_said();
    site.said.clear();
    let start = site.now;
    for _ in 0..540 {
        site.hear("t", "3", Arrival::Live);
        site.pass(1000);
    }
    let value = |said: &&permeated::wire::Outgoing| said.topic.ends_with("/product-tds-mg-l");
    let said = site.take_said();
    assert!(
        said.iter().filter(value).count() <= 1,
        "after {} ms",
        site.now - start
    );
    let described = said
        .iter()
        .filter(|said| said.topic.ends_with("/$description"));
    assert_eq!(described.count(), 0);
}
