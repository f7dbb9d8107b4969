//! What came out of a household's time: what the core said, and what was true meanwhile.

use std::time::Duration;

use permeated::{
    core::{EventKind, RunRecord, Totals, Values},
    metrics::Metric,
    simulation,
};

use super::household::Household;

/// Everything that came out.
#[derive(Clone, Debug)]
pub struct Diary {
    pub household: Household,
    /// Every event but the start and end of runs.
    pub events: Vec<Noted>,
    pub runs: Vec<Run>,
    /// Litres and hours as the core has them, and as they were.
    pub totals: Totals,
    pub true_totals: simulation::Totals,
    /// The state kept at the end, in bytes of JSON.
    pub state_bytes: usize,
    /// What it took: the plant with its sensors, and the core.
    pub cost: Cost,
}

/// Time spent, by the machine's clock: means something only while nothing else runs.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cost {
    pub plant: Duration,
    pub core: Duration,
}

/// An event.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted {
    /// Days since the beginning.
    pub day: f64,
    pub kind: EventKind,
    pub about: String,
    pub text: String,
}

/// A run as the core has it, beside the truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Days since the beginning, when it ended.
    pub day: f64,
    pub record: RunRecord,
    /// Every metric right after it.
    pub values: Values,
    pub truth: TrueRun,
}

/// What was true of a run: medians of the time after the first half litre of permeate (all of it, in a
/// run that made less), and sums.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueRun {
    /// How long it had stood before, s.
    pub stood_seconds: f64,
    /// Permeate and concentrate, L.
    pub permeate_litres: f64,
    pub concentrate_litres: f64,
    /// 1 − permeate over feed of what the membrane itself makes, in conductivity as meters see it;
    /// and in mass.
    pub rejection: f64,
    pub rejection_by_mass: f64,
    pub celsius: f64,
    pub feed_psi: f64,
    /// Conductivity of the feed, µS/cm.
    pub feed_us_per_cm: f64,
    /// Permeate flow, L/min.
    pub permeate_l_per_min: f64,
    /// A and B at the end of the run over those when new, at the same temperature.
    pub a_of_new: f64,
    pub b_of_new: f64,
}

/// An alert from its raising to its clearing, days.
#[derive(Clone, Debug, PartialEq)]
pub struct Alarm {
    pub key: String,
    pub raised: f64,
    pub cleared: Option<f64>,
    pub text: String,
}

impl Run {
    /// A median of the run's steady part as the core has it.
    pub fn found(&self, metric: Metric) -> Option<f64> {
        let name = metric.description().name;
        let own = self.record.steady.iter().find(|(own, _)| own == name);
        own.map(|(_, known)| known.value)
    }

    /// Rejection as found less as it was, in points of a per cent.
    pub fn rejection_error(&self) -> Option<f64> {
        Some(self.found(Metric::Rejection)? - 100.0 * self.truth.rejection)
    }

    /// A metric right after the run.
    pub fn value(&self, metric: Metric) -> Option<f64> {
        self.values.of(metric).ok().map(|known| known.value)
    }

    /// Which thirty days it belongs to: 0, 1, 2 …
    pub fn month(&self) -> usize {
        (self.day / 30.0) as usize
    }
}

impl Diary {
    /// The alerts in the order of their raising.
    pub fn alarms(&self) -> Vec<Alarm> {
        let mut alarms: Vec<Alarm> = Vec::new();
        for noted in &self.events {
            match noted.kind {
                EventKind::AlertRaised => alarms.push(Alarm {
                    key: noted.about.clone(),
                    raised: noted.day,
                    cleared: None,
                    text: noted.text.clone(),
                }),
                EventKind::AlertCleared => {
                    let open =
                        |alarm: &&mut Alarm| alarm.key == noted.about && alarm.cleared.is_none();
                    if let Some(alarm) = alarms.iter_mut().rev().find(open) {
                        alarm.cleared = Some(noted.day);
                    }
                }
                _ => {}
            }
        }
        alarms
    }

    /// The runs by thirty days.
    pub fn months(&self) -> Vec<Vec<&Run>> {
        let mut months: Vec<Vec<&Run>> = Vec::new();
        for run in &self.runs {
            months.resize(months.len().max(run.month() + 1), Vec::new());
            months[run.month()].push(run);
        }
        months
    }

    /// What the core has for the share of A left since the baseline against what is left, in points:
    /// the error of each thirty days' medians.
    pub fn monthly_errors(&self) -> Vec<f64> {
        let first = median(self.runs.iter().take(5).map(|run| run.truth.a_of_new));
        let error = |runs: &Vec<&Run>| {
            let of_baseline = |run: &&Run| run.found(Metric::NormalizedFlowOfBaseline);
            let found = median(runs.iter().filter_map(of_baseline));
            found - 100.0 * median(runs.iter().map(|run| run.truth.a_of_new / first))
        };
        self.months().iter().map(error).collect()
    }

    /// The alerts in short: key, day of raising and of clearing.
    pub fn alarm_names(&self) -> Vec<String> {
        let name = |alarm: &Alarm| {
            let cleared = alarm
                .cleared
                .map_or("…".to_owned(), |day| format!("{day:.0}"));
            format!("{} {:.0}–{cleared}", alarm.key, alarm.raised)
        };
        self.alarms().iter().map(name).collect()
    }
}

/// The largest of a number of errors, with its sign; NaN counts as nothing.
pub fn largest(errors: impl IntoIterator<Item = f64>) -> f64 {
    let larger = |one: f64, other: f64| {
        if other.abs() > one.abs() { other } else { one }
    };
    errors.into_iter().fold(0.0, larger)
}

/// The median; NaN of nothing.
pub fn median(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.into_iter().collect();
    sorted.sort_by(f64::total_cmp);
    match sorted.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => sorted[n / 2],
        n => f64::midpoint(sorted[n / 2 - 1], sorted[n / 2]),
    }
}
