//! What the element's life looks like in metrics: the learned response, the trend against the
//! baseline, the decline, and the day a limit will be reached.

use super::{
    MembraneState,
    charts::{Shift, smallest_shift},
    forecast::{self, Forecast, Trend},
    history::Point,
    learned::{Estimate, Learned, Nature, coldness},
};
use crate::{
    config::{AlertSettings, NORMALIZED_FLOW, SALT_RISING},
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
/// A week of runs of an ordinary unit: what is found within them is found soon.
const SOON_RUNS: f64 = 30.0;

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

    /// The alert's limit, as a share of the baseline.
    pub(super) fn limit(wear: Wear, alerts: &AlertSettings) -> f64 {
        match wear {
            Wear::Flow => alerts
                .normalized_flow_low
                .map_or(NORMALIZED_FLOW, |limit| limit.raise),
            Wear::Salt => alerts
                .salt_passage_rising
                .map_or(SALT_RISING, |limit| limit.raise),
        }
    }

    /// When the alert's limit will be reached.
    pub(in crate::core) fn forecast(&self, wear: Wear, alerts: &AlertSettings) -> Option<Forecast> {
        let share = Self::limit(wear, alerts);
        self.trend(wear)?.forecast(self.learned(wear)?, share.ln())
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
