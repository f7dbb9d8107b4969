//! What came of a log, in short: its length and gaps, each unit's runs, and its alerts.

use std::{fmt::Write as _, io, time::Duration};

use jiff::tz::TimeZone;

use super::course::Audience;
use crate::{
    cli::progress::grouped,
    config::{Display, Settings},
    core::{Event, EventKind, RunRecord, moment},
    metrics::Metric,
    physics::statistics::median,
    quantity::{Volume, duration_text},
    time::Wall,
    wire::{
        Outgoing,
        log::{Entry, Mark, What},
    },
};

/// Gaps that are told one by one.
const MOST_GAPS: usize = 20;

/// The summary as it grows.
pub(super) struct Summary {
    zone: TimeZone,
    units: Vec<UnitSummary>,
    messages: u64,
    first: Option<Wall>,
    last: Option<Wall>,
    /// The longest time without a message, and when it began.
    silence: Option<(Duration, Wall)>,
    heard: Option<Wall>,
    /// Where messages may be missing.
    gaps: Vec<(Wall, Wall, String)>,
    more_gaps: u64,
}

struct UnitSummary {
    id: String,
    name: String,
    display: Display,
    runs: u64,
    seconds: f64,
    feed: Volume,
    permeate: Volume,
    concentrate: Volume,
    rejections: Vec<f64>,
    ended: Option<Wall>,
    /// The longest time between two runs, and when it began.
    pause: Option<(Duration, Wall)>,
    alerts: Vec<AlertSummary>,
}

struct AlertSummary {
    about: String,
    raised: Option<Wall>,
    /// Absent while it lasts.
    cleared: Option<Option<Wall>>,
    text: String,
}

impl Summary {
    pub(super) fn new(settings: &Settings) -> Self {
        let units = settings.units.iter().map(|unit| UnitSummary {
            id: unit.id.clone(),
            name: unit.name.clone(),
            display: unit.display,
            runs: 0,
            seconds: 0.0,
            feed: Volume::default(),
            permeate: Volume::default(),
            concentrate: Volume::default(),
            rejections: Vec::new(),
            ended: None,
            pause: None,
            alerts: Vec::new(),
        });
        Self {
            units: units.collect(),
            zone: settings
                .units
                .first()
                .map_or(TimeZone::UTC, |unit| unit.time_zone.clone()),
            messages: 0,
            first: None,
            last: None,
            silence: None,
            heard: None,
            gaps: Vec::new(),
            more_gaps: 0,
        }
    }

    fn unit(&mut self, id: &str) -> Option<&mut UnitSummary> {
        self.units.iter_mut().find(|unit| unit.id == id)
    }

    /// Everything, as lines.
    pub(super) fn text(&self) -> String {
        let mut text = String::new();
        let (Some(first), Some(last)) = (self.first, self.last) else {
            return "The log is empty.\n".to_owned();
        };
        // Writing to a text cannot fail.
        let _ = writeln!(
            text,
            "{} to {}: {} messages in {}",
            self.moment(first),
            self.moment(last),
            grouped(self.messages),
            duration_text(last.since(first).unwrap_or_default()),
        );
        if let Some((silence, since)) = self.silence {
            let since = self.moment(since);
            let _ = writeln!(
                text,
                "Longest time without a message: {}, from {since}",
                duration_text(silence)
            );
        }
        for (since, until, why) in &self.gaps {
            let (since, until) = (self.moment(*since), self.moment(*until));
            let _ = writeln!(
                text,
                "Messages may be missing: {since} to {until}: {}",
                printable(why)
            );
        }
        if self.more_gaps > 0 {
            let _ = writeln!(text, "… and {} times more", self.more_gaps);
        }
        for unit in &self.units {
            text.push('\n');
            self.tell(unit, &mut text);
        }
        text
    }

    fn tell(&self, unit: &UnitSummary, text: &mut String) {
        let title = if unit.name == unit.id {
            format!("Unit {}", unit.id)
        } else {
            format!("Unit {} ({})", unit.id, printable(&unit.name))
        };
        let volume = |volume| unit.display.volume(volume);
        let runs = match unit.runs {
            0 => "none".to_owned(),
            runs => {
                let time = Duration::try_from_secs_f64(unit.seconds).unwrap_or_default();
                format!("{runs}, {} in all", duration_text(time))
            }
        };
        let mut rows = vec![
            ("runs that ended", runs),
            ("permeate", volume(unit.permeate)),
            ("concentrate", volume(unit.concentrate)),
            ("feed", volume(unit.feed)),
        ];
        let rejection = match median(&mut unit.rejections.clone()) {
            Some(middle) => format!(
                "{middle:.1} % (of {} runs that had one)",
                unit.rejections.len()
            ),
            None => "no run had one".to_owned(),
        };
        rows.push(("rejection, median", rejection));
        if let Some((pause, since)) = unit.pause {
            let pause = format!("{}, from {}", duration_text(pause), self.moment(since));
            rows.push(("longest rest", pause));
        }
        let _ = writeln!(text, "{title}");
        for (name, value) in rows {
            let _ = writeln!(text, "  {name:<18} {value}");
        }
        if unit.alerts.is_empty() {
            let _ = writeln!(text, "  {:<18} none", "alerts");
            return;
        }
        let _ = writeln!(text, "\n  {:<16}  {:<16}  alert", "raised", "cleared");
        let when = |at: Option<Wall>| at.map_or_else(|| "unknown".to_owned(), |at| self.moment(at));
        for alert in &unit.alerts {
            let cleared = alert.cleared.map_or_else(|| "lasts".to_owned(), when);
            let _ = writeln!(
                text,
                "  {:<16}  {cleared:<16}  {}: {}",
                when(alert.raised),
                alert.about,
                printable(&alert.text)
            );
        }
    }

    fn moment(&self, at: Wall) -> String {
        moment(at, &self.zone)
    }
}

impl Audience for Summary {
    fn entry(&mut self, entry: &Entry) {
        self.first.get_or_insert(entry.time);
        self.last = Some(entry.time);
        match &entry.what {
            What::Message(_) | What::Readings(_) => {
                self.messages += 1;
                if let Some(before) = self.heard.replace(entry.time)
                    && let Some(silence) = entry.time.since(before)
                    && self.silence.is_none_or(|(longest, _)| silence > longest)
                {
                    self.silence = Some((silence, before));
                }
            }
            What::Mark(Mark::Gap(since, why)) => {
                if self.gaps.len() < MOST_GAPS {
                    self.gaps.push((*since, entry.time, why.to_string()));
                } else {
                    self.more_gaps += 1;
                }
            }
            What::Mark(Mark::Began(_) | Mark::ServiceBegan(_) | Mark::Looked | Mark::Ended) => {}
        }
    }

    fn message(&mut self, _time: Wall, _message: Outgoing) -> io::Result<()> {
        Ok(())
    }

    fn event(&mut self, unit: &str, event: &Event) {
        let Some(unit) = self.unit(unit) else {
            return;
        };
        let about = event.about.clone().unwrap_or_default();
        match event.event {
            EventKind::AlertRaised => unit.alerts.push(AlertSummary {
                about,
                raised: event.time,
                cleared: None,
                text: event.text.clone(),
            }),
            EventKind::AlertCleared => {
                let mut alerts = unit.alerts.iter_mut().rev();
                if let Some(alert) = alerts.find(|alert| alert.about == about) {
                    alert.cleared = Some(event.time);
                }
            }
            EventKind::AlertReminded
            | EventKind::BaselineSet
            | EventKind::CommandDone
            | EventKind::CommandRefused
            | EventKind::CountOdd
            | EventKind::HoldTestEnded
            | EventKind::NoReading
            | EventKind::RunEnded
            | EventKind::RunStarted
            | EventKind::StageReplaced => {}
        }
    }

    fn run(&mut self, unit: &str, run: &RunRecord) {
        let Some(unit) = self.unit(unit) else {
            return;
        };
        unit.runs += 1;
        unit.seconds += run.seconds;
        unit.feed += run.volumes.feed;
        unit.permeate += run.volumes.permeate;
        unit.concentrate += run.volumes.concentrate;
        let name = Metric::Rejection.description().name;
        let rejection = run.steady.iter().find(|(metric, _)| metric == name);
        unit.rejections
            .extend(rejection.map(|(_, known)| known.value));
        if let (Some(before), Some(started)) = (unit.ended, run.started)
            && let Some(pause) = started.since(before)
            && unit.pause.is_none_or(|(longest, _)| pause > longest)
        {
            unit.pause = Some((pause, before));
        }
        unit.ended = run.ended;
    }
}

/// One line, with nothing that moves a terminal's cursor.
fn printable(text: &str) -> String {
    let plain = |letter: char| if letter.is_control() { ' ' } else { letter };
    text.chars().map(plain).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::core::Known;

    const UNIT: &str =
        "time_zone = \"UTC\"\ndisplay = \"us\"\n[[unit.u.sensor]]\nat = \"pump\"\ntopic = \"b\"\n";

    fn at(text: &str) -> Wall {
        Wall::from_rfc3339(text).unwrap()
    }

    /// 1 US gal = 3.785412 L (NIST SP 811, appendix B); the median of 90, 95 and 97 is 95.
    #[test]
    fn runs_and_alerts_are_told_in_the_owners_units() {
        let settings = crate::config::from_text("t", UNIT, &BTreeMap::new(), None).unwrap();
        let mut summary = Summary::new(&settings);
        assert_eq!(summary.text(), "The log is empty.\n");
        let entry = |time: &str, what| Entry {
            time: at(time),
            mono: None,
            what,
        };
        for (time, what) in [
            ("2026-06-01T06:00:00Z", What::Readings(Vec::new())),
            ("2026-06-01T06:10:00Z", What::Readings(Vec::new())),
            ("2026-06-01T06:11:00Z", What::Readings(Vec::new())),
            (
                "2026-06-01T07:00:00Z",
                What::Mark(Mark::Gap(at("2026-06-01T06:30:00Z"), "away".into())),
            ),
        ] {
            summary.entry(&entry(time, what));
        }
        for (hour, rejection) in [(6, 95.0), (9, 90.0), (10, 97.0)] {
            let mut run = RunRecord {
                started: Some(at(&format!("2026-06-01T{hour:02}:00:00Z"))),
                ended: Some(at(&format!("2026-06-01T{hour:02}:30:00Z"))),
                seconds: 1800.0,
                ..RunRecord::default()
            };
            run.volumes.permeate = Volume::from_litres(3.785_412);
            run.steady
                .push(("rejection_pct".to_owned(), Known::inferred(rejection)));
            summary.run("u", &run);
        }
        let event = |event, time: &str| Event {
            event,
            time: Some(at(time)),
            about: Some("leak".to_owned()),
            text: "Water\nwhere none should be.".to_owned(),
        };
        summary.event("u", &event(EventKind::AlertRaised, "2026-06-01T06:05:00Z"));
        summary.event("u", &event(EventKind::AlertCleared, "2026-06-01T06:06:00Z"));
        summary.event("u", &event(EventKind::AlertRaised, "2026-06-01T06:07:00Z"));
        let text = summary.text();
        for expected in [
            "2026-06-01 06:00 to 2026-06-01 07:00: 3 messages in 60 min",
            "without a message: 10 min, from 2026-06-01 06:00",
            "missing: 2026-06-01 06:30 to 2026-06-01 07:00: away",
            "runs that ended    3, 90 min in all",
            "permeate           3.0 gal",
            "rejection, median  95.0 % (of 3 runs",
            "longest rest       2.5 h, from 2026-06-01 06:30",
            "2026-06-01 06:05  2026-06-01 06:06  leak: Water where none should be.",
            "2026-06-01 06:07  lasts             leak:",
        ] {
            assert!(text.contains(expected), "{expected}: {text}");
        }
    }
}
