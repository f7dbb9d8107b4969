//! One sensor: what was heard, how fresh it is, and the quantity it stands for.

mod shown;
mod telling;

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::{
    doubt::Doubt,
    known::Lack,
    meter::{Arrival, Meter, MeterState, Packet},
    output::MeterEvent,
};
pub(super) use shown::Sent;
use telling::Telling;

use crate::{
    config::{Measure, SensorSettings, SharedSensor},
    quantity::Flow,
    time::{Mono, Now},
};

/// What a message said about a sensor.
#[derive(Clone, Debug, PartialEq)]
pub enum Observation {
    /// A number, as the firmware sends it.
    Number(f64),
    /// A contact's yes or no.
    Contact(bool),
    /// Nothing usable (empty, `nan`, wrong JSON …), and why: counted, never a zero.
    Nothing(String),
    /// The firmware says it is up or down.
    Available(bool),
}

/// Counts of what a sensor sent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tally {
    /// Readings used.
    pub readings: u64,
    /// Messages that were no reading.
    pub nothing: u64,
    /// Readings outside what is believable.
    pub implausible: u64,
}

/// A sensor.
#[derive(Clone, Debug)]
pub struct Sensor {
    settings: SharedSensor,
    kind: Kind,
    last_live: Option<Mono>,
    /// When it will have been silent for too long.
    silent_at: Mono,
    unconfirmed: Option<f64>,
    implausible: bool,
    offline: bool,
    telling: Telling,
    tally: Tally,
    sent: Sent,
    doubt: Option<Doubt>,
}

#[derive(Clone, Debug)]
enum Kind {
    Gauge(Gauge),
    Meter(Box<Meter>),
    Contact(Option<bool>),
}

/// A gauge's last few values in the base unit, and their median: taken when a value comes, for it is
/// asked for many times before the next one does.
#[derive(Clone, Debug)]
struct Gauge {
    values: VecDeque<f64>,
    median: Option<f64>,
}

impl Gauge {
    fn push(&mut self, value: f64, smoothing: usize) {
        if self.values.len() >= smoothing {
            self.values.pop_front();
        }
        self.values.push_back(value);
        self.median = median(&self.values);
    }
}

/// What became of an observation.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Heard {
    /// A count was odd.
    pub odd: Option<MeterEvent>,
    /// Why the first message in a row is no reading.
    pub first_nothing: Option<String>,
    /// An increment was counted: it can not be had again.
    pub counted: bool,
}

impl Sensor {
    /// A sensor of which nothing was heard in this process yet.
    pub(super) fn new(settings: SharedSensor, meter: MeterState, started: Mono) -> Self {
        let kind = match &settings.measure {
            Measure::Gauge { .. } => Kind::Gauge(Gauge {
                values: VecDeque::with_capacity(settings.smoothing),
                median: None,
            }),
            Measure::Rate { .. } | Measure::Pulses { .. } | Measure::Increments { .. } => {
                Kind::Meter(Box::new(Meter::new(meter)))
            }
            Measure::Contact { .. } => Kind::Contact(None),
        };
        Self {
            silent_at: started.after(settings.max_age),
            settings,
            kind,
            last_live: None,
            unconfirmed: None,
            implausible: false,
            offline: false,
            telling: Telling::default(),
            tally: Tally::default(),
            sent: Sent::default(),
            doubt: None,
        }
    }

    /// Its settings.
    #[must_use]
    pub fn settings(&self) -> &SensorSettings {
        &self.settings
    }

    /// What it sent so far.
    #[must_use]
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// Its flow meter, if it is one.
    pub(super) fn meter(&mut self) -> Option<&mut Meter> {
        if let Kind::Meter(meter) = &mut self.kind {
            Some(meter)
        } else {
            None
        }
    }

    /// What its flow meter keeps across restarts.
    pub(super) fn meter_state(&self) -> Option<&MeterState> {
        if let Kind::Meter(meter) = &self.kind {
            Some(meter.state())
        } else {
            None
        }
    }

    /// Hears something.
    pub(super) fn observe(
        &mut self,
        now: Now,
        observation: Observation,
        arrival: Arrival,
        packet: Option<Packet>,
    ) -> Heard {
        match observation {
            Observation::Available(up) => {
                self.offline = !up;
                Heard::default()
            }
            Observation::Nothing(why) => {
                self.tally.nothing += 1;
                Heard {
                    first_nothing: Some(why).filter(|_| self.telling.nothing(now.mono)),
                    ..Heard::default()
                }
            }
            Observation::Contact(on) => {
                if let Kind::Contact(state) = &mut self.kind {
                    if arrival == Arrival::Live {
                        *state = Some(on);
                    } else {
                        self.unconfirmed = Some(f64::from(u8::from(on)));
                    }
                    self.accept(now, arrival);
                }
                Heard::default()
            }
            Observation::Number(raw) => self.number(now, raw, arrival, packet),
        }
    }

    fn number(&mut self, now: Now, raw: f64, arrival: Arrival, packet: Option<Packet>) -> Heard {
        let mut heard = Heard::default();
        let settings = &self.settings;
        match (&mut self.kind, &settings.measure) {
            (Kind::Gauge(gauge), Measure::Gauge { convert, probe }) => {
                let value = convert.base(raw);
                // Limits of a TDS meter are kept as conductivity.
                let scale = probe.as_ref().and_then(|probe| probe.scale);
                if !believable(
                    settings,
                    scale.map_or(value, |scale| value / scale.factor()),
                ) {
                    return self.refuse(arrival);
                }
                if arrival == Arrival::Live {
                    gauge.push(value, settings.smoothing);
                } else {
                    self.unconfirmed = Some(value);
                }
            }
            (
                Kind::Meter(meter),
                Measure::Rate {
                    convert, maximum, ..
                },
            ) => {
                let flow = convert.flow(raw);
                if flow < Flow::ZERO || flow > *maximum || !believable(settings, flow.l_per_min()) {
                    return self.refuse(arrival);
                }
                meter.rate(now, flow, arrival, settings);
                if arrival != Arrival::Live {
                    self.unconfirmed = Some(flow.l_per_min());
                }
            }
            (Kind::Meter(meter), Measure::Pulses { .. }) => {
                if raw < 0.0 {
                    return self.refuse(arrival);
                }
                if !meter.has_passed(raw, packet) {
                    heard.odd = meter.count(now, raw, arrival, settings);
                }
            }
            (Kind::Meter(meter), Measure::Increments { .. }) => {
                heard.odd = meter.increment(now, raw, arrival, packet, settings);
                heard.counted = raw > 0.0 && heard.odd.is_none() && arrival != Arrival::Retained;
            }
            (Kind::Contact(_) | Kind::Gauge(_) | Kind::Meter(_), _) => {
                // The wire gives contacts words, and every kind was made from its own measure.
                return self.refuse(arrival);
            }
        }
        if arrival == Arrival::Live {
            self.sent.last = raw;
            self.sent.odd += u64::from(heard.odd.is_some());
        }
        self.accept(now, arrival);
        heard.odd = heard.odd.filter(|_| self.telling.odd(now.mono));
        heard
    }

    fn accept(&mut self, now: Now, arrival: Arrival) {
        self.tally.readings += 1;
        self.telling.reading();
        if arrival == Arrival::Live {
            self.sent.readings += 1;
            self.implausible = false;
            self.last_live = Some(now.mono);
            self.silent_at = now.mono.after(self.settings.max_age);
            self.unconfirmed = None;
            // A sensor that speaks is there, whatever its last will said.
            self.offline = false;
        }
    }

    fn refuse(&mut self, arrival: Arrival) -> Heard {
        self.tally.implausible += 1;
        if arrival == Arrival::Live {
            self.sent.refused += 1;
            self.implausible = true;
        }
        Heard::default()
    }

    /// Why it gives no usable value now, if so.
    #[must_use]
    pub fn lack(&self, now: Mono) -> Option<Lack> {
        self.check(now).err()
    }

    /// Why there is no usable value now, if so.
    fn check(&self, now: Mono) -> Result<(), Lack> {
        self.check_heard(now)?;
        match self.doubt {
            Some(_) => Err(Lack::Doubted(self.settings.at)),
            None => Ok(()),
        }
    }

    /// Why there is no fresh reading now, if so; believed or not.
    fn check_heard(&self, now: Mono) -> Result<(), Lack> {
        let at = self.settings.at;
        if self.last_live.is_none() {
            return Err(if self.offline {
                Lack::Offline(at)
            } else if self.implausible {
                Lack::Implausible(at)
            } else if self.unconfirmed.is_some() {
                Lack::Unconfirmed(at)
            } else {
                Lack::NotHeard(at)
            });
        }
        if self.offline {
            Err(Lack::Offline(at))
        } else if now > self.silent_at {
            Err(Lack::Silent(at))
        } else if self.implausible {
            Err(Lack::Implausible(at))
        } else {
            Ok(())
        }
    }

    /// A gauge's value in its base unit: the median of the last few.
    pub(super) fn gauge(&self, now: Mono) -> Result<f64, Lack> {
        self.check(now)?;
        self.median()
    }

    /// A meter's flow.
    pub(super) fn flow(&self, now: Mono) -> Result<Flow, Lack> {
        self.check(now)?;
        self.counted()
    }

    /// A contact's state.
    pub(super) fn contact(&self, now: Mono) -> Result<bool, Lack> {
        self.check(now)?;
        let Kind::Contact(Some(state)) = &self.kind else {
            return Err(Lack::NotHeard(self.settings.at));
        };
        Ok(*state)
    }

    /// A value of unknown age, in the base unit, while no live one was heard.
    pub(super) fn unconfirmed(&self) -> Option<f64> {
        self.unconfirmed.filter(|_| self.last_live.is_none())
    }

    /// When the sensor will have been silent for too long, counted from the start when it was
    /// never heard.
    pub(super) fn silent_at(&self) -> Mono {
        self.silent_at
    }

    /// Whether a live reading was heard in this process.
    pub(super) fn was_heard(&self) -> bool {
        self.last_live.is_some()
    }

    /// When it was last heard live, if ever.
    #[must_use]
    pub fn heard_at(&self) -> Option<Mono> {
        self.last_live
    }

    /// Whether its firmware says it is down.
    pub(super) fn is_offline(&self) -> bool {
        self.offline
    }
}

fn believable(settings: &SensorSettings, value: f64) -> bool {
    value.is_finite()
        && settings
            .plausible
            .is_none_or(|(low, high)| (low..=high).contains(&value))
}

/// The median of a few values, without allocating.
fn median(values: &VecDeque<f64>) -> Option<f64> {
    const MOST: usize = 32;
    let mut sorted = [0.0; MOST];
    let count = values.len().min(MOST);
    for (slot, value) in sorted.iter_mut().zip(values) {
        *slot = *value;
    }
    let sorted = &mut sorted[..count];
    sorted.sort_unstable_by(f64::total_cmp);
    match count {
        0 => None,
        n if n % 2 == 1 => Some(sorted[n / 2]),
        n => Some((sorted[n / 2 - 1] + sorted[n / 2]) / 2.0),
    }
}
