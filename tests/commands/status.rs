//! `permeated status` beside a service that runs, dies, or never answers; what of it is coloured.

use std::{
    process::{Command, Stdio},
    time::Instant,
};

use serde_json::Value;

use crate::{
    site::{LIMIT, Site, text, until},
    support::Mosquitto,
};

fn codes(unit: &Value) -> Vec<&str> {
    let alerts = unit["alerts"].as_array().unwrap().iter();
    alerts
        .map(|alert| alert["code"].as_str().unwrap())
        .collect()
}

#[test]
fn status_follows_the_service_from_nothing_to_its_death() {
    let mut broker = Mosquitto::start("");
    let site = Site::new(broker.port());
    // Nothing has ever run: neither the broker nor the store knows anything.
    let (status, document) = site.document();
    assert_eq!(status, 5, "{document}");
    assert_eq!(document["service"], "unknown");
    assert_eq!(document["source"], Value::Null);

    let service = site.start();
    // 60 psi × 0.0689476 bar/psi (NIST SP 811, appendix B). What is sent before it hears is lost.
    until("all is well", || {
        broker.publish("rig/pressure", "60", &[]);
        broker.publish("rig/temperature", "15", &[]);
        broker.publish("rig/tds", "1", &[]);
        let (status, document) = site.document();
        status == 0 && document["units"][0]["now"]["feed_pressure_bar"] == 4.14
    });
    let document = site.until_status(0);
    assert_eq!(document["service"], "online");
    assert_eq!(document["source"], "broker");
    let unit = &document["units"][0];
    assert_eq!(
        (&unit["id"], &unit["name"]),
        (&"cellar".into(), &"Cellar".into())
    );
    assert_eq!(unit["stages"][0]["id"], "sediment");
    assert_eq!(document["units"][1]["id"], "other");
    let said = text(&site.status(&[]).stdout);
    for words in [
        "Service  online",
        "Cellar (cellar): ",
        "15.0 °C",
        "4.1 bar",
        "sediment ",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }

    // A warning, then something critical.
    until("a warning", || {
        broker.publish("rig/temperature", "45", &[]);
        site.document().0 == 3
    });
    let document = site.until_status(3);
    assert_eq!(
        codes(&document["units"][0]),
        ["feed_temperature_out_of_range"]
    );
    until("something critical", || {
        broker.publish("rig/pressure", "130", &[]);
        site.document().0 == 4
    });
    let document = site.until_status(4);
    // The worst comes first.
    let expected = ["feed_pressure_high", "feed_temperature_out_of_range"];
    assert_eq!(codes(&document["units"][0]), expected);
    let output = site.status(&["--unit", "cellar"]);
    assert_eq!(output.status.code(), Some(4));
    let said = text(&output.stdout);
    for words in [
        "CRITICAL",
        "Feed pressure high, since ",
        "Check: ",
        "Caution: ",
        "warning ",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(!said.contains("\u{1b}["), "colours in a pipe: {said}");
    let widest = said.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(100), "{widest:?}: {said}");
    // The other unit has no alert, and its own status.
    assert_eq!(site.status(&["--unit", "other"]).status.code(), Some(0));
    let output = site.status(&["--unit", "attic"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("configured: cellar, other"));

    // Killed: the broker says so, and what it said last is still there.
    drop(service);
    let document = site.until_status(5);
    assert_eq!(document["service"], "offline");
    assert_eq!(codes(&document["units"][0]), expected);
    let said = text(&site.status(&[]).stdout);
    assert!(
        said.contains("AWAY since about") && said.contains("CRITICAL"),
        "{said}"
    );

    let service = site.start();
    until("it is critical again", || {
        broker.publish("rig/pressure", "130", &[]);
        site.document().0 == 4
    });
    service.terminate();
    // The broker gone, too: the store tells.
    broker.kill();
    let (status, document) = site.document();
    assert_eq!(status, 5, "{document}");
    assert_eq!(document["source"], "store");
    assert_eq!(document["service"], "unknown");
    let problem = document["problem"].as_str().unwrap();
    assert!(problem.contains("nobody listens at 127.0.0.1"), "{problem}");
    assert!(
        codes(&document["units"][0]).contains(&"feed_pressure_high"),
        "{document:#}"
    );
    assert!(document["last_heard"].is_string());
    let said = text(&site.status(&[]).stdout);
    assert!(
        said.contains("in the store") && said.contains("CRITICAL"),
        "{said}"
    );
}

#[test]
fn status_only_listens_and_leaves_nothing_with_the_broker() {
    let broker = Mosquitto::start("");
    let site = Site::new(broker.port());
    broker.publish("permeated/status", "offline", &["-r"]);
    broker.publish("permeated/cellar/now", "{\"state\":\"standby\"}", &["-r"]);
    assert_eq!(site.until_status(5)["service"], "offline");
    let log = broker.log();
    // "c1" is a clean session, which the broker forgets.
    let sessions: Vec<&str> = (log.lines())
        .filter(|line| line.contains("New client connected") && line.contains(" as permeated-"))
        .collect();
    assert!(!sessions.is_empty(), "{log}");
    assert!(
        sessions.iter().all(|line| line.contains("c1")),
        "{sessions:?}"
    );
    assert!(!log.contains("Received PUBLISH from permeated-"), "{log}");
    until("it says goodbye", || {
        broker.log().contains("Received DISCONNECT from permeated-")
    });
}

#[test]
fn status_ends_by_itself_when_nobody_answers() {
    let broker = Mosquitto::start("");
    let site = Site::new(broker.port());
    broker.freeze();
    let start = Instant::now();
    let output = site.status(&[]);
    // It promises 5 s; the rest is for a busy machine.
    assert!(start.elapsed() < LIMIT);
    broker.thaw();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(output.stdout.is_empty());
    let told = text(&output.stderr);
    assert!(
        told.contains("did not answer within") && told.contains("there is no state in"),
        "{told}"
    );
}

#[test]
fn a_broker_that_lets_nobody_in_is_told_with_what_to_check() {
    let broker = Mosquitto::start_with(
        tempfile::tempdir().unwrap(),
        "listener {port} 127.0.0.1\nallow_anonymous false\n",
    );
    let output = Site::new(broker.port()).status(&[]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let told = text(&output.stderr);
    assert!(
        told.contains("refuses us") && told.contains("check user and password"),
        "{told}"
    );
}

/// What a command says to a terminal, by `script` of util-linux.
fn on_a_terminal(command: &str, environment: &[(&str, &str)]) -> String {
    let output = Command::new("script")
        .args(["-qec", command, "/dev/null"])
        // What else decides about colours: an automaton that shows logs has them on a dumb terminal, too.
        .env_remove("NO_COLOR")
        .env_remove("CLICOLOR")
        .env_remove("CLICOLOR_FORCE")
        .env_remove("CI")
        .env("TERM", "xterm-256color")
        .envs(environment.iter().copied())
        .stdin(Stdio::null())
        .output()
        .expect("script is needed (Debian: bsdutils, or util-linux-extra)");
    text(&output.stdout)
}

#[test]
fn colours_are_for_terminals_that_have_them_and_people_who_want_them() {
    let broker = Mosquitto::start("");
    let site = Site::new(broker.port());
    broker.publish("permeated/status", "offline", &["-r"]);
    broker.publish("permeated/cellar/now", "{\"state\":\"standby\"}", &["-r"]);
    let program = env!("CARGO_BIN_EXE_permeated");
    let file = site.file().display().to_string();
    let status = format!("{program} status --config {file}");
    let help = format!("{program} check --help");
    let wrong = format!("{program} chekc");
    for command in [&status, &help, &wrong] {
        let coloured = on_a_terminal(command, &[]);
        assert!(coloured.contains("\u{1b}["), "{command}: {coloured:?}");
        for plain in [("NO_COLOR", "1"), ("TERM", "dumb")] {
            let said = on_a_terminal(command, &[plain]);
            assert!(!said.contains('\u{1b}'), "{command} {plain:?}: {said:?}");
            assert!(said.len() > 40, "{said:?}");
        }
    }
    // An empty NO_COLOR refuses nothing (no-color.org).
    assert!(on_a_terminal(&status, &[("NO_COLOR", "")]).contains("\u{1b}["));
}
