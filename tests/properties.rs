//! What must hold whatever the sensors, the keeper and the clocks do: arbitrary sequences of
//! messages, commands, pauses, restarts and clock jumps through the core. The laws are arithmetic and
//! the promises of the design; no outside figure is needed.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "properties/actions.rs"]
mod actions;
#[path = "properties/laws.rs"]
mod laws;

use std::collections::{BTreeMap, HashMap};

use actions::{Action, METERS, TOPICS, action, has_unknown_age, keeping, settings};
use permeated::{
    config::Settings,
    core::{
        Arrival, Packet, StageState, Totals, Unit, UnitState, alert::Condition, costs::CostState,
    },
    installation::{Incoming, Installation, Record},
    keeper::{state_of_parts, state_parts},
    metrics::StageMetric,
    time::{Mono, Now, Wall},
    wire::Outgoing,
};
use proptest::{prelude::*, test_runner::RngSeed};
use serde_json::Value;

const INTERVAL_MS: u64 = 10_000;
/// Most that the permeate's pipe carries, L/min, as configured below.
const MOST: f64 = 2.0;

/// The sequence through the core, checked after every message published and every action.
struct Play<'a> {
    settings: &'a Settings,
    installation: Installation,
    mono: u64,
    /// Since the beginning, over restarts.
    elapsed: u64,
    wall: i64,
    counts: [u64; 2],
    published: HashMap<String, u64>,
    said: Vec<Outgoing>,
    totals: Totals,
    stages: BTreeMap<String, StageState>,
    costs: CostState,
    /// What the fillings cost that were replaced.
    replaced: f64,
    /// Whether a price was told or corrected, or a replacement withdrawn: then a filling's price is not
    /// that of its end.
    prices_change: bool,
}

impl<'a> Play<'a> {
    fn new(settings: &'a Settings) -> Self {
        let wall = Wall::from_rfc3339("2026-03-02T06:00:00Z").unwrap().0;
        let now = Now {
            mono: Mono(0),
            wall: Wall(wall),
        };
        Self {
            settings,
            installation: Installation::new(settings, |_| UnitState::default(), now),
            mono: 0,
            elapsed: 0,
            wall,
            counts: [70_000, 1000],
            published: HashMap::new(),
            said: Vec::new(),
            totals: Totals::default(),
            stages: BTreeMap::new(),
            costs: CostState::default(),
            replaced: 0.0,
            prices_change: false,
        }
    }

    fn now(&self) -> Now {
        Now {
            mono: Mono(self.mono),
            wall: Wall(self.wall),
        }
    }

    fn unit(&self) -> &Unit {
        self.installation.units().next().unwrap()
    }

    fn pass(&mut self, milliseconds: u64) -> Result<(), TestCaseError> {
        let end = self.mono + milliseconds;
        while self.mono < end {
            let due = self.installation.deadline().map_or(end, |due| due.0);
            let next = due.clamp(self.mono + 1, end);
            self.wall += i64::try_from(next - self.mono).unwrap();
            self.elapsed += next - self.mono;
            self.mono = next;
            self.installation.advance(self.now());
            self.collect()?;
        }
        Ok(())
    }

    fn hear(&mut self, topic: &str, payload: &str, arrival: Arrival) -> Result<(), TestCaseError> {
        let packet = (arrival != Arrival::Retained).then_some(Packet {
            id: 1 + u16::try_from(self.elapsed % 60_000).unwrap(),
            duplicate: payload.len() % 5 == 4,
        });
        let message = Incoming {
            topic,
            payload: payload.as_bytes(),
            arrival,
            packet,
        };
        self.installation.hear(self.now(), message);
        self.collect()
    }

    fn act(&mut self, action: &Action) -> Result<(), TestCaseError> {
        match action {
            Action::Say(topic, payload, arrival) => self.hear(TOPICS[*topic], payload, *arrival)?,
            Action::Count(second, step, wait) => {
                self.pass(*wait)?;
                let count = &mut self.counts[usize::from(*second)];
                *count += u64::from(*step);
                let text = count.to_string();
                self.hear(if *second { "s/b" } else { "s/a" }, &text, Arrival::Live)?;
            }
            Action::Wait(milliseconds) => self.pass(*milliseconds)?,
            Action::Command(path, payload, retained) => {
                let arrival = if *retained {
                    Arrival::Retained
                } else {
                    Arrival::Live
                };
                let before = self.unit().state();
                self.prices_change |= payload.contains("price") || path.starts_with("log/");
                self.hear(&format!("permeated/u/do/{path}"), payload, arrival)?;
                if *retained {
                    prop_assert_eq!(before.stages, self.unit().state().stages);
                }
            }
            Action::Clock(by) => self.wall = (self.wall + by).max(0),
            Action::Restart => self.restart()?,
        }
        self.check_state()
    }

    fn restart(&mut self) -> Result<(), TestCaseError> {
        let before = self.unit().state();
        let read =
            state_of_parts(&state_parts(&before).unwrap()).expect("a kept state reads again");
        prop_assert_eq!(&read, &before);
        self.mono = 0;
        self.installation = Installation::new(self.settings, |_| read.clone(), self.now());
        self.published.clear();
        let after = self.unit().state();
        // The run that was open was ended and counted.
        let mut totals = before.totals;
        totals.runs += u64::from(before.open_run.is_some());
        prop_assert_eq!(after.totals, totals);
        prop_assert_eq!(after.waiting, before.waiting);
        prop_assert_eq!(after.stages, before.stages);
        prop_assert_eq!(after.alerts, before.alerts);
        self.collect()
    }

    fn collect(&mut self) -> Result<(), TestCaseError> {
        while let Some(message) = self.installation.drain() {
            let Outgoing {
                topic,
                payload,
                retain,
            } = &message;
            if topic.contains("/value/") {
                let word = matches!(
                    payload.as_str(),
                    "None" | "standby" | "settling" | "producing" | "flushing" | "ON" | "OFF"
                ) || Condition::ALL.iter().any(|word| word.key() == payload);
                let number = payload.parse::<f64>().is_ok_and(f64::is_finite);
                prop_assert!(word || number, "{topic} says {payload:?}");
            } else if topic.ends_with("/available") {
                prop_assert!(["online", "offline"].contains(&payload.as_str()));
            } else {
                let read = serde_json::from_str::<Value>(payload);
                prop_assert!(
                    read.is_ok_and(|value| value.is_object()),
                    "{topic} says {payload:?}"
                );
            }
            let urgent = topic.contains("/alert/") || topic.ends_with("/run");
            if *retain && !urgent {
                let last = self.published.insert(topic.clone(), self.mono);
                prop_assert!(
                    last.is_none_or(|last| self.mono - last >= INTERVAL_MS),
                    "{topic} at {last:?} and {} ms",
                    self.mono
                );
            }
            self.said.push(message);
        }
        for record in self.installation.take_records() {
            if let Record::Stage(_, record) = record {
                let mut stages = self.settings.units[0].stages.iter();
                let stage = stages.find(|stage| stage.id == record.stage).unwrap();
                self.replaced += stage.price.unwrap_or_default();
            }
        }
        Ok(())
    }

    fn check_state(&mut self) -> Result<(), TestCaseError> {
        let now = self.now();
        let totals = *self.unit().totals();
        let before = std::mem::replace(&mut self.totals, totals);
        for (name, before, after) in [
            ("feed", before.feed.litres(), totals.feed.litres()),
            (
                "permeate",
                before.permeate.litres(),
                totals.permeate.litres(),
            ),
            (
                "concentrate",
                before.concentrate.litres(),
                totals.concentrate.litres(),
            ),
            ("unsplit", before.unsplit.litres(), totals.unsplit.litres()),
            (
                "unmatched",
                before.unmatched.litres(),
                totals.unmatched.litres(),
            ),
            (
                "unmeasured",
                before.unmeasured_seconds,
                totals.unmeasured_seconds,
            ),
            (
                "producing",
                before.producing_seconds,
                totals.producing_seconds,
            ),
            ("salt", before.permeate_salt_mg, totals.permeate_salt_mg),
            ("creep", before.creep_salt_mg, totals.creep_salt_mg),
        ] {
            prop_assert!(
                after >= before && after.is_finite(),
                "{name} from {before} to {after}"
            );
        }
        let left = totals.feed - totals.unsplit;
        let right = totals.permeate + totals.concentrate - totals.unmatched;
        let open = (left - right).litres().abs();
        prop_assert!(
            open < 1e-6 * totals.feed.litres().max(1.0),
            "open by {open}: {totals:?}"
        );
        self.check_loads()?;
        self.check_costs()?;
        for found in self.unit().stage_findings(now) {
            if let Ok(left) = found.of(StageMetric::Left) {
                prop_assert!((0.0..=100.0).contains(&left.value), "{left:?}");
            }
            for metric in StageMetric::ALL {
                prop_assert!(
                    found
                        .of(*metric)
                        .is_ok_and(|known| known.value.is_finite() && known.value >= 0.0)
                        || found.of(*metric).is_err(),
                    "{metric:?}: {found:?}"
                );
            }
        }
        Ok(())
    }
}

/// The same sequences in every run, so that a failure is one of the code at hand. Hunt further with
/// `PROPTEST_RNG_SEED=n PROPTEST_CASES=5000 cargo test --test properties`.
fn sequences() -> ProptestConfig {
    let asked = ProptestConfig::default();
    let usual = asked.rng_seed == RngSeed::Random;
    ProptestConfig {
        cases: if usual { 96 } else { asked.cases },
        rng_seed: if usual {
            RngSeed::Fixed(1)
        } else {
            asked.rng_seed
        },
        failure_persistence: None,
        max_shrink_iters: 300,
        ..asked
    }
}

proptest! {
    #![proptest_config(sequences())]

    #[test]
    fn the_promises_hold_whatever_comes(
        meters in 0..METERS.len(),
        actions in prop::collection::vec(action(), 1..120),
    ) {
        let settings = settings(meters);
        let mut play = Play::new(&settings);
        for action in &actions {
            play.act(action)?;
        }
        play.restart()?;
    }

    /// No sequence of replacements, tests, corrections and withdrawals makes a total fall or a remaining
    /// figure negative, and no water is lost by them: what a stage has treated is at most what passed.
    #[test]
    fn the_maintenance_log_loses_and_invents_nothing(
        meters in 0..METERS.len(),
        actions in prop::collection::vec(keeping(), 1..120),
    ) {
        let settings = settings(meters);
        let mut play = Play::new(&settings);
        for action in &actions {
            play.act(action)?;
            let passed = play.totals.feed + play.totals.permeate;
            for (id, stage) in &play.stages {
                let treated = stage.treated.litres();
                prop_assert!(
                    (0.0..=passed.litres() + 1e-6).contains(&treated),
                    "{id}: {treated} L of {passed:?}"
                );
            }
        }
        play.restart()?;
    }

    #[test]
    fn the_same_twice_gives_the_same_bytes(
        meters in 0..METERS.len(),
        actions in prop::collection::vec(action(), 1..60),
    ) {
        let settings = settings(meters);
        let mut said = Vec::new();
        for _ in 0..2 {
            let mut play = Play::new(&settings);
            for action in &actions {
                play.act(action)?;
            }
            said.push(play.said);
        }
        prop_assert_eq!(&said[0], &said[1]);
    }

    /// Whatever a counter says, no more water is booked than its pipe can have carried: 10 s of it are
    /// allowed at the start for firmware that reports a little late.
    #[test]
    fn no_more_water_than_the_pipe_carries(
        actions in prop::collection::vec(action(), 1..200)
            .prop_filter("counts of known age", |actions| !has_unknown_age(actions)),
    ) {
        let settings = settings(4);
        let mut play = Play::new(&settings);
        for action in &actions {
            play.act(action)?;
            let seconds = play.elapsed as f64 / 1000.0;
            let most = MOST * (seconds + 10.0) / 60.0;
            let booked = play.totals.permeate.litres();
            prop_assert!(booked <= most + 1e-9, "{booked} L in {seconds} s, at most {most} L");
        }
    }
}
