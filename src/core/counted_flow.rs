//! A flow from counts. Counts come in lumps and messages at uneven times, so the flow is taken
//! from change to change, over about ten seconds where changes come faster than that.

use std::{collections::VecDeque, time::Duration};

use crate::{
    quantity::{Flow, Volume},
    time::Mono,
};

/// Changes within this time are taken together.
const WINDOW: Duration = Duration::from_secs(10);
/// Changes closer together than this are one: it bounds what is remembered.
const SPACING: Duration = Duration::from_millis(500);
/// A slow count (litres apart) is at rest once this many of its own intervals passed without one.
const REST_AFTER_INTERVALS: f64 = 2.5;

/// Follows the flow behind a count.
#[derive(Clone, Debug, Default)]
pub(super) struct CountedFlow {
    flow: Flow,
    /// When the count changed, with the litres counted until then; the newest last.
    changes: VecDeque<(Mono, f64)>,
    litres: f64,
    interval: Duration,
}

impl CountedFlow {
    /// The present flow.
    pub fn flow(&self) -> Flow {
        self.flow
    }

    /// The time between the last two changes; zero while that is not known.
    pub fn interval(&self) -> Duration {
        self.interval
    }

    /// A count of which only the moment is known, not what passed since the one before.
    pub fn begin(&mut self, now: Mono) {
        self.flow = Flow::ZERO;
        self.changes.clear();
        self.changes.push_back((now, self.litres));
    }

    /// The count rose by `volume` since the message `step` ago.
    pub fn rose(&mut self, now: Mono, volume: Volume, step: Duration) {
        if self.flow == Flow::ZERO {
            // After a rest the last change is long ago: the flow began since the last message.
            self.begin(Mono(
                now.0
                    .saturating_sub(u64::try_from(step.as_millis()).unwrap_or(0)),
            ));
        }
        self.litres += volume.litres();
        let previous = self.changes.back().map_or(now, |(at, _)| *at);
        while self
            .changes
            .get(1)
            .is_some_and(|(at, _)| now.since(*at) >= WINDOW)
        {
            self.changes.pop_front();
        }
        if let Some((since, litres)) = self.changes.front() {
            let seconds = now.since(*since).as_secs_f64();
            if seconds > 0.0 {
                self.flow = Volume::from_litres(self.litres - litres).per_seconds(seconds);
            }
        }
        let interval = now.since(previous);
        if interval >= SPACING {
            self.interval = interval;
            self.changes.push_back((now, self.litres));
        }
    }

    /// The count stood still: no more than one count (`volume`) passed since the last change, and
    /// nothing flows once it has stood for long.
    pub fn stood(&mut self, now: Mono, volume: Volume) {
        let Some((last, _)) = self.changes.back() else {
            return;
        };
        let seconds = now.since(*last).as_secs_f64();
        if seconds > REST_AFTER_INTERVALS * self.interval.as_secs_f64() {
            self.flow = Flow::ZERO;
        } else if seconds > 0.0 {
            self.flow = self.flow.min(volume.per_seconds(seconds));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds (seconds, litres since the last) and returns the flow after each, in L/min.
    fn flows(steps: &[(f64, f64)], litres_per_count: f64) -> Vec<f64> {
        let mut flow = CountedFlow::default();
        let mut last = 0.0;
        flow.begin(Mono(0));
        let mut seen = Vec::new();
        for &(seconds, litres) in steps {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let now = Mono((seconds * 1000.0) as u64);
            if litres > 0.0 {
                flow.rose(
                    now,
                    Volume::from_litres(litres),
                    Duration::from_secs_f64(seconds - last),
                );
            } else {
                flow.stood(now, Volume::from_litres(litres_per_count));
            }
            last = seconds;
            seen.push(flow.flow().l_per_min());
        }
        seen
    }

    #[test]
    fn jitter_of_the_messages_is_averaged_out() {
        // 0.6 L/min is 0.01 L a second; the messages come up to 0.2 s early or late.
        let steps: Vec<(f64, f64)> = (1..60u32)
            .map(|n| (f64::from(n) + if n % 2 == 0 { 0.2 } else { -0.2 }, 0.01))
            .collect();
        for flow in flows(&steps, 0.001).into_iter().skip(12) {
            assert!((flow - 0.6).abs() < 0.6 * 0.05, "{flow}");
        }
    }

    #[test]
    fn a_coarse_count_is_timed_from_change_to_change() {
        // One litre a count, one count every 150 s: 0.4 L/min, told every 50 s.
        let steps: Vec<(f64, f64)> = (1..20u32)
            .map(|n| (f64::from(n) * 50.0, if n % 3 == 0 { 1.0 } else { 0.0 }))
            .collect();
        let seen = flows(&steps, 1.0);
        assert!((seen[17] - 0.4).abs() < 1e-9, "{seen:?}");
        let mut steps = steps;
        // After 2.5 intervals without a count it is at rest.
        steps.extend([(1200.0, 0.0), (1300.0, 0.0)]);
        let seen = flows(&steps, 1.0);
        assert!(seen[19] > 0.0 && seen[20] == 0.0, "{seen:?}");
    }

    #[test]
    fn it_rises_and_stops_within_a_message() {
        let seen = flows(
            &[(10.0, 0.0), (11.0, 0.01), (12.0, 0.01), (13.0, 0.0)],
            0.001,
        );
        assert!(
            (seen[1] - 0.6).abs() < 1e-9 && (seen[2] - 0.6).abs() < 1e-9,
            "{seen:?}"
        );
        assert!(
            seen[3] <= 0.06,
            "no more than one count in the last second: {seen:?}"
        );
    }
}
