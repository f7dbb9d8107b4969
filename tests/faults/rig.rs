//! What the tests watch: units that count, add and measure, what scrapers and readers of the page get, and
//! what is told.

use std::{
    fs,
    io::{Read as _, Write as _},
    net::TcpStream,
    sync::atomic::{AtomicBool, Ordering},
};

use serde_json::Value;

use crate::{
    site::{CLIENT, LIMIT, Site},
    support::{Watch, free_port},
};

/// Three units: one whose permeate is counted (1000 pulses to the litre, four parts of waste to one of
/// product), with a leak contact and a probe; one whose board adds (10 000 to the litre); one that tells a
/// rate.
pub const UNITS: &str = r#"
[unit.u.supply]
waste_ratio = 4.0
[[unit.u.stage]]
id = "sediment"
kind = "sediment"
life = "100000 L"
[[unit.u.stage]]
id = "membrane"
kind = "membrane"
[[unit.u.stage]]
id = "mixed-bed"
kind = "mixed_bed"
life = "100000 L"
[[unit.u.sensor]]
at = "permeate_flow"
topic = "rig/pulses"
kind = "pulses"
pulses_per_litre = 1000
maximum = "200 L/min"
[[unit.u.sensor]]
at = "leak"
topic = "rig/leak"
[[unit.u.sensor]]
at = "feed_tds"
topic = "rig/feed"
unit = "uS/cm"
smoothing = 1
[unit.i.supply]
waste_ratio = 4.0
[[unit.i.sensor]]
at = "permeate_flow"
topic = "rig/increments"
kind = "increments"
pulses_per_litre = 10000
maximum = "200 L/min"
[unit.r.supply]
waste_ratio = 4.0
[[unit.r.sensor]]
at = "permeate_flow"
topic = "rig/rate"
kind = "rate"
unit = "L/min"
max_age = "60 s"
maximum = "10 L/min"
"#;

pub const FEED: &str = "permeated/u/value/feed_conductivity_us_cm";

/// Everything published at once, state kept every second, metrics and the page at free ports.
pub struct Ports {
    pub metrics: u16,
    pub page: u16,
}

/// Writes such a configuration for the broker at `broker`.
pub fn configure(site: &Site, broker: u16, more: &str) -> Ports {
    let ports = Ports {
        metrics: free_port(),
        page: free_port(),
    };
    write(site, broker, &ports, more);
    ports
}

pub fn write(site: &Site, broker: u16, ports: &Ports, more: &str) {
    let Ports { metrics, page } = ports;
    let text = format!(
        "[broker]\nurl = \"mqtt://127.0.0.1:{broker}\"\nclient_id = \"{CLIENT}\"\nkeep_alive = \"5 s\"\n\
         [publish]\ninterval = \"0 s\"\n[store]\ndirectory = \"state\"\ncheckpoint = \"1 s\"\n\
         [metrics]\nlisten = \"127.0.0.1:{metrics}\"\n[page]\nlisten = \"127.0.0.1:{page}\"\n{more}"
    );
    fs::write(site.file(), text).unwrap();
}

/// What a plain HTTP/1.1 request is answered.
pub fn get(port: u16, path: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(LIMIT)).unwrap();
    let request =
        format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    String::from_utf8_lossy(&answer).into_owned()
}

/// The value of the sample that begins with `name`, labels included.
pub fn metric(port: u16, name: &str) -> Option<f64> {
    sum(port, name, &[])
}

/// The sum of all samples of `name` whose labels hold all of `labels`; `None` when there is none.
pub fn sum(port: u16, name: &str, labels: &[&str]) -> Option<f64> {
    let answer = get(port, "/metrics");
    let values = answer.lines().filter_map(|line| {
        let (sample, value) = line.rsplit_once(' ')?;
        let is_one = sample
            .strip_prefix(name)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('{'));
        (is_one && labels.iter().all(|label| sample.contains(label)))
            .then(|| value.parse::<f64>().unwrap())
    });
    values.reduce(|one, other| one + other)
}

/// Litres of permeate in the file.
pub fn litres(site: &Site, unit: &str) -> f64 {
    site.kept(unit)["totals"]["permeate"]
        .as_f64()
        .unwrap_or(-1.0)
}

/// A sum that was told never falls; gives the last.
pub fn never_fell(watch: &Watch, topic: &str) -> f64 {
    let told: Vec<f64> = (watch.on(topic).iter())
        .filter_map(|text| text.parse().ok())
        .collect();
    assert!(told.is_sorted(), "{topic}: {told:?}");
    *told
        .last()
        .unwrap_or_else(|| panic!("{topic} was not told"))
}

/// Whether two numbers of litres are the same, but for the last bits.
pub fn same(found: f64, truth: f64) -> bool {
    (found - truth).abs() < 1e-6
}

/// Events of a unit as they were told.
pub fn events(watch: &Watch, unit: &str, kind: &str) -> Vec<Value> {
    let texts = watch.on(&format!("permeated/{unit}/event"));
    let events = texts
        .iter()
        .map(|text| serde_json::from_str::<Value>(text).unwrap());
    events.filter(|event| event["event"] == kind).collect()
}

/// Ends what goes on beside a test with the test itself, however that ends.
pub struct Over<'a>(pub &'a AtomicBool);

impl Drop for Over<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::SeqCst);
    }
}
