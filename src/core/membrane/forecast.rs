//! When a limit will be reached: a robust slope over the element's past, with a band that counts
//! what is not known of the temperature response. Days from now; never a promise.

use super::{
    history::Point,
    learned::{Estimate, Learned},
};
use crate::physics::{normal::BAND_95, slope::theil_sen};

/// Confidence of the slope's band: that of [`BAND_95`].
const CONFIDENCE: f64 = 0.95;
/// A slope needs points over this many days …
const LEAST_DAYS: f64 = 21.0;
/// … and at least so many.
const LEAST_POINTS: usize = 6;
/// Nobody plans further ahead, days.
const FARTHEST: f64 = 5.0 * 365.0;

/// A slope with its band, 1/day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Trend {
    pub slope: f64,
    pub low: f64,
    pub high: f64,
    /// How the slope goes with the response: d(slope) / d(response in K).
    by_response: f64,
}

/// Days until a limit is reached; `None` where it is not in sight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forecast {
    /// The earliest that the band allows.
    pub earliest: Option<f64>,
    /// At the slope itself.
    pub likely: Option<f64>,
    /// The latest that the band allows.
    pub latest: Option<f64>,
}

/// The slope of ln(value) over the days, brought to 25 °C by the learned response. `None` when it is
/// too early to say.
pub(super) fn trend(
    points: &[Point],
    response: Estimate,
    value: impl Fn(&Point) -> Option<f64>,
) -> Option<Trend> {
    let measured: Vec<(&Point, f64)> = points
        .iter()
        .filter_map(|point| Some((point, value(point)?)))
        .collect();
    let days = measured.last()?.0.day - measured.first()?.0.day;
    if measured.len() < LEAST_POINTS || days < LEAST_DAYS {
        return None;
    }
    let brought: Vec<(f64, f64)> = measured
        .iter()
        .map(|(point, value)| (point.day, value - response.value * point.cold / 1000.0))
        .collect();
    let cold: Vec<(f64, f64)> = measured
        .iter()
        .map(|(point, _)| (point.day, point.cold / 1000.0))
        .collect();
    let slope = theil_sen(&brought, CONFIDENCE)?;
    let by_response = -theil_sen(&cold, CONFIDENCE)?.slope;
    Some(Trend {
        slope: slope.slope,
        low: slope.low,
        high: slope.high,
        by_response,
    })
}

impl Trend {
    /// The slope and its band with what is not known of the response, as a standard deviation.
    pub fn estimate(&self, response: Estimate) -> Estimate {
        let own = (self.high - self.low) / (2.0 * BAND_95);
        Estimate {
            value: self.slope,
            deviation: own.hypot(self.by_response * response.deviation),
        }
    }

    /// Days until the change from the baseline reaches `limit` (natural logarithm). A response that
    /// is off tilts the past and shifts the present alike, so the band is searched over it.
    pub fn forecast(&self, learned: &Learned, limit: f64) -> Option<Forecast> {
        let change = learned.change()?;
        let (by_response, left) = learned.change_by_response()?;
        let (mut earliest, mut latest) = (f64::INFINITY, 0.0_f64);
        for share in [-BAND_95, 0.0, BAND_95] {
            let kelvins = share * learned.response().deviation;
            let at = change.value + kelvins * by_response;
            let tilt = kelvins * self.by_response;
            for (level, slope) in [
                (at - BAND_95 * left, self.low),
                (at - BAND_95 * left, self.high),
                (at + BAND_95 * left, self.low),
                (at + BAND_95 * left, self.high),
            ] {
                let days = days_to(level, slope + tilt, limit);
                earliest = earliest.min(days);
                latest = latest.max(days);
            }
        }
        let in_sight = |days: f64| (days <= FARTHEST).then_some(days);
        Some(Forecast {
            earliest: in_sight(earliest),
            likely: in_sight(days_to(change.value, self.slope, limit)),
            latest: in_sight(latest),
        })
    }
}

fn days_to(level: f64, slope: f64, limit: f64) -> f64 {
    let way = limit - level;
    if way == 0.0 || (way < 0.0) != (limit < 0.0) {
        return 0.0;
    }
    let days = way / slope;
    if days > 0.0 { days } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::super::learned::{Nature, coldness};
    use super::*;
    use crate::quantity::Temperature;

    /// An element that loses `a_month` of its flow, seen at temperatures that swing with the days.
    fn worn(a_month: f64, days: u32) -> (Learned, Vec<Point>) {
        let mut learned = Learned::new(&Nature::WATER);
        let mut points = Vec::new();
        for day in 0..days {
            let at = f64::from(day);
            let celsius = 14.0 + 4.0 * (at / 9.0).sin();
            let cold = coldness(Temperature::from_celsius(celsius)).unwrap();
            let water = -3.0 + 2700.0 * cold - a_month * at / 30.0;
            learned.observe(&Nature::WATER, f64::from(u32::from(day > 0)), cold, water);
            if day == 4 {
                learned.take_baseline(std::iter::empty());
            }
            points.push(Point {
                day: at,
                cold: cold * 1000.0,
                water,
                salt: None,
                runs: 1,
                salt_runs: 0,
            });
        }
        (learned, points)
    }

    fn forecast(a_month: f64, days: u32) -> Option<Forecast> {
        let (learned, points) = worn(a_month, days);
        let trend = trend(&points, learned.response(), |point| Some(point.water))?;
        trend.forecast(&learned, 0.85_f64.ln())
    }

    #[test]
    fn a_steady_loss_reaches_its_limit_when_arithmetic_says() {
        // 0.02 a month of the logarithm: ln 0.85 = -0.1625 after 243.8 days; asked on day 120, which
        // lies 118 days after the middle of the baseline's runs.
        let found = forecast(0.02, 121).unwrap();
        let expected = 0.162_5 / 0.02 * 30.0 - 118.0;
        assert!((found.likely.unwrap() - expected).abs() < 8.0, "{found:?}");
        assert!(found.earliest.unwrap() < expected);
        assert!(found.latest.is_none_or(|latest| latest > expected));
    }

    #[test]
    fn no_loss_has_no_day() {
        let found = forecast(0.0, 121).unwrap();
        assert_eq!((found.likely, found.latest), (None, None));
    }

    #[test]
    fn beyond_the_limit_it_is_now_though_the_band_may_say_later() {
        let found = forecast(0.06, 121).unwrap();
        assert_eq!((found.earliest, found.likely), (Some(0.0), Some(0.0)));
    }

    #[test]
    fn a_slope_needs_three_weeks() {
        assert_eq!(forecast(0.02, 20), None);
        assert!(forecast(0.02, 23).is_some());
    }
}
