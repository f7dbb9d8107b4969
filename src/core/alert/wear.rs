//! Alerts about the membrane's wear: told only when the figures are surely beyond the limit, with
//! what is not known of the temperature counted in. A cold winter is no wear.

use super::{
    Alert, Seen,
    life::Verdict,
    rules::{Circumstances, Judgement, at_once, below, held, with_caution},
    text::{figure, figure_if_passed, share_text},
};
use crate::{
    config::{AlertSettings, Limit},
    core::{
        known::{Basis, Known},
        membrane::{MembraneState, Wear},
    },
    metrics::Metric,
    physics::normal::BAND_95,
    quantity::{Flow, Pressure, Temperature},
};

/// The trend of the flow over whole runs. It changes with a run, not with a reading.
pub(in crate::core) fn flow_falling(
    membrane: &MembraneState,
    alerts: &AlertSettings,
) -> Option<Judgement> {
    let limit = alerts.normalized_flow_falling?;
    let change = membrane.change(Wear::Flow)?;
    let surely_below = change.value + BAND_95 * change.deviation < limit.raise.ln();
    let verdict = if surely_below || membrane.shift(Wear::Flow).is_some() {
        Verdict::Beyond
    } else if change.value < limit.clear.ln() {
        Verdict::Between
    } else {
        Verdict::Well
    };
    Some(of_trend(membrane, &limit, verdict, change.value))
}

/// The trend of the salt passage over whole runs.
pub(in crate::core) fn salt_rising(
    membrane: &MembraneState,
    alerts: &AlertSettings,
) -> Option<Judgement> {
    let limit = alerts.salt_passage_rising?;
    let change = membrane.change(Wear::Salt)?;
    let surely_above = change.value - BAND_95 * change.deviation > limit.raise.ln();
    let verdict = if surely_above || membrane.shift(Wear::Salt).is_some() {
        Verdict::Beyond
    } else if change.value > limit.clear.ln() {
        Verdict::Between
    } else {
        Verdict::Well
    };
    Some(of_trend(membrane, &limit, verdict, change.value))
}

fn of_trend(
    membrane: &MembraneState,
    limit: &Limit<f64>,
    verdict: Verdict,
    change: f64,
) -> Judgement {
    let value = Known {
        value: change.exp() * 100.0,
        basis: membrane.basis().unwrap_or(Basis::Measured),
    };
    held(limit, verdict, value, limit.raise * 100.0)
}

/// A baseline that was forgotten, or whose element was replaced, takes its alert with it.
pub(super) fn forgotten(alert: &Alert) -> Option<Judgement> {
    alert
        .is_active()
        .then(|| at_once(Verdict::Well, Known::measured(0.0)))
}

impl Circumstances<'_> {
    /// Against the element's own baseline, or, before there is one, against its rating; with the
    /// words for which.
    pub(super) fn flow_low(&self) -> Option<(Judgement, &'static str)> {
        let limit = self.settings.alerts.normalized_flow_low?;
        if let Some(known) = self.producing(Metric::NormalizedFlowOfBaseline) {
            let share = known.value / 100.0;
            let verdict = match below(share, &limit) {
                // A share that may only seem low, because it was never so cold before, raises nothing.
                Verdict::Beyond
                    if share * (BAND_95 * self.doubt_of_flow()?).exp() >= limit.raise =>
                {
                    Verdict::Between
                }
                verdict => verdict,
            };
            return Some((
                held(&limit, verdict, known, limit.raise * 100.0),
                "this element's own baseline",
            ));
        }
        let known = self.producing(Metric::NormalizedFlowOfRating)?;
        let raise = self.settings.alerts.normalized_flow_low_of_rating;
        // The same distance between raising and clearing as against the baseline.
        let limit = Limit {
            raise,
            clear: raise + (limit.clear - limit.raise),
            ..limit
        };
        let verdict = below(known.value / 100.0, &limit);
        Some((
            held(&limit, verdict, known, raise * 100.0),
            "the rated flow",
        ))
    }

    /// Standard deviation of the logarithm of the present share of the baseline.
    fn doubt_of_flow(&self) -> Option<f64> {
        let flow = self.live.of(Metric::PermeateFlow).ok()?;
        let driving = self.live.of(Metric::NetDrivingPressure).ok()?;
        let temperature = self.live.of(Metric::FeedTemperature).ok()?;
        let found = self.membrane.compare_flow(
            Flow::from_l_per_min(flow.value),
            Pressure::from_bar(driving.value),
            Temperature::from_celsius(temperature.value),
        )?;
        Some(found.deviation)
    }

    pub(super) fn describe_flow_low(&self, judgement: &Judgement) -> Seen {
        let reference = self
            .flow_low()
            .map_or("its reference", |(_, reference)| reference);
        let sentence = format!(
            "At the same pressure, temperature and salinity the membrane gives {} of {reference}, below {}.{}{}",
            share_text(judgement.value / 100.0),
            share_text(judgement.limit / 100.0),
            self.shortfall_sentence(),
            self.causes_sentence()
        );
        let sentence = with_caution(sentence, judgement.basis);
        figure(sentence, judgement.value, judgement.limit, "%")
    }

    pub(super) fn describe_trend(&self, wear: Wear, judgement: &Judgement) -> Seen {
        let what = match wear {
            Wear::Flow => "the membrane gives",
            Wear::Salt => "the membrane lets pass",
        };
        let of = match wear {
            Wear::Flow => "of its baseline's flow",
            Wear::Salt => "of its baseline's salt",
        };
        let margin = self.membrane.change(wear).map_or(0.0, |change| {
            judgement.value * (BAND_95 * change.deviation).exp_m1()
        });
        let how = match self.membrane.shift(wear) {
            Some(shift) => {
                let step = 100.0 * (shift.after - shift.before).exp_m1();
                // The charts find a quick decline of some weeks like a step.
                format!("It changed by {step:+.0} % in a step or within weeks.")
            }
            None => format!("The limit is {}.", share_text(judgement.limit / 100.0)),
        };
        let shortfall = match wear {
            Wear::Flow => self.shortfall_sentence(),
            Wear::Salt => String::new(),
        };
        let sentence = format!(
            "At the same conditions {what} {} (±{margin:.1}) {of}. {how}{shortfall}{}",
            share_text(judgement.value / 100.0),
            self.causes_sentence()
        );
        let sentence = with_caution(sentence, judgement.basis);
        let seen = figure(sentence, judgement.value, judgement.limit, "%");
        let beyond = match wear {
            Wear::Flow => judgement.value < judgement.limit,
            Wear::Salt => judgement.value > judgement.limit,
        };
        // A step is told before the limit is reached.
        figure_if_passed(seen, beyond)
    }

    /// What has probably come over the membrane; empty when nothing known looks like it.
    fn causes_sentence(&self) -> String {
        let causes: Vec<String> = self
            .taught
            .causes
            .iter()
            .map(|likely| {
                let guess = if likely.unmeasured {
                    " (no gauge tells)"
                } else {
                    ""
                };
                format!("{}{guess}", likely.cause.title())
            })
            .collect();
        if causes.is_empty() {
            return String::new();
        }
        format!(" It may be, the likeliest first: {}.", causes.join("; "))
    }

    /// What the unit gives now against the rating, and what costs how much; empty when unknown.
    pub(super) fn shortfall_sentence(&self) -> String {
        let part = |metric: Metric| {
            let held = || self.membrane.held(metric, self.now);
            let found = self.live.of(metric).or_else(|_| held());
            found.ok().map(|known| known.value)
        };
        let words = || {
            let rated = self.settings.membrane.as_ref()?.flow.l_per_day();
            let given = rated - part(Metric::Shortfall)?;
            let display = self.settings.display;
            let daily = |litres: f64| display.daily(Flow::from_l_per_day(litres)).round();
            let mut parts = Vec::new();
            for (metric, name) in [
                (Metric::ShortfallPressure, "pressure"),
                (Metric::ShortfallBackPressure, "back-pressure"),
                (Metric::ShortfallTemperature, "temperature"),
                (Metric::ShortfallSalinity, "salinity"),
                (Metric::ShortfallMembrane, "the membrane itself"),
            ] {
                let volume = daily(part(metric)?);
                if volume != 0.0 {
                    let verb = if volume > 0.0 { "costs" } else { "adds" };
                    parts.push(format!("{name} {verb} {:.0}", volume.abs()));
                }
            }
            let why = if parts.is_empty() {
                String::new()
            } else {
                format!(": {}", parts.join(", "))
            };
            Some(format!(
                " It gives {:.0} of the rated {:.0} {}/day{why}.",
                daily(given),
                daily(rated),
                display.daily_unit()
            ))
        };
        words().unwrap_or_default()
    }
}
