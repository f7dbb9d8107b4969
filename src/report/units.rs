//! Figures in the owner's units and words. Each also stands in the page as it is kept, for programs.

use std::time::Duration;

use jiff::tz::TimeZone;
use maud::{Markup, html};

use crate::{
    config::{Display, UnitSettings},
    core::moment,
    metrics::Description,
    quantity::{Flow, Pressure, Temperature, Volume, duration_text},
    time::Wall,
};

/// A number as people read it, as on the pictures.
pub use crate::picture::figure as number;

/// How the owner reads figures and clocks.
#[derive(Clone, Debug)]
pub struct Owner {
    display: Display,
    zone: TimeZone,
}

/// A figure as people read it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The number, in `unit`.
    pub value: f64,
    /// How many digits after the point people need.
    pub decimals: u8,
    /// Its unit.
    pub unit: &'static str,
}

impl Owner {
    /// The owner of a unit.
    #[must_use]
    pub fn of(settings: &UnitSettings) -> Self {
        Self {
            display: settings.display,
            zone: settings.time_zone.clone(),
        }
    }

    /// Where their days begin.
    #[must_use]
    pub fn zone(&self) -> &TimeZone {
        &self.zone
    }

    /// A value of the catalogue in the owner's units.
    #[must_use]
    pub fn shown(&self, description: &Description, value: f64) -> Shown {
        let plain = |decimals| Shown {
            value,
            decimals,
            unit: description.unit,
        };
        let other = |value, decimals, unit| Shown {
            value,
            decimals,
            unit,
        };
        match (self.display, description.unit) {
            (Display::Us, "L") => other(Volume::from_litres(value).gallons(), 1, "gal"),
            (Display::Us, "L/min") => other(Flow::from_l_per_min(value).gal_per_day(), 1, "gal/d"),
            (Display::Us, "L/d") => other(
                Flow::from_l_per_min(value / MINUTES_PER_DAY).gal_per_day(),
                1,
                "gal/d",
            ),
            (Display::Us, "bar") => other(Pressure::from_bar(value).psi(), 1, "psi"),
            (Display::Us, "°C") => other(Temperature::from_celsius(value).fahrenheit(), 1, "°F"),
            (Display::Metric, "L") => plain(1),
            (Display::Metric, "L/min") => plain(3),
            (Display::Metric | Display::Us, _) => plain(description.decimals.min(2)),
        }
    }

    /// Litres.
    #[must_use]
    pub fn volume(&self, litres: f64) -> Shown {
        match self.display {
            Display::Metric => Shown {
                value: litres,
                decimals: 1,
                unit: "L",
            },
            Display::Us => Shown {
                value: Volume::from_litres(litres).gallons(),
                decimals: 1,
                unit: "gal",
            },
        }
    }

    /// A moment as the owner's clock shows it.
    #[must_use]
    pub fn moment(&self, at: Wall) -> String {
        moment(at, &self.zone)
    }

    /// Its day.
    #[must_use]
    pub fn day(&self, at: Wall) -> String {
        at.day_in(&self.zone)
            .map_or_else(|| "unknown".to_owned(), |day| day.to_string())
    }
}

const MINUTES_PER_DAY: f64 = 1440.0;

impl Shown {
    /// The number alone.
    #[must_use]
    pub fn number(&self) -> String {
        number(self.value, self.decimals)
    }
}

impl std::fmt::Display for Shown {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(&self.number())?;
        if !self.unit.is_empty() {
            // The number and its unit stay on one line.
            write!(formatter, "\u{a0}{}", self.unit)?;
        }
        Ok(())
    }
}

/// Hours in words, such as `3.5 h` or `2 d 5 h`.
#[must_use]
pub fn hours(hours: f64) -> String {
    let minutes = (hours.max(0.0) * 60.0).round();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    // Not negative; `as` saturates.
    let whole = minutes as u64;
    match whole {
        0 => "none".to_owned(),
        1..=2879 => duration_text(Duration::from_secs(whole * 60)),
        _ => format!("{} d {} h", whole / 1440, whole % 1440 / 60),
    }
}

/// A figure in the page: for people as they read it, for programs as it is kept.
#[must_use]
pub fn figure(kept: f64, shown: &str) -> Markup {
    html! { data value=(kept) { (shown) } }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::Metric;

    fn owner(display: Display) -> Owner {
        Owner {
            display,
            zone: TimeZone::UTC,
        }
    }

    /// 1 US gal = 3.785412 L, 1 psi = 6.894757 kPa (NIST SP 811, appendix B).
    #[test]
    fn figures_stand_in_the_owners_units() {
        let us = owner(Display::Us);
        assert_eq!(us.volume(3785.412).to_string(), "1000.0\u{a0}gal");
        let shown = us.shown(Metric::FeedPressure.description(), 4.136_854);
        assert_eq!(shown.to_string(), "60.0\u{a0}psi");
        let shown = us.shown(Metric::Shortfall.description(), 378.5412);
        assert_eq!(shown.to_string(), "100.0\u{a0}gal/d");
        let shown = us.shown(Metric::FeedTemperature.description(), 25.0);
        assert_eq!(shown.to_string(), "77.0\u{a0}°F");
        let metric = owner(Display::Metric);
        let shown = metric.shown(Metric::Rejection.description(), 96.412);
        assert_eq!(shown.to_string(), "96.41\u{a0}%");
        assert_eq!(
            metric.volume(12_345.67).to_string(),
            "12\u{202f}345.7\u{a0}L"
        );
    }

    #[test]
    fn long_times_are_told_in_days() {
        assert_eq!(hours(0.0), "none");
        assert_eq!(hours(3.5), "3.5 h");
        assert_eq!(hours(50.0), "2 d 2 h");
    }
}
