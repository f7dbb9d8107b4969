//! Notices: what a person is told of an alert, numbered, and kept until it was handed over.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::{Code, Severity, caution, check_first};
use crate::time::Wall;

/// Why a person is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoticeKind {
    /// It was raised.
    Raised,
    /// It is still active.
    Reminder,
    /// It is over.
    Cleared,
}

impl NoticeKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Raised, Self::Reminder, Self::Cleared];

    /// As written in messages.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Reminder => "reminder",
            Self::Cleared => "cleared",
        }
    }

    /// What stands before the alert's title.
    pub(crate) fn opening(self) -> &'static str {
        match self {
            Self::Raised => "",
            Self::Reminder => "Still: ",
            Self::Cleared => "Over: ",
        }
    }
}

/// Characters a title has at most: what a phone shows in one line.
pub const LONGEST_TITLE: usize = 49;
/// Characters a text has at most: a phone shows the first of them folded up, and all of them opened.
pub const LONGEST_TEXT: usize = 480;

/// What a person is told of an alert.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Notice {
    /// Its number in this unit, from 1: one that comes again is the same.
    pub number: u64,
    /// Why it is told.
    pub kind: NoticeKind,
    /// Of which alert.
    pub code: Code,
    /// The stage or sensor it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// How urgent.
    pub severity: Severity,
    /// At most [`LONGEST_TITLE`] characters.
    pub title: String,
    /// At most [`LONGEST_TEXT`] characters.
    pub text: String,
    /// Since when the alert is, or was, active, if the clock was set.
    pub since: Option<Wall>,
    /// When it is told, if the clock was set.
    pub time: Option<Wall>,
    /// Keys of alerts it explains, which are not told themselves.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<String>,
}

impl Notice {
    /// The alert's key: the code, and what it is about behind a slash. The same for everything that is
    /// told of one alert, so that a later notice may take an earlier one's place.
    #[must_use]
    pub fn key(&self) -> String {
        key(self.code, self.about.as_deref().unwrap_or_default())
    }

    /// What to check first; nothing once it is over.
    #[must_use]
    pub fn check_first(&self) -> Option<&'static str> {
        (self.kind != NoticeKind::Cleared).then(|| check_first(self.code))
    }

    /// The caution that belongs to it.
    #[must_use]
    pub fn caution(&self) -> Option<&'static str> {
        caution(self.code)
    }
}

/// The key of an alert in topics and the store.
pub(super) fn key(code: Code, about: &str) -> String {
    if about.is_empty() {
        code.key().to_owned()
    } else {
        format!("{}/{about}", code.key())
    }
}

/// `Unit: Still: Leak`, with the unit's name where there is room.
pub(super) fn title(kind: NoticeKind, unit: &str, alert: &str, subject: &str) -> String {
    let subject = if subject.is_empty() {
        String::new()
    } else {
        format!(" ({subject})")
    };
    let own = format!("{}{alert}{subject}", kind.opening());
    let whole = format!("{unit}: {own}");
    if whole.chars().count() <= LONGEST_TITLE {
        whole
    } else {
        shortened(&own, LONGEST_TITLE)
    }
}

/// Cut behind a sentence, else behind a word, where it is longer than `most` characters.
pub(crate) fn shortened(text: &str, most: usize) -> String {
    let Some((end, _)) = text.char_indices().nth(most) else {
        return text.to_owned();
    };
    let fits = &text[..end];
    // A point within a number is no end; half of a short text says more than its first sentence.
    if let Some(stop) = fits.rfind(". ").filter(|stop| *stop >= end / 2) {
        return fits[..=stop].to_owned();
    }
    let room = text
        .char_indices()
        .nth(most.saturating_sub(1))
        .map_or(end, |(at, _)| at);
    let fits = &text[..room];
    let word = fits.rfind(' ').unwrap_or(room);
    format!("{}…", fits[..word].trim_end_matches([',', ':', ';', ' ']))
}

/// So many wait at most; a broker that is away for months costs no memory.
const MOST: usize = 100;

/// The notices of a unit: the last number, and those that were not handed over yet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Notices {
    last: u64,
    pending: VecDeque<Notice>,
    /// How many were dropped because too many waited.
    dropped: u64,
}

impl Notices {
    /// The number of the next notice.
    pub(super) fn next_number(&self) -> u64 {
        self.last + 1
    }

    /// Keeps a notice until it is delivered.
    pub(super) fn add(&mut self, notice: Notice) {
        self.last = self.last.max(notice.number);
        self.pending.push_back(notice);
        if self.pending.len() > MOST {
            // What is least missed: the oldest reminder, else the oldest that is not critical.
            let reminder = |notice: &Notice| notice.kind == NoticeKind::Reminder;
            let minor = |notice: &Notice| notice.severity < Severity::Critical;
            let place = (self.pending.iter().position(reminder))
                .or_else(|| self.pending.iter().position(minor))
                .unwrap_or(0);
            self.pending.remove(place);
            self.dropped += 1;
        }
    }

    /// Those that were not handed over yet, oldest first.
    pub fn pending(&self) -> impl Iterator<Item = &Notice> {
        self.pending.iter()
    }

    /// How many were dropped since the beginning because too many waited.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Forgets one that was handed over. Returns whether it was waiting.
    pub(super) fn delivered(&mut self, number: u64) -> bool {
        let place = self
            .pending
            .iter()
            .position(|notice| notice.number == number);
        place.is_some_and(|place| self.pending.remove(place).is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notice(number: u64, kind: NoticeKind, severity: Severity) -> Notice {
        Notice {
            number,
            kind,
            code: Code::Leak,
            about: None,
            severity,
            title: String::new(),
            text: String::new(),
            since: None,
            time: None,
            also: Vec::new(),
        }
    }

    #[test]
    fn a_full_outbox_drops_what_is_least_missed_and_counts_it() {
        let mut notices = Notices::default();
        notices.add(notice(1, NoticeKind::Raised, Severity::Critical));
        notices.add(notice(2, NoticeKind::Raised, Severity::Warning));
        notices.add(notice(3, NoticeKind::Reminder, Severity::Critical));
        for number in 4..=MOST as u64 {
            notices.add(notice(number, NoticeKind::Raised, Severity::Critical));
        }
        let numbers = |notices: &Notices| -> Vec<u64> {
            notices
                .pending()
                .take(3)
                .map(|notice| notice.number)
                .collect()
        };
        assert_eq!(numbers(&notices), [1, 2, 3]);
        notices.add(notice(101, NoticeKind::Raised, Severity::Critical));
        assert_eq!(numbers(&notices), [1, 2, 4]);
        notices.add(notice(102, NoticeKind::Raised, Severity::Critical));
        assert_eq!(numbers(&notices), [1, 4, 5]);
        notices.add(notice(103, NoticeKind::Raised, Severity::Critical));
        assert_eq!(numbers(&notices), [4, 5, 6]);
        assert_eq!((notices.dropped(), notices.pending().count()), (3, MOST));
    }

    #[test]
    fn a_number_is_delivered_once_and_never_used_again() {
        let mut notices = Notices::default();
        notices.add(notice(1, NoticeKind::Raised, Severity::Warning));
        assert!(notices.delivered(1) && !notices.delivered(1));
        assert_eq!(notices.next_number(), 2);
    }

    #[test]
    fn every_alert_s_title_fits_with_its_opening_and_is_whole() {
        for code in Code::ALL {
            for kind in NoticeKind::ALL {
                let own = super::super::title(code);
                let found = title(kind, &"u".repeat(64), own, "");
                assert!(found.chars().count() <= LONGEST_TITLE && found.ends_with(own));
                let found = title(kind, "unit", own, &"s".repeat(64));
                assert!(found.chars().count() <= LONGEST_TITLE, "{found}");
            }
        }
    }

    #[test]
    fn titles_and_texts_keep_to_their_length() {
        let long = "A unit with a name that is as long as names may be";
        for (unit, expected) in [
            ("Kitchen", "Kitchen: Still: Sensor silent (feed_tds)"),
            (long, "Still: Sensor silent (feed_tds)"),
        ] {
            let title = title(NoticeKind::Reminder, unit, "Sensor silent", "feed_tds");
            assert_eq!(title, expected);
        }
        let two = "The first sentence has 2.5 L and an end. The second goes beyond.";
        assert_eq!(
            shortened(two, 50),
            "The first sentence has 2.5 L and an end."
        );
        assert_eq!(shortened(two, 30), "The first sentence has 2.5 L…");
        assert_eq!(shortened(two, 64), two);
        assert_eq!(shortened("µµµµ", 3), "µµ…");
        let short = "So. What comes next says more than that.";
        assert_eq!(shortened(short, 20), "So. What comes…");
    }
}
