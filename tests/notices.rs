//! No notice is lost, and none is told twice, whatever moment the service is killed at. The service and
//! the broker are a model: what is on disk, what is being written, what is on its way.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::collections::{BTreeMap, VecDeque};

use permeated::{
    config::{self, Settings},
    core::{
        Arrival, Keep, UnitState,
        alert::{Notice, NoticeKind},
    },
    installation::{Incoming, Installation, Record},
    time::{Mono, Now, Wall},
};
use proptest::prelude::*;

const CONFIG: &str = r#"
[broker]
url = "mqtt://localhost"
[notices]
remind = "1 h"
[unit.u]
[[unit.u.sensor]]
at = "leak"
topic = "leak"
max_age = "30 d"
[[unit.u.sensor]]
at = "feed_temperature"
topic = "temperature"
unit = "degC"
max_age = "30 d"
"#;

/// A step of the world. Between any two of them the power may go.
#[derive(Clone, Copy, Debug)]
enum Step {
    Leak(bool),
    Warm(bool),
    Minutes(u16),
    /// What changed begins to be written …
    Checkpoint,
    /// … and is durable, or failed.
    Written(bool),
    /// The broker gets the oldest notice on its way …
    Delivered,
    /// … and the service hears that it did.
    Known,
    Acknowledge,
    Kill,
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        3 => any::<bool>().prop_map(Step::Leak),
        3 => any::<bool>().prop_map(Step::Warm),
        4 => (1_u16..200).prop_map(Step::Minutes),
        4 => Just(Step::Checkpoint),
        4 => prop::bool::weighted(0.8).prop_map(Step::Written),
        4 => Just(Step::Delivered),
        4 => Just(Step::Known),
        1 => Just(Step::Acknowledge),
        3 => Just(Step::Kill),
    ]
}

struct World {
    settings: Settings,
    service: Installation,
    milliseconds: u64,
    began: u64,
    /// The last durable state, as text.
    disk: Option<String>,
    writing: Option<(Option<String>, Vec<Notice>)>,
    travelling: VecDeque<Notice>,
    arrived_unknown: VecDeque<u64>,
    /// Everything the broker got.
    received: Vec<Notice>,
    kills: usize,
}

impl World {
    fn new() -> Self {
        let settings = config::from_text("test", CONFIG, &BTreeMap::new(), None).unwrap();
        let mut world = Self {
            service: Installation::new(&settings, |_| UnitState::default(), at(0, 0)),
            settings,
            milliseconds: 0,
            began: 0,
            disk: None,
            writing: None,
            travelling: VecDeque::new(),
            arrived_unknown: VecDeque::new(),
            received: Vec::new(),
            kills: 0,
        };
        for step in [Step::Leak(false), Step::Warm(false)] {
            world.take(step);
        }
        world
    }

    fn now(&self) -> Now {
        at(self.milliseconds - self.began, self.milliseconds)
    }

    fn hear(&mut self, topic: &str, payload: &str) -> Keep {
        let now = self.now();
        self.service.hear(
            now,
            Incoming {
                topic,
                payload: payload.as_bytes(),
                arrival: Arrival::Live,
                packet: None,
            },
        )
    }

    fn take(&mut self, step: Step) {
        match step {
            Step::Leak(is) => _ = self.hear("leak", if is { "on" } else { "off" }),
            Step::Warm(is) => _ = self.hear("temperature", if is { "45" } else { "20" }),
            Step::Minutes(minutes) => {
                self.milliseconds += u64::from(minutes) * 60_000;
                self.service.advance(self.now());
            }
            Step::Acknowledge => _ = self.hear("permeated/u/do/alert/all/acknowledge", ""),
            Step::Checkpoint => self.checkpoint(),
            Step::Written(well) => self.written(well),
            Step::Delivered => {
                if let Some(notice) = self.travelling.pop_front() {
                    self.arrived_unknown.push_back(notice.number);
                    self.received.push(notice);
                }
            }
            Step::Known => {
                if let Some(number) = self.arrived_unknown.pop_front() {
                    self.service.delivered("u", number);
                }
            }
            Step::Kill => self.kill(),
        }
        while self.service.drain().is_some() {}
    }

    /// As `keeper` gathers: the states, then the records, in one go.
    fn checkpoint(&mut self) {
        if self.writing.is_some() {
            return;
        }
        let (_, states) = self.service.take_changed();
        let state = states
            .into_iter()
            .map(|(_, state)| serde_json::to_string(&state).unwrap())
            .next();
        let records = self.service.take_records().into_iter();
        let notices = records.filter_map(|record| match record {
            Record::Notice(_, notice) => Some(*notice),
            _ => None,
        });
        let notices = notices.collect();
        self.writing = Some((state, notices));
    }

    /// One that failed is offered again.
    fn written(&mut self, well: bool) {
        match self.writing.take() {
            Some((state, notices)) if well => {
                self.disk = state.or(self.disk.take());
                self.travelling.extend(notices);
            }
            failed => self.writing = failed,
        }
    }

    fn kill(&mut self) {
        self.kills += 1;
        self.writing = None;
        self.arrived_unknown.clear();
        // What travelled may or may not arrive; here it does not.
        self.travelling.clear();
        self.began = self.milliseconds;
        let now = self.now();
        let disk = self.disk.clone();
        self.service = Installation::new(
            &self.settings,
            |_| {
                disk.as_deref().map_or_else(UnitState::default, |text| {
                    serde_json::from_str(text).unwrap()
                })
            },
            now,
        );
    }

    /// Lets everything be written, delivered and known.
    fn settle(&mut self) {
        for _ in 0..20 {
            for step in [
                Step::Checkpoint,
                Step::Written(true),
                Step::Delivered,
                Step::Delivered,
                Step::Known,
                Step::Known,
            ] {
                self.take(step);
            }
        }
    }
}

fn at(mono: u64, wall: u64) -> Now {
    Now {
        mono: Mono(mono),
        wall: Wall(1_795_608_000_000 + i64::try_from(wall).unwrap()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]
    #[test]
    fn no_notice_is_lost_or_told_twice(steps in prop::collection::vec(step(), 1..80)) {
        let mut world = World::new();
        for step in &steps {
            world.take(*step);
        }
        // The end is calm: one leak that stays, told whatever happened before.
        world.settle();
        world.take(Step::Leak(true));
        world.take(Step::Warm(false));
        world.take(Step::Minutes(120));
        world.settle();
        prop_assert!(world.travelling.is_empty());

        let mut first: BTreeMap<u64, &Notice> = BTreeMap::new();
        let mut twice = 0;
        for notice in &world.received {
            match first.get(&notice.number) {
                Some(known) => {
                    prop_assert_eq!(*known, notice, "one number, one notice");
                    twice += 1;
                }
                None => _ = first.insert(notice.number, notice),
            }
        }
        // One that was handed over and not yet known as such when the service was killed.
        prop_assert!(twice == 0 || world.kills > 0, "twice without a kill");
        let numbers: Vec<u64> = first.keys().copied().collect();
        let whole: Vec<u64> = (1..=numbers.len() as u64).collect();
        prop_assert_eq!(numbers, whole, "none is missing");

        // Of each alert: raised, perhaps reminded, over, raised …
        for key in ["leak", "feed_temperature_out_of_range"] {
            let mut known = false;
            for notice in first.values().filter(|notice| notice.key() == key) {
                match notice.kind {
                    NoticeKind::Raised => prop_assert!(!known, "{key}: told twice"),
                    NoticeKind::Reminder | NoticeKind::Cleared => {
                        prop_assert!(known, "{key}: the raising was never told");
                    }
                }
                known = notice.kind != NoticeKind::Cleared;
            }
            let unit = world.service.units().next().unwrap();
            let alert = unit.alerts().iter().find(|alert| alert.key() == key).unwrap();
            let silent = alert.care.is_acknowledged();
            prop_assert!(known == alert.is_active() || silent, "{}: {}", key, known);
        }
    }
}
