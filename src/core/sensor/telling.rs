//! How often people are told what a sensor sends that is no reading, or an odd count: a board that sends both
//! good and bad by turns would fill every log.

use std::time::Duration;

use crate::time::Mono;

/// In a stretch of this length …
const STRETCH: Duration = Duration::from_secs(600);
/// … so many of each are told; all are counted.
const MOST: u8 = 3;

/// What was told when.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Telling {
    /// Whether the last message was no reading.
    is_nothing: bool,
    nothing: Stretch,
    odd: Stretch,
}

/// A stretch of time, and how much was told in it.
#[derive(Clone, Copy, Debug, Default)]
struct Stretch {
    began: Mono,
    told: u8,
}

impl Telling {
    /// No reading came: whether that is told. It is told once until one comes.
    pub fn nothing(&mut self, now: Mono) -> bool {
        !std::mem::replace(&mut self.is_nothing, true) && self.nothing.has_room(now)
    }

    /// A reading came.
    pub fn reading(&mut self) {
        self.is_nothing = false;
    }

    /// An odd count came: whether that is told.
    pub fn odd(&mut self, now: Mono) -> bool {
        self.odd.has_room(now)
    }
}

impl Stretch {
    fn has_room(&mut self, now: Mono) -> bool {
        if self.told == 0 || now.since(self.began) >= STRETCH {
            *self = Self {
                began: now,
                told: 0,
            };
        }
        let has_room = self.told < MOST;
        self.told += u8::from(has_room);
        has_room
    }
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
        assert_eq!(told.count(), 6 * 3);
        // Without a reading between them they are told once.
        let told = (3600..7200).filter(|second| telling.nothing(Mono(second * 1000)));
        assert_eq!(told.count(), 0);
        let told = (0..600).filter(|second| telling.odd(Mono(second * 1000)));
        assert_eq!(told.count(), 3);
    }
}
