//! An alert from its raising to its end, for the record: a report shows what was wrong, and when. What
//! comes back within ten minutes of its end is the same episode, as it is for people who are told.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Alert, AlertState, Code, Phase, Severity, care::OVER_AFTER, timer::Timer};
use crate::{
    core::{Keep, output::Output, unit::Unit},
    time::{Now, Wall},
};

/// An alert from its raising to its end. What has no date happened while the clock was not set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Episode {
    /// Its number in this unit, from 1.
    pub number: u64,
    /// Which alert.
    pub code: Code,
    /// The stage or sensor it was about; `None` for the unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// How urgent it was.
    pub severity: Severity,
    /// What was seen when it was raised, a plain sentence with the figures.
    pub sentence: String,
    /// When it was raised.
    pub raised: Option<Wall>,
    /// How often it was raised: more than once when it came back soon.
    pub times: u32,
    /// What the keeper said to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acknowledged: Option<Acknowledged>,
    /// How it ended; `None` while it lasts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end: Option<End>,
}

/// That the keeper had seen it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Acknowledged {
    /// When.
    pub at: Option<Wall>,
    /// With what words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// How an episode ended.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct End {
    /// When.
    pub at: Option<Wall>,
    /// In which way.
    pub how: Ending,
}

/// The ways an episode ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// All was well again.
    Cleared,
    /// The configuration no longer asks for this alert, or has no longer what it was about.
    NoLongerWatched,
}

/// An alert's present episode, or its last one while it may still go on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ongoing {
    episode: Episode,
    /// Until then it may go on. Runs while it is over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    open: Option<Timer>,
}

impl Ongoing {
    fn begin(number: u64, alert: &Alert, raised: Option<Wall>) -> Self {
        let seen = alert.seen.as_ref();
        Self {
            episode: Episode {
                number,
                code: alert.code,
                about: Some(alert.subject_id.clone()).filter(|id| !id.is_empty()),
                severity: alert.severity(),
                sentence: seen.map(|seen| seen.sentence.clone()).unwrap_or_default(),
                raised,
                times: 1,
                acknowledged: None,
                end: None,
            },
            open: None,
        }
    }

    /// It comes back, if that is soon enough.
    fn comes_back(&mut self, now: Now) -> bool {
        let soon = (self.open.as_mut()).is_none_or(|open| !open.is_over(now));
        if soon {
            self.open = None;
            self.episode.end = None;
            self.episode.times = self.episode.times.saturating_add(1);
        }
        soon
    }

    fn end(&mut self, now: Now, how: Ending) {
        let at = now.date();
        self.episode.end = Some(End { at, how });
        self.open = Some(Timer::new(now, OVER_AFTER));
    }

    /// As it is kept across restarts.
    pub(super) fn kept(&self) -> Self {
        Self {
            episode: self.episode.clone(),
            open: self.open.map(Timer::kept),
        }
    }
}

impl Unit {
    /// An alert was raised.
    pub(in crate::core) fn begin_episode(&mut self, now: Now, index: usize) {
        self.number_episode(index, now.date(), |ongoing| ongoing.comes_back(now));
    }

    /// An alert is over.
    pub(in crate::core) fn end_episode(&mut self, now: Now, index: usize) {
        self.change_episode(index, |ongoing| ongoing.end(now, Ending::Cleared));
    }

    /// The keeper has seen an alert.
    pub(super) fn acknowledge_episode(&mut self, now: Now, index: usize, note: Option<String>) {
        let at = now.date();
        self.change_episode(index, |ongoing| {
            ongoing.episode.acknowledged = Some(Acknowledged { at, note });
        });
    }

    /// After a start: alerts that the configuration no longer has are over, and those an earlier version
    /// raised have no episode yet.
    pub(in crate::core) fn take_up_episodes(
        &mut self,
        now: Now,
        kept: BTreeMap<String, AlertState>,
    ) {
        let has = |key: &str| self.alerts.iter().any(|alert| alert.key() == key);
        let lost: Vec<Box<Ongoing>> = (kept.into_iter())
            .filter(|(key, kept)| kept.life.phase == Phase::Active && !has(key))
            .filter_map(|(_, kept)| kept.episode)
            .collect();
        for mut ongoing in lost {
            ongoing.end(now, Ending::NoLongerWatched);
            self.note_episode(ongoing.episode);
        }
        for index in 0..self.alerts.len() {
            let Some(alert) = self.alerts.get(index) else {
                return;
            };
            if alert.is_active() && alert.episode.is_none() {
                self.number_episode(index, alert.since(), |_| true);
            }
        }
    }

    fn change_episode(&mut self, index: usize, change: impl FnOnce(&mut Ongoing)) {
        let alert = self.alerts.get_mut(index);
        if let Some(ongoing) = alert.and_then(|alert| alert.episode.as_deref_mut()) {
            change(ongoing);
            let episode = ongoing.episode.clone();
            self.note_episode(episode);
        }
    }

    /// Goes on with an alert's episode, or begins one with the next number.
    fn number_episode(
        &mut self,
        index: usize,
        raised: Option<Wall>,
        goes_on: impl FnOnce(&mut Ongoing) -> bool,
    ) {
        let Some(alert) = self.alerts.get_mut(index) else {
            return;
        };
        if !alert.episode.as_deref_mut().is_some_and(goes_on) {
            self.episodes += 1;
            alert.episode = Some(Box::new(Ongoing::begin(self.episodes, alert, raised)));
        }
        self.change_episode(index, |_| {});
    }

    /// It is kept with the same checkpoint as the state that holds it.
    fn note_episode(&mut self, episode: Episode) {
        self.outputs
            .push_back(Output::AlertNoted(Box::new(episode)));
        self.keep = Keep::Now;
    }
}

impl AlertState {
    /// Of which episode it is, or was until just now.
    #[must_use]
    pub fn episode(&self) -> Option<&Episode> {
        self.episode.as_ref().map(|ongoing| &ongoing.episode)
    }
}

#[cfg(test)]
mod tests;
