//! A place to run the service in: a broker, a folder with a configuration, and the process itself.

use std::{
    fs,
    io::Write as _,
    path::{Path, PathBuf},
    process::{Child, ChildStdin, Command, ExitStatus, Stdio},
    thread,
    time::{Duration, Instant},
};

use rusqlite::{Connection, OpenFlags};
use serde_json::Value;
use tempfile::TempDir;

use crate::support::Mosquitto;

/// Nothing here takes that long unless something is broken.
pub const LIMIT: Duration = Duration::from_secs(20);
/// The client id of the service in these tests.
pub const CLIENT: &str = "under-test";
/// What the README promises for SIGTERM.
pub const STOPS_WITHIN: Duration = Duration::from_secs(2);

/// Waits until `condition` holds; panics with `what` when it does not within `LIMIT`.
pub fn until(what: &str, condition: impl FnMut() -> bool) {
    until_within(LIMIT, what, condition);
}

/// The same with a limit of its own.
pub fn until_within(limit: Duration, what: &str, mut condition: impl FnMut() -> bool) {
    let start = Instant::now();
    while !condition() {
        assert!(start.elapsed() < limit, "not within {limit:?}: {what}");
        thread::sleep(Duration::from_millis(10));
    }
}

/// A broker and a folder for the service. The broker's process ends with it.
pub struct Site {
    pub broker: Mosquitto,
    folder: TempDir,
}

/// The running service. Killed when dropped; a failing test shows its log.
pub struct Service {
    process: Child,
    log: PathBuf,
}

/// A client program that publishes line by line on one topic.
pub struct Feed {
    process: Child,
    input: Option<ChildStdin>,
}

/// A figure of a process' memory, by its name in proc_pid_status(5).
pub fn memory_kib(process: &str, name: &str) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with(name));
    let number = line.unwrap().split_whitespace().nth(1).unwrap();
    number.parse().unwrap()
}

/// A command that runs the built program, with no settings of ours in its environment.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_permeated"));
    command
        .env_remove("STATE_DIRECTORY")
        .env_remove("JOURNAL_STREAM")
        .stdin(Stdio::null());
    command
}

impl Site {
    /// A broker with `broker` added to its settings, and a service with `units` configured.
    pub fn new(broker: &str, units: &str) -> Self {
        Self::at(Mosquitto::start(broker), units)
    }

    /// At a broker that is there already.
    pub fn at(broker: Mosquitto, units: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let site = Self { broker, folder };
        site.configure(units);
        site
    }

    /// Writes the configuration: every change published at once, state kept every second.
    pub fn configure(&self, units: &str) {
        let general =
            "[publish]\ninterval = \"0 s\"\n[store]\ndirectory = \"state\"\ncheckpoint = \"1 s\"\n";
        self.configure_all("", &format!("{general}{units}"));
    }

    /// Writes the configuration with `broker` in the broker's table and everything else in `rest`.
    pub fn configure_all(&self, broker: &str, rest: &str) {
        let port = self.broker.port();
        let text = format!(
            "[broker]\nurl = \"mqtt://127.0.0.1:{port}\"\nclient_id = \"{CLIENT}\"\n{broker}\n{rest}"
        );
        fs::write(self.file(), text).unwrap();
    }

    pub fn file(&self) -> PathBuf {
        self.folder.path().join("permeated.toml")
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn state(&self) -> PathBuf {
        self.folder.path().join("state")
    }

    /// Starts the service without waiting for anything.
    pub fn launch(&self) -> Service {
        self.launch_with(&[])
    }

    /// The same with more in its environment.
    pub fn launch_with(&self, environment: &[(&str, &str)]) -> Service {
        self.launch_at(&self.file(), self.folder.path().join("log"), environment)
    }

    /// Starts a service with another configuration, its log beside it.
    pub fn launch_file(&self, file: &Path) -> Service {
        self.launch_at(file, file.with_file_name("log"), &[])
    }

    fn launch_at(&self, file: &Path, log: PathBuf, environment: &[(&str, &str)]) -> Service {
        let to = (fs::File::options().create(true).append(true))
            .open(&log)
            .unwrap();
        let process = (program().args(["run", "--config"]).arg(file))
            .envs(environment.iter().copied())
            .stdout(to.try_clone().unwrap())
            .stderr(to)
            .spawn()
            .unwrap();
        Service { process, log }
    }

    /// Starts the service and waits until it hears, with what the broker had queued behind it.
    pub fn start(&self) -> Service {
        let before = self.broker.log().len();
        let service = self.launch();
        self.hears(before);
        service
    }

    /// Waits until the broker's log shows, beyond `from`, that the service hears.
    pub fn hears(&self, from: usize) {
        until("the service hears", || {
            let log = self.broker.log();
            let new = &log[from.min(log.len())..];
            let subscribed = new.contains(&format!("Sending SUBACK to {CLIENT}"));
            let kept = new.contains(&format!("Sending CONNACK to {CLIENT} (1"));
            // Its message to itself ends what was queued for it.
            let caught_up = || {
                (new.lines()).any(|line| {
                    line.contains(&format!("Sending PUBLISH to {CLIENT}"))
                        && line.contains("/status/session'")
                })
            };
            subscribed && (!kept || caught_up())
        });
    }

    /// A client that publishes on a topic with QoS 1, line by line.
    pub fn feed(&self, topic: &str) -> Feed {
        let mut process = Command::new("mosquitto_pub")
            .args(["-h", "127.0.0.1", "-p", &self.broker.port().to_string()])
            .args(["-q", "1", "-t", topic, "-l"])
            .stdin(Stdio::piped())
            .spawn()
            .unwrap();
        let input = process.stdin.take();
        Feed { process, input }
    }

    /// The plain number on one of a unit's value topics, as a new client sees it.
    pub fn value(&self, topic: &str) -> Option<f64> {
        self.broker.retained(topic)?.parse().ok()
    }

    /// A retained document, as a new client sees it.
    pub fn document(&self, topic: &str) -> Value {
        let text = self.broker.retained(topic).unwrap_or_default();
        serde_json::from_str(&text).unwrap_or(Value::Null)
    }

    /// A unit's state as it stands in the file; null while there is none.
    pub fn kept(&self, unit: &str) -> Value {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY;
        let text = Connection::open_with_flags(self.database(), flags).and_then(|database| {
            database.busy_timeout(LIMIT)?;
            let one = "SELECT json_group_object(part, json(state)) FROM unit_part
                       WHERE unit = ?1 HAVING count(*) > 0";
            database.query_row(one, [unit], |row| row.get::<_, String>(0))
        });
        text.map_or(Value::Null, |text| serde_json::from_str(&text).unwrap())
    }

    /// The last count of a unit's permeate meter that is safe in the file.
    pub fn kept_count(&self, unit: &str) -> Value {
        self.kept(unit)["meters"]["permeate_flow"]["count"].clone()
    }

    pub fn database(&self) -> PathBuf {
        self.state().join("permeated.db")
    }
}

impl Service {
    pub fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    pub fn signal(&self, signal: &str) {
        let pid = self.process.id().to_string();
        let status = Command::new("kill").args([signal, &pid]).status().unwrap();
        assert!(status.success());
    }

    /// SIGTERM: it must leave with status 0 within the promised time.
    pub fn terminate(mut self) {
        self.signal("-TERM");
        let start = Instant::now();
        let status = self.ended(LIMIT);
        let took = start.elapsed();
        assert!(status.success(), "{status:?}");
        assert!(took < STOPS_WITHIN, "stopped only after {took:?}");
    }

    /// SIGKILL: no chance to save or to say anything.
    pub fn kill(mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }

    /// Waits for its end.
    pub fn ended(&mut self, limit: Duration) -> ExitStatus {
        let mut status = None;
        until_within(limit, "the service ends", || {
            status = self.process.try_wait().unwrap();
            status.is_some()
        });
        status.unwrap()
    }

    pub fn is_running(&mut self) -> bool {
        self.process.try_wait().unwrap().is_none()
    }

    /// The most memory it ever had resident, in KiB.
    pub fn peak_kib(&self) -> u64 {
        self.memory_kib("VmHWM:")
    }

    /// A figure of its memory, by its name in proc_pid_status(5).
    pub fn memory_kib(&self, name: &str) -> u64 {
        memory_kib(&self.process.id().to_string(), name)
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // Either may be over already.
        let _ = self.process.kill();
        let _ = self.process.wait();
        if thread::panicking() {
            println!("--- the service's log\n{}", self.log());
        }
    }
}

impl Feed {
    pub fn send(&mut self, line: impl std::fmt::Display) {
        writeln!(self.input.as_mut().unwrap(), "{line}").unwrap();
    }

    /// Waits until the broker has everything.
    pub fn finish(mut self) {
        self.input = None;
        assert!(self.process.wait().unwrap().success());
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
