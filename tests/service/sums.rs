//! Sums that only grow: what leaves the house is on disk, so that none falls for whoever reads it.

use std::{
    thread,
    time::{Duration, Instant},
};

use crate::{
    metrics::{body, get},
    site::Site,
    support::free_port,
};

/// A flow by its rate: what of it was not on disk is lost with a kill, so a sum that was told before would
/// fall, and whoever adds up its growth would count twice.
const RATED: &str = r#"
[[unit.u.stage]]
id = "mixed-bed"
kind = "mixed_bed"
life = "400 L"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/flow"
unit = "L/min"
"#;

#[test]
fn no_sum_that_was_told_falls_by_a_kill() {
    let site = Site::new("", "");
    let port = free_port();
    let general =
        "[publish]\ninterval = \"0 s\"\n[store]\ndirectory = \"state\"\ncheckpoint = \"2 s\"\n";
    let metrics = format!("[metrics]\nlisten = \"127.0.0.1:{port}\"\n[homie]\nenabled = true\n");
    site.configure_all("", &format!("{general}{metrics}{RATED}"));
    let watch = site.broker.watch("#");
    let sums = [
        "permeated/u/value/permeate_l",
        "permeated/u/value/stage/mixed-bed/treated_l",
        "homie/5/permeated-u/totals/permeate-l",
    ];
    let scraped = || -> Option<f64> {
        let answer = get(port, "");
        let text = body(&answer);
        let mut lines = text.lines();
        let line = lines.find(|line| line.starts_with("permeated_permeate_liters_total{"))?;
        line.rsplit(' ').next()?.parse().ok()
    };
    let mut highest_scraped = 0.0;
    let mut service = Some(site.start());
    for pause in [3100, 5300, 2700] {
        let began = Instant::now();
        while began.elapsed() < Duration::from_millis(pause) {
            site.broker.publish("rig/flow", "3", &[]);
            if let Some(litres) = scraped() {
                assert!(
                    litres >= highest_scraped,
                    "{litres} after {highest_scraped}"
                );
                highest_scraped = litres;
            }
            thread::sleep(Duration::from_millis(100));
        }
        if let Some(service) = service.take() {
            service.kill();
        }
        service = Some(site.start());
    }
    service.unwrap().terminate();
    assert!(highest_scraped > 0.1, "{highest_scraped}");
    for topic in sums {
        let told: Vec<f64> = (watch.on(topic).iter())
            .filter_map(|text| text.parse().ok())
            .collect();
        assert!(
            told.last().is_some_and(|last| *last > 0.1),
            "{topic}: {told:?}"
        );
        assert!(told.is_sorted(), "{topic}: {told:?}");
    }
    let kept = site.kept("u")["totals"]["permeate"].as_f64().unwrap();
    let told = site.value(sums[0]).unwrap();
    // It is told with three decimals.
    assert!(told <= kept + 0.0005, "{told} told, {kept} on disk");
}
