//! A flow meter: rates, ever-growing counts and increments become litres and a flow.
//!
//! Litres are never negative and never more than the pipe can carry in the time that passed. Rates
//! are integrated by trapezium, never across a gap longer than the sensor's `max_age`; counts make
//! up for any gap by themselves. A burst of late messages adds its litres but makes no flow.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{counted_flow::CountedFlow, known::Lack, output::MeterEvent};
use crate::{
    config::{CountConversion, Measure, SensorSettings},
    quantity::{Flow, Volume},
    time::{Mono, Now, Wall},
};

/// What a meter keeps across restarts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct MeterState {
    /// The last count heard live or late.
    pub count: Option<f64>,
    /// When that was.
    pub at: Option<Wall>,
    /// Packet ids and values of the last increments, to know a redelivery.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recent: Vec<(u16, f64)>,
}

/// The packet a message came in, for messages that must not be counted twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Packet {
    /// MQTT packet identifier.
    pub id: u16,
    /// Whether the broker says it may have sent it before.
    pub duplicate: bool,
}

/// Increments remembered however old: more than brokers are meant to keep in flight (often 20).
const REMEMBERED: usize = 64;
/// Common brokers (Mosquitto 2.0.11, watched: 570) have far more in flight while they hand out a
/// queue, so all of the last minutes are remembered …
const REMEMBERED_FOR: Duration = Duration::from_secs(300);
/// … up to this: four times the usual length of such a queue.
const MOST_REMEMBERED: usize = 4096;

/// How a reading reached us.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrival {
    /// Just now.
    Live,
    /// Queued by the broker while we were away: of unknown age.
    Late,
    /// Retained by the broker: of unknown age.
    Retained,
}

/// A flow meter.
#[derive(Clone, Debug)]
pub struct Meter {
    state: MeterState,
    /// When this process began to hear it: the date of the last count before.
    resumed_from: Option<Wall>,
    /// The last live count or rate.
    last_at: Option<Mono>,
    /// What the pipe can still have carried without being counted: it grows with time and shrinks
    /// with every litre counted, so that many messages at once carry no more than one.
    credit_litres: f64,
    credit_at: Option<Mono>,
    /// Whether the count before was live, so that the two make a flow.
    follows_live: bool,
    /// None until two readings close enough together made one.
    flow: Option<Flow>,
    counted: CountedFlow,
    /// Litres heard since they were last taken.
    litres: f64,
    /// Litres taken before in this process.
    taken: f64,
    /// Whether it told of some stretch of time since the litres were last taken.
    reported: bool,
    /// Seconds that no rate covered.
    unmeasured_seconds: f64,
    /// When each of the remembered increments was heard in this process.
    recent_at: Vec<Mono>,
}

/// Without a trustworthy clock a count is believed up to what the pipe carries in this time.
const BLIND_GAP: Duration = Duration::from_secs(24 * 3600);
/// Firmware reports a little late or in pairs; the pipe's limit is taken over at least this time.
const SHORTEST_STEP: Duration = Duration::from_secs(10);

impl Meter {
    /// A meter as it was kept.
    #[must_use]
    pub fn new(state: MeterState) -> Self {
        Self {
            resumed_from: state.at,
            state,
            last_at: None,
            credit_litres: 0.0,
            credit_at: None,
            follows_live: false,
            flow: None,
            counted: CountedFlow::default(),
            litres: 0.0,
            taken: 0.0,
            reported: false,
            unmeasured_seconds: 0.0,
            recent_at: Vec::new(),
        }
    }

    /// What to keep across restarts.
    #[must_use]
    pub fn state(&self) -> &MeterState {
        &self.state
    }

    /// The present flow, or that it is below the meter's range, or that it takes another count to
    /// know. Whether it is still fresh is the sensor's business.
    pub(super) fn flow(&self, settings: &SensorSettings) -> Result<Flow, Lack> {
        match self.flow {
            None => Err(Lack::TooEarly),
            Some(flow) if flow < minimum(settings) => Err(Lack::BelowRange(settings.at)),
            Some(flow) => Ok(flow),
        }
    }

    /// Litres heard since last asked.
    pub(super) fn take(&mut self) -> Volume {
        self.reported = false;
        self.taken += self.litres;
        Volume::from_litres(std::mem::take(&mut self.litres))
    }

    /// Every litre heard in this process, whoever took it.
    pub(super) fn heard(&self) -> Volume {
        Volume::from_litres(self.taken + self.litres)
    }

    /// Whether it told of some stretch of time since the litres were last taken. What only sets a
    /// base tells of none.
    pub(super) fn has_reported(&self) -> bool {
        self.reported
    }

    /// Seconds no rate covered, since last asked.
    pub(super) fn take_unmeasured_seconds(&mut self) -> f64 {
        std::mem::take(&mut self.unmeasured_seconds)
    }

    /// The next count only sets a new base: another meter covered the time since.
    pub(super) fn forget_base(&mut self) {
        self.state.count = None;
        self.last_at = None;
        self.follows_live = false;
    }

    /// A rate, already a flow within the sensor's range.
    pub(super) fn rate(
        &mut self,
        now: Now,
        flow: Flow,
        arrival: Arrival,
        settings: &SensorSettings,
    ) {
        if arrival != Arrival::Live {
            return;
        }
        if let Some(last) = self.last_at {
            let gap = now.mono.since(last);
            if gap > settings.max_age {
                self.unmeasured_seconds += gap.as_secs_f64();
            } else {
                let in_range = |flow: Flow| {
                    if flow < minimum(settings) {
                        Flow::ZERO
                    } else {
                        flow
                    }
                };
                let before = self.flow.map_or(Flow::ZERO, in_range);
                let mean = (before + in_range(flow)) / 2.0;
                self.litres += mean.over_seconds(gap.as_secs_f64()).litres();
            }
            self.reported = true;
        }
        self.last_at = Some(now.mono);
        self.flow = Some(flow);
    }

    /// An ever-growing count.
    pub(super) fn count(
        &mut self,
        now: Now,
        count: f64,
        arrival: Arrival,
        settings: &SensorSettings,
    ) -> Option<MeterEvent> {
        let Measure::Pulses {
            litres,
            wrap,
            maximum,
            ..
        } = &settings.measure
        else {
            return None;
        };
        if arrival == Arrival::Retained {
            // Shown at best; a base set from it could be older than the one we kept.
            return None;
        }
        let seconds = self.step_seconds(now, arrival);
        let most = self.most_litres(now, *maximum);
        let believable = |counts: f64| counts == 0.0 || litres.litres(counts, seconds) <= most;
        let (counts, event) = match self.state.count {
            None => (0.0, None),
            Some(last) if count >= last && believable(count - last) => (count - last, None),
            Some(last) if count >= last => (0.0, Some(MeterEvent::TooMuch { last, count })),
            Some(last) => match wrap {
                Some(wrap) if last <= *wrap && believable(wrap - last + count) => {
                    (wrap - last + count, None)
                }
                // A reboot starts at zero. A value that fell only a little is one that firmware
                // had stored some time ago: the water since then is unknown, none is invented.
                _ if count <= last / 2.0 && believable(count) => {
                    (count, Some(MeterEvent::Restarted { last, count }))
                }
                _ => (0.0, Some(MeterEvent::FellBack { last, count })),
            },
        };
        self.add_counts(now, counts, arrival, litres, settings);
        self.reported |= self.state.count.is_some();
        self.state.count = Some(count);
        self.state.at = now.date();
        event
    }

    /// Whether the broker brings a count again that lies behind: it does not know what we had of it when a
    /// connection was cut. Taken for a count that fell back, it would let all that follows count twice.
    pub(super) fn has_passed(&self, count: f64, packet: Option<Packet>) -> bool {
        packet.is_some_and(|packet| packet.duplicate)
            && self.state.count.is_some_and(|last| count < last)
    }

    /// Counts since the message before. A redelivery of one already counted adds nothing.
    pub(super) fn increment(
        &mut self,
        now: Now,
        counts: f64,
        arrival: Arrival,
        packet: Option<Packet>,
        settings: &SensorSettings,
    ) -> Option<MeterEvent> {
        let Measure::Increments {
            litres, maximum, ..
        } = &settings.measure
        else {
            return None;
        };
        if arrival == Arrival::Retained {
            return None;
        }
        if let Some(packet) = packet {
            if packet.duplicate && self.state.recent.contains(&(packet.id, counts)) {
                return None;
            }
            self.remember(now, packet, counts);
        }
        let volume = litres.litres(counts, self.step_seconds(now, arrival));
        let event = if counts < 0.0 || volume > self.most_litres(now, *maximum) {
            Some(MeterEvent::TooMuch {
                last: 0.0,
                count: counts,
            })
        } else {
            self.add_counts(now, counts, arrival, litres, settings);
            None
        };
        self.state.at = now.date();
        self.reported = true;
        event
    }

    fn remember(&mut self, now: Now, packet: Packet, counts: f64) {
        // What was kept across a restart is taken as heard just now.
        self.recent_at.resize(self.state.recent.len(), now.mono);
        self.recent_at.push(now.mono);
        self.state.recent.push((packet.id, counts));
        let is_old = |at: &&Mono| now.mono.since(**at) > REMEMBERED_FOR;
        let old = self.recent_at.iter().take_while(is_old).count();
        let length = self.state.recent.len();
        let forgotten = old
            .min(length.saturating_sub(REMEMBERED))
            .max(length.saturating_sub(MOST_REMEMBERED));
        self.state.recent.drain(..forgotten);
        self.recent_at.drain(..forgotten);
    }

    /// Time since the last live count: by the monotonic clock within this process, by dates across
    /// a restart, and a day when no clock tells.
    fn elapsed(&self, now: Now) -> Duration {
        match (self.last_at, self.resumed_from) {
            (Some(last), _) => now.mono.since(last),
            (None, Some(date)) => now.wall.since(date).unwrap_or(BLIND_GAP),
            (None, None) => BLIND_GAP,
        }
    }

    /// The time a count is taken to have needed. In a burst of late messages the arrival says
    /// nothing, but firmware reports at its usual interval.
    fn step_seconds(&self, now: Now, arrival: Arrival) -> f64 {
        if arrival == Arrival::Late && !self.counted.interval().is_zero() {
            return self.counted.interval().as_secs_f64();
        }
        self.elapsed(now).as_secs_f64()
    }

    /// What the pipe can have carried since the last live count, less what was counted of it.
    fn most_litres(&mut self, now: Now, maximum: Flow) -> f64 {
        let litres = |time: Duration| maximum.over_seconds(time.as_secs_f64()).litres();
        let most = litres(self.elapsed(now).max(SHORTEST_STEP));
        let grown = self
            .credit_at
            .map(|at| self.credit_litres + litres(now.mono.since(at)));
        self.credit_litres = grown.map_or(most, |grown| grown.min(most));
        self.credit_at = Some(now.mono);
        self.credit_litres
    }

    fn add_counts(
        &mut self,
        now: Now,
        counts: f64,
        arrival: Arrival,
        litres: &CountConversion,
        settings: &SensorSettings,
    ) {
        let volume = litres.litres(counts, self.step_seconds(now, arrival));
        self.litres += volume;
        self.credit_litres -= volume;
        if arrival == Arrival::Late {
            self.follows_live = false;
            return;
        }
        let is_near = |at: &Mono| now.mono.since(*at) <= settings.max_age;
        let near = self.last_at.filter(is_near);
        match near.filter(|_| self.follows_live) {
            Some(last) => {
                let step = now.mono.since(last);
                if counts > 0.0 {
                    self.counted
                        .rose(now.mono, Volume::from_litres(volume), step);
                } else {
                    let one = litres.litres(1.0, step.as_secs_f64());
                    self.counted.stood(now.mono, Volume::from_litres(one));
                }
                self.flow = Some(self.counted.flow());
            }
            // The mean over a gap is not the flow of now, nor is the flow from before it.
            None => {
                self.counted.begin(now.mono);
                self.flow = self.flow.filter(|_| near.is_some());
            }
        }
        self.last_at = Some(now.mono);
        self.follows_live = true;
    }
}

/// The flow below which the meter sees nothing it can be believed about.
pub(super) fn minimum(settings: &SensorSettings) -> Flow {
    match &settings.measure {
        Measure::Rate { minimum, .. }
        | Measure::Pulses { minimum, .. }
        | Measure::Increments { minimum, .. } => *minimum,
        Measure::Gauge { .. } | Measure::Contact { .. } => Flow::ZERO,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Curve, Point};

    fn settings(litres: CountConversion, wrap: Option<f64>) -> SensorSettings {
        SensorSettings {
            id: "permeate_flow".to_owned(),
            at: Point::PermeateFlow,
            after_stage: None,
            topic: crate::config::Topic::new("t"),
            pointer: None,
            time_pointer: None,
            measure: Measure::Pulses {
                litres,
                wrap,
                minimum: Flow::ZERO,
                maximum: Flow::from_l_per_min(2.0),
            },
            max_age: Duration::from_secs(60),
            plausible: None,
            smoothing: 1,
            spare: false,
            availability: None,
        }
    }

    fn at(seconds: u64) -> Now {
        Now {
            mono: Mono(seconds * 1000),
            wall: Wall(1_795_597_200_000 + i64::try_from(seconds).unwrap() * 1000),
        }
    }

    /// Litres of a row of (second, count) on a meter of 1000 counts to the litre, 2 L/min at most.
    fn litres_of(wrap: Option<f64>, row: &[(u64, f64)]) -> f64 {
        let settings = settings(CountConversion::Litres(0.001), wrap);
        let mut meter = Meter::new(MeterState::default());
        for &(second, count) in row {
            meter.count(at(second), count, Arrival::Live, &settings);
        }
        meter.take().litres()
    }

    #[test]
    fn counts_become_litres_and_nothing_else_does() {
        // 2 L/min is 333 counts in 10 s. Worked out by hand.
        for (wrap, row, expected) in [
            (None, vec![(0, 5000.0)], 0.0),
            (None, vec![(0, 5000.0), (10, 5100.0)], 0.1),
            // Restarted at zero: what was counted since counts.
            (None, vec![(0, 5000.0), (10, 100.0)], 0.1),
            // Fell back to an older value: nothing, and on from there.
            (None, vec![(0, 5000.0), (10, 4900.0), (20, 5000.0)], 0.1),
            // More than the pipe carries: nothing, and on from there.
            (None, vec![(0, 5000.0), (10, 9000.0), (20, 9100.0)], 0.1),
            (Some(65_536.0), vec![(0, 65_500.0), (10, 64.0)], 0.1),
            // A reset looks like a wrap, but a wrap would be 35 L in 10 s.
            (Some(65_536.0), vec![(0, 30_000.0), (10, 100.0)], 0.1),
            // A count that cannot be: beyond its own wrap.
            (Some(65_536.0), vec![(0, 70_000.0), (10, 12.5)], 0.0125),
            // A gap makes up for itself: a minute at most carries 2 L.
            (None, vec![(0, 0.0), (60, 2000.0)], 2.0),
        ] {
            let found = litres_of(wrap, &row);
            assert!(
                (found - expected).abs() < 1e-9,
                "{row:?}: {found}, not {expected}"
            );
        }
    }

    #[test]
    fn many_messages_at_once_carry_no_more_than_one() {
        // In 10 s at most 0.333 L, with 10 s of slack at the start: 20 messages of 0.3 L within a
        // second cannot all be true.
        let row: Vec<(u64, f64)> = (0..20)
            .map(|step| (step / 19, f64::from(u32::try_from(step).unwrap()) * 300.0))
            .collect();
        let found = litres_of(None, &row);
        assert!(found <= 2.0 * 11.0 / 60.0 + 1e-9, "{found}");
        assert!(found >= 0.3, "{found}");
    }

    #[test]
    fn a_flow_takes_two_counts_near_each_other() {
        let settings = settings(CountConversion::Litres(0.001), None);
        let mut meter = Meter::new(MeterState::default());
        let mut flow_after = |second, count| {
            meter.count(at(second), count, Arrival::Live, &settings);
            meter.flow(&settings).map(Flow::l_per_min)
        };
        assert_eq!(flow_after(0, 0.0), Err(Lack::TooEarly));
        assert_eq!(flow_after(10, 25.0), Ok(0.15));
        // max_age is 60 s: the mean over 61 s is not the flow of now, nor is the one before.
        assert_eq!(flow_after(71, 100.0), Err(Lack::TooEarly));
        assert_eq!(flow_after(81, 125.0), Ok(0.15));
    }

    #[test]
    fn a_calibrated_counter_follows_its_curve() {
        // 10 pulses/s are 1 L/min and 20 are 4 L/min: at 15 pulses/s 2.5 L/min; here 5 pulses/s in
        // 10 s, 0.5 L/min, 0.0833 L.
        let curve = Curve::Piecewise(vec![(0.0, 0.0), (10.0, 1.0), (20.0, 4.0)]);
        let settings = settings(CountConversion::Calibrated(curve), None);
        let mut meter = Meter::new(MeterState::default());
        meter.count(at(0), 0.0, Arrival::Live, &settings);
        meter.count(at(10), 50.0, Arrival::Live, &settings);
        assert!((meter.take().litres() - 0.5 / 6.0).abs() < 1e-9);
    }

    #[test]
    fn a_redelivered_increment_counts_once() {
        let mut settings = settings(CountConversion::Litres(0.001), None);
        settings.measure = Measure::Increments {
            litres: CountConversion::Litres(0.001),
            minimum: Flow::ZERO,
            maximum: Flow::from_l_per_min(2.0),
        };
        let mut meter = Meter::new(MeterState::default());
        for (second, duplicate) in [(0, false), (1, true), (2, false)] {
            let packet = Some(Packet { id: 7, duplicate });
            meter.increment(at(second), 50.0, Arrival::Live, packet, &settings);
        }
        // The second is the broker's repetition; the third a new message that happens to be alike.
        assert!((meter.take().litres() - 0.1).abs() < 1e-9);
        let odd = meter.increment(at(60), -5.0, Arrival::Live, None, &settings);
        assert!(odd.is_some() && meter.take() == Volume::ZERO);
    }
}
