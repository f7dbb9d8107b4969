//! A store as the service fills it: a simulated household's sensors, heard by the installation, kept by the
//! keeper, day by day. And a report of it, read back.

use std::{
    path::{Path, PathBuf},
    process::{Command, Output},
    sync::{Arc, OnceLock},
    time::Duration,
};

use jiff::tz::TimeZone;
use permeated::{
    config::{self, Settings},
    core::{Arrival, Unit, UnitState},
    edge::store::{self, Store},
    installation::{Incoming, Installation},
    keeper::{Keeper, state_of_parts},
    report::{Material, period::Period},
    simulation::{Phase, Plant, Reading, Sensor, TemperatureLaw},
    time::{Mono, Now, Wall},
};
use serde_json::Value;

use super::household::{DAY, Household, POINTS};

pub const ZONE: &str = "America/New_York";
/// 2026-03-03T05:00:00Z: a midnight in New York, where the clocks change on the 8th of March 2026.
const START: i64 = 1_772_514_000_000;
/// Days that the service first runs, is away (and no water is made), and runs again: of the first only
/// means of days are left, for they are more than 92 days past.
const FIRST: u32 = 12;
const AWAY: f64 = 90.0;
const AGAIN: u32 = 9;
/// A name that would do harm if it were not text.
pub const HOSTILE: &str = "Home </title><script>alert(1)</script> & \"O'Neil\"";
/// A note that a spreadsheet would take for a formula.
pub const FORMULA: &str = "=1+1, he said \"no\"\nand left";

pub struct Filled {
    pub folder: tempfile::TempDir,
    pub settings: Settings,
    pub now: Now,
}

const MORE: &str = r#"
[unit.home.supply]
waste_ratio = "4:1"

[unit.home.costs]
currency = "EUR"
water = "4 /m3"
waste_water = "2.5 /m3"

[[unit.home.stage]]
id = "bed"
kind = "mixed_bed"
life = "400 L"
price = 24.9
"#;

/// Three weeks with a quarter of a year between them.
pub fn filled() -> &'static Filled {
    static FILLED: OnceLock<Filled> = OnceLock::new();
    FILLED.get_or_init(Filled::new)
}

impl Filled {
    fn new() -> Self {
        let household = Household {
            days: f64::from(FIRST + AGAIN),
            configuration: MORE.to_owned(),
            report_running: 60,
            ..Household::new(7, TemperatureLaw::Viscosity)
        };
        let folder = tempfile::tempdir().unwrap();
        let mut settings = household.settings();
        settings.units[0].time_zone = TimeZone::get(ZONE).unwrap();
        settings.units[0].name = HOSTILE.to_owned();
        settings.store.directory = folder.path().join("state");
        let mut life = Life {
            plant: household.plant(),
            sensors: household.sensors(),
            installation: None,
            settings,
            next_report: 0.0,
            away: 0.0,
        };
        for day in 0..FIRST + AGAIN {
            if day == FIRST {
                life.go_away();
            }
            life.live(day);
        }
        let filled = Self {
            folder,
            now: life.now(),
            settings: life.settings,
        };
        filled.write_configuration();
        filled
    }

    /// A configuration whose unit is the one in the store.
    fn write_configuration(&self) {
        let text = format!(
            "time_zone = \"{ZONE}\"\n[broker]\nurl = \"mqtt://localhost\"\n[store]\ndirectory = {:?}\n[unit.home]\n\
             [[unit.home.sensor]]\nat = \"permeate_tds\"\ntopic = \"s/permeate_tds\"\nunit = \"mg/L\"\n",
            self.state()
        );
        std::fs::write(self.configuration(), text).unwrap();
    }

    pub fn configuration(&self) -> PathBuf {
        self.folder.path().join("permeated.toml")
    }

    pub fn state(&self) -> PathBuf {
        self.folder.path().join("state")
    }

    pub fn zone(&self) -> TimeZone {
        TimeZone::get(ZONE).unwrap()
    }

    /// The page of a period, as a file, read back.
    pub fn page(&self, from: &str, to: &str) -> Value {
        let html = self.html(from, to, self.settings.clone());
        let file = self.folder.path().join(format!("{from}-{to}.html"));
        std::fs::write(&file, html).unwrap();
        read(&["page", file.to_str().unwrap()])
    }

    pub fn html(&self, from: &str, to: &str, settings: Settings) -> String {
        let period = Period::new(from.parse().unwrap(), to.parse().unwrap(), &self.zone()).unwrap();
        let ever = Wall::from_rfc3339("9999-01-01T00:00:00Z").unwrap();
        let past = store::past(&self.state(), "home", Wall(0), ever)
            .unwrap()
            .unwrap();
        let kept = store::look(&self.state(), "home").unwrap().unwrap();
        let state: UnitState = state_of_parts(&kept.state).unwrap();
        let unit = Unit::new(Arc::new(settings.units[0].clone()), state, self.now);
        let material = Material {
            unit: &unit,
            past: &past,
            period: &period,
            now: self.now,
        };
        assert!(!material.is_empty());
        material.page().into_string()
    }

    /// What the store holds, by an independent reader.
    pub fn kept(&self) -> Value {
        let file = self.state().join(store::FILE);
        read(&["store", file.to_str().unwrap(), "home", ZONE])
    }

    /// The built program, asked for a report.
    pub fn ask(&self, arguments: &[&str]) -> Output {
        ask(self.folder.path(), &self.configuration(), arguments)
    }
}

/// The built program, asked for a report in a folder.
pub fn ask(folder: &Path, configuration: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_permeated"))
        .current_dir(folder)
        .args(["report", "--config", configuration.to_str().unwrap()])
        .args(arguments)
        .output()
        .unwrap()
}

/// What the independent reader makes of something.
pub fn read(arguments: &[&str]) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/report/read.py");
    let output = Command::new("python3")
        .arg(script)
        .args(arguments)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {said}");
    serde_json::from_slice(&output.stdout).unwrap()
}

struct Life {
    plant: Plant,
    sensors: Vec<Sensor>,
    installation: Option<Installation>,
    settings: Settings,
    next_report: f64,
    /// Days that were left out.
    away: f64,
}

impl Life {
    fn now(&self) -> Now {
        let milliseconds = ((self.plant.seconds() + self.away * DAY) * 1000.0).round();
        Now {
            mono: Mono(milliseconds as u64),
            wall: Wall(START + milliseconds as i64),
        }
    }

    /// A day with the service, whose store is opened and closed with it.
    fn live(&mut self, day: u32) {
        let (store, loaded) = Store::open(&self.settings.store.directory).unwrap();
        let now = self.now();
        let kept = |id: &str| -> UnitState {
            loaded
                .units
                .get(id)
                .map(|parts| state_of_parts(parts).unwrap())
                .unwrap_or_default()
        };
        let mut installation = (self.installation.take())
            .unwrap_or_else(|| Installation::new(&self.settings, kept, now));
        let keeper = Keeper::new(store, Duration::from_secs(60));
        let end = f64::from(day + 1) * DAY;
        self.tell(&mut installation, day);
        while self.plant.seconds() < end - 1e-6 {
            let before = self.plant.phase();
            let longest = if before == Phase::Standing {
                60.0
            } else {
                30.0
            };
            let until = (self.plant.seconds() + longest)
                .min(self.next_report.max(self.plant.seconds() + 1.0))
                .min(end);
            self.plant.step(until - self.plant.seconds());
            if self.plant.phase() != before || self.plant.seconds() >= self.next_report - 1e-6 {
                self.report(&mut installation);
            }
            while installation.drain().is_some() {}
        }
        installation.advance(self.now());
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(keeper.close(&mut installation)).unwrap();
        self.installation = Some(installation);
    }

    /// The service is stopped, and the unit stands.
    fn go_away(&mut self) {
        self.installation = None;
        self.away += AWAY;
    }

    fn report(&mut self, installation: &mut Installation) {
        let truth = self.plant.truth();
        let now = self.now();
        for (sensor, point) in self.sensors.iter_mut().zip(POINTS) {
            sensor.observe(&truth);
            let payload = match sensor.read(&truth) {
                Reading::Count(count) => count.to_string(),
                Reading::Number(value, decimals) => format!("{value:.decimals$}"),
                Reading::Closed(closed) => closed.to_string(),
            };
            hear(installation, now, &format!("s/{}", point.key()), &payload);
        }
        let interval = if truth.phase == Phase::Standing {
            540.0
        } else {
            60.0
        };
        self.next_report = truth.seconds + interval;
    }

    /// What the keeper tells on a day.
    fn tell(&self, installation: &mut Installation, day: u32) {
        let mut told = |command: &str, payload: &str| {
            hear(
                installation,
                self.now(),
                &format!("permeated/home/do/{command}"),
                payload,
            );
        };
        match day {
            2 => told("test/alkalinity", "80 mg/L CaCO3"),
            4 => told(
                "stage/bed/replaced",
                r#"{"lot": "<b>A17</b>", "price": 19.5}"#,
            ),
            5 => told("log/2/correct", r#"{"price": 22.5}"#),
            6 => told("note", FORMULA),
            7 => told("sanitised", r#"{"note": "by mistake"}"#),
            8 => told("log/5/withdraw", ""),
            14 => told("stage/bed/replaced", ""),
            _ => {}
        }
    }
}

fn hear(installation: &mut Installation, now: Now, topic: &str, payload: &str) {
    let message = Incoming {
        topic,
        payload: payload.as_bytes(),
        arrival: Arrival::Live,
        packet: None,
    };
    installation.hear(now, message);
}

/// Settings of no unit that was ever recorded.
pub fn empty(folder: &Path) -> PathBuf {
    let file = folder.join("empty.toml");
    let text = format!(
        "[broker]\nurl = \"mqtt://localhost\"\n[store]\ndirectory = {:?}\n[unit.home]\n[[unit.home.sensor]]\n\
         at = \"permeate_tds\"\ntopic = \"t\"\nunit = \"mg/L\"\n",
        folder.join("state")
    );
    std::fs::write(&file, &text).unwrap();
    config::load(&file, &std::collections::BTreeMap::new(), None).unwrap();
    file
}
