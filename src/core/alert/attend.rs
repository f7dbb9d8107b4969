//! Goes through the alerts of a unit and tells people what they are to be told; takes what the keeper
//! says to an alert.

use std::time::Duration;

use jiff::tz::TimeZone;

use super::{
    Alert, NoticeKind, Severity, Subject,
    because::Scene,
    care::Standing,
    caution, check_first,
    notice::{self, LONGEST_TEXT, Notice, Notices},
    quiet, title,
};
use crate::{
    core::{
        Keep,
        output::{EventKind, Output},
        unit::Unit,
    },
    quantity::duration_text,
    time::{Mono, Now, Wall},
};

/// While an alert is active, or its end is not told yet, it is looked after this often. What is told at
/// once does not wait for it.
const EVERY: Duration = Duration::from_secs(30);

/// What a keeper says to an alert.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Seen.
    Acknowledge {
        /// What the keeper adds in words.
        note: Option<String>,
    },
    /// Be silent for so long.
    Snooze {
        /// 5 minutes to 30 days.
        length: Duration,
    },
}

/// Stands for every active alert where a key is wanted.
pub const ALL_ALERTS: &str = "all";

impl Unit {
    /// Whether the alerts are to be looked after, when none of them changed.
    pub(in crate::core) fn is_attention_due(&self, now: Mono) -> bool {
        self.attend_at.is_some_and(|at| now >= at)
    }

    /// Whether what is not critical waits for the morning.
    #[must_use]
    pub fn is_quiet(&self, now: Now) -> bool {
        quiet::is_quiet(&self.settings, now)
    }

    /// Tells what is to be told now.
    pub(in crate::core) fn attend(&mut self, now: Now) {
        self.attend_at = None;
        if self
            .alerts
            .iter()
            .all(|alert| !alert.is_active() && alert.care.is_idle())
        {
            return;
        }
        self.attend_at = Some(now.mono.after(EVERY));
        self.find_causes(now);
        let quiet = self.is_quiet(now);
        let remind = self.settings.notices.remind;
        let mut told = Vec::new();
        for (index, alert) in self.alerts.iter_mut().enumerate() {
            if !alert.is_active() && alert.care.is_idle() {
                continue;
            }
            let severity = alert.severity();
            let standing = Standing {
                active: alert.is_active(),
                since: alert.since(),
                severity,
                explained: alert.because.is_some(),
                hold: alert.hold,
                waits: quiet && severity < Severity::Critical,
                remind,
            };
            let (since, heeded) = (alert.care.since(), alert.care.heed.is_some());
            let kind = alert.care.review(now, &standing);
            if kind.is_some() || heeded != alert.care.heed.is_some() {
                self.outputs.push_back(Output::AlertChanged(index));
                self.keep = self.keep.max(Keep::Soon);
            }
            if let Some(kind) = kind {
                told.push((index, kind, alert.care.since().or(since)));
            }
        }
        for (index, kind, since) in told {
            self.tell(now, index, kind, since);
        }
    }

    /// Notes which alert explains which.
    fn find_causes(&mut self, now: Now) {
        let explained = Scene {
            alerts: &self.alerts,
            settings: &self.settings,
            stages: &self.stages,
            train: &self.train,
            now: now.mono,
        }
        .explained();
        for index in 0..self.alerts.len() {
            let cause = explained.get(index).copied().flatten();
            let because = cause
                .and_then(|cause| self.alerts.get(cause))
                .map(Alert::key);
            if let Some(alert) = self.alerts.get_mut(index)
                && alert.because != because
            {
                alert.because = because;
                self.outputs.push_back(Output::AlertChanged(index));
            }
        }
    }

    /// Tells people of an alert. It is safe with the same checkpoint that holds that they were told.
    fn tell(&mut self, now: Now, index: usize, kind: NoticeKind, since: Option<Wall>) {
        let Some(alert) = self.alerts.get(index) else {
            return;
        };
        let key = alert.key();
        let mut also: Vec<String> = Vec::new();
        if kind != NoticeKind::Cleared {
            let explained = self.alerts.iter();
            let explained = explained.filter(|other| other.because.as_ref() == Some(&key));
            also.extend(explained.map(Alert::key));
        }
        let notice = Notice {
            number: self.notices.next_number(),
            kind,
            code: alert.code,
            about: Some(alert.subject_id.clone()).filter(|id| !id.is_empty()),
            severity: alert.severity(),
            title: notice::title(
                kind,
                &self.settings.name,
                title(alert.code),
                self.subject_name(alert),
            ),
            text: text(alert, kind, since, &also, now, &self.settings.time_zone),
            since,
            time: now.date(),
            also,
        };
        if kind == NoticeKind::Reminder {
            let told = notice.text.clone();
            self.event(now, EventKind::AlertReminded, Some(key), told);
        }
        self.notices.add(notice.clone());
        self.outputs.push_back(Output::Notice(Box::new(notice)));
        self.keep = Keep::Now;
    }

    /// What people call what the alert is about; empty for the unit.
    fn subject_name<'a>(&'a self, alert: &'a Alert) -> &'a str {
        match alert.subject {
            Subject::Stage(stage) => {
                let stage = self.settings.stages.get(stage);
                stage.map_or(&alert.subject_id, |stage| &stage.name)
            }
            Subject::Sensor(_) | Subject::Unit => &alert.subject_id,
        }
    }

    /// Gives out again what was told and not yet handed over when the state was kept.
    pub(in crate::core) fn tell_again(&mut self) {
        let pending = self.notices.pending().cloned();
        self.outputs
            .extend(pending.map(|notice| Output::Notice(Box::new(notice))));
    }

    /// A notice was handed over: it need not be kept any more.
    pub fn delivered(&mut self, number: u64) {
        if self.notices.delivered(number) {
            self.keep = Keep::Now;
        }
    }

    /// Notices that were not handed over yet, oldest first.
    #[must_use]
    pub fn notices(&self) -> &Notices {
        &self.notices
    }

    /// Takes what the keeper says to an alert, or refuses it with the reason.
    pub(in crate::core) fn take_answer(&mut self, now: Now, key: &str, answer: &Answer) {
        let command = format!("alert/{key}/{}", answer.key());
        let meant: Vec<usize> = (0..self.alerts.len())
            .filter(|index| {
                let alert = self.alerts.get(*index);
                alert.is_some_and(|alert| {
                    alert.key() == key || (key == ALL_ALERTS && alert.is_active())
                })
            })
            .collect();
        let active = |index: &usize| self.alerts.get(*index).is_some_and(Alert::is_active);
        if let Some(reason) = self.refusal(key, &meant) {
            self.refuse(now, &command, reason);
            return;
        }
        let active: Vec<usize> = meant.into_iter().filter(active).collect();
        for index in &active {
            if let Some(alert) = self.alerts.get_mut(*index) {
                alert.answer(now, answer);
                self.outputs.push_back(Output::AlertChanged(*index));
            }
            if let Answer::Acknowledge { note } = answer {
                self.acknowledge_episode(now, *index, note.clone());
            }
        }
        let names: Vec<&str> = active
            .iter()
            .filter_map(|index| Some(title(self.alerts.get(*index)?.code)))
            .collect();
        let text = format!("{}: {}", names.join(", "), answer.done());
        self.event(now, EventKind::CommandDone, Some(command), text);
        self.attend(now);
    }

    /// Why nothing can be said to it, if so.
    fn refusal(&self, key: &str, meant: &[usize]) -> Option<String> {
        let active: Vec<String> = self
            .alerts
            .iter()
            .filter(|alert| alert.is_active())
            .map(Alert::key)
            .collect();
        let now = if active.is_empty() {
            "no alert is active".to_owned()
        } else {
            format!("active are {}", active.join(", "))
        };
        if meant.is_empty() && key == ALL_ALERTS {
            return Some(now);
        }
        if meant.is_empty() {
            return Some(format!("this unit has no alert {key:?}; {now}"));
        }
        let some = meant
            .iter()
            .any(|index| self.alerts.get(*index).is_some_and(Alert::is_active));
        (!some).then(|| format!("the alert {key} is not active; {now}"))
    }
}

impl Answer {
    /// The last level of the command.
    #[must_use]
    pub fn key(&self) -> &'static str {
        match self {
            Self::Acknowledge { .. } => "acknowledge",
            Self::Snooze { .. } => "snooze",
        }
    }

    fn done(&self) -> String {
        match self {
            Self::Acknowledge { .. } => {
                "acknowledged; not told again unless it becomes worse or comes back.".to_owned()
            }
            Self::Snooze { length } => {
                format!(
                    "silent for {}, then told again if it is still active.",
                    duration_text(*length)
                )
            }
        }
    }
}

impl Alert {
    fn answer(&mut self, now: Now, answer: &Answer) {
        match answer {
            Answer::Acknowledge { note } => {
                self.care.acknowledge(now, self.severity(), note.clone());
            }
            Answer::Snooze { length } => self.care.snooze(now, *length),
        }
    }
}

/// In days, hours or minutes: nobody wants to know it closer.
fn roughly(span: Duration) -> String {
    let seconds = span.as_secs();
    let grain = match seconds {
        172_800.. => 86_400,
        3600.. => 3600,
        _ => 60,
    };
    duration_text(Duration::from_secs(seconds / grain * grain))
}

/// When it began, by the owner's clock; with the day where that is not today.
fn since_when(since: Wall, now: Now, zone: &TimeZone) -> Option<String> {
    let (day, time) = (since.day_in(zone)?, since.time_in(zone)?);
    let time = time.strftime("%H:%M");
    if now.wall.day_in(zone) == Some(day) {
        Some(format!("Since {time}."))
    } else {
        Some(format!("Since {} {time}.", day.strftime("%-d %b")))
    }
}

/// All that somebody needs who has nothing but a phone at hand: what was seen, since when, what it
/// explains, what to check first, and the caution where it is critical; the last where there is room.
fn text(
    alert: &Alert,
    kind: NoticeKind,
    since: Option<Wall>,
    also: &[String],
    now: Now,
    zone: &TimeZone,
) -> String {
    let seen = alert.seen.as_ref().map_or("", |seen| &seen.sentence);
    let lasted = now
        .date()
        .zip(since)
        .and_then(|(date, since)| date.since(since))
        .map(roughly);
    let mut parts = match (kind, lasted) {
        (NoticeKind::Cleared, Some(lasted)) => {
            vec![format!("All is well again after {lasted}. It was: {seen}")]
        }
        (NoticeKind::Cleared, None) => vec![format!("All is well again. It was: {seen}")],
        (NoticeKind::Reminder, Some(lasted)) => vec![format!("For {lasted} now: {seen}")],
        (NoticeKind::Reminder | NoticeKind::Raised, _) => vec![seen.to_owned()],
    };
    if kind == NoticeKind::Raised {
        parts.extend(since.and_then(|since| since_when(since, now, zone)));
    }
    match also {
        [] => {}
        [one] => parts.push(format!("It explains {one}, too.")),
        several => parts.push(format!("It explains {} more alerts.", several.len())),
    }
    if kind != NoticeKind::Cleared {
        parts.push(check_first(alert.code).to_owned());
        let critical = alert.severity() == Severity::Critical;
        parts.extend(caution(alert.code).filter(|_| critical).map(str::to_owned));
    }
    let mut whole = String::new();
    for part in parts {
        let longer = format!("{whole} {part}");
        if !whole.is_empty() && longer.trim().chars().count() > LONGEST_TEXT {
            break;
        }
        whole = longer.trim().to_owned();
    }
    notice::shortened(&whole, LONGEST_TEXT)
}

#[cfg(test)]
mod tests {
    use std::{collections::BTreeMap, sync::Arc};

    use super::*;
    use crate::{
        config,
        core::{
            UnitState,
            alert::{Code, Seen},
        },
    };

    /// Central European time was an hour ahead of UTC on 1 and 2 March 2026 (EU directive 2000/84/EC).
    #[test]
    fn since_when_is_told_by_the_owner_s_clock() {
        let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let now = Now {
            mono: Mono(0),
            wall: Wall::from_rfc3339("2026-03-02T07:00:00Z").unwrap(),
        };
        for (since, expected) in [
            ("2026-03-02T02:10:00Z", Some("Since 03:10.")),
            ("2026-03-01T23:00:00Z", Some("Since 00:00.")),
            ("2026-03-01T22:59:00Z", Some("Since 1 Mar 23:59.")),
            ("1970-01-01T00:00:10Z", None),
        ] {
            let since = Wall::from_rfc3339(since).unwrap();
            assert_eq!(since_when(since, now, &zone).as_deref(), expected);
        }
    }

    #[test]
    fn what_lasts_is_told_in_whole_minutes_hours_or_days() {
        for (seconds, whole) in [
            (119, 60),
            (3599, 3540),
            (3600, 3600),
            (7300, 7200),
            (172_799, 169_200),
            (172_800, 172_800),
            (260_000, 259_200),
        ] {
            let expected = duration_text(Duration::from_secs(whole));
            assert_eq!(roughly(Duration::from_secs(seconds)), expected, "{seconds}");
        }
    }

    #[test]
    fn a_notice_says_what_it_was_how_long_and_what_else_and_fits() {
        let config = "[broker]\nurl = \"mqtt://localhost\"\n[[unit.u.sensor]]\nat = \"leak\"\ntopic = \"t\"\n";
        let settings = config::from_text("test", config, &BTreeMap::new(), None).unwrap();
        let now = Now {
            mono: Mono(0),
            wall: Wall::from_rfc3339("2026-03-02T07:00:00Z").unwrap(),
        };
        let settings = Arc::new(settings.units[0].clone());
        let unit = Unit::new(settings, UnitState::default(), now);
        let leak = unit.alerts().iter().find(|alert| alert.code == Code::Leak);
        let mut alert = leak.unwrap().clone();
        let since = Wall::from_rfc3339("2026-03-02T02:10:00Z");
        let mut said = |kind, also: &[&str], sentence: &str| {
            alert.seen = Some(Box::new(Seen::words(sentence.to_owned())));
            let also: Vec<String> = also.iter().map(|key| (*key).to_owned()).collect();
            text(&alert, kind, since, &also, now, &TimeZone::UTC)
        };
        assert_eq!(
            said(NoticeKind::Cleared, &[], "Wet."),
            "All is well again after 4 h. It was: Wet."
        );
        let told = said(NoticeKind::Raised, &["a"], "Wet.");
        assert!(
            told.starts_with("Wet. Since 02:10. It explains a, too. "),
            "{told}"
        );
        // All of it, and the caution, for a leak is critical.
        let (check, warning) = (check_first(Code::Leak), caution(Code::Leak).unwrap());
        assert!(told.ends_with(&format!("too. {check} {warning}")), "{told}");
        assert!(warning.contains("no flood protection"), "{warning}");
        // A part that does not fit is left out as a whole.
        let long = "drop ".repeat(90);
        let told = said(NoticeKind::Raised, &[], &long);
        assert_eq!(told, format!("{} Since 02:10.", long.trim()));
        let told = said(NoticeKind::Reminder, &["a", "b", "c"], "Wet.");
        assert!(
            told.starts_with("For 4 h now: Wet. It explains 3 more alerts. "),
            "{told}"
        );
        let told = said(NoticeKind::Raised, &[], &"drop ".repeat(120));
        assert!(
            told.starts_with("drop drop") && told.ends_with("drop…"),
            "{told}"
        );
        assert!((LONGEST_TEXT - 9..=LONGEST_TEXT).contains(&told.chars().count()));
    }
}
