//! When hubs are told what there is: at the start, again when a hub has started, and in steps when
//! something was removed. What is told is the business of `wire::hub`.

use std::{
    collections::{BTreeMap, VecDeque},
    time::Duration,
};

use crate::{
    time::{Mono, Now},
    wire::{Outgoing, hub::plan::Plan},
};

/// What is to be done now.
#[derive(Clone, Debug, PartialEq)]
pub enum Task {
    /// Tell what a device is, by its number: 0 is the service, the units follow.
    Announce(usize),
    /// Tell all states of a unit once more, by its number from 0.
    Repeat(usize),
    /// Tell these.
    Tell(Vec<Outgoing>),
}

/// A hub that says it has started is not ready yet; told at once, some miss it.
const AFTER_BIRTH: Duration = Duration::from_secs(1);
/// Devices follow each other at this distance …
const APART: Duration = Duration::from_millis(250);
/// … as long as the last is not later than three seconds after the birth.
const SLOTS: usize = 8;
/// Values are repeated so much later: a hub hears them only once it knows whose they are.
const STATES_LATER: Duration = Duration::from_secs(2);
/// A hub that starts over and over is not answered more often than this.
const BIRTHS_APART: Duration = Duration::from_secs(30);
/// What reached the broker has reached the hub and was dealt with after this long.
const SETTLE: Duration = Duration::from_secs(3);

/// The announcing of all devices of an installation.
#[derive(Clone, Debug, Default)]
pub struct Announcer {
    units: usize,
    /// By time, and in the order they were put down.
    due: BTreeMap<(Mono, u64), Task>,
    numbered: u64,
    /// What follows once the broker has everything so far.
    steps: VecDeque<Vec<Task>>,
    last_birth: Option<Mono>,
    /// What a hub is told in steps once it has started: it may have been away when things left.
    farewell: VecDeque<Vec<Task>>,
}

impl Announcer {
    /// Announces every device at once; `units` is their number without the service.
    #[must_use]
    pub fn new(units: usize, now: Now) -> Self {
        let mut announcer = Self {
            units,
            ..Self::default()
        };
        announcer.put(now.mono, announcer.all());
        announcer
    }

    /// Before the first announcement: what must be told before and after it.
    pub fn change(&mut self, plan: Plan, now: Now) {
        let to_announce: Vec<Task> = self.due.values().cloned().collect();
        let Plan {
            remove,
            hand_over,
            hold,
            clear,
            farewell,
        } = plan;
        self.farewell = farewell
            .into_iter()
            .map(|messages| vec![Task::Tell(messages)])
            .collect();
        let steps = [
            vec![Task::Tell(remove)],
            vec![Task::Tell(hand_over)],
            to_announce,
            vec![Task::Tell(hold)],
            vec![Task::Tell(clear)],
        ];
        let is_empty = |step: &Vec<Task>| step.is_empty() || *step == [Task::Tell(Vec::new())];
        self.steps = steps.into_iter().filter(|step| !is_empty(step)).collect();
        self.due.clear();
        if let Some(first) = self.steps.pop_front() {
            self.put(now.mono, first);
        }
    }

    /// A hub has started.
    pub fn born(&mut self, now: Now) {
        let earliest = self.last_birth.map(|last| last.after(BIRTHS_APART));
        let at = now.mono.after(AFTER_BIRTH);
        // What waits will tell this hub, too.
        if !self.due.is_empty() || !self.steps.is_empty() {
            return;
        }
        let at = earliest.map_or(at, |earliest| at.max(earliest));
        self.last_birth = Some(at);
        for (number, task) in self.all().into_iter().enumerate() {
            let slot = u32::try_from(number % (SLOTS + 1)).unwrap_or(0);
            self.put(at.after(APART * slot), vec![task]);
        }
        let later = at.after(STATES_LATER);
        for unit in 0..self.units {
            self.put(later, vec![Task::Repeat(unit)]);
        }
        self.steps = std::mem::take(&mut self.farewell);
    }

    /// Whether a hub that starts will be told of what left while it was away.
    #[must_use]
    pub fn owes_farewell(&self) -> bool {
        !self.farewell.is_empty()
    }

    /// Whether something waits for the broker to have everything so far.
    #[must_use]
    pub fn awaits_delivery(&self) -> bool {
        self.due.is_empty() && !self.steps.is_empty()
    }

    /// Whether all that was removed is told, and all that is there announced.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.due.is_empty() && self.steps.is_empty()
    }

    /// The broker has everything that was told so far.
    pub fn delivered(&mut self, now: Now) {
        if !self.awaits_delivery() {
            return;
        }
        if let Some(step) = self.steps.pop_front() {
            self.put(now.mono.after(SETTLE), step);
        }
    }

    /// When something is due.
    #[must_use]
    pub fn deadline(&self) -> Option<Mono> {
        self.due.first_key_value().map(|((at, _), _)| *at)
    }

    /// What is due by then, one after the other.
    pub fn take(&mut self, by: Mono) -> Option<(Mono, Task)> {
        let first = self.due.first_entry()?;
        let at = first.key().0;
        (at <= by).then(|| (at, first.remove()))
    }

    fn all(&self) -> Vec<Task> {
        (0..=self.units).map(Task::Announce).collect()
    }

    fn put(&mut self, at: Mono, tasks: Vec<Task>) {
        for task in tasks {
            self.due.insert((at, self.numbered), task);
            self.numbered += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Wall;

    fn at(milliseconds: u64) -> Now {
        Now {
            mono: Mono(milliseconds),
            wall: Wall(0),
        }
    }

    fn all_by(announcer: &mut Announcer, milliseconds: u64) -> Vec<Task> {
        std::iter::from_fn(|| announcer.take(Mono(milliseconds)))
            .map(|(_, task)| task)
            .collect()
    }

    /// hub.md's advice, from issue threads: one to three seconds after the birth, and not for every one.
    #[test]
    fn a_birth_is_answered_after_a_moment_and_not_too_often() {
        let mut announcer = Announcer::new(2, at(0));
        let announced = [0, 1, 2].map(Task::Announce);
        assert_eq!(all_by(&mut announcer, 0), announced);
        assert_eq!(announcer.deadline(), None);
        announcer.born(at(10_000));
        announcer.born(at(10_100));
        assert_eq!(all_by(&mut announcer, 10_999), []);
        assert_eq!(all_by(&mut announcer, 12_999), announced);
        let states = [0, 1].map(Task::Repeat);
        assert_eq!(all_by(&mut announcer, 13_000), states);
        announcer.born(at(14_000));
        assert_eq!(
            announcer.deadline(),
            Some(Mono(41_000)),
            "delayed, not lost"
        );
        let many = Announcer::new(40, at(0));
        let mut many = Announcer {
            due: BTreeMap::new(),
            ..many
        };
        many.born(at(0));
        let last = many
            .due
            .iter()
            .rev()
            .find(|(_, task)| matches!(task, Task::Announce(_)));
        assert!(last.unwrap().0.0 <= Mono(3000));
    }

    #[test]
    fn each_step_waits_for_the_one_before_to_arrive() {
        let mut announcer = Announcer::new(0, at(0));
        let message = |text: &str| Outgoing {
            topic: "t".to_owned(),
            payload: text.to_owned(),
            retain: true,
        };
        let plan = Plan {
            remove: vec![message("remove")],
            clear: vec![message("")],
            ..Plan::default()
        };
        announcer.change(plan, at(0));
        let step = |announcer: &mut Announcer, now: u64| {
            let told = all_by(announcer, now);
            assert_eq!(all_by(announcer, u64::MAX), [], "no step without delivery");
            told
        };
        assert_eq!(
            step(&mut announcer, 0),
            [Task::Tell(vec![message("remove")])]
        );
        assert!(announcer.awaits_delivery());
        announcer.delivered(at(5000));
        assert!(!announcer.awaits_delivery());
        assert_eq!(all_by(&mut announcer, 7999), []);
        assert_eq!(step(&mut announcer, 8000), [Task::Announce(0)]);
        assert!(!announcer.is_done());
        announcer.delivered(at(9000));
        assert_eq!(
            step(&mut announcer, 12_000),
            [Task::Tell(vec![message("")])]
        );
        assert!(announcer.is_done());
    }
}
