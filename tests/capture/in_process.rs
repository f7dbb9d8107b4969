//! The law on a virtual clock: an installation that is driven as the service drives it, by two clocks that
//! jitter and jump against each other, woken late and restarted, and a replay of what it wrote down.

use std::{collections::BTreeMap, path::Path};

use permeated::{
    cli::replay::replay,
    config::{self, Settings},
    core::{Arrival, Packet, UnitState},
    edge::recording::Recording,
    installation::{Incoming, Installation, Record},
    simulation::{DemoUnit, demo_configuration},
    time::{Mono, Now, Wall},
    wire::log::Line,
};

/// What was said, without when: topic, payload, whether retained.
type Said = Vec<(String, String, bool)>;

fn settings() -> Settings {
    let text = demo_configuration("mqtt://localhost", Path::new("/nowhere"));
    config::from_text("demo.toml", &text, &BTreeMap::new(), None).unwrap()
}

/// Small numbers that look random (Knuth's linear congruence, MMIX).
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = (self.0)
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}

/// The service's loop, without its edges.
struct Life {
    installation: Installation,
    log: Recording<Vec<u8>>,
    said: Said,
}

impl Life {
    fn begin(
        settings: &Settings,
        kept: BTreeMap<String, UnitState>,
        now: Now,
        before: Vec<u8>,
    ) -> Self {
        let mut log = Recording::new(before);
        log.service_began(now, serde_json::to_value(&kept).unwrap())
            .unwrap();
        let mut kept = kept;
        let kept = |id: &str| kept.remove(id).unwrap_or_default();
        Self {
            installation: Installation::new(settings, kept, now),
            log,
            said: Vec::new(),
        }
    }

    fn look(&mut self, now: Now) {
        if self
            .installation
            .deadline()
            .is_some_and(|at| at <= now.mono)
        {
            self.log.looked(now).unwrap();
        }
        self.installation.advance(now);
        self.drain();
    }

    fn hear(&mut self, now: Now, message: Incoming) {
        self.log.heard(now, &message).unwrap();
        self.installation.hear(now, message);
        self.drain();
    }

    fn drain(&mut self) {
        while let Some(message) = self.installation.drain() {
            self.said
                .push((message.topic, message.payload, message.retain));
        }
        self.installation.take_events();
        for record in self.installation.take_records() {
            if let Record::Notice(unit, notice) = record {
                let message = self.installation.message_of(&unit, &notice);
                self.said
                    .push((message.topic, message.payload, message.retain));
                self.installation.delivered(&unit, notice.number);
            }
        }
    }

    /// Its end: the log, what it said, and the state it leaves.
    fn end(mut self, now: Now) -> (Vec<u8>, Said, BTreeMap<String, UnitState>) {
        self.log.ended(now).unwrap();
        self.installation.advance(now);
        self.drain();
        let units = self.installation.units();
        let kept = units
            .map(|unit| (unit.settings().id.clone(), unit.state()))
            .collect();
        (self.log.into_inner(), self.said, kept)
    }
}

/// Notices leave the service when they are safe on disk, so their place among the rest is its own.
fn apart(said: Said) -> (Said, Said) {
    said.into_iter()
        .partition(|(topic, ..)| !topic.ends_with("/notice"))
}

fn replayed(settings: &Settings, log: &[u8]) -> Said {
    let mut out = Vec::new();
    replay(settings, "log", log, &mut out).unwrap();
    let lines = std::str::from_utf8(&out).unwrap().lines();
    lines
        .map(|line| Line::read(line).unwrap().1)
        .map(|line| (line.topic, line.payload, line.retain))
        .collect()
}

/// Three lives of the service through four and a half simulated hours.
fn lived(settings: &Settings, seed: u64) -> (Vec<u8>, Said) {
    let start = Wall::from_rfc3339("2026-06-01T06:00:00Z").unwrap();
    let mut dice = Dice(seed);
    let mut unit = DemoUnit::new(seed, "2026-06-01T06:00:00".parse().unwrap());
    let (mut log, mut said, mut kept) = (Vec::new(), Vec::new(), BTreeMap::new());
    let mut moved = 0_i64;
    for life in 0..3_u32 {
        // A process that has just started has already lived some milliseconds.
        let lived = 3 + dice.below(40);
        // What time it is at this second of the life, by two clocks that are read one after the other.
        let clock = |dice: &mut Dice, milliseconds: u64, moved: i64| {
            let second = i64::from(life) * 5_400_000 + i64::try_from(milliseconds).unwrap();
            let jitter = i64::try_from(dice.below(2)).unwrap();
            Now {
                mono: Mono(lived + milliseconds),
                wall: Wall(start.0 + second + jitter + moved),
            }
        };
        let mut now = clock(&mut dice, 0, moved);
        let mut alive = Life::begin(settings, kept, now, log);
        for second in 0..5_400_u64 {
            // The wall clock is put forward, and back.
            moved += match (life, second) {
                (1, 2000) => 3_600_000,
                (1, 4000) => -600_000,
                _ => 0,
            };
            for message in unit.step(1.0) {
                now = clock(&mut dice, second * 1000 + dice_milliseconds(second), moved);
                let arrival = match (second, dice.below(400)) {
                    (0..30, _) => Arrival::Retained,
                    (_, 0) => Arrival::Late,
                    _ => Arrival::Live,
                };
                let (topic, payload) = (message.topic.as_str(), message.payload.as_bytes());
                let packet = Some(Packet {
                    id: u16::try_from(1 + dice.below(900)).unwrap(),
                    duplicate: dice.below(9) == 0,
                });
                alive.hear(
                    now,
                    Incoming {
                        topic,
                        payload,
                        arrival,
                        packet,
                    },
                );
            }
            for (at, topic, payload) in [
                (600, "permeated/basement/do/note", b"new tubing".as_slice()),
                (700, "permeated/basement/do/note", b"\xff\xfe"),
                (800, "homeassistant/status", b"online"),
                (900, "permeated/basement/do/alert/all/acknowledge", b""),
                (1000, "demo/quality/sensor/feed_tds/state", b"\x80\x81"),
            ] {
                if at == second {
                    now = clock(&mut dice, second * 1000 + 500, moved);
                    alive.hear(
                        now,
                        Incoming {
                            topic,
                            payload,
                            arrival: Arrival::Live,
                            packet: None,
                        },
                    );
                }
            }
            // Woken now and then, sometimes long after something was due.
            if dice.below(3) == 0 {
                let at = second * 1000 + 900 + dice.below(90);
                now = clock(&mut dice, at, moved);
                alive.look(now);
            }
        }
        now = clock(&mut dice, 5_400_000, moved);
        let ended = alive.end(now);
        log = ended.0;
        said.extend(ended.1);
        kept = ended.2;
    }
    (log, said)
}

/// Somewhere in the first half of the second, the same for all messages of it.
fn dice_milliseconds(second: u64) -> u64 {
    second * 37 % 499
}

#[test]
fn what_the_service_heard_replays_to_the_bytes_it_said() {
    let settings = settings();
    for seed in [1, 2] {
        let (log, said) = lived(&settings, seed);
        let again = replayed(&settings, &log);
        assert!(said.len() > 2000, "{}", said.len());
        let (said, notices) = apart(said);
        let (again, again_notices) = apart(again);
        let first = said
            .iter()
            .zip(&again)
            .position(|(one, other)| one != other);
        let shown = first.map(|first| (&said[first], &again[first]));
        assert_eq!(shown, None, "the first that differs, of {}", said.len());
        assert_eq!(said.len(), again.len());
        assert_eq!(notices, again_notices);
        for kind in ["run_ended", "command_done", "command_refused", "no_reading"] {
            let told = said
                .iter()
                .any(|(topic, text, _)| topic.ends_with("/event") && text.contains(kind));
            assert!(told, "the test must reach {kind}");
        }
        if seed > 1 {
            continue;
        }
        // Each part of it is there for a reason: without the looks, the state or the clock that cannot be
        // set the replay is another.
        let text = String::from_utf8(log).unwrap();
        let without = |words: &str| -> String {
            let lines = text.lines().filter(|line| !line.contains(words));
            lines.flat_map(|line| [line, "\n"]).collect()
        };
        let without_mono = || -> String {
            let lines = text.lines().map(|line| {
                let mut line: serde_json::Value = serde_json::from_str(line).unwrap();
                line.as_object_mut().unwrap().shift_remove("mono").unwrap();
                format!("{line}\n")
            });
            lines.collect()
        };
        for (what, changed) in [
            ("looks", without("\"mark\":\"looked\"")),
            ("state", without("\"mark\":\"service_began\"")),
            ("mono", without_mono()),
        ] {
            let other = replayed(&settings, changed.as_bytes());
            assert!(apart(other).0 != said, "the log needs no {what}");
        }
    }
}
