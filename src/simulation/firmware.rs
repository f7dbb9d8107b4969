//! What inexpensive sensor boards publish, in two common dialects. The topic trees are invented;
//! the forms are those of widespread general-purpose firmware.

use jiff::{ToSpan, civil::DateTime};
use serde_json::{Map, Value, json};

use super::plant::Phase;
use super::sensors::{Counted, Reading, Sensor};
use super::truth::Truth;

/// A message as a board sends it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// Topic.
    pub topic: String,
    /// Text.
    pub payload: String,
    /// Retained.
    pub retain: bool,
}

/// How a board speaks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Dialect {
    /// `<root>/sensor/<name>/state` with a plain number, `<root>/binary_sensor/<name>/state` with
    /// `ON` or `OFF`, all retained; `<root>/status` with `online` or `offline`. Contacts are told
    /// at once.
    Plain {
        /// First levels of its topics.
        root: String,
    },
    /// `tele/<topic>/SENSOR` with one JSON document, not retained; `tele/<topic>/LWT` with
    /// `Online` or `Offline`, retained. Contacts wait for the next document.
    Document {
        /// The board's own level.
        topic: String,
    },
}

impl Dialect {
    /// Topic and words of the board's availability: up, down.
    #[must_use]
    pub fn availability(&self) -> (String, &'static str, &'static str) {
        match self {
            Self::Plain { root } => (format!("{root}/status"), "online", "offline"),
            Self::Document { topic } => (format!("tele/{topic}/LWT"), "Online", "Offline"),
        }
    }

    /// Topic of a sensor, and the JSON pointer in its payload if that is a document.
    #[must_use]
    pub fn place(&self, name: &str, contact: bool) -> (String, Option<String>) {
        match self {
            Self::Plain { root } => {
                let kind = if contact { "binary_sensor" } else { "sensor" };
                (format!("{root}/{kind}/{name}/state"), None)
            }
            Self::Document { topic } => (format!("tele/{topic}/SENSOR"), Some(format!("/{name}"))),
        }
    }
}

/// A sensor board.
#[derive(Clone, Debug)]
pub struct Board {
    dialect: Dialect,
    /// Between two reports while water moves and while none does, s.
    interval: f64,
    interval_standing: f64,
    /// Whether water moved when it last looked.
    moving: bool,
    /// The board's own clock at the start: local time, without a zone.
    clock: DateTime,
    sensors: Vec<(&'static str, Sensor)>,
    next: f64,
    told: Vec<Option<String>>,
    powered: bool,
    announced: bool,
}

impl Board {
    /// A board that publishes every `interval_seconds` (> 0). A sensor's name is a level of a
    /// topic ([`Dialect::Plain`]) or a path in the document, as `COUNTER/C1`
    /// ([`Dialect::Document`]).
    #[must_use]
    pub fn new(
        dialect: Dialect,
        interval_seconds: f64,
        clock: DateTime,
        sensors: Vec<(&'static str, Sensor)>,
    ) -> Self {
        Self {
            told: vec![None; sensors.len()],
            dialect,
            interval: interval_seconds,
            interval_standing: interval_seconds,
            moving: false,
            clock,
            sensors,
            next: 0.0,
            powered: true,
            announced: false,
        }
    }

    /// Publishes this often from now on, s (> 0): a longer interval keeps a long history short.
    pub fn publish_every(&mut self, seconds: f64) {
        self.next = self.next - self.interval + seconds;
        self.keep_pace(seconds, seconds);
    }

    /// Publishes every `running` seconds while water moves and every `standing` seconds while none
    /// does (both > 0) from now on. Where these differ it publishes at once when one becomes the
    /// other, as firmware does that reports changes.
    pub fn keep_pace(&mut self, running: f64, standing: f64) {
        (self.interval, self.interval_standing) = (running, standing);
    }

    /// What its turbines have counted, in the order of its sensors.
    #[must_use]
    pub fn counts(&self) -> Vec<Counted> {
        let sensors = self.sensors.iter();
        sensors.filter_map(|(_, sensor)| sensor.counted()).collect()
    }

    /// Turbines go on from what such a board had counted.
    pub fn go_on_counting(&mut self, counts: &[Counted]) {
        let turbines = (self.sensors.iter_mut()).filter(|(_, sensor)| sensor.counted().is_some());
        for ((_, sensor), counted) in turbines.zip(counts) {
            sensor.go_on_counting(*counted);
        }
    }

    /// Power cut and return: counts start at 0, availability is told again.
    pub fn reboot(&mut self) {
        for (_, sensor) in &mut self.sensors {
            sensor.power_on();
        }
        self.told.fill(None);
        self.announced = false;
    }

    /// Switches the board off (it falls silent; its availability turns) or on again.
    pub fn set_powered(&mut self, powered: bool) {
        if powered && !self.powered {
            self.reboot();
        }
        if self.powered != powered {
            self.announced = false;
        }
        self.powered = powered;
    }

    /// How the board speaks.
    #[must_use]
    pub fn dialect(&self) -> &Dialect {
        &self.dialect
    }

    /// What the board says of itself.
    #[must_use]
    pub fn availability(&self, up: bool) -> Published {
        let (topic, online, offline) = self.dialect.availability();
        Published {
            topic,
            payload: if up { online } else { offline }.to_owned(),
            retain: true,
        }
    }

    /// It is switched on so many seconds after the start.
    pub(super) fn begin_at(&mut self, seconds: f64) {
        self.next = seconds;
    }

    /// When the board next publishes, s since the start.
    pub(super) fn due(&self) -> f64 {
        self.next
    }

    /// Lets the board see the unit after a step; appends what it publishes.
    pub fn observe(&mut self, truth: &Truth, out: &mut Vec<Published>) {
        for (_, sensor) in &mut self.sensors {
            sensor.observe(truth);
        }
        if !self.announced {
            self.announced = true;
            out.push(self.availability(self.powered));
        }
        let due = self.is_due(truth);
        if !self.powered {
            return;
        }
        match &self.dialect {
            Dialect::Plain { .. } => self.tell_plainly(truth, due, out),
            Dialect::Document { .. } if due => out.push(self.document(truth)),
            Dialect::Document { .. } => {}
        }
    }

    /// Whether it publishes now; if so, the next time is set.
    fn is_due(&mut self, truth: &Truth) -> bool {
        let moving = truth.phase != Phase::Standing;
        let keeps_two_paces = self.interval != self.interval_standing;
        let turned = keeps_two_paces && moving != self.moving;
        self.moving = moving;
        let interval = if moving {
            self.interval
        } else {
            self.interval_standing
        };
        if turned {
            self.next = truth.seconds + interval;
            return true;
        }
        let due = truth.seconds >= self.next - 1e-6;
        if due {
            let missed = ((truth.seconds - self.next) / interval).floor().max(0.0);
            self.next += interval * (missed + 1.0);
        }
        due
    }

    fn tell_plainly(&mut self, truth: &Truth, due: bool, out: &mut Vec<Published>) {
        for ((name, sensor), told) in self.sensors.iter_mut().zip(&mut self.told) {
            let contact = sensor.at().sensed() == crate::config::Sensed::Contact;
            if !due && !contact {
                continue;
            }
            let payload = match sensor.read(truth) {
                Reading::Count(count) => count.to_string(),
                Reading::Number(value, decimals) => format!("{value:.decimals$}"),
                Reading::Closed(true) => "ON".to_owned(),
                Reading::Closed(false) => "OFF".to_owned(),
            };
            if !due && told.as_ref() == Some(&payload) {
                continue;
            }
            *told = Some(payload.clone());
            out.push(Published {
                topic: self.dialect.place(name, contact).0,
                payload,
                retain: true,
            });
        }
    }

    fn document(&mut self, truth: &Truth) -> Published {
        let now = self
            .clock
            .saturating_add((truth.seconds.round() as i64).seconds());
        let mut document = Map::new();
        document.insert("Time".to_owned(), json!(now.to_string()));
        document.insert("TempUnit".to_owned(), json!("C"));
        for (path, sensor) in &mut self.sensors {
            let value = match sensor.read(truth) {
                Reading::Count(count) => json!(count),
                Reading::Number(value, 0) => json!(value as i64),
                Reading::Number(value, decimals) => {
                    let scale = 10_f64.powi(decimals as i32);
                    json!((value * scale).round() / scale)
                }
                Reading::Closed(closed) => json!(if closed { "ON" } else { "OFF" }),
            };
            insert(&mut document, path, value);
        }
        Published {
            topic: self.dialect.place("", false).0,
            payload: Value::Object(document).to_string(),
            retain: false,
        }
    }
}

/// Puts a value at a path such as `COUNTER/C1`.
fn insert(document: &mut Map<String, Value>, path: &str, value: Value) {
    match path.split_once('/') {
        None => {
            document.insert(path.to_owned(), value);
        }
        Some((level, rest)) => {
            let below = document
                .entry(level)
                .or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(below) = below {
                insert(below, rest, value);
            }
        }
    }
}
