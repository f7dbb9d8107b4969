//! Three months on a clock of their own in seconds, through installation, keeper and a real store: what is
//! kept, memory and the file stay as large as they were once their windows are full.

use std::{collections::BTreeMap, process::Command, time::Duration};

use permeated::{
    config::{self, Settings},
    core::{Arrival, Keep},
    edge::store::{self, Store},
    installation::{Incoming, Installation},
    keeper::{Keeper, state_of_parts, state_parts},
    time::{Mono, Now, Wall},
};

use crate::site::memory_kib;

const DAYS: u64 = 90;
/// When windows of days are full, and most of what is remembered of runs.
const EARLY: u64 = 10;
/// 2026-06-01T00:00:00Z.
const START: i64 = 1_780_272_000_000;
/// What memory may grow by from day 10 to the end: what the allocator leaves scattered.
const MORE_KIB: u64 = 4 * 1024;
/// What the state may grow by: runs in the membrane's memory, weeks of use.
const MORE_STATE: usize = 16 * 1024;
/// What the file may grow by a day once its finest samples are thinned: runs are kept for ever, and days.
const MORE_FILE_A_DAY: u64 = 64 * 1024;

const UNIT: &str = r#"
[broker]
url = "mqtt://localhost"
[publish]
interval = "60 min"
heartbeat = "1 d"
[unit.u.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
[[unit.u.stage]]
id = "sediment"
kind = "sediment"
life_time = "180 d"
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.stage]]
id = "mixed-bed"
kind = "mixed_bed"
life = "4000 L"
[[unit.u.sensor]]
at = "feed_pressure"
topic = "pressure"
unit = "psi"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "temperature"
unit = "degC"
[[unit.u.sensor]]
at = "feed_tds"
topic = "feed"
unit = "ppm"
[[unit.u.sensor]]
at = "permeate_tds"
topic = "permeate"
unit = "ppm"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "product"
kind = "pulses"
pulses_per_litre = 1000
[[unit.u.sensor]]
at = "concentrate_flow"
topic = "waste"
kind = "pulses"
pulses_per_litre = 1000
"#;

/// Told by the parent to be the one that is measured: alone in its process.
const ALONE: &str = "FAULTS_MONTHS_ALONE";

#[test]
fn three_months_with_memory_flat() {
    if std::env::var_os(ALONE).is_some() {
        live();
        return;
    }
    let name = "months::three_months_with_memory_flat";
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", name, "--nocapture", "--test-threads=1"])
        .env(ALONE, "1")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    println!("{said}");
    assert!(
        output.status.success(),
        "{said}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(
        said.contains("1 passed") && said.contains("day 90:"),
        "it ran: {said}"
    );
}

/// How much there is on an evening.
#[derive(Clone, Copy)]
struct Evening {
    memory: u64,
    state: usize,
    file: u64,
    litres: f64,
}

fn live() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("permeated.toml");
    std::fs::write(&file, UNIT).unwrap();
    let mut settings = config::load(&file, &BTreeMap::new(), None).unwrap();
    settings.store.directory = folder.path().join("state");
    let (store, loaded) = Store::open(&settings.store.directory).unwrap();
    let kept = |id: &str| {
        let parts = loaded.units.get(id);
        parts
            .map(|parts| state_of_parts(parts).unwrap())
            .unwrap_or_default()
    };
    let mut house = House {
        installation: Installation::new(&settings, kept, at(0)),
        second: 0,
        counts: [0, 0],
        settings,
        published: 0,
    };
    drop(store);
    let mut evenings = BTreeMap::new();
    for day in 1..=DAYS {
        house.day();
        if [EARLY, 30, 60, DAYS].contains(&day) {
            let evening = house.evening();
            println!(
                "day {day}: {} KiB resident, {} bytes of state, {} KiB of file, {} L, {} messages",
                evening.memory,
                evening.state,
                evening.file / 1024,
                evening.litres,
                house.published
            );
            evenings.insert(day, evening);
        }
    }
    let (early, last) = (evenings[&EARLY], evenings[&DAYS]);
    assert!(last.memory < early.memory + MORE_KIB);
    assert!(last.state < early.state + MORE_STATE);
    let growth = last.file.saturating_sub(early.file) / (DAYS - EARLY);
    println!("{growth} bytes of file a day");
    assert!(growth < MORE_FILE_A_DAY);
    // Three runs of 40 minutes a day at 0.15 L/min.
    let truth = 18.0 * DAYS as f64;
    assert!(
        (last.litres - truth).abs() < 1e-6,
        "{} L, truly {truth}",
        last.litres
    );
}

fn at(second: u64) -> Now {
    let milliseconds = second * 1000;
    Now {
        mono: Mono(milliseconds),
        wall: Wall(START + i64::try_from(milliseconds).unwrap()),
    }
}

struct House {
    installation: Installation,
    settings: Settings,
    second: u64,
    counts: [u64; 2],
    published: u64,
}

impl House {
    /// A day with three runs of 40 minutes; the board tells every half minute of a run and every five minutes
    /// else, the store is written every hour, and closed and opened at midnight.
    fn day(&mut self) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async {
            let (store, _) = Store::open(&self.settings.store.directory).unwrap();
            let mut keeper = Keeper::new(store, Duration::from_secs(60));
            for hour in 0..24 {
                self.hour([7, 12, 19].contains(&hour));
                keeper.note(Keep::Soon, None);
                self.installation.keep_all();
                keeper.begin(&mut self.installation);
                let released = keeper.written().await;
                assert!(released.is_durable);
                for (unit, notice) in released.notices {
                    self.installation.delivered(&unit, notice.number);
                }
            }
            keeper.close(&mut self.installation).await.unwrap();
        });
    }

    fn hour(&mut self, makes_water: bool) {
        let begin = self.second;
        while self.second < begin + 3600 {
            let runs = makes_water && self.second < begin + 2400;
            if runs {
                // 0.15 and 0.6 L/min.
                self.counts[0] += 75;
                self.counts[1] += 300;
            }
            self.second += if runs { 30 } else { 300 };
            // Slow ups and downs, as days and weeks have them.
            let swing = (self.second as f64 / 86_400.0).sin();
            let pressure = if runs { 50.0 } else { 58.0 };
            self.hear("pressure", &format!("{:.1}", pressure + swing));
            self.hear("temperature", &format!("{:.1}", 15.0 + 2.0 * swing));
            self.hear("feed", &format!("{:.0}", 250.0 + 10.0 * swing));
            self.hear("permeate", &format!("{:.1}", 10.0 + swing));
            let [product, waste] = self.counts;
            self.hear("waste", &waste.to_string());
            self.hear("product", &product.to_string());
        }
    }

    fn hear(&mut self, topic: &str, payload: &str) {
        let message = Incoming {
            topic,
            payload: payload.as_bytes(),
            arrival: Arrival::Live,
            packet: None,
        };
        self.installation.hear(at(self.second), message);
        while self.installation.drain().is_some() {
            self.published += 1;
        }
        self.installation.take_events();
    }

    fn evening(&self) -> Evening {
        let unit = self.installation.units().next().unwrap();
        let state = unit.state();
        let parts = state_parts(&state).unwrap();
        let file = self.settings.store.directory.join(store::FILE);
        Evening {
            memory: memory_kib("self", "VmRSS:"),
            state: parts.values().map(String::len).sum(),
            file: std::fs::metadata(file).unwrap().len(),
            litres: state.totals.permeate.litres(),
        }
    }
}
