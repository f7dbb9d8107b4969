//! A disk that is full, read-only, slow, broken now and then, or whose database another program holds:
//! readings go on, states and alerts are published, what may not be lost is not acknowledged meanwhile,
//! the keeper is told, and all is written once the disk is well again.

use std::{fs, thread, time::Duration};

use rusqlite::Connection;
use serde_json::json;

use crate::{
    preload::{EIO, ENOSPC, EROFS, Orders},
    rig::{self, FEED, Ports, UNITS, get, litres, metric, same},
    site::{LIMIT, Service, Site, program, until, until_within},
};

/// After a failed write the next comes ten seconds later.
pub const RETRIED: Duration = Duration::from_secs(40);
const FAILURES: &str = "permeated_store_failures_total";

/// A site whose service runs under orders and has kept a first count of 1000.
fn site() -> (Site, Orders, Ports, Service) {
    site_with("")
}

pub fn site_with(more: &str) -> (Site, Orders, Ports, Service) {
    let site = Site::new("max_queued_messages 0\n", "");
    let ports = rig::configure(&site, site.broker.port(), &format!("{more}{UNITS}"));
    let orders = Orders::new(&site);
    let service = orders.start(&site);
    site.broker.publish("rig/pulses", "1000", &[]);
    until("the first count is kept", || {
        site.kept_count("u") == json!(1000.0)
    });
    until("nothing more is to be written", || {
        let before = orders.seen();
        thread::sleep(Duration::from_millis(1500));
        orders.seen() == before
    });
    (site, orders, ports, service)
}

/// Readings are heard and published, alerts too.
pub fn goes_on(site: &Site, reading: u32, leak: bool) {
    site.broker.publish("rig/feed", &reading.to_string(), &[]);
    until("a reading is published", || {
        site.value(FEED) == Some(f64::from(reading))
    });
    site.broker
        .publish("rig/leak", if leak { "ON" } else { "OFF" }, &[]);
    let state = if leak { "active" } else { "clear" };
    until("the alert is published", || {
        site.document("permeated/u/alert/leak")["state"] == *state
    });
}

/// The keeper is told by the log (once for each cause), by metrics and by the page.
fn is_told(service: &Service, ports: &Ports, words: &str) {
    until("the failure is counted", || {
        metric(ports.metrics, FAILURES).is_some_and(|failures| failures >= 1.0)
    });
    let log = service.log();
    let told: Vec<&str> = (log.lines())
        .filter(|line| line.contains("could not be written"))
        .collect();
    assert_eq!(told.len(), 1, "{log}");
    assert!(
        told[0].contains(words) && told[0].contains("permeated.db"),
        "{log}"
    );
    let page = get(ports.page, "/u/");
    let page = if page.starts_with("HTTP/1.1 200") {
        page
    } else {
        get(ports.page, "/")
    };
    assert!(page.contains("cannot be written to disk"), "{page}");
}

/// … by a retained word, and by `permeated status`, as it stands.
pub fn is_told_by_the_broker(site: &Site, is_kept: bool) {
    let word = if is_kept { "ok" } else { "failing" };
    until_within(RETRIED, "the word is there", || {
        site.broker.retained("permeated/status/store").as_deref() == Some(word)
    });
    let shown = program()
        .args(["status", "--config"])
        .arg(site.file())
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&shown.stdout);
    assert_eq!(
        text.contains("the state cannot be written"),
        !is_kept,
        "{text}"
    );
}

/// Whether the broker had a receipt for what was published last on that topic.
pub fn acknowledged(site: &Site, topic: &str) -> bool {
    let log = site.broker.log();
    let last = log
        .lines()
        .rfind(|line| line.contains("Sending PUBLISH to under-test") && line.contains(topic));
    let number = last.unwrap().split(", ").find(|part| part.starts_with('m'));
    let receipt = format!(
        "Received PUBACK from under-test (Mid: {},",
        &number.unwrap()[1..]
    );
    let sent = log.rfind(last.unwrap()).unwrap();
    log[sent..].contains(&receipt)
}

/// Whatever the disk says: nothing is lost, and nothing ends.
fn a_disk_that_refuses(error: i64, words: &str) {
    let (site, orders, ports, mut service) = site();
    let told = site.broker.watch("permeated/u/value/permeate_l");
    orders.fail(error, 1000);
    site.broker.publish("rig/pulses", "3000", &[]);
    site.broker.publish("rig/increments", "10000", &[]);
    site.broker
        .publish("permeated/u/do/note", "told to a broken disk", &[]);
    goes_on(&site, 401, true);
    is_told(&service, &ports, words);
    goes_on(&site, 402, true);
    // Read anew it would have to write what it knows first.
    service.signal("-HUP");
    until_within(RETRIED, "the reload is refused", || {
        service.log().contains("the new configuration is not taken")
    });
    assert!(service.is_running());
    goes_on(&site, 403, true);
    for topic in ["'rig/increments'", "'permeated/u/do/note'"] {
        assert!(!acknowledged(&site, topic), "{topic}");
    }
    // Killed meanwhile it knows nothing of all that: the broker brings again what it was not told to forget.
    service.kill();
    assert!(
        told.on("permeated/u/value/permeate_l")
            .last()
            .is_none_or(|told| told == "0")
    );
    orders.heal();
    let mut service = orders.start(&site);
    goes_on(&site, 404, false);
    site.broker.publish("rig/pulses", "4000", &[]);
    until("all is kept", || {
        same(litres(&site, "u"), 3.0) && same(litres(&site, "i"), 1.0)
    });
    // Once more, and well again while it runs.
    orders.fail(error, 1000);
    site.broker.publish("rig/pulses", "6000", &[]);
    site.broker.publish("rig/increments", "20000", &[]);
    until_within(RETRIED, "it fails again", || {
        metric(ports.metrics, FAILURES) >= Some(1.0)
    });
    let failed = orders.failed();
    orders.heal();
    until_within(RETRIED, "all is kept once the disk is well", || {
        same(litres(&site, "u"), 5.0) && same(litres(&site, "i"), 3.0)
    });
    until("it says so", || {
        service.log().contains("state is written again")
    });
    until("the sum is told", || {
        site.value("permeated/u/value/permeate_l") == Some(5.0)
    });
    until("the increment is acknowledged", || {
        acknowledged(&site, "'rig/increments'")
    });
    // Now a reload is taken.
    let before = site.broker.log().len();
    service.signal("-HUP");
    site.hears(before);
    goes_on(&site, 405, true);
    assert!(failed > 2 && service.is_running());
    service.terminate();
    let notes: u32 = Connection::open(site.database())
        .unwrap()
        .query_row("SELECT count(*) FROM log_entry", [], |row| row.get(0))
        .unwrap();
    assert_eq!(notes, 1);
}

#[test]
fn a_full_disk() {
    a_disk_that_refuses(ENOSPC, "no room on the disk");
}

#[test]
fn a_disk_that_became_read_only() {
    a_disk_that_refuses(EROFS, "Read-only file system");
}

#[test]
fn a_disk_that_breaks() {
    a_disk_that_refuses(EIO, "look at the disk");
}

/// One call in twelve fails for half a minute; whichever it is, the file stays whole.
#[test]
fn errors_now_and_then() {
    let (site, orders, _, service) = site();
    orders.fail(EIO, 80);
    let (mut pulses, mut added) = (1000, 0);
    let mut feed = site.feed("rig/increments");
    until_within(Duration::from_secs(60), "some calls failed", || {
        pulses += 10;
        added += 7;
        site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
        feed.send(7);
        thread::sleep(Duration::from_millis(50));
        orders.failed() >= 3
    });
    service.kill();
    let service = orders.launch(&site);
    // What it meets when it opens the file may end it: then a manager starts it again.
    orders.heal();
    drop(service);
    let service = orders.start(&site);
    feed.finish();
    pulses += 10;
    site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
    let truth = [
        ("u", f64::from(pulses - 1000) / 1000.0),
        ("i", f64::from(added) / 10_000.0),
    ];
    until_within(RETRIED, "all is kept", || {
        truth
            .iter()
            .all(|(unit, truth)| litres(&site, unit) >= truth - 1e-6)
    });
    service.terminate();
    for (unit, truth) in truth {
        let found = litres(&site, unit);
        assert!(same(found, truth), "{unit}: {found} L, truly {truth}");
    }
    let sound: String = Connection::open(site.database())
        .unwrap()
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
}

/// A checkpoint that takes seconds holds nothing up, the end included once the disk is itself again.
#[test]
fn a_slow_disk() {
    let (site, orders, ports, service) = site();
    let writes = || metric(ports.metrics, "permeated_store_writes_total").unwrap();
    let before = writes();
    orders.delay(400);
    site.broker.publish("rig/pulses", "3000", &[]);
    let seen = orders.seen();
    until("a write is under way", || orders.seen() > seen);
    for reading in 410..415 {
        goes_on(&site, reading, reading % 2 == 0);
    }
    until_within(RETRIED, "it is kept all the same", || {
        writes() > before && same(litres(&site, "u"), 2.0)
    });
    assert_eq!(metric(ports.metrics, FAILURES), Some(0.0));
    orders.heal();
    site.broker.publish("rig/pulses", "4000", &[]);
    until("it is kept", || same(litres(&site, "u"), 3.0));
    service.terminate();
}

/// Longer than the five seconds that a lock is waited for.
#[test]
fn a_database_that_another_program_holds() {
    let (site, _orders, ports, mut service) = site();
    let lock = Connection::open(site.database()).unwrap();
    lock.execute_batch("BEGIN IMMEDIATE").unwrap();
    site.broker.publish("rig/pulses", "3000", &[]);
    site.broker.publish("rig/increments", "10000", &[]);
    goes_on(&site, 420, true);
    is_told(&service, &ports, "locked by another program");
    assert!(!acknowledged(&site, "'rig/increments'"));
    service.signal("-HUP");
    until_within(RETRIED, "the reload is refused", || {
        service.log().contains("the new configuration is not taken")
    });
    goes_on(&site, 421, false);
    lock.execute_batch("ROLLBACK").unwrap();
    until_within(RETRIED, "all is kept", || {
        same(litres(&site, "u"), 2.0) && same(litres(&site, "i"), 1.0)
    });
    assert!(service.is_running());
    service.terminate();
}

/// A disk that takes nothing when the service starts: it says so and leaves; nothing is changed, and nothing
/// is lost that the broker keeps.
#[test]
fn a_start_on_a_disk_that_takes_nothing() {
    let (site, orders, _, service) = site();
    service.terminate();
    site.broker.publish("rig/increments", "10000", &[]);
    let before = fs::read(site.database()).unwrap();
    for (error, words) in [
        (ENOSPC, "no room on the disk"),
        (EROFS, "Read-only file system"),
        (EIO, "Input/output error"),
    ] {
        orders.fail(error, 1000);
        let mut service = orders.launch(&site);
        let status = service.ended(LIMIT);
        let log = service.log();
        let last = log.lines().last().unwrap_or_default();
        assert_eq!(status.code(), Some(1), "{log}");
        assert!(
            last.contains(words) && last.contains("permeated."),
            "{error}: {last}"
        );
        assert_eq!(fs::read(site.database()).unwrap(), before, "{error}");
    }
    orders.heal();
    let service = orders.start(&site);
    until("what waited is kept", || same(litres(&site, "i"), 1.0));
    service.terminate();
    // A new file on such a disk: none is left behind.
    fs::remove_dir_all(site.state()).unwrap();
    fs::create_dir(site.state()).unwrap();
    orders.fail(ENOSPC, 1000);
    let mut service = orders.launch(&site);
    assert_eq!(service.ended(LIMIT).code(), Some(1), "{}", service.log());
    assert!(!site.database().exists());
    orders.heal();
    orders.start(&site).terminate();
    assert!(
        program()
            .args(["status", "--json", "--config"])
            .arg(site.file())
            .output()
            .is_ok()
    );
}
