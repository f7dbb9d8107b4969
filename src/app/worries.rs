//! What keeps the service itself from its work, told by HTTP like an alert: whoever has no hub would not learn of it.

use std::{collections::BTreeMap, time::Duration};

use super::App;
use crate::{
    config::Publish,
    core::alert::NoticeKind,
    time::{Mono, Now, Wall},
    wire::notice::{Notice, Trouble},
};

/// A disk that is locked, or hangs, for less is not worth a message.
const DISK_HELD: Duration = Duration::from_secs(60);
/// Nor is a broker that starts anew, with the machine it runs on.
const BROKER_HELD: Duration = Duration::from_secs(15 * 60);

/// One trouble: since when it lasts, and whether that was told.
#[derive(Debug, Default)]
struct Worry {
    since: Option<(Mono, Option<Wall>)>,
    is_told: bool,
}

/// All that is worried about.
#[derive(Debug)]
pub(super) struct Worries {
    disk: Worry,
    broker: Worry,
    /// Of the last notice; numbers only grow, across restarts too.
    last_number: u64,
    /// What stands in a notice where others have the id of a unit.
    name: String,
}

impl Worry {
    /// What is to be told now, and since when it lasts. In `quiet` hours it waits: what is over by their end is not
    /// told at all.
    fn look(
        &mut self,
        lasts: bool,
        held: Duration,
        now: Now,
        quiet: bool,
    ) -> Option<(NoticeKind, Option<Wall>)> {
        if lasts {
            let (from, since) = *self.since.get_or_insert((now.mono, now.date()));
            if self.is_told || quiet || now.mono.since(from) < held {
                return None;
            }
            self.is_told = true;
            return Some((NoticeKind::Raised, since));
        }
        if quiet && self.is_told {
            return None;
        }
        let (_, since) = self.since.take()?;
        std::mem::take(&mut self.is_told).then_some((NoticeKind::Cleared, since))
    }
}

impl Worries {
    /// `marks` are the last numbers that targets got, by target and unit.
    pub(super) fn new(places: &Publish, marks: &BTreeMap<(String, String), u64>) -> Self {
        let name = places.name_of_service();
        let of_service = marks.iter().filter(|((_, unit), _)| *unit == name);
        Self {
            disk: Worry::default(),
            broker: Worry::default(),
            last_number: of_service.map(|(_, number)| *number).max().unwrap_or(0),
            name,
        }
    }

    /// After a crash on a disk that takes nothing the last number is not known: the clock is further.
    fn next_number(&mut self, now: Now) -> u64 {
        let clock = u64::try_from(now.wall.0).unwrap_or(0);
        self.last_number = clock.max(self.last_number + 1);
        self.last_number
    }
}

impl App {
    /// Tells what has kept the service from its work for long, and when that is over.
    pub(super) fn tell_worries(&mut self) {
        let Some(notifier) = &mut self.notifier else {
            return;
        };
        let now = self.clock.now();
        // The hours are the same for all units.
        let quiet = (self.installation.units().next()).is_some_and(|unit| unit.is_quiet(now));
        let health = self.session.health();
        let problem = self.keeper.problem();
        let disk = (self.worries.disk).look(problem.is_some(), DISK_HELD, now, quiet);
        let broker = (self.worries.broker).look(!health.connected, BROKER_HELD, now, quiet);
        let of_broker = health.problem.as_deref();
        let troubles = [
            (Trouble::Disk, problem, disk),
            (Trouble::Broker, of_broker, broker),
        ];
        let mut rows = Vec::new();
        for (trouble, problem, told) in troubles {
            if let Some((kind, since)) = told {
                let notice = Notice {
                    unit: self.worries.name.clone(),
                    number: self.worries.next_number(now),
                    since,
                    ..Notice::of_service(trouble, kind, problem.unwrap_or_default())
                };
                rows.extend(notifier.queue(&notice));
            }
        }
        self.keeper.note_queued(rows);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: u64) -> Now {
        Now {
            mono: Mono(seconds * 1000),
            wall: Wall(1_780_293_600_000 + i64::try_from(seconds).unwrap() * 1000),
        }
    }

    #[test]
    fn it_is_told_once_when_it_lasts_and_once_when_it_is_over() {
        let mut worry = Worry::default();
        let mut look =
            |lasts, seconds| worry.look(lasts, Duration::from_secs(60), at(seconds), false);
        assert_eq!(look(true, 0), None);
        assert_eq!(look(true, 59), None);
        assert_eq!(look(false, 60), None, "what was not told is not over");
        assert_eq!(look(true, 100), None);
        assert_eq!(look(true, 159), None, "it began anew");
        let since = at(100).date();
        assert_eq!(look(true, 160), Some((NoticeKind::Raised, since)));
        assert_eq!(look(true, 1000), None);
        assert_eq!(look(false, 1001), Some((NoticeKind::Cleared, since)));
        assert_eq!(look(false, 1002), None);
    }

    #[test]
    fn in_quiet_hours_it_waits_for_their_end() {
        let mut worry = Worry::default();
        let mut look =
            |lasts, seconds, quiet| worry.look(lasts, Duration::from_secs(60), at(seconds), quiet);
        let since = |seconds| at(seconds).date();
        assert_eq!(look(true, 0, true), None);
        assert_eq!(look(true, 100, true), None);
        assert_eq!(look(false, 200, true), None, "over before the morning");
        assert_eq!(look(false, 300, false), None);
        assert_eq!(look(true, 400, true), None);
        let raised = Some((NoticeKind::Raised, since(400)));
        assert_eq!(look(true, 500, false), raised);
        assert_eq!(look(false, 600, true), None, "the end waits, too");
        let cleared = Some((NoticeKind::Cleared, since(400)));
        assert_eq!(look(false, 700, false), cleared);
    }

    /// A target takes no number twice, nor one below the last.
    #[test]
    fn numbers_grow_whatever_the_clock_says() {
        let key = |unit: &str| ("phone".to_owned(), unit.to_owned());
        let marks = BTreeMap::from([(key("status"), 2_000_000_000_000), (key("u"), u64::MAX)]);
        let places = crate::config::from_text(
            "u.toml",
            "[unit.u]\n[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n",
            &BTreeMap::new(),
            None,
        )
        .unwrap()
        .publish;
        let mut worries = Worries::new(&places, &marks);
        assert_eq!(worries.next_number(at(0)), 2_000_000_000_001);
        let mut worries = Worries::new(&places, &BTreeMap::new());
        assert_eq!(worries.next_number(at(0)), 1_780_293_600_000);
        assert_eq!(worries.next_number(at(0)), 1_780_293_600_001);
    }
}
