//! When the alerts of the hydraulics are raised, and what they say.

use std::time::Duration;

use super::{
    life::Verdict,
    rules::{Circumstances, Judgement, above, at_once, below, held},
    text::share_text,
};
use crate::{
    config::{Band, Display, HydraulicLimits, Limit, Point, Storage},
    core::{
        hydraulics,
        known::{Basis, Known},
    },
    metrics::Metric,
    quantity::{Flow, Pressure, Temperature},
};

pub(super) fn temperature_text(display: Display, value: f64, limit: f64) -> String {
    let side = if value < limit { "below" } else { "above" };
    let [value, limit] = [value, limit].map(Temperature::from_celsius);
    format!(
        "The feed has {}, {side} {}.",
        display.temperature(value),
        display.temperature(limit)
    )
}

pub(super) fn lift_text(display: Display, value: f64, limit: f64) -> String {
    format!(
        "The booster pump runs, but the pressure behind it is only {} above the line pressure, below {}.",
        display.pressure(Pressure::from_bar(value)),
        display.pressure(Pressure::from_bar(limit)),
    )
}

pub(super) fn leaking_text(display: Display, value: f64, limit: f64) -> String {
    let [value, limit] = [value, limit].map(Flow::from_l_per_min);
    format!(
        "Water runs to the drain while none is made: {}, above {}. That is {:.0} {} a day.",
        display.trickle(value),
        display.trickle(limit),
        display.daily(value),
        display.daily_unit()
    )
}

/// In the words of waste to product, as people speak of it.
pub(super) fn split_text(value: f64, limit: f64) -> String {
    let recovery = share_text(value / 100.0);
    let ratio = |per_cent: f64| (100.0 - per_cent) / per_cent.max(0.1);
    let (shown, allowed) = (ratio(value), ratio(limit));
    if value < limit {
        format!(
            "Too much goes to the drain: {shown:.1} parts of waste to one of product (recovery {recovery}), \
             above {allowed:.1}:1. The restrictor may be missing, worn or the wrong one, or the flush \
             valve does not close."
        )
    } else {
        format!(
            "Too little goes to the drain: {shown:.1} parts of waste to one of product (recovery {recovery}), \
             below {allowed:.1}:1. The restrictor may be clogged; the membrane scales."
        )
    }
}

/// A gauge on moving water that shows the same for so long is perhaps frozen.
const STILL: Duration = Duration::from_secs(1800);

/// Outside the band is bad; with the limit that is nearer.
fn outside<Q: Copy + PartialOrd>(value: Q, band: &Band<Q>) -> (Verdict, Q) {
    if value < band.low {
        (Verdict::Beyond, band.low)
    } else if value > band.high {
        (Verdict::Beyond, band.high)
    } else if value >= band.clear_low && value <= band.clear_high {
        (Verdict::Well, band.high)
    } else {
        (Verdict::Between, band.high)
    }
}

fn banded<Q>(band: &Band<Q>, verdict: Verdict, value: Known<f64>, limit: f64) -> Judgement {
    Judgement {
        verdict,
        hold: band.hold,
        clear_hold: band.clear_hold,
        value: value.value,
        limit,
        basis: value.basis,
        casts: None,
    }
}

impl Circumstances<'_> {
    fn limits(&self) -> &HydraulicLimits {
        &self.settings.alerts.hydraulics
    }

    /// Frost bursts a standing unit, too: judged at any time.
    pub(super) fn temperature(&self) -> Option<Judgement> {
        let band = self.limits().feed_temperature_out_of_range.as_ref()?;
        let known = self.live.of(Metric::FeedTemperature).ok()?;
        if known.basis != Basis::Measured {
            return None;
        }
        let (verdict, limit) = outside(Temperature::from_celsius(known.value), band);
        Some(banded(band, verdict, known, limit.celsius()))
    }

    /// At once, and by a message of unknown age, too: silence would be the worse mistake.
    pub(super) fn leak(&self) -> Option<Judgement> {
        let wet = match self.train.contact(Point::Leak, self.now.mono) {
            Ok(known) => known.value,
            Err(_) => self.leak_of_unknown_age().then_some(true)?,
        };
        let verdict = if wet { Verdict::Beyond } else { Verdict::Well };
        Some(at_once(verdict, Known::measured(0.0)))
    }

    fn leak_of_unknown_age(&self) -> bool {
        let sensors = self.sensors.iter();
        let mut leaks = sensors.filter(|sensor| sensor.settings().at == Point::Leak);
        leaks.any(|sensor| sensor.unconfirmed() == Some(1.0))
    }

    pub(super) fn describe_leak(&self) -> String {
        if self.train.contact(Point::Leak, self.now.mono).is_ok() {
            "The leak sensor is wet.".to_owned()
        } else {
            "The leak sensor was wet when it was last heard; the message's age is not known."
                .to_owned()
        }
    }

    /// Above the clean drop by the limit, and above the multiple of it.
    pub(super) fn prefilter(&self) -> Option<Judgement> {
        let limit = self.limits().prefilter_clogging?;
        let known = self.producing(Metric::PrefilterDrop)?;
        // Two gauges of which one stands still show the other's movement, not the filters'.
        let gauges = [Point::SupplyPressure, Point::FeedPressure];
        let stands = |point: &Point| {
            let gauge = self.train.at(*point).0;
            gauge.is_some_and(|index| self.watch.doubts.still_for(index) >= STILL)
        };
        if gauges.iter().any(stands) {
            return None;
        }
        let drop = Pressure::from_bar(known.value);
        let Some(clean) = self.watch.hydraulics.clean_drop() else {
            // New pre-filters, or none learned yet: nothing to complain of.
            return Some(held(&limit, Verdict::Well, known, limit.raise.bar()));
        };
        let most = |rise: Pressure| (clean + rise).max(clean * self.limits().prefilter_factor);
        let absolute = Limit {
            raise: most(limit.raise),
            // Its own distance below, whichever of the two binds.
            clear: most(limit.raise) - (limit.raise - limit.clear),
            ..limit
        };
        let verdict = above(drop, &absolute);
        Some(held(&absolute, verdict, known, absolute.raise.bar()))
    }

    pub(super) fn describe_prefilter(&self, value: f64, limit: f64) -> String {
        let clean = self.watch.hydraulics.clean_drop();
        let display = self.settings.display;
        format!(
            "The pre-filters take {} at 1 L/min, against {} when they were clean; the limit is {}.",
            display.pressure(Pressure::from_bar(value)),
            display.pressure(clean.unwrap_or(Pressure::ZERO).max(Pressure::ZERO)),
            display.pressure(Pressure::from_bar(limit)),
        )
    }

    pub(super) fn lift(&self) -> Option<Judgement> {
        let limit = self.limits().pump_not_lifting?;
        let lift = self.watch.hydraulics.pump_lift(self.train, self.now.mono)?;
        let known = Known::measured(lift.bar());
        let verdict = below(lift, &limit);
        Some(held(&limit, verdict, known, limit.raise.bar()))
    }

    /// Too little waste scales the membrane whatever the reason; too much is only told when cold
    /// water and low pressure do not excuse it.
    pub(super) fn recovery(&self) -> Option<Judgement> {
        let band = self.limits().recovery_out_of_range.as_ref()?;
        let known = self.producing(Metric::Recovery)?;
        let pressurised = matches!(self.settings.storage, Storage::Pressurised(_));
        let (now, best) = hydraulics::recovery(|metric| self.live.of(metric), pressurised)?;
        let (verdict, limit) = match outside(now, band) {
            // Excused, or not to be judged: neither raised nor taken back.
            (Verdict::Beyond, limit) if now < band.low && best.is_none_or(|best| best >= limit) => {
                (Verdict::Between, limit)
            }
            judged => judged,
        };
        Some(banded(band, verdict, known, limit * 100.0))
    }

    pub(super) fn shutoff(&self) -> Option<Judgement> {
        let limit = self.limits().shutoff_leaking?;
        let flow = self
            .watch
            .hydraulics
            .standby_flow(self.train, self.now.mono)?;
        let known = Known::measured(flow.l_per_min());
        let verdict = above(flow, &limit);
        Some(held(&limit, verdict, known, limit.raise.l_per_min()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_is_left_on_either_side_and_clears_well_inside() {
        let band = Band {
            low: 2.0,
            high: 38.0,
            clear_low: 3.0,
            clear_high: 37.0,
            hold: Duration::ZERO,
            clear_hold: Duration::ZERO,
        };
        for (value, verdict, limit) in [
            (1.9, Verdict::Beyond, 2.0),
            (2.5, Verdict::Between, 38.0),
            (3.0, Verdict::Well, 38.0),
            (37.5, Verdict::Between, 38.0),
            (38.1, Verdict::Beyond, 38.0),
        ] {
            assert_eq!(outside(value, &band), (verdict, limit), "{value}");
        }
    }

    #[test]
    fn the_split_is_told_as_waste_to_product() {
        // 10 % recovery is 9:1, 15.15 % is 5.6:1; 50 % is 1:1, 29.4 % is 2.4:1.
        let much = split_text(10.0, 100.0 / 6.6);
        assert!(
            much.starts_with("Too much") && much.contains("9.0 parts") && much.contains("5.6:1")
        );
        assert!(much.contains("(recovery 10.0 %)"), "{much}");
        let little = split_text(50.0, 100.0 / 3.4);
        assert!(little.starts_with("Too little") && little.contains("1.0 parts"));
        assert!(
            little.contains("2.4:1") && little.contains("clogged"),
            "{little}"
        );
    }
}
