//! A folder with a configuration, the service in it, and the built program.

use std::{
    fs,
    path::PathBuf,
    process::{Child, Command, Output, Stdio},
    thread,
    time::{Duration, Instant},
};

use serde_json::Value;
use tempfile::TempDir;

/// Nothing here takes that long unless something is broken.
pub const LIMIT: Duration = Duration::from_secs(30);

pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_permeated"));
    (command.stdin(Stdio::null()))
        .env_remove("STATE_DIRECTORY")
        .env_remove("JOURNAL_STREAM");
    command
}

pub fn run(arguments: &[&str]) -> Output {
    program().args(arguments).output().unwrap()
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

pub fn until(what: &str, mut condition: impl FnMut() -> bool) {
    let start = Instant::now();
    while !condition() {
        assert!(start.elapsed() < LIMIT, "not within {LIMIT:?}: {what}");
        thread::sleep(Duration::from_millis(20));
    }
}

/// A unit whose alerts come and go at once.
pub const UNITS: &str = r#"
[unit.cellar]
name = "Cellar"
[[unit.cellar.stage]]
id = "sediment"
kind = "sediment"
life_time = "180 d"
[[unit.cellar.sensor]]
at = "feed_pressure"
topic = "rig/pressure"
unit = "psi"
[[unit.cellar.sensor]]
at = "feed_temperature"
topic = "rig/temperature"
unit = "degC"
[unit.cellar.alert.feed_pressure_high]
hold = "0 s"
clear_hold = "0 s"
[unit.cellar.alert.feed_temperature_out_of_range]
hold = "0 s"
clear_hold = "0 s"
[[unit.other.sensor]]
at = "product_tds"
topic = "rig/tds"
unit = "ppm"
"#;

/// A folder with a configuration, and the service.
pub struct Site {
    folder: TempDir,
}

/// Killed when dropped.
pub struct Service(Child);

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Service {
    pub fn terminate(mut self) {
        let id = self.0.id().to_string();
        assert!(Command::new("kill").arg(id).status().unwrap().success());
        self.0.wait().unwrap();
    }
}

impl Site {
    pub fn new(port: u16) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let general = format!(
            "[broker]\nurl = \"mqtt://127.0.0.1:{port}\"\nclient_id = \"service\"\n[publish]\ninterval = \"0 s\"\n\
             [store]\ndirectory = \"state\"\ncheckpoint = \"1 s\"\n"
        );
        fs::write(folder.path().join("permeated.toml"), general + UNITS).unwrap();
        Self { folder }
    }

    pub fn file(&self) -> PathBuf {
        self.folder.path().join("permeated.toml")
    }

    pub fn start(&self) -> Service {
        let log = fs::File::create(self.folder.path().join("log")).unwrap();
        let service = (program().args(["run", "--config"]).arg(self.file()))
            .stdout(Stdio::null())
            .stderr(log)
            .spawn();
        Service(service.unwrap())
    }

    pub fn status(&self, arguments: &[&str]) -> Output {
        (program().arg("status").args(arguments).arg("--config"))
            .arg(self.file())
            .output()
            .unwrap()
    }

    /// Exit status and document.
    pub fn document(&self) -> (i32, Value) {
        let output = self.status(&["--json"]);
        let document = serde_json::from_slice(&output.stdout).unwrap_or(Value::Null);
        (output.status.code().unwrap(), document)
    }

    pub fn until_status(&self, expected: i32) -> Value {
        let mut last = (0, Value::Null);
        let start = Instant::now();
        while last.0 != expected || last.1.is_null() {
            assert!(start.elapsed() < LIMIT, "no status {expected}: {last:?}");
            last = self.document();
        }
        assert_eq!(last.1["exit_status"], expected);
        last.1
    }
}
