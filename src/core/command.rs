//! What a keeper tells a unit. Every command is answered; what is done about the maintenance log stands
//! in `maintenance.rs`.

use super::{
    Keep, alert::Answer, filling::Replacement, hand_test::HandTest, hold_test::HoldTestRequest,
    output::EventKind, unit::Unit,
};
use crate::time::{Now, Wall};

/// What a keeper may tell the unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Something is said to an alert.
    Answer {
        /// The alert's key, or [`ALL_ALERTS`](super::alert::ALL_ALERTS).
        alert: String,
        /// What.
        answer: Answer,
    },
    /// An earlier entry of the maintenance log is put right.
    Correct(Correction),
    /// Words for the maintenance log.
    Note(Remark),
    /// The next settled runs shall make a new baseline.
    Rebaseline,
    /// A stage was replaced, on a day in the past or now.
    Replaced(Replacement),
    /// The unit was sanitised.
    Sanitised(Remark),
    /// The unit is closed: its pressure shall be watched.
    StartHoldTest(HoldTestRequest),
    /// The pressure hold test shall end.
    StopHoldTest,
    /// A test by hand.
    Test(Tested),
    /// An earlier entry of the maintenance log does not hold.
    Withdraw {
        /// Its number.
        entry: u64,
        /// Words.
        note: Option<String>,
    },
}

/// When, and in words.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Remark {
    /// When, if not now.
    pub date: Option<Wall>,
    /// Words.
    pub note: Option<String>,
}

/// A test by hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Tested {
    /// Which.
    pub test: HandTest,
    /// What was found, in the unit of the test.
    pub value: f64,
    /// The id of the stage behind which the water was taken.
    pub after: Option<String>,
    /// When, if not now.
    pub date: Option<Wall>,
    /// Words.
    pub note: Option<String>,
}

/// What of an earlier entry shall be different. `Some(None)` takes a particular away.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Correction {
    /// Its number.
    pub entry: u64,
    /// When it was done.
    pub date: Option<Wall>,
    /// Lot or batch.
    pub lot: Option<Option<String>>,
    /// Price, in the configured currency.
    pub price: Option<Option<f64>>,
    /// Words.
    pub note: Option<Option<String>>,
    /// What was found, as told: a number in the unit of the test, or with a unit of its own.
    pub value: Option<String>,
}

impl Unit {
    /// Does what the keeper says.
    pub fn command(&mut self, now: Now, command: Command) {
        self.keep = Keep::Now;
        self.dues_at = None;
        self.found_at = None;
        match command {
            Command::Answer { alert, answer } => self.take_answer(now, &alert, &answer),
            Command::Correct(correction) => self.correct(now, correction),
            Command::Note(remark) => self.note(now, remark),
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
            Command::Replaced(replacement) => self.replace(now, replacement),
            Command::Sanitised(remark) => self.sanitised(now, remark),
            Command::Test(tested) => self.tested(now, tested),
            Command::Withdraw { entry, note } => self.withdraw(now, entry, note),
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

    pub(super) fn answer(&mut self, now: Now, command: &str, text: &str) {
        self.event(
            now,
            EventKind::CommandDone,
            Some(command.to_owned()),
            text.to_owned(),
        );
    }
}
