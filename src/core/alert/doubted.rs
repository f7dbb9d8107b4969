//! When a sensor is doubted, and what is said about it: the evidence of `core::doubt` against the
//! holding times. A raised alert is taken back by the evidence that raised it, not by another kind.

use std::time::Duration;

use super::{
    Alert, Seen,
    life::Verdict,
    rules::{Circumstances, Judgement},
    text::{figure, share_text, tds_text},
};
use crate::{
    config::Point,
    core::{
        doubt::{Comparison, Contradiction, Doubt, Evidence},
        known::Basis,
    },
    quantity::{Conductivity, Volume, duration_text},
};

/// One good reading from a sensor that was stuck may be its last.
const STUCK_CLEAR_HOLD: Duration = Duration::from_secs(600);

/// The kinds of evidence that make a sensor implausible; of those that are worst the first is told.
const IMPLAUSIBLE: [Doubt; 3] = [Doubt::Refused, Doubt::Contradicted, Doubt::UnderReads];

fn verdict(evidence: Evidence) -> Verdict {
    match evidence {
        Evidence::Against => Verdict::Beyond,
        Evidence::Mixed => Verdict::Between,
        Evidence::For => Verdict::Well,
    }
}

fn judgement(
    evidence: Evidence,
    (hold, clear_hold): (Duration, Duration),
    casts: Option<(usize, Doubt)>,
) -> Judgement {
    Judgement {
        verdict: verdict(evidence),
        hold,
        clear_hold,
        value: 0.0,
        limit: 0.0,
        basis: Basis::Measured,
        casts,
    }
}

impl Circumstances<'_> {
    pub(super) fn implausible(&self, alert: &Alert, index: usize) -> Option<Judgement> {
        let limits = self.settings.alerts.doubts.sensor_implausible.as_ref()?;
        let (doubt, evidence, share) = match alert.casts.filter(|_| alert.is_active()) {
            Some((_, doubt)) => self.implausible_by(index, doubt)?,
            None => self.worst_implausible(index)?,
        };
        let holds = match doubt {
            // The window is its own holding time.
            Doubt::Refused => (Duration::ZERO, limits.window),
            Doubt::Contradicted => (limits.hold, limits.clear_hold),
            Doubt::UnderReads | Doubt::Stuck => (Duration::ZERO, Duration::ZERO),
        };
        let mut judged = judgement(evidence, holds, Some((index, doubt)));
        if let Some(share) = share {
            judged.value = share * 100.0;
            judged.limit = limits.share * 100.0;
        }
        Some(judged)
    }

    /// By the worst evidence there is; of several alike, the first kind's.
    fn worst_implausible(&self, index: usize) -> Option<(Doubt, Evidence, Option<f64>)> {
        let mut worst: Option<(Doubt, Evidence, Option<f64>)> = None;
        for doubt in IMPLAUSIBLE {
            if let Some(found) = self.implausible_by(index, doubt)
                && worst.is_none_or(|(_, evidence, _)| found.1 > evidence)
            {
                worst = Some(found);
            }
        }
        worst
    }

    /// The evidence of a kind, and the share of bad readings where that is the evidence.
    fn implausible_by(&self, index: usize, doubt: Doubt) -> Option<(Doubt, Evidence, Option<f64>)> {
        let doubts = &self.watch.doubts;
        let (evidence, share) = match doubt {
            Doubt::Refused => {
                let (evidence, share) = doubts.refused(index, self.settings)?;
                (evidence, Some(share))
            }
            Doubt::Contradicted => (doubts.salts().about(index)?.0, None),
            Doubt::UnderReads => (doubts.risen(self.sensors.get(index)?, self.train)?, None),
            Doubt::Stuck => return None,
        };
        Some((doubt, evidence, share))
    }

    pub(super) fn stuck(&self, index: usize) -> Option<Judgement> {
        let doubts = &self.watch.doubts;
        let evidence = doubts.stuck(self.now.mono, index, self.train, self.settings)?;
        let holds = (Duration::ZERO, STUCK_CLEAR_HOLD);
        Some(judgement(evidence, holds, Some((index, Doubt::Stuck))))
    }

    pub(super) fn balance_open(&self) -> Option<Judgement> {
        let limits = self.settings.alerts.doubts.balance_open.as_ref()?;
        let (evidence, found) = self.watch.doubts.balance(self.train, self.now.mono)?;
        let meter = found.and_then(|found| {
            let point = METERS.get(usize::from(found.likely?))?;
            Some((self.train.at(*point).0?, Doubt::UnderReads))
        });
        let mut judged = judgement(evidence, (Duration::ZERO, Duration::ZERO), meter);
        judged.value = found.map_or(0.0, |found| found.error() * 100.0);
        judged.limit = limits.raise * 100.0;
        Some(judged)
    }

    pub(super) fn describe_doubt(&self, alert: &Alert, judgement: &Judgement) -> Seen {
        let id = &alert.subject_id;
        let Some((index, doubt)) = judgement.casts else {
            return Seen::words(format!("{id} is in doubt."));
        };
        match doubt {
            Doubt::Refused => {
                let sentence = format!(
                    "{} of the readings of {id} within {} cannot be: outside what is believable, or \
                     lone spikes.{}",
                    share_text(judgement.value / 100.0),
                    self.window_text(),
                    self.last_used(index)
                );
                figure(sentence, judgement.value, judgement.limit, "%")
            }
            Doubt::Contradicted => Seen::words(self.describe_salts(index, id)),
            Doubt::UnderReads => Seen::words(self.describe_rise(id)),
            Doubt::Stuck => {
                let minutes = self.watch.doubts.still_for(index).as_secs() / 60;
                Seen::words(format!(
                    "{id} has sent {} and nothing else through {} of making water, while other \
                     sensors moved.",
                    self.last_sent(index),
                    duration_text(Duration::from_secs(minutes * 60))
                ))
            }
        }
    }

    pub(super) fn describe_balance(&self, judgement: &Judgement) -> String {
        let found = self.watch.doubts.balance(self.train, self.now.mono);
        let [feed, permeate, concentrate] = found
            .and_then(|(_, found)| found)
            .map_or([0.0; 3], |found| found.litres);
        let culprit = match judgement
            .casts
            .and_then(|(index, _)| self.sensors.get(index))
        {
            Some(sensor) => format!(
                " {} works near its minimum and likely counts too little.",
                sensor.settings().id
            ),
            None => String::new(),
        };
        let shown = |litres: f64| self.settings.display.volume(Volume::from_litres(litres));
        format!(
            "The meters counted {} of feed, but {} of permeate and {} of concentrate: {} apart.{culprit}",
            shown(feed),
            shown(permeate),
            shown(concentrate),
            share_text(judgement.value.abs() / 100.0)
        )
    }

    fn describe_rise(&self, id: &str) -> String {
        let (rise, counted) = self.watch.doubts.last_rise().unwrap_or_default();
        let shown = |litres: f64| self.settings.display.volume(Volume::from_litres(litres));
        format!(
            "In several runs the storage rose by more than {id} counted, the last time by {} \
             against {}: it counts too little, or the level shows too much.",
            shown(rise),
            shown(counted)
        )
    }

    fn describe_salts(&self, index: usize, id: &str) -> String {
        let Some((_, compared)) = self.watch.doubts.salts().about(index) else {
            return format!("{id} contradicts the other probes.");
        };
        let scale = self.settings.tds_scale;
        let name = |sensor: usize| {
            let settings = self.sensors.get(sensor).map(|sensor| sensor.settings());
            settings.map_or("a probe", |settings| settings.id.as_str())
        };
        let shown = |slot: usize| {
            let (sensor, shown): (usize, Conductivity) = compared.shown[slot]?;
            Some(format!(
                "{} shows {}",
                name(sensor),
                tds_text(scale.tds(shown))
            ))
        };
        let [first, second, third] = [0, 1, 2].map(|slot| shown(slot).unwrap_or_default());
        match compared.what {
            Comparison::PermeateAndFeed => format!(
                "{second} and {first}: permeate is never saltier than its feed. {id} is the likelier to be wrong."
            ),
            Comparison::ProductAndPermeate => format!(
                "{second} and {first}: no resin makes water so much saltier. {id} is the likelier to be wrong."
            ),
            Comparison::ConcentrateAndFlows => {
                let recoveries = compared
                    .recoveries
                    .map_or_else(String::new, |(salts, flows)| {
                        let salts = if (0.0..1.0).contains(&salts) {
                            share_text(salts)
                        } else {
                            "impossible".to_owned()
                        };
                        format!(
                            " (recovery by the salts {salts}, by the flows {})",
                            share_text(flows)
                        )
                    });
                format!(
                    "{first}, {second} and {third}: these salts do not add up with the flows{recoveries}. \
                     {id} is doubted, because it serves this check alone."
                )
            }
        }
    }

    fn last_sent(&self, index: usize) -> String {
        let sensor = self.sensors.get(index);
        sensor.map_or_else(String::new, |sensor| sensor.sent().last.to_string())
    }

    /// Empty when none was used yet.
    fn last_used(&self, index: usize) -> String {
        let sensor = self.sensors.get(index);
        let used = sensor.filter(|sensor| sensor.sent().readings > 0);
        used.map_or_else(String::new, |_| {
            format!(" The last one used was {}.", self.last_sent(index))
        })
    }

    fn window_text(&self) -> String {
        let limits = self.settings.alerts.doubts.sensor_implausible.as_ref();
        limits.map_or_else(String::new, |limits| duration_text(limits.window))
    }
}

const METERS: [Point; 3] = [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow];

impl Contradiction {
    /// Feed less permeate and concentrate, as a share of the larger side.
    fn error(&self) -> f64 {
        let [feed, permeate, concentrate] = self.litres;
        (feed - permeate - concentrate) / feed.max(permeate + concentrate).max(f64::MIN_POSITIVE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn meters_are_apart_by_a_share_of_the_larger_side() {
        for (litres, error) in [
            ([10.0, 3.0, 4.0], 0.3),
            ([3.0, 4.0, 3.0], -4.0 / 7.0),
            ([10.0, 6.0, 4.0], 0.0),
            ([0.0; 3], 0.0),
        ] {
            let found = Contradiction {
                litres,
                likely: None,
            };
            assert!((found.error() - error).abs() < 1e-12, "{litres:?}");
        }
    }
}
