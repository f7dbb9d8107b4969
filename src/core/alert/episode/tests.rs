//! Episodes of a leak contact and a thermometer, told by an installation as the service drives it, and
//! kept by a model of the disk that holds state and rows of one checkpoint, or of the one before.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;
use crate::{
    config::{self, Settings},
    core::{Arrival, UnitState},
    installation::{Incoming, Installation, Record},
    time::Mono,
};

const WHOLE: &str = r#"
[broker]
url = "mqtt://localhost"
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

#[derive(Clone, Copy, Debug)]
enum Step {
    Leak(bool),
    Warm(bool),
    Minutes(u16),
    Acknowledge,
    Checkpoint,
    Kill,
    ClockSet(bool),
}
use Step::{Acknowledge, Checkpoint, ClockSet, Kill, Leak, Minutes, Warm};

struct World {
    settings: Settings,
    service: Installation,
    minute: u64,
    began: u64,
    clock_set: bool,
    /// The durable state and rows by number.
    state: UnitState,
    rows: BTreeMap<u64, Episode>,
}

impl World {
    fn new() -> Self {
        let settings = config::from_text("test", WHOLE, &BTreeMap::new(), None).unwrap();
        let mut world = Self {
            service: Installation::new(&settings, |_| UnitState::default(), at(0, 0, true)),
            settings,
            minute: 0,
            began: 0,
            clock_set: true,
            state: UnitState::default(),
            rows: BTreeMap::new(),
        };
        world.take(Leak(false));
        world.take(Warm(false));
        world
    }

    fn now(&self) -> Now {
        at(self.minute - self.began, self.minute, self.clock_set)
    }

    fn hear(&mut self, topic: &str, payload: &str) {
        let message = Incoming {
            topic,
            payload: payload.as_bytes(),
            arrival: Arrival::Live,
            packet: None,
        };
        self.service.hear(self.now(), message);
    }

    fn take(&mut self, step: Step) {
        match step {
            Leak(is) => self.hear("leak", if is { "on" } else { "off" }),
            Warm(is) => self.hear("temperature", if is { "48" } else { "20" }),
            Minutes(minutes) => {
                self.minute += u64::from(minutes);
                self.service.advance(self.now());
            }
            Acknowledge => self.hear(
                "permeated/u/do/alert/all/acknowledge",
                r#"{"note":"ordered"}"#,
            ),
            Checkpoint => self.checkpoint(),
            Kill => self.start(),
            ClockSet(is) => self.clock_set = is,
        }
    }

    fn checkpoint(&mut self) {
        let (keep, states) = self.service.take_changed();
        let text = states.into_iter().next();
        if let Some((_, state)) = text {
            let text = serde_json::to_string(&state).unwrap();
            self.state = serde_json::from_str(&text).unwrap();
        }
        for record in self.service.take_records() {
            if let Record::Alert(_, episode) = record {
                assert_eq!(keep, Keep::Now, "no state to go with {episode:?}");
                let text = serde_json::to_string(&episode).unwrap();
                self.rows
                    .insert(episode.number, serde_json::from_str(&text).unwrap());
            }
        }
        self.hold_laws();
    }

    fn start(&mut self) {
        self.began = self.minute;
        let state = self.state.clone();
        self.service = Installation::new(&self.settings, |_| state.clone(), self.now());
    }

    /// What is on disk agrees with itself: every number once and none left out, and what has no end is
    /// what is active.
    fn hold_laws(&self) {
        let numbers: Vec<u64> = self.rows.keys().copied().collect();
        let all: Vec<u64> = (1..=self.state.episodes).collect();
        assert_eq!(numbers, all);
        let lasting = self.rows.values().filter(|row| row.end.is_none());
        let mut lasting: Vec<&Episode> = lasting.collect();
        let active = self.state.alerts.values();
        let mut active: Vec<&Episode> = active
            .filter(|alert| alert.life.phase == Phase::Active)
            .map(|alert| alert.episode().unwrap())
            .collect();
        lasting.sort_by_key(|episode| episode.number);
        active.sort_by_key(|episode| episode.number);
        assert_eq!(lasting, active);
    }
}

fn at(mono: u64, minute: u64, set: bool) -> Now {
    let passed = minute * 60_000;
    let epoch = if set { 1_795_608_000_000 } else { 0 };
    Now {
        mono: Mono(mono * 60_000),
        wall: Wall(epoch + i64::try_from(passed).unwrap()),
    }
}

fn date(minute: u64) -> Option<Wall> {
    at(0, minute, true).date()
}

/// Plays the steps and gives what is on disk after a last checkpoint.
fn play(steps: &[Step]) -> Vec<Episode> {
    let mut world = World::new();
    for step in steps {
        world.take(*step);
    }
    world.take(Checkpoint);
    world.rows.into_values().collect()
}

#[test]
fn raised_acknowledged_and_cleared_is_one_row_with_all_three() {
    let rows = play(&[
        Minutes(5),
        Leak(true),
        Checkpoint,
        Minutes(60),
        Acknowledge,
        Checkpoint,
        Minutes(60),
        Leak(false),
    ]);
    let [row] = rows.as_slice() else {
        panic!("{rows:?}");
    };
    assert_eq!((row.number, row.code, row.times), (1, Code::Leak, 1));
    assert_eq!((&row.about, row.severity), (&None, Severity::Critical));
    assert!(row.sentence.contains("leak"), "{}", row.sentence);
    assert_eq!(row.raised, date(5));
    let acknowledged = row.acknowledged.clone().unwrap();
    assert_eq!(acknowledged.at, date(65));
    assert_eq!(acknowledged.note.as_deref(), Some("ordered"));
    let cleared = End {
        at: date(125),
        how: Ending::Cleared,
    };
    assert_eq!(row.end, Some(cleared));
}

/// Ten minutes: as for people who are told.
#[test]
fn what_comes_back_soon_goes_on_also_after_a_restart_and_later_it_is_another() {
    let comes_back = |after: u16, restart: bool| {
        let restart: &[Step] = if restart { &[Checkpoint, Kill] } else { &[] };
        let steps = [
            &[Leak(true), Minutes(5), Leak(false)],
            restart,
            &[Minutes(after), Leak(true)],
        ];
        let rows = play(&steps.concat());
        rows.iter().map(|row| row.times).collect::<Vec<_>>()
    };
    for restart in [false, true] {
        assert_eq!(comes_back(9, restart), [2]);
        assert_eq!(comes_back(11, restart), [1, 1]);
    }
    let all_day: Vec<Step> = (0..200)
        .flat_map(|_| [Leak(true), Minutes(3), Leak(false), Minutes(3)])
        .collect();
    let rows = play(&all_day);
    assert_eq!((rows.len(), rows[0].times), (1, 200));
}

#[test]
fn a_kill_before_the_checkpoint_takes_state_and_row_alike() {
    assert_eq!(play(&[Leak(true), Kill, Leak(false), Minutes(20)]), []);
    let rows = play(&[Leak(true), Minutes(1), Kill, Minutes(1), Leak(true)]);
    assert_eq!(rows.len(), 1, "raised anew: {rows:?}");
    assert_eq!(rows[0].raised, date(2));
}

#[test]
fn without_a_clock_an_episode_has_no_dates_and_an_end_all_the_same() {
    let rows = play(&[ClockSet(false), Leak(true), Minutes(5), Leak(false)]);
    assert_eq!(rows[0].raised, None);
    let end = rows[0].end.unwrap();
    assert_eq!((end.at, end.how), (None, Ending::Cleared));
}

#[test]
fn what_leaves_the_configuration_is_over_then() {
    let mut world = World::new();
    world.take(Leak(true));
    world.take(Checkpoint);
    let without = WHOLE.replace(
        "[unit.u]\n",
        "[unit.u]\n[unit.u.alert.leak]\nenabled = false\n",
    );
    world.settings = config::from_text("test", &without, &BTreeMap::new(), None).unwrap();
    world.take(Minutes(3));
    world.take(Kill);
    world.take(Checkpoint);
    let end = world.rows[&1].end.unwrap();
    assert_eq!((end.at, end.how), (date(3), Ending::NoLongerWatched));
}

#[test]
fn an_alert_that_an_earlier_version_raised_gets_a_row() {
    let mut world = World::new();
    world.take(Minutes(7));
    world.take(Leak(true));
    world.take(Checkpoint);
    world.state.episodes = 0;
    world.rows.clear();
    for alert in world.state.alerts.values_mut() {
        alert.episode = None;
    }
    world.take(Minutes(3));
    world.take(Kill);
    world.take(Checkpoint);
    assert_eq!(world.rows[&1].raised, date(7));
    assert!(world.rows[&1].sentence.contains("leak"));
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        4 => any::<bool>().prop_map(Leak),
        4 => any::<bool>().prop_map(Warm),
        5 => (1_u16..100).prop_map(Minutes),
        1 => Just(Acknowledge),
        4 => Just(Checkpoint),
        2 => Just(Kill),
        1 => any::<bool>().prop_map(ClockSet),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// The laws are held at every checkpoint.
    #[test]
    fn rows_and_state_agree_wherever_it_is_killed(steps in prop::collection::vec(step(), 1..60)) {
        play(&steps);
    }
}
