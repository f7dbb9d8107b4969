//! SIGTERM ends the service within two seconds with its state saved, whatever stands in the way.

use std::{thread, time::Duration};

use rusqlite::Connection;
use serde_json::json;

use crate::{
    COUNTED,
    site::{Site, until},
};

#[test]
fn a_frozen_broker_does_not_hold_it() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    site.broker.publish("rig/pulses", "1000", &[]);
    until("the first count is kept", || {
        site.kept_count("u") == json!(1000.0)
    });
    site.broker.publish("rig/pulses", "4000", &[]);
    thread::sleep(Duration::from_millis(100));
    site.broker.freeze();
    service.terminate();
    assert_eq!(site.kept("u")["totals"]["permeate"], json!(3.0));
    site.broker.thaw();
}

#[test]
fn an_absent_broker_does_not_hold_it() {
    let mut site = Site::new("", COUNTED);
    let service = site.start();
    site.broker.kill();
    until("it is told", || service.log().contains("lost the broker"));
    service.terminate();
}

#[test]
fn a_store_write_on_its_way_is_finished_first() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    site.broker.publish("rig/pulses", "1000", &[]);
    until("the first count is kept", || {
        site.kept_count("u") == json!(1000.0)
    });
    // Another program holds the file: the write that is due within a second has to wait.
    let lock = Connection::open(site.database()).unwrap();
    lock.execute_batch("BEGIN IMMEDIATE").unwrap();
    site.broker.publish("rig/pulses", "4000", &[]);
    thread::sleep(Duration::from_millis(1300));
    // This comes while that write waits, and has to be in the next.
    site.broker.publish("rig/pulses", "5000", &[]);
    thread::sleep(Duration::from_millis(100));
    let release = thread::spawn(move || {
        thread::sleep(Duration::from_millis(700));
        lock.execute_batch("ROLLBACK").unwrap();
    });
    service.terminate();
    release.join().unwrap();
    assert_eq!(site.kept("u")["totals"]["permeate"], json!(4.0));
}
