//! What the element's life looks like in metrics: the learned response, the trend against the
//! baseline, the decline, and the day a limit will be reached.

use super::{
    MembraneState,
    charts::{Shift, smallest_shift},
    forecast::{self, Forecast, Trend},
    history::Point,
    learned::{Estimate, Learned, Nature, coldness},
    left::WayEnd,
};
use crate::{
    config::{AlertSettings, Limit, NORMALIZED_FLOW, REJECTION, SALT_RISING},
    core::{
        causes::{self, Change, Changes, LikelyCause},
        known::{Basis, Finding, Known, Lack},
        values::Values,
    },
    metrics::Metric,
    physics::{membrane::TemperatureLaw, normal::BAND_95},
    quantity::Temperature,
};

/// Days of a mean month.
const MONTH: f64 = 30.44;
/// How fast it follows the conditions: some two dozen runs.
const PASSAGE_RATE: f64 = 0.08;
/// A week of runs of an ordinary unit: what is found within them is found soon.
const SOON_RUNS: f64 = 30.0;

/// ln of what passes for each part that does not. By solution-diffusion it grows in proportion to the permeability for
/// salt, where the flow stays as it is.
fn passage_odds(passage: f64) -> f64 {
    (passage / (1.0 - passage)).ln()
}

/// One of the two things that wear: flow or salt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::core) enum Wear {
    Flow,
    Salt,
}

impl MembraneState {
    /// How the salt's passage goes with temperature, as far as is known.
    #[must_use]
    pub fn salt_law(&self) -> TemperatureLaw {
        self.salt.as_ref().map_or(TemperatureLaw::HANDBOOK, |salt| {
            TemperatureLaw::learned(salt.response().value)
        })
    }

    /// The response of the flow to temperature, K: as learned, or as it is believed before the first
    /// run.
    #[must_use]
    pub fn flow_response(&self) -> Estimate {
        let unlearned = || Learned::new(&Nature::WATER).response();
        self.water
            .as_ref()
            .map_or_else(unlearned, Learned::response)
    }

    /// Standard deviation of ln(flow) when one run's flow is carried from one temperature to another:
    /// the run's own scatter, and what is not known of the response.
    ///
    /// `None` outside the temperatures of water.
    #[must_use]
    pub fn spread_of_flow(&self, from: Temperature, to: Temperature) -> Option<f64> {
        let scatter = self
            .water
            .as_ref()
            .map_or(Nature::WATER.noise, Learned::noise);
        let carried = self.flow_response().deviation * (coldness(to)? - coldness(from)?);
        Some(scatter.hypot(carried))
    }

    /// What must be there for a metric of the wear ever to come.
    pub(in crate::core) fn needs(metric: Metric) -> Metric {
        if SALT_METRICS.contains(&metric) {
            Metric::SaltPassageOfBaseline
        } else {
            Metric::NormalizedFlowOfBaseline
        }
    }

    fn learned(&self, wear: Wear) -> Option<&Learned> {
        match wear {
            Wear::Flow => self.water.as_ref(),
            Wear::Salt => self.salt.as_ref(),
        }
    }

    /// ln of the present level's share of the baseline.
    pub(in crate::core) fn change(&self, wear: Wear) -> Option<Estimate> {
        self.learned(wear)?.change()
    }

    /// What has probably come over the element, the likeliest first; never a certainty. Empty while
    /// nothing changed for sure, or nothing known looks like it.
    #[must_use]
    pub fn likely_causes(&self) -> Vec<LikelyCause> {
        let seen = |learned: Option<&Learned>| {
            let change = learned?.change()?;
            let share = change.value.exp();
            Change::new(share - 1.0, share * change.deviation)
        };
        let changes = seen(self.water.as_ref()).zip(seen(self.salt.as_ref()));
        changes
            .map(|(flow, salt_passage)| {
                causes::likely_causes(&Changes {
                    flow,
                    salt_passage,
                    pressure_drop: seen(self.channel.as_ref()),
                })
            })
            .unwrap_or_default()
    }

    /// The step that was told and lasts.
    pub(in crate::core) fn shift(&self, wear: Wear) -> Option<Shift> {
        match wear {
            Wear::Flow => self.flow_charts.shift,
            Wear::Salt => self.salt_charts.shift,
        }
    }

    fn trend(&self, wear: Wear) -> Option<Trend> {
        let learned = self.learned(wear)?;
        let since = match wear {
            Wear::Flow => self.flow_since,
            Wear::Salt => self.salt_since,
        };
        let points: Vec<Point> = self.history.points(since).collect();
        forecast::trend(&points, learned.response(), |point| match wear {
            Wear::Flow => Some(point.water),
            Wear::Salt => point.salt,
        })
    }

    /// Where the element has done its service.
    pub(super) fn limit(&self, wear: Wear, alerts: &AlertSettings) -> WayEnd {
        let share = |limit: Option<Limit<f64>>, usual| limit.map_or(usual, |limit| limit.raise);
        match wear {
            Wear::Flow => WayEnd::Share(share(alerts.normalized_flow_low, NORMALIZED_FLOW)),
            Wear::Salt => {
                let rising = share(alerts.salt_passage_rising, SALT_RISING);
                let rejection = share(alerts.rejection_low, REJECTION);
                let end = passage_odds(1.0 - rejection);
                match self.baseline_odds.map(|odds| (end - odds).exp()) {
                    Some(times) if times > rising => WayEnd::Rejection(rejection, times),
                    // One that held back little from the beginning is measured by its change.
                    Some(_) | None => WayEnd::Share(rising),
                }
            }
        }
    }

    /// When the limit will be reached.
    pub(in crate::core) fn forecast(&self, wear: Wear, alerts: &AlertSettings) -> Option<Forecast> {
        let share = self.limit(wear, alerts).share();
        self.trend(wear)?.forecast(self.learned(wear)?, share.ln())
    }

    /// Takes note of what the element at its baseline would let pass under the conditions of a run: what passes now,
    /// less what the run shows of wear.
    pub(super) fn note_passage(&mut self) {
        let figure = |metric: Metric| Some(self.last_figure(metric).ok()?.value / 100.0);
        let found = figure(Metric::SaltPassage).zip(figure(Metric::SaltPassageOfBaseline));
        let odds = found.map(|(passage, of_baseline)| passage_odds(passage) - of_baseline.ln());
        if let Some(odds) = odds.filter(|odds| odds.is_finite()) {
            let before = self.baseline_odds.unwrap_or(odds);
            self.baseline_odds = Some(before + PASSAGE_RATE * (odds - before));
        }
    }

    /// What the runs have taught, in figures. Slopes look at every pair of points: not for every look.
    pub(in crate::core) fn wear_figures(&self, alerts: &AlertSettings) -> WearFigures {
        let basis = self.basis.unwrap_or(Basis::Measured);
        let known = |found: Result<f64, Lack>| found.map(|value| Known { value, basis });
        WearFigures {
            flow: self.findings(Wear::Flow, alerts).map(known),
            salt: self.findings(Wear::Salt, alerts).map(known),
            to_handbook: self.to_handbook(),
        }
    }

    /// In the order of [`FLOW_METRICS`].
    fn findings(&self, wear: Wear, alerts: &AlertSettings) -> [Result<f64, Lack>; 10] {
        let Some(learned) = self.learned(wear) else {
            return [Err(Lack::TooEarly); 10];
        };
        let response = learned.response();
        let change = learned.change().ok_or(Lack::TooEarly);
        let share = change.map(|change| 100.0 * change.value.exp());
        let margin =
            change.map(|change| 100.0 * change.value.exp() * (BAND_95 * change.deviation).exp_m1());
        let trend = self.trend(wear).ok_or(Lack::TooEarly);
        let slope = trend.map(|trend| trend.estimate(response));
        let forecast = self.forecast(wear, alerts).ok_or(Lack::TooEarly);
        let day = |of: fn(&Forecast) -> Option<f64>| {
            forecast.and_then(|forecast| of(&forecast).ok_or(Lack::NotInSight))
        };
        let smallest = 100.0 * smallest_shift(learned.noise(), SOON_RUNS).exp_m1();
        [
            Ok(response.value),
            Ok(BAND_95 * response.deviation),
            share,
            margin,
            slope.map(|slope| 100.0 * (slope.value * MONTH).exp_m1()),
            slope.map(|slope| 100.0 * BAND_95 * slope.deviation * MONTH),
            day(|forecast| forecast.earliest),
            day(|forecast| forecast.likely),
            day(|forecast| forecast.latest),
            if learned.is_based() {
                Ok(smallest)
            } else {
                Err(Lack::TooEarly)
            },
        ]
    }

    /// How much more or less a degree counts than in the handbook, at 10 °C, where winter is told
    /// from wear.
    fn to_handbook(&self) -> Finding<f64> {
        let cold = Temperature::from_celsius(10.0);
        let learned = self.water.as_ref().ok_or(Lack::TooEarly)?;
        let own = TemperatureLaw::learned(learned.response().value).correction(cold);
        let basis = self.basis.ok_or(Lack::TooEarly)?;
        let value = 100.0 * (own / TemperatureLaw::HANDBOOK.correction(cold) - 1.0);
        Ok(Known { value, basis })
    }
}

/// The figures of the wear, in the order of their metrics.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::core) struct WearFigures {
    flow: [Finding<f64>; 10],
    salt: [Finding<f64>; 10],
    to_handbook: Finding<f64>,
}

impl WearFigures {
    /// Fills them in; `flow` and `salt` say why nothing can ever be taught.
    pub fn set(&self, values: &mut Values, flow: Option<Lack>, salt: Option<Lack>) {
        let or = |lack: Option<Lack>, found: Finding<f64>| lack.map_or(found, Err);
        for (metric, found) in FLOW_METRICS.into_iter().zip(self.flow) {
            values.set(metric, or(flow, found));
        }
        for (metric, found) in SALT_METRICS.into_iter().zip(self.salt) {
            values.set(metric, or(salt, found));
        }
        values.set(Metric::ResponseToHandbook, or(flow, self.to_handbook));
    }
}

const FLOW_METRICS: [Metric; 10] = [
    Metric::FlowResponse,
    Metric::FlowResponseMargin,
    Metric::FlowTrend,
    Metric::FlowTrendMargin,
    Metric::FlowChange,
    Metric::FlowChangeMargin,
    Metric::FlowLimitEarliest,
    Metric::FlowLimitLikely,
    Metric::FlowLimitLatest,
    Metric::SmallestFlowChange,
];

const SALT_METRICS: [Metric; 10] = [
    Metric::SaltResponse,
    Metric::SaltResponseMargin,
    Metric::SaltTrend,
    Metric::SaltTrendMargin,
    Metric::SaltChange,
    Metric::SaltChangeMargin,
    Metric::SaltLimitEarliest,
    Metric::SaltLimitLikely,
    Metric::SaltLimitLatest,
    Metric::SmallestSaltChange,
];
