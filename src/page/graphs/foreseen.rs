//! Where the flow is likely to go: from its present level at its present change, within the band of both.

use std::time::Duration;

use super::super::{Span, unit::Look};
use crate::{
    metrics::Metric,
    picture::{Band, Line, TimeChart, Tone},
    time::Wall,
};

const DAY: u64 = 86_400;
/// Points of a forecast.
const STEPS: u32 = 8;

/// Goes on beyond today by a third of the span, at the present change and within its band.
pub(super) fn add(look: &Look<'_>, span: Span, chart: &mut TimeChart) {
    const MONTH: f64 = 30.44;
    let value = |metric: Metric| Some(look.values.of(metric).ok()?.value);
    let known = (|| {
        Some((
            value(Metric::FlowTrend)?,
            value(Metric::FlowTrendMargin)?,
            value(Metric::FlowChange)?,
            value(Metric::FlowChangeMargin)?,
        ))
    })();
    let (Some((level, margin, change, change_margin)), Some(now)) = (known, look.now.date()) else {
        return;
    };
    let ahead = match span {
        Span::Day | Span::Week => return,
        Span::Month => 10 * DAY,
        Span::Year | Span::All => 120 * DAY,
    };
    let at = |step: u32| {
        let seconds = ahead / u64::from(STEPS) * u64::from(step);
        let after = i64::try_from(seconds * 1000).unwrap_or(i64::MAX);
        #[allow(clippy::cast_precision_loss, reason = "seconds of months")]
        let months = seconds as f64 / DAY as f64 / MONTH;
        (Wall(now.0.saturating_add(after)), months)
    };
    let gone_on = |months: f64, change: f64| level * (1.0 + change / 100.0).powf(months);
    let points = (0..=STEPS).map(at);
    let longest_gap = Duration::from_secs(ahead);
    chart.lines.push(Line {
        name: "as it goes on".to_owned(),
        tone: Tone::Plain,
        points: (points.clone())
            .map(|(at, months)| (at, gone_on(months, change)))
            .collect(),
        longest_gap,
    });
    let band = points.map(|(at, months)| {
        let low = gone_on(months, change - change_margin) - margin;
        (at, low, gone_on(months, change + change_margin) + margin)
    });
    chart.bands.push(Band {
        name: "likely within this band".to_owned(),
        tone: Tone::Plain,
        points: band.collect(),
        longest_gap,
    });
    chart.to = at(STEPS).0;
}
