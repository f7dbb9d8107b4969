//! A small MQTT 3.1.1 load tool: floods a broker, counts what comes back, and charges CPU time and
//! memory to the processes it is given. It knows just enough of the protocol and asks no library, so
//! that it costs little beside what it measures. Prints one line of JSON; asserts nothing.
//!
//! `load MODE key=value…`
//!
//! - `closed`: at most `window` inputs are outstanding; one is done once `fanout` messages came on `out`
//! - `marked`: the same for a consumer that says little: after every `every` inputs comes a `mark`, a
//!   message it answers on `out` after all that came before
//! - `open`: `n` inputs at `rate` a second, whatever comes back
//! - `ping`: one input outstanding at a time, for the time until its first answer on `out`
//! - `idle`: only watches the processes for `seconds`
//!
//! `in=topic,middle,width` is given once for each input; its values go up and down by `width` in all. With
//! `units=N`, `{unit}` in a topic stands for 1 to N in turn. `watch=name,pid` is given once for each process.
//! Only messages on `out` that contain `containing` count, if that is given.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    collections::BTreeMap,
    fs,
    io::Write,
    net::TcpStream,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use serde_json::{Map, Value, json};

mod packets;

use packets::{PUBACK, PUBLISH, connect, hear, packet, put_text, subscribe};

/// Inputs go out in writes of so many at most.
const BURST: u64 = 64;
/// With QoS 1 so many wait for the broker's receipt at most.
const UNCONFIRMED: u64 = 1000;
/// Steps of an input's way up and down.
const STEPS: u64 = 200;
/// How long a closed loop may stand still before it is given up.
const STUCK: Duration = Duration::from_secs(20);

fn main() {
    let mut arguments = std::env::args().skip(1);
    let mode = arguments
        .next()
        .expect("a mode: closed, marked, open, ping or idle");
    let asked = Asked::read(arguments);
    let before: Vec<u64> = asked.watched.iter().map(|(_, pid)| cpu(pid)).collect();
    let done = if mode == "idle" {
        thread::sleep(Duration::from_secs_f64(asked.number("seconds", 10.0)));
        Done::default()
    } else {
        Load::begin(&asked, &mode).run()
    };
    let seconds = if mode == "idle" {
        asked.number("seconds", 10.0)
    } else {
        done.seconds
    };
    let mut report = done.report();
    for ((name, pid), before) in asked.watched.iter().zip(before) {
        #[allow(clippy::cast_precision_loss)] // Nanoseconds of some minutes.
        let spent = cpu(pid).saturating_sub(before) as f64 / 1e3;
        #[allow(clippy::cast_precision_loss)] // Some millions at most.
        let inputs = done.sent.max(1) as f64;
        report.insert(format!("{name}_us"), json!(spent / inputs));
        report.insert(format!("{name}_percent"), json!(spent / seconds / 1e4));
        report.insert(format!("{name}_kib"), json!(memory(pid, "VmRSS:")));
        report.insert(format!("{name}_peak_kib"), json!(memory(pid, "VmHWM:")));
    }
    println!("{}", Value::Object(report));
}

/// What was asked for.
#[derive(Default)]
struct Asked {
    inputs: Vec<Input>,
    watched: Vec<(String, String)>,
    rest: BTreeMap<String, String>,
}

struct Input {
    topic: String,
    middle: f64,
    width: f64,
}

impl Asked {
    fn read(arguments: impl Iterator<Item = String>) -> Self {
        let mut asked = Self::default();
        for argument in arguments {
            let (key, value) = argument.split_once('=').expect("key=value");
            match key {
                "in" => {
                    let parts: Vec<_> = value.split(',').collect();
                    asked.inputs.push(Input {
                        topic: parts[0].to_owned(),
                        middle: parts[1].parse().unwrap(),
                        width: parts[2].parse().unwrap(),
                    });
                }
                "watch" => {
                    let (name, pid) = value.split_once(',').unwrap();
                    asked.watched.push((name.to_owned(), pid.to_owned()));
                }
                _ => {
                    asked.rest.insert(key.to_owned(), value.to_owned());
                }
            }
        }
        asked
    }

    fn text(&self, key: &str, usual: &str) -> String {
        self.rest.get(key).map_or(usual, String::as_str).to_owned()
    }

    fn number(&self, key: &str, usual: f64) -> f64 {
        self.rest
            .get(key)
            .map_or(usual, |text| text.parse().unwrap())
    }

    fn count(&self, key: &str, usual: u64) -> u64 {
        self.rest
            .get(key)
            .map_or(usual, |text| text.parse().unwrap())
    }
}

/// What came of it.
#[derive(Default)]
struct Done {
    sent: u64,
    answers: u64,
    seconds: f64,
    /// Round trips, µs.
    trips: Vec<f64>,
}

impl Done {
    fn report(&self) -> Map<String, Value> {
        let mut report = Map::new();
        report.insert("sent".to_owned(), json!(self.sent));
        report.insert("answers".to_owned(), json!(self.answers));
        report.insert("seconds".to_owned(), json!(self.seconds));
        if self.seconds > 0.0 {
            #[allow(clippy::cast_precision_loss)] // Some millions at most.
            let rate = self.sent as f64 / self.seconds;
            report.insert("a_second".to_owned(), json!(rate));
        }
        let mut trips = self.trips.clone();
        trips.sort_by(f64::total_cmp);
        for (name, per_cent) in [("trip_p50", 50), ("trip_p99", 99)] {
            if let Some(last) = trips.len().checked_sub(1) {
                report.insert(name.to_owned(), json!(trips[last * per_cent / 100]));
            }
        }
        report
    }
}

/// A load on its way.
struct Load<'a> {
    asked: &'a Asked,
    mode: &'a str,
    qos: u8,
    socket: TcpStream,
    /// Messages that came on `out`, and receipts of ours.
    answers: Arc<AtomicU64>,
    receipts: Arc<AtomicU64>,
    units: u64,
    sent: u64,
    packets: u64,
}

impl<'a> Load<'a> {
    fn begin(asked: &'a Asked, mode: &'a str) -> Self {
        let broker = asked.text("broker", "127.0.0.1:1883");
        let qos = u8::try_from(asked.count("qos", 0)).unwrap();
        let sender = thread::current();
        let answers = Arc::new(AtomicU64::new(0));
        let mut hearing = connect(&broker, "hears");
        subscribe(&mut hearing, &asked.text("out", "bench/none"), qos);
        let (count, wake) = (Arc::clone(&answers), sender.clone());
        let words = asked.text("containing", "").into_bytes();
        hear(hearing, move |kind, body, reply| {
            if kind & 0xf0 != PUBLISH {
                return;
            }
            if kind & 0x06 != 0 {
                let topic = usize::from(u16::from_be_bytes([body[0], body[1]]));
                reply.extend([PUBACK, 2, body[2 + topic], body[3 + topic]]);
            }
            if words.is_empty() || body.windows(words.len()).any(|part| part == words) {
                count.fetch_add(1, Ordering::Release);
                wake.unpark();
            }
        });
        let receipts = Arc::new(AtomicU64::new(0));
        let socket = connect(&broker, "sends");
        let (count, wake) = (Arc::clone(&receipts), sender);
        hear(socket.try_clone().unwrap(), move |kind, _, _| {
            if kind == PUBACK {
                count.fetch_add(1, Ordering::Release);
                wake.unpark();
            }
        });
        // The subscription of whoever is measured stands; ours should be at rest, too.
        thread::sleep(Duration::from_millis(50));
        Self {
            asked,
            mode,
            qos,
            socket,
            answers,
            receipts,
            units: asked.count("units", 1),
            sent: 0,
            packets: 0,
        }
    }

    fn run(mut self) -> Done {
        let began = Instant::now();
        let trips = match self.mode {
            "open" => self.at_a_rate(),
            "ping" => self.one_by_one(),
            "marked" => self.within_a_window(self.asked.count("every", 100)),
            "closed" => self.within_a_window(0),
            mode => panic!("{mode}: closed, marked, open, ping or idle"),
        };
        Done {
            sent: self.sent,
            answers: self.answers.load(Ordering::Acquire),
            seconds: began.elapsed().as_secs_f64(),
            trips,
        }
    }

    fn at_a_rate(&mut self) -> Vec<f64> {
        let (inputs, rate) = (
            self.asked.count("n", 1000),
            self.asked.number("rate", 100.0),
        );
        let began = Instant::now();
        while self.sent < inputs {
            #[allow(clippy::cast_precision_loss)] // Some millions at most.
            let due = Duration::from_secs_f64(self.sent as f64 / rate);
            thread::sleep(due.saturating_sub(began.elapsed()));
            let mut buffer = Vec::new();
            self.input(&mut buffer);
            self.socket.write_all(&buffer).unwrap();
        }
        thread::sleep(Duration::from_secs_f64(self.asked.number("settle", 0.3)));
        Vec::new()
    }

    fn one_by_one(&mut self) -> Vec<f64> {
        let (inputs, fanout) = (self.asked.count("n", 1000), self.asked.count("fanout", 1));
        let pause = Duration::from_secs_f64(self.asked.number("pause", 0.0));
        let mut trips = Vec::new();
        for _ in 0..inputs {
            // What an input makes besides may still come: only what comes from now on answers the next.
            let before = self.answers.load(Ordering::Acquire);
            let mut buffer = Vec::new();
            self.input(&mut buffer);
            let sent = Instant::now();
            self.socket.write_all(&buffer).unwrap();
            if !self.wait(|load| load.answers.load(Ordering::Acquire) >= before + fanout) {
                break;
            }
            trips.push(sent.elapsed().as_secs_f64() * 1e6);
            thread::sleep(pause);
        }
        trips
    }

    /// `every` is 0 where each input is answered by itself.
    fn within_a_window(&mut self, every: u64) -> Vec<f64> {
        let (inputs, window) = (
            self.asked.count("n", 10_000),
            self.asked.count("window", 500),
        );
        let fanout = self.asked.count("fanout", 1);
        let mark = self.asked.text("mark", "");
        let finished = move |load: &Self| {
            let answers = load.answers.load(Ordering::Acquire);
            if every > 0 {
                answers * every
            } else {
                answers / fanout
            }
        };
        while self.sent < inputs {
            let may_go_on = |load: &Self| {
                let unconfirmed = load.packets - load.receipts.load(Ordering::Acquire);
                load.sent - finished(load).min(load.sent) < window && unconfirmed < UNCONFIRMED
            };
            if !self.wait(may_go_on) {
                return Vec::new();
            }
            let room = window - (self.sent - finished(self).min(self.sent));
            let mut buffer = Vec::new();
            for _ in 0..room.min(inputs - self.sent).min(BURST) {
                self.input(&mut buffer);
                if every > 0 && self.sent.is_multiple_of(every) {
                    self.publish(&mut buffer, &mark, "bench");
                }
            }
            self.socket.write_all(&buffer).unwrap();
        }
        self.wait(|load| finished(load) >= load.sent / every.max(1) * every.max(1));
        Vec::new()
    }

    /// Waits until that is so; whether it came to be.
    fn wait(&self, is_so: impl Fn(&Self) -> bool) -> bool {
        let began = Instant::now();
        while !is_so(self) {
            if began.elapsed() > STUCK {
                return false;
            }
            thread::park_timeout(Duration::from_millis(20));
        }
        true
    }

    fn input(&mut self, buffer: &mut Vec<u8>) {
        let kinds = self.asked.inputs.len() as u64;
        let input = &self.asked.inputs[usize::try_from(self.sent % kinds).unwrap()];
        let round = self.sent / kinds;
        let step = round / self.units % STEPS;
        let topic = input
            .topic
            .replace("{unit}", &(round % self.units + 1).to_string());
        #[allow(clippy::cast_precision_loss)] // Below `STEPS`.
        let share = step.min(STEPS - step) as f64 / (STEPS / 2) as f64 - 0.5;
        let payload = format!("{:.2}", input.middle + input.width * share);
        self.sent += 1;
        self.publish(buffer, &topic, &payload);
    }

    fn publish(&mut self, buffer: &mut Vec<u8>, topic: &str, payload: &str) {
        let mut body = Vec::with_capacity(topic.len() + payload.len() + 4);
        put_text(&mut body, topic);
        if self.qos > 0 {
            self.packets += 1;
            let number = u16::try_from(self.packets % 65_535 + 1).unwrap();
            body.extend(number.to_be_bytes());
        }
        body.extend(payload.as_bytes());
        buffer.extend(packet(PUBLISH | self.qos << 1, &body));
    }
}

/// CPU time of a process, all its threads together, ns.
fn cpu(pid: &str) -> u64 {
    let Ok(threads) = fs::read_dir(format!("/proc/{pid}/task")) else {
        return 0;
    };
    let spent = threads.flatten().filter_map(|thread| {
        let text = fs::read_to_string(thread.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse::<u64>().ok()
    });
    spent.sum()
}

/// A line of a process's status, KiB.
fn memory(pid: &str, line: &str) -> u64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let found = status.lines().find_map(|found| found.strip_prefix(line));
    let number = found.and_then(|rest| rest.split_whitespace().next()?.parse().ok());
    number.unwrap_or(0)
}
