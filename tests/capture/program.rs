//! The built program and a broker to run it at, and how its logs are looked at.

use std::{
    fs,
    process::{Child, Command, Output, Stdio},
};

use permeated::wire::log::{Entry, Mark, What};

use crate::{
    site::{Site, program, until},
    support::Mosquitto,
};

/// A board that tells everything in one document, a counted permeate, a contact; every change told within
/// a second.
pub const UNIT: &str = r#"
[publish]
interval = "1 s"
[store]
directory = "state"
checkpoint = "1 s"
[unit.u.run]
stop_after = "1 s"
settle_volume = "0 L"
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.sensor]]
at = "feed_tds"
topic = "rig/board"
pointer = "/feed"
unit = "uS/cm"
[[unit.u.sensor]]
at = "permeate_tds"
topic = "rig/board"
pointer = "/permeate"
unit = "uS/cm"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/pulses"
kind = "pulses"
pulses_per_litre = 1000
maximum = "200 L/min"
[[unit.u.sensor]]
at = "leak"
topic = "rig/leak"
"#;

/// The program at work; killed when dropped.
pub struct Running(pub Child);

impl Running {
    pub fn start(arguments: &[&str]) -> Self {
        let mut command = program();
        command
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        Self(command.spawn().unwrap())
    }

    pub fn signal(&self, signal: &str) {
        let pid = self.0.id().to_string();
        assert!(
            Command::new("kill")
                .args([signal, &pid])
                .status()
                .unwrap()
                .success()
        );
    }

    /// Ends it with that signal and gives what it said.
    pub fn end(mut self, signal: &str) -> Output {
        self.signal(signal);
        until("the program ends", || self.0.try_wait().unwrap().is_some());
        let mut output = Output {
            status: self.0.wait().unwrap(),
            stdout: Vec::new(),
            stderr: Vec::new(),
        };
        use std::io::Read as _;
        self.0
            .stdout
            .take()
            .unwrap()
            .read_to_end(&mut output.stdout)
            .unwrap();
        self.0
            .stderr
            .take()
            .unwrap()
            .read_to_end(&mut output.stderr)
            .unwrap();
        output
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub fn run(arguments: &[&str]) -> Output {
    program().args(arguments).output().unwrap()
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

pub fn site() -> Site {
    let site = Site::new("", "");
    site.configure_all("", UNIT);
    site
}

pub fn path(site: &Site, name: &str) -> String {
    site.folder().join(name).display().to_string()
}

/// One message, by Mosquitto's own client.
pub fn publish(broker: &Mosquitto, topic: &str, payload: &[u8], more: &[&str]) {
    let file = broker.folder().join("payload");
    fs::write(&file, payload).unwrap();
    let mut command = Command::new("mosquitto_pub");
    command.args([
        "-h",
        "127.0.0.1",
        "-p",
        &broker.port().to_string(),
        "-q",
        "1",
        "-t",
        topic,
    ]);
    assert!(
        command
            .args(more)
            .arg("-f")
            .arg(file)
            .status()
            .unwrap()
            .success()
    );
}

/// Waits until a client with that start of its id has subscribed, beyond that place in the broker's log.
pub fn subscribed(broker: &Mosquitto, start: &str, from: usize) {
    until("it hears", || {
        broker.log()[from..].contains(&format!("Sending SUBACK to {start}"))
    });
}

/// The messages of a log: topic, payload, and whether retained.
pub fn messages(log: &str) -> Vec<(String, Vec<u8>, bool)> {
    let entries = log.lines().map(|line| Entry::read(line).unwrap());
    entries
        .filter_map(|entry| match entry.what {
            What::Message(message) => Some((
                message.topic.into_owned(),
                message.payload.into_owned(),
                message.arrival == permeated::core::Arrival::Retained,
            )),
            What::Readings(_) | What::Mark(_) => None,
        })
        .collect()
}

pub fn marks(log: &str) -> Vec<Mark<'_>> {
    let entries = log.lines().map(|line| Entry::read(line).unwrap());
    entries
        .filter_map(|entry| match entry.what {
            What::Mark(mark) => Some(mark),
            What::Readings(_) | What::Message(_) => None,
        })
        .collect()
}
