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

use permeated::edge::store::{look, look_at_log, samples};

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

    fn interrupt(&self) {
        let pid = self.process.id().to_string();
        let told = Command::new("kill").args(["-INT", &pid]).status();
        assert!(told.unwrap().success());
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
    let arguments = ["--months", "0", "--speed", "600", "--seconds", "12"];
    let mut demo = Demo::start(folder.path(), &arguments);
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
    let mut demo = Demo::start(folder.path(), &["--months", "0"]);
    let port = demo.port();
    let watch = Watch::at(port, "permeated/basement/now");
    until("it is under way", || !watch.seen().is_empty());
    demo.interrupt();
    demo.ends_well(Duration::from_secs(3));
    assert!(is_empty(folder.path()), "a folder is left");
    assert!(
        !demo.said().contains("WARN") && !demo.said().contains("ERROR"),
        "{}",
        demo.said()
    );
}

/// A debug build plays a month in a few seconds, longer while much else runs.
const A_PAST: Duration = Duration::from_secs(90);

/// What the retained topic says first, as a number.
fn litres(port: u16, metric: &str) -> f64 {
    let watch = Watch::at(port, &format!("permeated/basement/value/{metric}"));
    until("the sum is told", || !watch.seen().is_empty());
    watch.seen()[0].payload.parse().unwrap()
}

/// 27 L a day are drawn (`simulation/household.rs`): 30 days of them, and no more than a day's in the
/// time that the demo runs here.
#[test]
fn it_opens_with_a_past_and_a_kept_folder_goes_on_from_it() {
    let folder = tempfile::tempdir().unwrap();
    let kept = folder.path().join("kept");
    let arguments = ["--months", "1", "--keep", kept.to_str().unwrap()];
    let mut demo = Demo::start(folder.path(), &arguments);
    until_within(A_PAST, "the past is played", || {
        demo.said().contains("Behind it lie 30 days")
    });
    assert!(
        demo.said().contains("playing the past: 100 %"),
        "a line now and then"
    );
    let port = demo.port();
    let before = litres(port, "permeate_l");
    assert!((700.0..950.0).contains(&before), "{before} L");
    demo.interrupt();
    demo.ends_well(Duration::from_secs(5));

    // The store holds it: a mid-month sample, the runs, the entries of the story's first day.
    let state = kept.join("state");
    let look = look(&state, "basement").unwrap().unwrap();
    assert!(look.runs.len() > 100, "{} runs", look.runs.len());
    let entries = look_at_log(&state, "basement").unwrap().unwrap();
    assert!(entries.len() >= 6, "{entries:?}");
    let all = samples(&state, "basement", 0, i64::MAX).unwrap();
    let days = (all[all.len() - 1].start - all[0].start) / 86_400_000;
    assert!((29..=31).contains(&days), "{days} days");

    let mut again = Demo::start(folder.path(), &["--keep", kept.to_str().unwrap()]);
    let port = again.port();
    assert!(
        again
            .said()
            .contains("It goes on from what the folder keeps")
    );
    assert!(!again.said().contains("playing the past"));
    let after = litres(port, "permeate_l");
    assert!(
        (before..before + 30.0).contains(&after),
        "{before} L, then {after} L"
    );
    again.interrupt();
    again.ends_well(Duration::from_secs(5));
    let events = again.said();
    assert!(
        !events.contains("WARN") && !events.contains("ERROR"),
        "{events}"
    );
}

#[test]
fn ctrl_c_breaks_the_past_off_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut demo = Demo::start(folder.path(), &[]);
    until_within(A_PAST, "a quarter is played", || {
        demo.said().contains("playing the past")
    });
    demo.interrupt();
    demo.ends_well(Duration::from_secs(10));
    assert!(is_empty(folder.path()), "a folder is left");
}

#[test]
fn a_folder_with_another_state_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let kept = folder.path().join("kept");
    fs::create_dir_all(kept.join("state")).unwrap();
    let out = (program().args(["demo", "--keep"]).arg(&kept))
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(1));
    let said = String::from_utf8(out.stderr).unwrap();
    assert!(
        said.contains("no demo has finished") && said.contains("--keep"),
        "{said}"
    );
}
