//! The service and its broker: what it says of itself, and what it does when the broker is away,
//! comes back without its memory, or does not let it in.

use std::{fs, process::Command, time::Duration};

use serde_json::json;

use crate::{
    COUNTED,
    site::{CLIENT, Site, until, until_within},
    support::Mosquitto,
};

const STATUS: &str = "permeated/status";

#[test]
fn it_says_online_then_offline_and_the_broker_says_so_after_a_kill() {
    let site = Site::new("", COUNTED);
    let is = |word: &str| {
        until(word, || {
            site.broker.retained(STATUS).as_deref() == Some(word)
        });
    };
    let service = site.start();
    is("online");
    let watch = site.broker.watch(STATUS);
    service.terminate();
    // Said by itself before it left, not by the broker for it afterwards.
    is("offline");
    assert!(
        (site.broker.log()).contains(&format!("Received DISCONNECT from {CLIENT}")),
        "no goodbye"
    );
    let service = site.start();
    is("online");
    service.kill();
    is("offline");
    let changes = || {
        let mut changes = watch.on(STATUS);
        changes.dedup();
        changes
    };
    until("the watch heard all of it", || changes().len() >= 4);
    assert_eq!(changes(), ["online", "offline", "online", "offline"]);
}

#[test]
fn interrupt_ends_it_like_terminate() {
    let site = Site::new("", COUNTED);
    let mut service = site.start();
    service.signal("-INT");
    assert!(service.ended(Duration::from_secs(2)).success());
    assert_eq!(site.broker.retained(STATUS).as_deref(), Some("offline"));
}

/// Started before the broker; the broker then dies and comes back. Whatever it remembers, every
/// retained topic is there again with its value, and the service hears.
fn broker_comes_and_goes(settings: &str) {
    let mut broker = Mosquitto::start(settings);
    broker.kill();
    let mut site = Site::at(broker, COUNTED);
    let service = site.launch();
    until("it is told that nobody listens", || {
        service.log().contains("nobody listens at 127.0.0.1")
    });
    site.broker.restart();
    site.hears(0);
    for count in [5000, 6000] {
        site.broker.publish("rig/pulses", &count.to_string(), &[]);
    }
    let made = "permeated/u/value/permeate_l";
    until("a litre is published", || site.value(made) == Some(1.0));
    let before = site.broker.all_retained("permeated/#");
    assert!(before.len() > 20, "{before:#?}");

    let heard = site.broker.log().len();
    site.broker.restart();
    site.hears(heard);
    let mut after = site.broker.all_retained("permeated/#");
    until("all retained topics are there again", || {
        after = site.broker.all_retained("permeated/#");
        after.len() >= before.len()
    });
    assert_eq!(
        after.keys().collect::<Vec<_>>(),
        before.keys().collect::<Vec<_>>()
    );
    let plain = |(topic, _): &(&String, &String)| topic.contains("/value/");
    assert!(
        after.iter().filter(plain).eq(before.iter().filter(plain)),
        "{before:#?}\n{after:#?}"
    );
    site.broker.publish("rig/pulses", "8000", &[]);
    until("it hears again", || site.value(made) == Some(3.0));
    service.terminate();
}

#[test]
fn a_broker_without_memory_is_told_everything_again() {
    broker_comes_and_goes("");
}

#[test]
fn a_broker_with_memory_goes_on_where_it_was() {
    broker_comes_and_goes(Mosquitto::PERSISTENT);
}

#[test]
fn a_wrong_password_is_told_and_the_service_waits_until_it_is_let_in() {
    let folder = tempfile::tempdir().unwrap();
    let users = folder.path().join("users");
    let made = Command::new("mosquitto_passwd")
        .args(["-b", "-c"])
        .arg(users)
        .args(["unit", "right-secret"])
        .output()
        .unwrap();
    assert!(made.status.success(), "{made:?}");
    let broker = Mosquitto::start_with(
        folder,
        "listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {folder}/users\n",
    );
    let site = Site::at(broker, COUNTED);
    let password = site.folder().join("mqtt-password");
    fs::write(&password, "wrong-secret\n").unwrap();
    site.configure_all(
        "user = \"unit\"\npassword_file = \"mqtt-password\"",
        &format!("[store]\ndirectory = \"state\"\n{COUNTED}"),
    );
    let mut service = site.launch();
    until("it is told what is wrong and where to look", || {
        let log = service.log();
        log.contains("refuses us as user `unit`") && log.contains(&password.display().to_string())
    });
    fs::write(&password, "right-secret\n").unwrap();
    // A refusal that only a person can end is tried again within the minute.
    until_within(Duration::from_secs(75), "it is let in", || {
        assert!(service.is_running(), "{}", service.log());
        (site.broker.log()).contains(&format!("Sending CONNACK to {CLIENT} (0, 0)"))
    });
    until("it says so", || {
        service.log().contains("connected to the broker")
    });
    let log = service.log();
    assert!(!log.contains("-secret"), "the password is in the log");
    assert_eq!(log.matches("refuses us").count(), 1, "told once");
    service.terminate();
}

#[test]
fn what_is_no_reading_is_told_once_and_counts_as_nothing() {
    let site = Site::new("", COUNTED);
    let watch = site.broker.watch("permeated/u/event");
    let service = site.start();
    site.broker.publish("rig/pulses", "1000", &[]);
    for nothing in ["nan", "unavailable", "", "{\"a\": 1}"] {
        if nothing.is_empty() {
            continue;
        }
        site.broker.publish("rig/pulses", nothing, &[]);
    }
    site.broker.publish("rig/pulses", "3000", &[]);
    until("the count is believed", || {
        site.kept_count("u") == json!(3000.0)
    });
    let told = (watch.on("permeated/u/event").iter())
        .filter(|text| text.contains("no_reading"))
        .count();
    assert_eq!(told, 1, "{:?}", watch.seen());
    service.terminate();
    assert_eq!(site.kept("u")["totals"]["permeate"], json!(2.0));
}
