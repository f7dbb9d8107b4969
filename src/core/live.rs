//! What is measured and computed at one look, as far as somebody asks for it: what the alerts look at
//! every time is worked out at once, the rest only when it is asked for.

use std::cell::OnceCell;

use super::{known::Finding, performance::Readings, values::Values};
use crate::metrics::Metric;

/// The metrics at one look.
pub(crate) struct Live<'a> {
    readings: &'a Readings<'a>,
    producing: bool,
    judged: &'a Values,
    whole: OnceCell<Values>,
}

impl<'a> Live<'a> {
    /// `judged` is what [`Readings::set_judged`] filled in.
    pub(super) fn new(readings: &'a Readings<'a>, producing: bool, judged: &'a Values) -> Self {
        Self {
            readings,
            producing,
            judged,
            whole: OnceCell::new(),
        }
    }

    /// As if all of `values` had been worked out.
    #[cfg(test)]
    pub(super) fn pretended(
        readings: &'a Readings<'a>,
        producing: bool,
        values: &'a Values,
    ) -> Self {
        let live = Self::new(readings, producing, values);
        live.whole.get_or_init(|| values.clone());
        live
    }

    /// What is known of a metric.
    pub fn of(&self, metric: Metric) -> Finding<f64> {
        if is_judged(metric, self.producing) {
            return self.judged.of(metric);
        }
        let whole = || self.readings.all(self.producing);
        self.whole.get_or_init(whole).of(metric)
    }
}

/// What [`Readings::set_judged`] fills in.
fn is_judged(metric: Metric, producing: bool) -> bool {
    match metric {
        Metric::FeedPressure | Metric::FeedTemperature => true,
        Metric::PermeateFlow
        | Metric::PermeateConductivity
        | Metric::ProductConductivity
        | Metric::Rejection
        | Metric::Recovery
        | Metric::NetDrivingPressure
        | Metric::FlowAt25C
        | Metric::NormalizedFlow
        | Metric::NormalizedFlowOfRating
        | Metric::NormalizedFlowOfBaseline
        | Metric::PrefilterDrop => producing,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use std::{collections::BTreeMap, path::Path, sync::Arc};

    use super::*;
    use crate::{
        config::{self, Measure},
        core::{Arrival, Observation, RunState, Unit, UnitState},
        simulation::{DemoUnit, demo_configuration},
        time::{Mono, Now, Wall},
        wire::payload::Payload,
    };

    fn at(second: u32) -> Now {
        Now {
            mono: Mono(u64::from(second) * 1000),
            wall: Wall(1_780_293_600_000 + i64::from(second) * 1000),
        }
    }

    /// What is worked out at once is what would be found when asked for everything: half a day of the
    /// simulated unit, standing and producing, with a baseline made after the first run.
    #[test]
    fn what_the_alerts_look_at_is_what_is_told() {
        let text = demo_configuration("mqtt://localhost", Path::new("/nowhere"));
        let text = text.replace("rated_flow =", "baseline_runs = 1\nrated_flow =");
        let settings = config::from_text("demo.toml", &text, &BTreeMap::new(), None).unwrap();
        let settings = Arc::new(settings.units[0].clone());
        let mut unit = Unit::new(Arc::clone(&settings), UnitState::default(), at(0));
        let mut boards = DemoUnit::new(1, "2026-06-01T06:00:00".parse().unwrap());
        let mut found = BTreeMap::<&str, u32>::new();
        for second in 1..=43_200 {
            for message in boards.step(1.0) {
                let payload = Payload::new(message.payload.as_bytes());
                for (index, sensor) in settings.sensors.iter().enumerate() {
                    if sensor.topic.as_written() == message.topic
                        && !matches!(sensor.measure, Measure::Contact { .. })
                    {
                        let number = payload.number(sensor.pointer.as_deref(), None).unwrap();
                        let observation = Observation::Number(number);
                        unit.observe(at(second), index, observation, Arrival::Live, None);
                    }
                }
            }
            let producing = unit.run_state() == RunState::Producing;
            unit.readings(at(second).mono, |readings| {
                let mut judged = Values::default();
                readings.set_judged(&mut judged, producing);
                let all = readings.all(producing);
                let live = Live::new(readings, producing, &judged);
                for metric in Metric::ALL.iter().copied() {
                    assert_eq!(live.of(metric), all.of(metric), "{metric:?} at {second}");
                    if is_judged(metric, producing) && all.of(metric).is_ok() {
                        *found.entry(metric.description().name).or_default() += 1;
                    }
                }
            });
        }
        // All of them but the drop of the pre-filters, for want of a second gauge.
        assert_eq!(found.len(), 12, "{found:?}");
    }
}
