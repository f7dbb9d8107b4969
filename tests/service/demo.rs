//! `permeated demo` as a newcomer starts it, watched with an ordinary MQTT client.

use std::{
    fs,
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
    sync::{Arc, Mutex},
    thread,
    time::{Duration, Instant},
};

use crate::{
    site::{program, until, until_within},
    support::Watch,
};

struct Demo {
    process: Child,
    said: Arc<Mutex<String>>,
}

impl Demo {
    fn start(folder: &Path, arguments: &[&str]) -> Self {
        let mut process = (program().arg("demo").args(arguments))
            .env("TMPDIR", folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let said = Arc::new(Mutex::new(String::new()));
        let streams: [Box<dyn std::io::Read + Send>; 2] = [
            Box::new(process.stdout.take().unwrap()),
            Box::new(process.stderr.take().unwrap()),
        ];
        for stream in streams {
            let sink = Arc::clone(&said);
            thread::spawn(move || {
                for line in BufReader::new(stream).lines().map_while(Result::ok) {
                    let mut said = sink.lock().unwrap();
                    said.push_str(&line);
                    said.push('\n');
                }
            });
        }
        Self { process, said }
    }

    fn said(&self) -> String {
        self.said.lock().unwrap().clone()
    }

    /// The port it tells its user to watch.
    fn port(&self) -> u16 {
        let mut port = None;
        until("it tells its address", || {
            port = self.said().lines().find_map(|line| {
                let (_, rest) = line.split_once("mosquitto_sub -h 127.0.0.1 -p ")?;
                rest.split(' ').next()?.parse().ok()
            });
            port.is_some()
        });
        port.unwrap()
    }

    fn ends_well(&mut self, limit: Duration) {
        until_within(limit, "it ends", || {
            self.process.try_wait().unwrap().is_some()
        });
        let status = self.process.wait().unwrap();
        assert_eq!(status.code(), Some(0), "{}", self.said());
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // Either may be over already.
        let _ = self.process.kill();
        let _ = self.process.wait();
        if thread::panicking() {
            println!("--- the demo said\n{}", self.said());
        }
    }
}

fn is_empty(folder: &Path) -> bool {
    fs::read_dir(folder).unwrap().next().is_none()
}

#[test]
fn it_shows_a_whole_run_ends_by_itself_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let start = Instant::now();
    let mut demo = Demo::start(folder.path(), &["--speed", "600", "--seconds", "12"]);
    let port = demo.port();
    let raw = Watch::at(port, "#");
    until("raw readings come", || {
        (raw.seen().iter()).any(|seen| seen.topic.starts_with("demo/"))
    });
    // A rejection like that of any sound home element: common practice, no source.
    let rejection = "permeated/basement/value/rejection_pct";
    until("a rejection is computed", || {
        (raw.on(rejection).iter())
            .filter_map(|text| text.parse::<f64>().ok())
            .any(|value| (85.0..99.9).contains(&value))
    });
    until("a run has ended", || {
        (raw.on("permeated/basement/run").iter())
            .any(|text| text.contains("\"permeate_l\":") && text.contains("\"rejection_pct\":"))
    });
    assert!(demo.said().contains("Everything you see is invented"));
    demo.ends_well(Duration::from_secs(20));
    let took = start.elapsed();
    assert!((12..16).contains(&took.as_secs()), "{took:?}");
    assert!(is_empty(folder.path()), "a folder is left");
}

#[test]
fn ctrl_c_ends_it_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut demo = Demo::start(folder.path(), &[]);
    let port = demo.port();
    let watch = Watch::at(port, "permeated/basement/now");
    until("it is under way", || !watch.seen().is_empty());
    let pid = demo.process.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-INT", &pid])
            .status()
            .unwrap()
            .success()
    );
    demo.ends_well(Duration::from_secs(3));
    assert!(is_empty(folder.path()), "a folder is left");
    assert!(
        !demo.said().contains("WARN") && !demo.said().contains("ERROR"),
        "{}",
        demo.said()
    );
}
