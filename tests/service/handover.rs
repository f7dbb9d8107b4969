//! Units split over two processes on one prefix: one dies and is taken up elsewhere, while the other
//! goes on as if nothing were. Held to what was sent, added up by hand.

use std::{
    fs,
    path::{Path, PathBuf},
    sync::atomic::{AtomicBool, AtomicU32, Ordering},
    thread,
    time::Duration,
};

use rusqlite::{Connection, OpenFlags};
use serde_json::Value;

use crate::site::{Site, until};

/// Every message is one pulse of a thousand to the litre, and can not be had again: what gets lost is
/// missing in the end.
const FLATS: &str = r#"
[unit.flats.supply]
waste_ratio = 4.0
[[unit.flats.sensor]]
at = "permeate_flow"
topic = "flat/{unit}/pulses"
kind = "increments"
pulses_per_litre = 1000
maximum = "200 L/min"
"#;

/// The configuration of an instance in a folder of its own, with its state beside it.
fn configured(site: &Site, folder: &str, instance: &str, units: &str) -> PathBuf {
    let folder = site.folder().join(folder);
    fs::create_dir_all(&folder).unwrap();
    let file = folder.join("permeated.toml");
    let port = site.broker.port();
    let text = format!(
        "[broker]\nurl = \"mqtt://127.0.0.1:{port}\"\n[publish]\ninstance = \"{instance}\"\n\
         interval = \"0 s\"\n[store]\ndirectory = \"state\"\ncheckpoint = \"1 s\"\n\
         [unit.flats]\n{units}\n{FLATS}"
    );
    fs::write(&file, text).unwrap();
    file
}

/// Litres of permeate that are safe in the store beside a configuration.
fn litres(file: &Path, unit: &str) -> Option<f64> {
    let database = file.with_file_name("state").join("permeated.db");
    let opened = Connection::open_with_flags(database, OpenFlags::SQLITE_OPEN_READ_ONLY).ok()?;
    opened.busy_timeout(Duration::from_secs(5)).ok()?;
    let query = "SELECT state FROM unit_part WHERE unit = ?1 AND part = 'totals'";
    let text: String = opened.query_row(query, [unit], |row| row.get(0)).ok()?;
    serde_json::from_str::<Value>(&text).ok()?["permeate"].as_f64()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

#[test]
fn a_process_that_dies_is_taken_up_elsewhere_and_no_litre_is_lost() {
    let site = Site::new("max_queued_messages 0\n", "");
    let east = configured(&site, "one", "east", "ids = [\"a1\", \"a2\"]");
    let west = configured(&site, "two", "west", "ids = [\"b1\", \"b2\"]");
    let said = site.broker.watch("permeated/status/#");
    let (first, second) = (site.launch_file(&east), site.launch_file(&west));
    let here = |instance: &str| {
        let topic = format!("permeated/status/{instance}");
        site.broker.retained(&topic).as_deref() == Some("online")
    };
    until("both are here", || here("east") && here("west"));

    let units = ["a1", "a2", "b1", "b2"];
    let sent = units.map(|_| AtomicU32::new(0));
    let stop = AtomicBool::new(false);
    let total = || sent.iter().map(|own| own.load(Ordering::SeqCst)).min();
    let stand_in = thread::scope(|scope| {
        for (unit, sent) in units.iter().zip(&sent) {
            let (site, stop) = (&site, &stop);
            scope.spawn(move || {
                let mut feed = site.feed(&format!("flat/{unit}/pulses"));
                while !stop.load(Ordering::SeqCst) {
                    feed.send(1);
                    sent.fetch_add(1, Ordering::SeqCst);
                    thread::sleep(Duration::from_millis(5));
                }
                feed.finish();
            });
        }
        until("there is load", || {
            total() > Some(200) && litres(&east, "a1") > Some(0.0)
        });
        first.kill();
        until("the broker tells that one is away", || {
            said.saw("permeated/status/east", "offline")
        });
        let when = total();
        until("more came meanwhile", || {
            total() > when.map(|when| when + 200)
        });
        // On another machine: the same instance, the state as the dead one left it.
        let elsewhere = configured(&site, "three", "east", "ids = [\"a1\", \"a2\"]");
        copy(
            &east.with_file_name("state"),
            &elsewhere.with_file_name("state"),
        );
        let stand_in = site.launch_file(&elsewhere);
        until("it is taken up", || here("east"));
        let when = total();
        until("the load goes on", || total() > when.map(|when| when + 200));
        stop.store(true, Ordering::SeqCst);
        (stand_in, elsewhere)
    });
    let (stand_in, elsewhere) = stand_in;
    let files = [&elsewhere, &elsewhere, &west, &west];
    for ((unit, sent), file) in units.iter().zip(&sent).zip(files) {
        let truth = f64::from(sent.load(Ordering::SeqCst)) / 1000.0;
        until(&format!("{unit} has its {truth} L"), || {
            litres(file, unit).is_some_and(|litres| (litres - truth).abs() < 1e-6)
        });
    }
    stand_in.terminate();
    second.terminate();
    // Nothing came twice either.
    for ((unit, sent), file) in units.iter().zip(&sent).zip(files) {
        let truth = f64::from(sent.load(Ordering::SeqCst)) / 1000.0;
        let kept = litres(file, unit).unwrap();
        assert!((kept - truth).abs() < 1e-6, "{unit}: {kept}, {truth}");
    }
    // A broker that cannot answer a goodbye any more says it once again, by the will.
    until("the other says goodbye, and said nothing else", || {
        let said = said.on("permeated/status/west");
        said.first().is_some_and(|first| first == "online")
            && said.len() > 1
            && said[1..].iter().all(|word| word == "offline")
    });
}

#[test]
fn a_list_of_units_is_read_anew_with_the_configuration() {
    let site = Site::new("", "");
    let file = configured(&site, "one", "east", "ids_from = \"units.txt\"");
    let list = file.with_file_name("units.txt");
    fs::write(&list, "a1\n").unwrap();
    let said = site.broker.watch("permeated/+/available");
    let service = site.launch_file(&file);
    until("the first is told of", || {
        !said.on("permeated/a1/available").is_empty()
    });
    fs::write(&list, "a1\nA2\n").unwrap();
    service.signal("-HUP");
    until("a wrong line changes nothing and is told", || {
        service.log().contains("units.txt:2:1")
    });
    fs::write(&list, "a1\na2 # new\n").unwrap();
    service.signal("-HUP");
    until("the second is told of", || {
        !said.on("permeated/a2/available").is_empty()
    });
    service.terminate();
}
