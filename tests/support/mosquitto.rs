//! A private Mosquitto on a free port of the loopback interface, which a test may stop, kill,
//! freeze and start again; and its own client programs to publish and to watch, so that nothing is
//! proved by the client library under test alone.

use std::{
    collections::BTreeMap,
    fs,
    io::{BufRead, BufReader, Write},
    net::{TcpListener, TcpStream},
    path::{Path, PathBuf},
    process::{Child, Command, Output, Stdio},
    sync::{Arc, Mutex},
    thread,
    time::{Duration, Instant},
};

use tempfile::TempDir;

const ABSENT: &str = "Mosquitto is needed for this test (Debian: apt-get install mosquitto \
     mosquitto-clients); run the tests with tests/run, which checks for what is needed";

/// The broker. Killed when dropped.
pub struct Mosquitto {
    folder: TempDir,
    port: u16,
    process: Option<Child>,
}

/// A client program at work; killed when dropped.
pub struct Background(Child);

/// A message as an independent client saw it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// Full topic.
    pub topic: String,
    /// Payload.
    pub payload: String,
    /// Sent because it was retained.
    pub retained: bool,
}

/// An independent subscriber. Stops when dropped.
pub struct Watch {
    _client: Background,
    seen: Arc<Mutex<Vec<Seen>>>,
}

/// A port nobody listens on just now.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

fn run(command: &mut Command) -> Output {
    command
        .output()
        .unwrap_or_else(|error| panic!("{command:?}: {error}. {ABSENT}"))
}

impl Mosquitto {
    /// Settings that keep sessions and retained messages over any end of the broker.
    pub const PERSISTENT: &str =
        "persistence true\nautosave_on_changes true\nautosave_interval 1\n";

    /// Starts a broker that lets everybody in, with `settings` added to its configuration.
    pub fn start(settings: &str) -> Self {
        let open = format!("listener {{port}} 127.0.0.1\nallow_anonymous true\n{settings}");
        Self::start_with(tempfile::tempdir().unwrap(), &open)
    }

    /// Starts a broker with a configuration of its own, in a folder that may hold what it needs;
    /// `{port}` and `{folder}` in it are replaced.
    pub fn start_with(folder: TempDir, configuration: &str) -> Self {
        let mut broker = Self {
            folder,
            port: 0,
            process: None,
        };
        // Somebody may take the port between our look and the broker's.
        for _ in 0..5 {
            broker.port = free_port();
            broker.configure(configuration);
            if broker.try_start() {
                return broker;
            }
        }
        panic!("Mosquitto does not start: {}", broker.log());
    }

    /// Puts another configuration in place, for the next start.
    pub fn configure(&self, configuration: &str) {
        let folder = self.folder.path().display().to_string();
        let text = configuration
            .replace("{port}", &self.port.to_string())
            .replace("{folder}", &folder);
        let text = format!(
            "user root\nlog_type all\nset_tcp_nodelay true\npersistence_location {folder}/\n{text}"
        );
        fs::write(self.folder.path().join("mosquitto.conf"), text).unwrap();
    }

    fn try_start(&mut self) -> bool {
        let log = fs::File::options()
            .create(true)
            .append(true)
            .open(self.folder.path().join("log"))
            .unwrap();
        let mut process = Command::new(program("mosquitto"))
            .arg("-c")
            .arg(self.folder.path().join("mosquitto.conf"))
            .stdin(Stdio::null())
            .stdout(log.try_clone().unwrap())
            .stderr(log)
            .spawn()
            .unwrap_or_else(|error| panic!("{error}. {ABSENT}"));
        let start = Instant::now();
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            if process.try_wait().unwrap().is_some() || start.elapsed() > Duration::from_secs(5) {
                let _ = process.kill();
                let _ = process.wait();
                return false;
            }
            thread::sleep(Duration::from_millis(5));
        }
        self.process = Some(process);
        true
    }

    /// The port it listens on.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Its folder: configuration, log and whatever the test put there.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// What it logged.
    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// How often a client of that id was let in.
    pub fn connections_of(&self, client_id: &str) -> usize {
        let words = format!(" as {client_id} ");
        (self.log().lines())
            .filter(|line| line.contains("New client connected") && line.contains(&words))
            .count()
    }

    /// Ends it at once, without a chance to save or to say anything.
    pub fn kill(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().unwrap();
            process.wait().unwrap();
        }
    }

    /// Starts it again on the same port.
    pub fn restart(&mut self) {
        self.kill();
        assert!(self.try_start(), "no restart: {}", self.log());
    }

    /// Stops it in the middle of whatever it does; connections stay open.
    pub fn freeze(&self) {
        self.signal("-STOP");
    }

    /// Lets it go on.
    pub fn thaw(&self) {
        self.signal("-CONT");
    }

    fn signal(&self, signal: &str) {
        let process = self.process.as_ref().unwrap();
        let output = run(Command::new("kill").args([signal, &process.id().to_string()]));
        assert!(output.status.success(), "{output:?}");
    }

    fn client(&self, name: &str) -> Command {
        let mut command = Command::new(program(name));
        command.args(["-h", "127.0.0.1", "-p", &self.port.to_string()]);
        command
    }

    /// Publishes with QoS 1; `flags` as `mosquitto_pub` has them (`-r` retains).
    pub fn publish(&self, topic: &str, payload: &str, flags: &[&str]) {
        let mut command = self.client("mosquitto_pub");
        command.args(["-q", "1", "-t", topic, "-m", payload]);
        let output = run(command.args(flags));
        assert!(output.status.success(), "{output:?}");
    }

    /// Publishes a large retained message.
    pub fn publish_large(&self, topic: &str, bytes: usize) {
        let path = self.folder.path().join("large");
        fs::write(&path, vec![b'x'; bytes]).unwrap();
        let mut command = self.client("mosquitto_pub");
        let output = run(command.args(["-q", "1", "-r", "-t", topic, "-f"]).arg(path));
        assert!(output.status.success(), "{output:?}");
    }

    /// Publishes the numbers 1 to `count`, each as a message, as fast as it goes, in the background.
    pub fn publish_numbers(&self, topic: &str, count: usize, quality: &str) -> Background {
        let mut command = self.client("mosquitto_pub");
        command.args(["-q", quality, "-t", topic, "-l"]);
        let mut client = (command.stdin(Stdio::piped()).spawn())
            .unwrap_or_else(|error| panic!("{error}. {ABSENT}"));
        let mut input = client.stdin.take().unwrap();
        thread::spawn(move || {
            for number in 1..=count {
                let _ = writeln!(input, "{number}");
            }
        });
        Background(client)
    }

    /// What is retained on a topic, if anything.
    pub fn retained(&self, topic: &str) -> Option<String> {
        let mut command = self.client("mosquitto_sub");
        let output = run(command.args(["-t", topic, "-C", "1", "-W", "1", "--retained-only"]));
        let text = String::from_utf8(output.stdout).unwrap();
        text.lines().next().map(str::to_owned)
    }

    /// Watches a filter from now on.
    pub fn watch(&self, filter: &str) -> Watch {
        Watch::at(self.port, filter)
    }

    /// Everything retained under a filter, by topic.
    pub fn all_retained(&self, filter: &str) -> BTreeMap<String, String> {
        let mut command = self.client("mosquitto_sub");
        let output = run(command.args(["-t", filter, "-W", "1", "--retained-only", "-F", "%t|%p"]));
        let text = String::from_utf8(output.stdout).unwrap();
        (text.lines().filter_map(|line| line.split_once('|')))
            .map(|(topic, payload)| (topic.to_owned(), payload.to_owned()))
            .collect()
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.kill();
        if thread::panicking() {
            println!("--- the broker's log\n{}", self.log());
        }
    }
}

impl Background {
    /// Waits until it has done its work.
    pub fn finish(mut self) {
        assert!(self.0.wait().unwrap().success());
    }
}

impl Drop for Background {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Watch {
    /// Watches a filter at the broker on that port, from now on.
    pub fn at(port: u16, filter: &str) -> Self {
        // Line by line even into a pipe; the debug lines tell when the subscription stands.
        let mut command = Command::new("stdbuf");
        (command.arg("-oL").arg(program("mosquitto_sub"))).args([
            "-h",
            "127.0.0.1",
            "-p",
            &port.to_string(),
            "-q",
            "1",
            "-d",
            "-t",
            filter,
            "-F",
            "|%r|%t|%p",
        ]);
        let mut client = (command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn())
            .unwrap_or_else(|error| panic!("{error}. {ABSENT}"));
        let mut lines = BufReader::new(client.stdout.take().unwrap()).lines();
        loop {
            let line = lines.next().expect("mosquitto_sub ended").unwrap();
            if line.starts_with("Subscribed") {
                break;
            }
        }
        let seen = Arc::new(Mutex::new(Vec::new()));
        let sink = Arc::clone(&seen);
        thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                if let [_, retained, topic, payload] =
                    line.splitn(4, '|').collect::<Vec<_>>().as_slice()
                {
                    sink.lock().unwrap().push(Seen {
                        topic: (*topic).to_owned(),
                        payload: (*payload).to_owned(),
                        retained: *retained == "1",
                    });
                }
            }
        });
        Watch {
            _client: Background(client),
            seen,
        }
    }

    /// Everything seen so far, in order.
    pub fn seen(&self) -> Vec<Seen> {
        self.seen.lock().unwrap().clone()
    }

    /// The payloads seen on a topic so far, in order.
    pub fn on(&self, topic: &str) -> Vec<String> {
        (self.seen().into_iter())
            .filter(|seen| seen.topic == topic)
            .map(|seen| seen.payload)
            .collect()
    }

    /// Whether that was seen.
    pub fn saw(&self, topic: &str, payload: &str) -> bool {
        (self.seen.lock().unwrap().iter())
            .any(|seen| seen.topic == topic && seen.payload == payload)
    }
}

/// The broker is often outside the path of ordinary users.
fn program(name: &str) -> PathBuf {
    let path = Path::new("/usr/sbin").join(name);
    if path.exists() {
        path
    } else {
        PathBuf::from(name)
    }
}
