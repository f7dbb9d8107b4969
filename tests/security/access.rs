//! The access rules that the README gives, as they stand there, on the real broker: they suffice, and a board
//! can tell no command.

use std::{fs, process::Command};

use crate::{
    UNIT,
    site::{Site, until},
    support::{Mosquitto, free_port},
};

/// The block of the README that begins with the service's user.
fn rules() -> String {
    let readme = include_str!("../../README.md");
    let from = readme
        .find("    user permeated\n")
        .expect("access rules in the README");
    let lines = readme[from..].lines();
    let block = lines.take_while(|line| line.is_empty() || line.starts_with("    "));
    block
        .map(|line| line.trim_start())
        .collect::<Vec<_>>()
        .join("\n")
}

const USERS: [&str; 3] = ["permeated", "board", "hub"];

/// A broker with an open listener for the test's own eyes, and a guarded one, whose port is returned.
fn guarded() -> (Mosquitto, u16) {
    let folder = tempfile::tempdir().unwrap();
    let passwords = folder.path().join("passwords");
    fs::write(&passwords, "").unwrap();
    for user in USERS {
        let made = Command::new("mosquitto_passwd")
            .arg("-b")
            .arg(&passwords)
            .args([user, "word of the test"])
            .status()
            .unwrap();
        assert!(made.success());
    }
    fs::write(folder.path().join("rules"), format!("{}\n", rules())).unwrap();
    let port = free_port();
    let broker = Mosquitto::start_with(
        folder,
        &format!(
            "per_listener_settings true\nlistener {{port}} 127.0.0.1\nallow_anonymous true\n\
             listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {{folder}}/passwords\n\
             acl_file {{folder}}/rules\n"
        ),
    );
    (broker, port)
}

fn publish_as(user: &str, port: u16, topic: &str, payload: &str) {
    let status = Command::new("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &port.to_string(), "-q", "1"])
        .args([
            "-u",
            user,
            "-P",
            "word of the test",
            "-t",
            topic,
            "-m",
            payload,
        ])
        .status()
        .unwrap();
    assert!(status.success());
}

#[test]
fn the_access_rules_of_the_readme_suffice_and_guard_the_commands() {
    let (broker, port) = guarded();
    let site = Site::at(broker, "");
    let password = site.folder().join("password");
    fs::write(&password, "word of the test\n").unwrap();
    let unit = UNIT.replace("rig/product", "rodi/product");
    let text = format!(
        "[broker]\nurl = \"mqtt://127.0.0.1:{port}\"\nclient_id = \"under-test\"\nuser = \"permeated\"\n\
         password_file = \"password\"\n[publish]\ninterval = \"0 s\"\n[store]\ndirectory = \"state\"\n{unit}"
    );
    fs::write(site.file(), text).unwrap();
    let watch = site.broker.watch("permeated/#");
    let service = site.start();
    publish_as("board", port, "rodi/product", "3");
    until("the board's value is there", || {
        site.value(crate::VALUE) == Some(3.0)
    });
    // Both forms of what hubs are told, and what ends the broker's backlog.
    let told = "homeassistant/device/permeated/u/config";
    until("hubs are told", || site.broker.retained(told).is_some());
    // A board may not.
    publish_as("board", port, "permeated/u/do/stage/di/replaced", "");
    publish_as("board", port, "permeated/status", "offline");
    publish_as("board", port, "homeassistant/device/permeated/u/config", "");
    // A hub may.
    publish_as("hub", port, "permeated/u/do/note", "from the hub");
    let answered = |what: &str| {
        let events = watch.on("permeated/u/event");
        events.iter().filter(|text| text.contains(what)).count()
    };
    until("the hub's command is done", || {
        answered("command_done") == 1
    });
    assert!(answered("replaced") == 0, "{:?}", watch.seen());
    assert!(!watch.saw("permeated/status", "offline"));
    assert!(site.broker.retained(told).is_some());
    let log = site.broker.log();
    let denied = |client: &str| {
        let lines = log.lines().filter(|line| line.contains("Denied PUBLISH"));
        lines.filter(|line| line.contains(client)).count()
    };
    assert_eq!(denied("under-test"), 0, "{log}");
    service.terminate();
    until("it says goodbye", || {
        watch.saw("permeated/status", "offline")
    });
    // Nor when hubs are told value by value.
    let text = fs::read_to_string(site.file()).unwrap();
    let text = format!("[hub]\ndiscovery = \"components\"\n{text}");
    fs::write(site.file(), text).unwrap();
    let service = site.start();
    until("hubs are told value by value", || {
        let all = site.broker.all_retained("homeassistant/sensor/#");
        all.keys().any(|topic| topic.contains("product_tds"))
    });
    service.terminate();
    let log = site.broker.log();
    let denied = log.lines().filter(|line| line.contains("Denied PUBLISH"));
    assert_eq!(
        denied.filter(|line| line.contains("under-test")).count(),
        0,
        "{log}"
    );
}
