//! `permeated listen` as a keeper runs it: the built program against the real Mosquitto with the
//! payloads of common firmware, as listed from their documentation and sources. What it does to the
//! broker is held to the broker's own log and to an independent client.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod support;

use std::{
    fs,
    path::Path,
    process::{Child, Command, Output, Stdio},
    thread,
    time::{Duration, Instant},
};

use support::{Mosquitto, free_port};

/// Nothing here takes that long unless something is broken.
const LIMIT: Duration = Duration::from_secs(60);
/// What is kept by the broker, and what comes while it is listened to.
const KEPT: &[(&str, &str)] = &[
    ("rodi/status", "online"),
    ("tele/ro-board/LWT", "Online"),
    (
        "zigbee2mqtt/RO cabinet \"left\"/availability",
        r#"{"state":"online"}"#,
    ),
    ("shelly-rodi/online", "true"),
    (
        "homeassistant/sensor/rodi/x1/config",
        r#"{"name":"Permeate flow","state_topic":"rodi/sensor/x1/state","unit_of_measurement":"L/min","device_class":"volume_flow_rate","device":{"name":"RO/DI"}}"#,
    ),
    ("home/living/temperature", "21.5"),
    ("weather/pressure", "1013"),
];
const LIVE: &[(&str, &str)] = &[
    ("rodi/sensor/feed_tds/state", "282"),
    ("rodi/sensor/x1/state", "0.15"),
    ("rodi/sensor/permeate_pulses/state", "1200"),
    (
        "tele/ro-board/SENSOR",
        r#"{"Time":"2026-11-25T09:00:00","DS18B20":{"Temperature":17.5},"COUNTER":{"C1":1234},"TempUnit":"C"}"#,
    ),
    (
        "zigbee2mqtt/RO cabinet \"left\"",
        r#"{"water_leak":false,"battery":100}"#,
    ),
    (
        "shelly-rodi/status/voltmeter:100",
        r#"{"id":100,"voltage":2.31}"#,
    ),
    ("/home/rodi/feed_pressure", "4,1 bar"),
    ("/home/rodi/all/", "21.4;55;300"),
    (
        "v3/rodi/devices/\u{e4} b/up",
        r#"{"uplink_message":{"decoded_payload":{"permeate/tds":"8 ppm","x":[1,2]}}}"#,
    ),
    (
        "tele/plug/SENSOR",
        r#"{"ENERGY":{"Power":12,"Voltage":231}}"#,
    ),
];

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_permeated"));
    command.env_remove("STATE_DIRECTORY").stdin(Stdio::null());
    command
}

/// `listen` at that port, with more arguments.
fn listen(port: u16, more: &[&str]) -> Output {
    let url = format!("mqtt://127.0.0.1:{port}");
    let mut command = program();
    command.args(["listen", "--broker", &url, "--seconds", "1"]);
    command.args(more).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Waits until the condition holds.
fn until(what: &str, mut condition: impl FnMut() -> bool) {
    let start = Instant::now();
    while !condition() {
        assert!(start.elapsed() < LIMIT, "not within {LIMIT:?}: {what}");
        thread::sleep(Duration::from_millis(10));
    }
}

fn subscriptions(broker: &Mosquitto) -> usize {
    broker.log().matches("Sending SUBACK to permeated-").count()
}

/// Starts `listen`, waits until it hears, sends everything, and ends it as Ctrl-C does.
fn listen_to_the_zoo(broker: &Mosquitto, more: &[&str]) -> Output {
    for (topic, payload) in KEPT {
        broker.publish(topic, payload, &["-r"]);
    }
    let before = subscriptions(broker);
    let url = format!("mqtt://127.0.0.1:{}", broker.port());
    let mut command = program();
    command
        .args(["listen", "--broker", &url, "--seconds", "600"])
        .args(more);
    let child = (command.stdout(Stdio::piped()).stderr(Stdio::piped()))
        .spawn()
        .unwrap();
    until("it hears", || subscriptions(broker) > before);
    for (topic, payload) in LIVE {
        broker.publish(topic, payload, &[]);
    }
    // What the broker has passed on is in our client's hands before the signal.
    let last = LIVE.last().unwrap().0;
    until("the last message is on its way", || {
        broker
            .log()
            .lines()
            .any(|line| line.contains("Sending PUBLISH to permeated-") && line.contains(last))
    });
    end(child)
}

fn end(child: Child) -> Output {
    let signal = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(signal.success());
    child.wait_with_output().unwrap()
}

#[test]
fn the_zoo_is_recognised_and_its_configuration_checks_and_runs() {
    let broker = Mosquitto::start("");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("permeated.toml");
    let watch = broker.watch("#");
    let output = listen_to_the_zoo(&broker, &["--output", file.to_str().unwrap()]);
    // The broker writes down the goodbye in its own time.
    until("the broker has heard the goodbye", || {
        broker.log().contains("Received DISCONNECT from permeated-")
    });
    let (said, log) = (text(&output.stdout), broker.log());
    assert_eq!(
        output.status.code(),
        Some(0),
        "{said}\n{}",
        text(&output.stderr)
    );
    for wanted in [
        "feed_tds",
        "/home/rodi/feed_pressure",
        "/DS18B20/Temperature",
        "/water_leak",
        "permeate~1tds",
        "hubs are told",
        "Several numbers in one payload",
        "electricity",
        "permeated check",
    ] {
        assert!(said.contains(wanted), "{wanted} is not in\n{said}");
    }

    // It left no trace: only what the test sent was published, and the session was clean (c1), by a
    // client that subscribed and said goodbye.
    let sent = KEPT.len() + LIVE.len();
    assert_eq!(watch.seen().len(), sent, "{:?}", watch.seen());
    assert!(!log.contains("Received PUBLISH from permeated-"), "{log}");
    let connects: Vec<&str> = log
        .lines()
        .filter(|line| line.contains(" as permeated-"))
        .collect();
    assert_eq!(connects.len(), 1, "{connects:?}");
    assert!(
        connects[0].contains("c1") && connects[0].contains("p2"),
        "{connects:?}"
    );
    assert!(log.contains("No will message specified"), "{log}");
    assert!(
        !log.lines()
            .any(|line| line.contains("Will message specified") && !line.contains("No will")),
        "{log}"
    );

    let check = program().arg("check").arg(&file).output().unwrap();
    assert_eq!(check.status.code(), Some(0), "{}", text(&check.stderr));
    runs(&broker, &file, folder.path());
}

/// The service with the proposed configuration hears the same messages and tells figures of them.
fn runs(broker: &Mosquitto, file: &Path, folder: &Path) {
    let proposed = fs::read_to_string(file).unwrap();
    let state = folder.join("state");
    // Where the state is kept is the only thing added.
    fs::write(
        file,
        format!(
            "{proposed}\n[store]\ndirectory = {:?}\n",
            state.display().to_string()
        ),
    )
    .unwrap();
    let log = fs::File::create(folder.join("log")).unwrap();
    let mut service = (program().args(["run", "--config"]).arg(file))
        .stdout(log.try_clone().unwrap())
        .stderr(log)
        .spawn()
        .unwrap();
    let value = |name: &str| broker.retained(&format!("permeated/rodi/value/{name}"));
    until("the service is there", || {
        broker.retained("permeated/status").as_deref() == Some("online")
    });
    for (topic, payload) in LIVE {
        broker.publish(topic, payload, &[]);
    }
    // As sent: 282 ppm of feed, 8 of permeate, 17.5 degC, 0.15 L/min, 4.1 bar, no leak.
    for (name, expected) in [
        ("feed_tds_mg_l", "282"),
        ("permeate_tds_mg_l", "8"),
        ("feed_temperature_c", "17.5"),
        ("permeate_flow_l_min", "0.15"),
        ("feed_pressure_bar", "4.1"),
    ] {
        until(name, || {
            value(name).and_then(|text| text.parse::<f64>().ok()) == expected.parse::<f64>().ok()
        });
    }
    until("leak", || value("leak").as_deref() == Some("OFF"));
    let signal = Command::new("kill")
        .args(["-TERM", &service.id().to_string()])
        .status()
        .unwrap();
    assert!(signal.success() && service.wait().unwrap().success());
}

#[test]
fn without_an_output_file_the_configuration_goes_to_standard_output() {
    let broker = Mosquitto::start("");
    broker.publish("rodi/permeate_tds", "8 ppm", &["-r"]);
    let output = listen(broker.port(), &["--topic", "rodi/#"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("permeated.toml");
    fs::write(&file, &output.stdout).unwrap();
    let check = program().arg("check").arg(&file).output().unwrap();
    assert_eq!(check.status.code(), Some(0), "{}", text(&check.stderr));
    assert!(text(&output.stderr).contains("permeate_tds"), "{output:?}");
}

#[test]
fn a_file_that_is_there_is_left_unless_overwriting_is_asked_for() {
    let broker = Mosquitto::start("");
    broker.publish("rodi/permeate_tds", "8 ppm", &["-r"]);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("permeated.toml");
    let path = file.to_str().unwrap();
    fs::write(&file, "mine").unwrap();
    let output = listen(broker.port(), &["--output", path]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(text(&output.stderr).contains("--force"), "{output:?}");
    assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
    assert_eq!(subscriptions(&broker), 0, "it is told before the listening");
    let output = listen(broker.port(), &["--output", path, "--force"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(
        fs::read_to_string(&file)
            .unwrap()
            .contains("rodi/permeate_tds")
    );
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        1,
        "nothing beside it is left"
    );
    let output = listen(broker.port(), &["--output", "/nowhere/permeated.toml"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
}

#[test]
fn nothing_like_a_sensor_is_said_so_and_nothing_written() {
    let broker = Mosquitto::start("");
    broker.publish("home/living/temperature", "21", &["-r"]);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("permeated.toml");
    let output = listen(
        broker.port(),
        &["--output", file.to_str().unwrap(), "--all"],
    );
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(
        text(&output.stdout).contains("home/living/temperature  21"),
        "{output:?}"
    );
    assert!(text(&output.stderr).contains("--seconds"), "{output:?}");
    assert!(!file.exists());
}

#[test]
fn a_large_or_binary_message_is_passed_by() {
    let broker = Mosquitto::start("");
    broker.publish_large("camera/picture", 3_000_000);
    broker.publish("rodi/permeate_tds", "8 ppm", &["-r"]);
    let output = listen(broker.port(), &[]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(text(&output.stderr).contains("64 KiB"), "{output:?}");
}

#[test]
fn wrong_arguments_and_brokers_that_do_not_let_us_in() {
    for (arguments, wanted) in [
        (vec!["--broker", "localhost"], "mqtt://"),
        (vec!["--broker", "mqtt://me:pw@host"], "password_file"),
        (vec!["--password-file", "x"], "user"),
        (vec!["--topic", "a/#/b"], "--topic"),
        (vec!["--seconds", "0"], "seconds"),
        (vec!["--config", "/nowhere/permeated.toml"], "/nowhere"),
    ] {
        let output = program().arg("listen").args(&arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?} {output:?}");
        assert!(
            text(&output.stderr).contains(wanted),
            "{arguments:?} {output:?}"
        );
    }
    let output = listen(free_port(), &[]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let told = text(&output.stderr);
    assert!(
        told.contains("nobody listens") && told.contains("--broker"),
        "{told}"
    );

    let folder = tempfile::tempdir().unwrap();
    let passwords = folder.path().join("passwords");
    let made = Command::new("mosquitto_passwd")
        .args(["-b", "-c"])
        .arg(&passwords)
        .args(["me", "right"])
        .status();
    assert!(made.unwrap().success());
    fs::write(folder.path().join("pw"), "wrong\n").unwrap();
    let guarded = Mosquitto::start_with(
        folder,
        "listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {folder}/passwords\n",
    );
    let password = guarded.folder().join("pw");
    let password = password.to_str().unwrap();
    let login = ["--user", "me", "--password-file", password];
    let output = listen(guarded.port(), &login);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let told = text(&output.stderr);
    assert!(
        told.contains("`me`") && told.contains(password) && !told.contains("wrong"),
        "{told}"
    );
    fs::write(password, "right\n").unwrap();
    // Let in, and nothing there: that is another matter than not being let in.
    let told = text(&listen(guarded.port(), &login).stderr);
    assert!(told.contains("nothing that was heard"), "{told}");

    let url = format!("mqtts://127.0.0.1:{}", guarded.port());
    let output = program()
        .args(["listen", "--broker", &url, "--seconds", "1"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(text(&output.stderr).contains("TLS"), "{output:?}");
}

#[test]
fn the_broker_may_be_taken_from_a_configuration_that_has_no_sensor_yet() {
    let broker = Mosquitto::start("");
    broker.publish("rodi/permeate_tds", "8 ppm", &["-r"]);
    broker.publish("ours/kitchen/value/feed_tds_mg_l", "250", &["-r"]);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("broker.toml");
    let text_of = format!(
        "[broker]\nurl = \"mqtt://127.0.0.1:{}\"\n[publish]\nprefix = \"ours\"\n",
        broker.port()
    );
    fs::write(&file, text_of).unwrap();
    let output = program()
        .args(["listen", "--seconds", "1", "--config"])
        .arg(&file)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let proposed = text(&output.stdout);
    assert!(proposed.contains("prefix = \"ours\""), "{proposed}");
    assert!(
        proposed.contains("rodi/permeate_tds") && !proposed.contains("ours/kitchen"),
        "{proposed}"
    );
}
