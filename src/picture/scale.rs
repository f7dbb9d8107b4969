//! Nice, round ticks for an axis of values.

/// An axis of values: its ends and its ticks, all round.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scale {
    pub low: f64,
    pub high: f64,
    pub ticks: Vec<f64>,
    /// Decimals that tell neighbouring ticks apart.
    pub decimals: u8,
}

/// The values take no more steps than these.
const STEPS: f64 = 7.0;

impl Scale {
    /// An axis for values from `low` to `high`, both finite.
    pub fn around(low: f64, high: f64) -> Self {
        let (low, high) = (low.min(high), low.max(high));
        let (low, high) = if high - low <= 1e-9 * high.abs().max(low.abs()) {
            // All the same: a little room around it.
            let room = (high.abs() * 0.05).max(0.5);
            (low - room, high + room)
        } else {
            (low, high)
        };
        let step = step((high - low) / STEPS);
        let (first, last) = ((low / step + 1e-9).floor(), (high / step - 1e-9).ceil());
        let mut ticks = Vec::new();
        let mut place = first;
        while place <= last {
            // No negative zero.
            ticks.push(place * step + 0.0);
            place += 1.0;
        }
        Self {
            low: first * step,
            high: last * step,
            ticks,
            decimals: decimals(step),
        }
    }

    /// The same, from zero on where nothing is negative.
    pub fn from_zero(low: f64, high: f64) -> Self {
        Self::around(low.min(0.0), if high > 0.0 { high } else { low.max(1.0) })
    }

    /// Where a value lies: 0 at the low end, 1 at the high one.
    pub fn share(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }
}

/// The smallest of 1, 2 and 5 times a power of ten that is no smaller than `least`.
fn step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    let nice = [1.0, 2.0, 5.0]
        .into_iter()
        .find(|nice| nice * power >= least * (1.0 - 1e-9));
    nice.unwrap_or(10.0) * power
}

fn decimals(step: f64) -> u8 {
    (0..9)
        .find(|decimals| {
            let shown = step * 10f64.powi(i32::from(*decimals));
            (shown - shown.round()).abs() < 1e-6 && shown.round() >= 1.0
        })
        .unwrap_or(9)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn ticks_are_round() {
        for (low, high, ticks, decimals) in [
            (0.0, 100.0, vec![0.0, 20.0, 40.0, 60.0, 80.0, 100.0], 0),
            (
                94.3,
                97.1,
                vec![94.0, 94.5, 95.0, 95.5, 96.0, 96.5, 97.0, 97.5],
                1,
            ),
            (
                -3.0,
                9.0,
                vec![-4.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0, 10.0],
                0,
            ),
            (0.02, 0.03, vec![0.02, 0.022, 0.024, 0.026, 0.028, 0.03], 3),
            (7.0, 7.0, vec![6.4, 6.6, 6.8, 7.0, 7.2, 7.4, 7.6], 1),
            (0.0, 0.0, vec![-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6], 1),
        ] {
            let scale = Scale::around(low, high);
            let close = |(a, b): (&f64, &f64)| (a - b).abs() < 1e-9;
            assert_eq!(scale.ticks.len(), ticks.len(), "{scale:?}");
            assert!(scale.ticks.iter().zip(&ticks).all(close), "{scale:?}");
            assert_eq!(scale.decimals, decimals, "{scale:?}");
        }
        assert_eq!(Scale::from_zero(3.0, 9.0).low, 0.0);
        assert_eq!(Scale::from_zero(0.0, 0.0).ticks.len(), 6);
    }

    proptest! {
        #[test]
        fn every_axis_holds_its_values_with_a_few_round_steps(
            low in -1e12..1e12_f64, span in prop_oneof![Just(0.0), 1e-6..1e12_f64]
        ) {
            let scale = Scale::around(low, low + span);
            let room = (scale.high - scale.low) * 1e-6;
            prop_assert!(scale.low <= low + room && low + span <= scale.high + room);
            prop_assert!((3..=9).contains(&scale.ticks.len()), "{scale:?}");
            let texts: std::collections::BTreeSet<String> = scale
                .ticks
                .iter()
                .map(|tick| super::super::figure(*tick, scale.decimals))
                .collect();
            prop_assert_eq!(texts.len(), scale.ticks.len(), "labels that say the same");
        }
    }
}
