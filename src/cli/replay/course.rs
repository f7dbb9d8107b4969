//! A log's course: its entries through the core, each at its own time, with everything that falls due
//! between them. What comes of it goes to an audience.

use std::{collections::BTreeMap, io};

use serde::Deserialize as _;

use crate::{
    config::Settings,
    core::{Event, RunRecord, UnitState},
    installation::{Incoming, Installation, Record},
    time::{Mono, Now, Wall},
    wire::{
        Outgoing,
        log::{Entry, Mark, What},
    },
};

/// Who is told what comes of it.
pub(super) trait Audience {
    /// An entry of the log comes next.
    fn entry(&mut self, _entry: &Entry) {}
    /// A message the service would have published then.
    fn message(&mut self, time: Wall, message: Outgoing) -> io::Result<()>;
    /// Something happened to that unit; it is published, too.
    fn event(&mut self, _unit: &str, _event: &Event) {}
    /// A run of that unit ended.
    fn run(&mut self, _unit: &str, _run: &RunRecord) {}
}

/// Why it cannot go on.
#[derive(Debug, thiserror::Error)]
pub(super) enum CourseError {
    /// The audience is gone.
    #[error(transparent)]
    Audience(#[from] io::Error),
    /// What the service had kept when it began cannot be read.
    #[error("the `state` in it cannot be read: {0}")]
    State(#[from] serde_json::Error),
}

/// The time of a log, from entry to entry. What measured itself by a clock that cannot be set is believed;
/// else the wall clock measures, and where it jumps back no time passes.
#[derive(Default)]
pub(super) struct Pace {
    before: Option<(Option<Mono>, Wall)>,
}

impl Pace {
    /// Milliseconds since the entry before.
    pub(super) fn step(&mut self, entry: &Entry) -> u64 {
        let is_new_clock = matches!(
            entry.what,
            What::Mark(Mark::Began(_) | Mark::ServiceBegan(_))
        );
        let Some((mono, wall)) = self.before.replace((entry.mono, entry.time)) else {
            return 0;
        };
        match (mono, entry.mono) {
            (Some(before), Some(now)) if now >= before && !is_new_clock => now.0 - before.0,
            (Some(_) | None, Some(_) | None) => u64::try_from(entry.time.0 - wall.0).unwrap_or(0),
        }
    }
}

/// The core on the log's clock.
pub(super) struct Course<'a> {
    settings: &'a Settings,
    place: Option<Place>,
    pace: Pace,
    is_ended: bool,
}

struct Place {
    installation: Installation,
    now: Now,
}

impl<'a> Course<'a> {
    pub(super) fn new(settings: &'a Settings) -> Self {
        Self {
            settings,
            place: None,
            pace: Pace::default(),
            is_ended: false,
        }
    }

    /// Takes an entry.
    pub(super) fn take(
        &mut self,
        entry: &Entry,
        audience: &mut impl Audience,
    ) -> Result<(), CourseError> {
        let mut step = self.pace.step(entry);
        self.is_ended = matches!(entry.what, What::Mark(Mark::Ended));
        if let What::Mark(Mark::ServiceBegan(state)) = &entry.what {
            // Whatever was there before ended with the service it was.
            let kept = match state {
                serde_json::Value::Null => BTreeMap::new(),
                state => BTreeMap::<String, UnitState>::deserialize(state)?,
            };
            self.place = Some(Place::begin(self.settings, entry, kept));
            step = 0;
        }
        let place = self
            .place
            .get_or_insert_with(|| Place::begin(self.settings, entry, BTreeMap::new()));
        place.go_on(step, entry.time, audience)?;
        match &entry.what {
            What::Message(message) => {
                let message = Incoming {
                    topic: &message.topic,
                    payload: &message.payload,
                    arrival: message.arrival,
                    packet: message.packet,
                };
                place.installation.hear(place.now, message);
            }
            What::Readings(readings) => {
                let readings = readings.iter();
                let readings =
                    readings.map(|reading| (reading.unit, reading.sensor, &*reading.text));
                place.installation.hear_readings(place.now, readings);
            }
            What::Mark(
                Mark::Began(_) | Mark::ServiceBegan(_) | Mark::Looked | Mark::Gap(..) | Mark::Ended,
            ) => {}
        }
        Ok(place.tell(place.now.wall, audience)?)
    }

    /// What the last messages changed is published one interval later, unless the recording says when it
    /// ended.
    pub(super) fn end(&mut self, audience: &mut impl Audience) -> io::Result<()> {
        let interval = u64::try_from(self.settings.publish.interval.as_millis()).unwrap_or(0);
        let later = i64::try_from(interval).unwrap_or(0);
        match &mut self.place {
            Some(place) if !self.is_ended => {
                let wall = Wall(place.now.wall.0.saturating_add(later));
                place.go_on(interval, wall, audience)
            }
            Some(_) | None => Ok(()),
        }
    }
}

impl Place {
    fn begin(settings: &Settings, entry: &Entry, mut kept: BTreeMap<String, UnitState>) -> Self {
        let now = Now {
            mono: entry.mono.unwrap_or_default(),
            wall: entry.time,
        };
        let kept = |id: &str| kept.remove(id).unwrap_or_default();
        Self {
            installation: Installation::new(settings, kept, now),
            now,
        }
    }

    /// Lets time pass, with everything that falls due on the way.
    fn go_on(&mut self, step: u64, wall: Wall, audience: &mut impl Audience) -> io::Result<()> {
        let mono = Mono(self.now.mono.0.saturating_add(step));
        self.now = Now { mono, wall };
        while let Some(at) = (self.installation.deadline()).filter(|at| *at <= self.now.mono) {
            let ago = i64::try_from(self.now.mono.0 - at.0).unwrap_or(0);
            let moment = Now {
                mono: at,
                wall: Wall(wall.0 - ago),
            };
            self.installation.advance(moment);
            self.tell(moment.wall, audience)?;
        }
        Ok(())
    }

    fn tell(&mut self, time: Wall, audience: &mut impl Audience) -> io::Result<()> {
        while let Some(message) = self.installation.drain() {
            audience.message(time, message)?;
        }
        for (unit, event) in self.installation.take_events() {
            audience.event(&unit, &event);
        }
        for record in self.installation.take_records() {
            match record {
                Record::Notice(unit, notice) => {
                    audience.message(time, self.installation.message_of(&unit, &notice))?;
                    self.installation.delivered(&unit, notice.number);
                }
                Record::Run(unit, run) => audience.run(&unit, &run),
                Record::Alert(..) | Record::Entry(..) | Record::Sample(..) | Record::Stage(..) => {}
            }
        }
        Ok(())
    }
}
