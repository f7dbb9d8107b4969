//! What a keeper tells a unit, and what it does then. Every command is answered.

use std::time::Duration;

use super::{
    Keep,
    hand_test::{HandResult, HandTest},
    hold_test::HoldTestRequest,
    journal::Deed,
    output::{EventKind, Output},
    unit::Unit,
};
use crate::{
    config::StageKind,
    time::{Now, Wall},
};

/// What a keeper may tell the unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// A stage was replaced, on a day in the past or now.
    Replaced {
        /// Index of the stage.
        stage: usize,
        /// When, if not now.
        date: Option<Wall>,
    },
    /// The next settled runs shall make a new baseline.
    Rebaseline,
    /// The unit is closed: its pressure shall be watched.
    StartHoldTest(HoldTestRequest),
    /// The pressure hold test shall end.
    StopHoldTest,
    /// A test by hand.
    Test {
        /// Which.
        test: HandTest,
        /// What was found; its entry is numbered here.
        result: HandResult,
    },
}

/// A second "replaced" within this time is the same press of the button, or its redelivery.
const SAME_REPLACEMENT: Duration = Duration::from_secs(60);

impl Unit {
    /// Does what the keeper says.
    pub fn command(&mut self, now: Now, command: Command) {
        self.keep = Keep::Now;
        self.dues_at = None;
        match command {
            Command::Test { test, mut result } => {
                let deed = Deed::Test {
                    test,
                    value: result.value,
                    after: result.after.clone(),
                };
                result.entry = self.journal.add(now.date(), result.date, deed, None).number;
                let text = format!("{}: {} taken.", test.key(), result.value);
                self.hand_tests.take(test, result);
                self.take_chemistry();
                self.answer(now, &format!("test/{}", test.key()), &text);
            }
            Command::Replaced { stage, date } => self.replace(now, stage, date),
            Command::Rebaseline => {
                self.membrane.rebaseline();
                self.take_in();
                self.answer(
                    now,
                    "membrane/rebaseline",
                    "The next settled runs make a new baseline.",
                );
            }
            Command::StartHoldTest(request) => self.start_hold_test(now, request),
            Command::StopHoldTest => self.stop_hold_test(now),
        }
        self.look(now);
    }

    /// Refuses a command: nothing changes, and the answer says what was wrong.
    pub fn refuse(&mut self, now: Now, command: &str, reason: String) {
        self.event(
            now,
            EventKind::CommandRefused,
            Some(command.to_owned()),
            reason,
        );
    }

    fn replace(&mut self, now: Now, index: usize, date: Option<Wall>) {
        let Some(stage) = self.stages.get_mut(index) else {
            return;
        };
        let (id, name) = (stage.settings().id.clone(), stage.settings().name.clone());
        let command = format!("stage/{id}/replaced");
        let age = stage.state().installed.and_then(|at| now.wall.since(at));
        let fresh = age.is_some_and(|age| age < SAME_REPLACEMENT);
        if fresh && date.is_none() {
            self.answer(
                now,
                &command,
                &format!("{name} was replaced a moment ago; nothing more was done."),
            );
            return;
        }
        let is_membrane = stage.settings().kind == StageKind::Membrane;
        self.watch.hydraulics.replaced(stage.settings().kind);
        let load = stage.state().load;
        let record = stage.replace(now, date);
        self.costs.replaced(now, &id, &self.settings);
        self.fillings.replaced(index, load, &mut self.stages);
        self.take_replacement(now, index, date);
        if is_membrane {
            self.membrane = self.membrane.replaced();
            self.take_in();
        }
        let text = format!(
            "{name} was replaced after {:.0} L.",
            record.treated.litres()
        );
        self.event(now, EventKind::StageReplaced, Some(id), text.clone());
        self.outputs
            .push_back(Output::StageReplaced(Box::new(record)));
        self.answer(now, &command, &text);
    }

    pub(super) fn answer(&mut self, now: Now, command: &str, text: &str) {
        self.event(
            now,
            EventKind::CommandDone,
            Some(command.to_owned()),
            text.to_owned(),
        );
    }
}
