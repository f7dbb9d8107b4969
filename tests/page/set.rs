//! Pages set in the test, on a clock of its own.

use std::collections::BTreeMap;

use permeated::{
    config,
    core::UnitState,
    installation::Installation,
    page::{self, Service, Snapshot, View},
    time::{Mono, Now, Wall},
};

use super::cellar;

fn set(wall: Wall, service: Service, past: Option<Result<&permeated::past::Past, &str>>) -> String {
    let text = format!(
        "time_zone = \"UTC\"\n[store]\ndirectory = \"x\"\n[broker]\nurl = \"mqtt://h\"\n{}",
        cellar()
    );
    let settings = config::from_text("test.toml", &text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"));
    let now = Now {
        mono: Mono(0),
        wall,
    };
    let installation = Installation::new(&settings, |_| UnitState::default(), now);
    let snapshot = Snapshot {
        now,
        units: installation.units().cloned().collect(),
        service,
    };
    let page = page::page(&snapshot, &View::of("/", None), past);
    assert!(page.found);
    page.html
}

/// A board without a battery: 1970.
#[test]
fn a_clock_that_is_not_set_is_told_and_dates_nothing() {
    let html = set(Wall(5000), Service::default(), None);
    for wanted in [
        "The clock of this machine is not set",
        "The clock is not set",
        "What falls due waits for a clock",
        "was not reached since the service started",
    ] {
        assert!(html.contains(wanted), "{wanted}");
    }
    assert!(!html.contains("1970"));
}

#[test]
fn what_keeps_the_service_from_its_work_stands_at_the_top() {
    let wall = |text: &str| Wall::from_rfc3339(text).unwrap();
    let now = wall("2026-06-01T06:00:00Z");
    let service = Service {
        since: Some(wall("2026-05-31T22:15:00Z")),
        problem: Some("the broker refused the password".to_owned()),
        unwritten: true,
        ..Service::default()
    };
    let html = set(now, service, Some(Err("it is damaged")));
    for wanted in [
        "Monday 1 June 2026, 06:00",
        "The broker is away since yesterday 22:15: what you see is from before. The broker refused the password",
        "cannot be written to disk",
        "cannot be read now: it is damaged.",
    ] {
        assert!(html.contains(wanted), "{wanted}");
    }
}
