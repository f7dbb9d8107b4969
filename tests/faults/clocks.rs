//! A wall clock that is not set at boot, jumps by hours and years, and follows a time zone whose days have 23
//! and 25 hours: litres and durations are measured by another clock, so none is lost or invented and nobody is
//! alarmed; what has no honest date has none.

use std::{collections::BTreeMap, time::SystemTime};

use permeated::{
    config,
    core::{Arrival, UnitState},
    installation::{Incoming, Installation},
    time::{Mono, Now, Wall},
};
use serde_json::{Value, json};

use crate::{
    preload::Orders,
    rig::{self, UNITS, events, litres, same},
    site::{Site, until},
};

const HOUR: i64 = 3_600_000;
const YEAR: i64 = 365 * 24 * HOUR;

/// The built program, whose clock is 1970 at boot and is then set, put back, and ahead by years.
#[test]
fn a_clock_that_is_set_and_jumps() {
    let site = Site::new("", "");
    rig::configure(&site, site.broker.port(), UNITS);
    let text = std::fs::read_to_string(site.file()).unwrap();
    std::fs::write(
        site.file(),
        format!("time_zone = \"Europe/Berlin\"\n{text}"),
    )
    .unwrap();
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    let now = i64::try_from(now.unwrap().as_millis()).unwrap();
    let orders = Orders::new(&site);
    orders.shift_clock(-now + HOUR);
    let watch = site.broker.watch("permeated/#");
    let service = orders.start(&site);
    let mut pulses = 1000;
    let mut count = |what: &str| {
        pulses += 1000;
        site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
        site.broker.publish("rig/leak", "OFF", &[]);
        site.broker.publish("rig/feed", "400", &[]);
        until(what, || {
            same(litres(&site, "u"), f64::from(pulses - 2000) / 1000.0)
        });
    };
    let said = || site.document("permeated/u/now");
    count("the first count is kept without a clock");
    count("a litre without a clock");
    until("what is said has no time", || {
        said().get("time").is_some_and(Value::is_null)
    });
    // The nights on which the clocks of Berlin change, two seconds before: 01:00 UTC on the last Sundays of
    // March and October (Directive 2000/84/EC, articles 2 and 3).
    let change = |text: &str| Wall::from_rfc3339(text).unwrap().0 - now - 2000;
    for shift in [
        0,
        5 * HOUR,
        -7 * HOUR,
        change("2027-03-28T01:00:00Z"),
        change("2026-10-25T01:00:00Z"),
        10 * YEAR,
        0,
    ] {
        orders.shift_clock(shift);
        count("a litre after the clock was set");
        until("what is said has that time", || {
            let ours = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
            let ours = i64::try_from(ours.unwrap().as_millis()).unwrap() + shift;
            let time = said()["time"].as_str().and_then(Wall::from_rfc3339);
            time.is_some_and(|time| (time.0 - ours).abs() < 60_000)
        });
    }
    // Kills with the clock wrong on either side of them.
    service.kill();
    orders.shift_clock(-now + HOUR);
    let service = orders.start(&site);
    count("a litre after a start without a clock");
    service.kill();
    orders.shift_clock(-3 * HOUR);
    let service = orders.start(&site);
    count("a litre after a start with a clock that is late");
    let log = service.log();
    service.terminate();
    assert!(!log.contains("panicked"), "{log}");
    assert_eq!(events(&watch, "u", "alert_raised"), Vec::<Value>::new());
    assert_eq!(events(&watch, "u", "count_odd"), Vec::<Value>::new());
    rig::never_fell(&watch, "permeated/u/value/permeate_l");
    assert_eq!(site.kept("u")["totals"]["unmeasured_seconds"], json!(0.0));
}

/// A unit in Berlin that makes a litre a minute, day and night.
const BERLIN: &str = r#"
time_zone = "Europe/Berlin"
[broker]
url = "mqtt://localhost"
[publish]
interval = "60 min"
heartbeat = "1 d"
[unit.u.supply]
waste_ratio = 4.0
[unit.u.alert.run_too_long]
enabled = false
[[unit.u.sensor]]
at = "permeate_flow"
topic = "pulses"
kind = "pulses"
pulses_per_litre = 1000
maximum = "2 L/min"
"#;

/// A service on a virtual clock whose wall clock may be set.
struct Berlin {
    installation: Installation,
    minutes: u64,
    wall: i64,
}

impl Berlin {
    fn start(at: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("permeated.toml");
        std::fs::write(&file, BERLIN).unwrap();
        let settings = config::load(&file, &BTreeMap::new(), None).unwrap();
        let wall = Wall::from_rfc3339(at).unwrap().0;
        let now = Now {
            mono: Mono(0),
            wall: Wall(wall),
        };
        Self {
            installation: Installation::new(&settings, |_| UnitState::default(), now),
            minutes: 0,
            wall,
        }
    }

    /// So many hours go by, with a count of 1000 more each minute.
    fn hours(&mut self, hours: u64) {
        for _ in 0..hours * 60 {
            self.minutes += 1;
            self.wall += 60_000;
            let now = Now {
                mono: Mono(self.minutes * 60_000),
                wall: Wall(self.wall),
            };
            let payload = (self.minutes * 1000).to_string();
            let message = Incoming {
                topic: "pulses",
                payload: payload.as_bytes(),
                arrival: Arrival::Live,
                packet: None,
            };
            self.installation.hear(now, message);
            while self.installation.drain().is_some() {}
        }
    }

    fn state(&self) -> Value {
        let unit = self.installation.units().next().unwrap();
        serde_json::to_value(unit.state()).unwrap()
    }

    /// Litres of permeate of whole days, by the days since 1970.
    fn days(&self) -> BTreeMap<i64, f64> {
        let state = self.state();
        let days = state["usage"]["days"].as_array().unwrap().iter();
        days.map(|day| (day[0].as_i64().unwrap(), day[2].as_f64().unwrap()))
            .collect()
    }

    fn alarms(&mut self) -> Vec<String> {
        let events = self.installation.take_events().into_iter();
        let alarms = events.filter(|(_, event)| event.event.key() == "alert_raised");
        alarms.map(|(_, event)| event.text).collect()
    }
}

/// 2026-03-29 has 23 hours in Berlin and 2026-10-25 has 25: 1380 and 1500 minutes, so many litres.
#[test]
fn days_of_23_and_25_hours() {
    for (from, day, litres) in [
        ("2026-03-27T22:57:00Z", "2026-03-29T00:00:00Z", 1380.0),
        ("2026-10-23T21:57:00Z", "2026-10-25T00:00:00Z", 1500.0),
    ] {
        let mut berlin = Berlin::start(from);
        berlin.hours(5 * 24);
        let number = Wall::from_rfc3339(day).unwrap().0 / (24 * HOUR);
        let days = berlin.days();
        assert_eq!(days[&number], litres, "{days:?}");
        assert_eq!(days[&(number - 1)], 1440.0, "{days:?}");
        assert_eq!(days[&(number + 1)], 1440.0, "{days:?}");
        assert_eq!(berlin.alarms(), Vec::<String>::new());
    }
}

/// Hours to and fro, within a day and over midnight: every litre is in the totals, days that were not seen
/// whole are left out, and none has more litres than minutes.
#[test]
fn hours_to_and_fro() {
    let mut berlin = Berlin::start("2026-06-01T21:59:00Z");
    for jump in [0, 5, -5, 9, -9, 30, -30, 2, -26] {
        berlin.wall += jump * HOUR;
        berlin.hours(50);
    }
    let made = f64::from(u32::try_from(berlin.minutes - 1).unwrap());
    let state = berlin.state();
    assert_eq!(state["totals"]["permeate"], json!(made));
    assert_eq!(state["totals"]["unmeasured_seconds"], json!(0.0));
    let days = berlin.days();
    assert!(days.len() >= 6, "{days:?}");
    // What was put back is lived twice: such a day has the litres of all its hours, 30 more at most.
    assert!(
        days.values()
            .all(|litres| (0.0..=1440.0 + 30.0 * 60.0).contains(litres)),
        "{days:?}"
    );
    let left_out = state["usage"]["left_out"][1].as_f64().unwrap();
    let sum: f64 = days.values().sum::<f64>() + left_out;
    assert!(sum <= made + 0.1, "{sum} of {made}");
    assert_eq!(berlin.alarms(), Vec::<String>::new());
}
