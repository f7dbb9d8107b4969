//! How often people are told what a sensor sends that is no reading, or an odd count: a board that sends both
//! good and bad by turns would fill every log.

use std::time::Duration;

use crate::time::Mono;

/// Of messages that are no readings the first is told, and after a reading the next …
const NOTHING_AGAIN: Duration = Duration::from_secs(600);
/// … and of odd counts the first of each minute; both at the earliest so much later. All are counted.
const ODD_AGAIN: Duration = Duration::from_secs(60);

/// What was told when.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Telling {
    /// Whether the last message was no reading.
    is_nothing: bool,
    nothing_at: Option<Mono>,
    odd_at: Option<Mono>,
}

impl Telling {
    /// No reading came: whether that is told.
    pub fn nothing(&mut self, now: Mono) -> bool {
        !std::mem::replace(&mut self.is_nothing, true)
            && is_due(&mut self.nothing_at, now, NOTHING_AGAIN)
    }

    /// A reading came.
    pub fn reading(&mut self) {
        self.is_nothing = false;
    }

    /// An odd count came: whether that is told.
    pub fn odd(&mut self, now: Mono) -> bool {
        is_due(&mut self.odd_at, now, ODD_AGAIN)
    }
}

fn is_due(told: &mut Option<Mono>, now: Mono, pause: Duration) -> bool {
    let is_due = told.is_none_or(|at| now.since(at) >= pause);
    if is_due {
        *told = Some(now);
    }
    is_due
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_by_turns_is_told_now_and_then() {
        let mut telling = Telling::default();
        let told = (0..3600).filter(|second| {
            telling.reading();
            telling.nothing(Mono(second * 1000))
        });
        assert_eq!(told.count(), 6);
        // Without a reading between them they are told once.
        let told = (3600..7200).filter(|second| telling.nothing(Mono(second * 1000)));
        assert_eq!(told.count(), 0);
        let told = (0..600).filter(|second| telling.odd(Mono(second * 1000)));
        assert_eq!(told.count(), 10);
    }
}
