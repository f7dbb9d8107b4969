//! Figures in the owner's units, for sentences only: documents keep theirs.

use crate::{
    config::Display,
    quantity::{Flow, Pressure, Temperature, Volume},
};

impl Display {
    pub(crate) fn pressure(self, pressure: Pressure) -> String {
        match self {
            Self::Metric => format!("{:.1} bar", pressure.bar()),
            Self::Us if pressure.psi() < 10.0 => format!("{:.1} psi", pressure.psi()),
            Self::Us => format!("{:.0} psi", pressure.psi()),
        }
    }

    pub(crate) fn temperature(self, temperature: Temperature) -> String {
        match self {
            Self::Metric => format!("{:.1} °C", temperature.celsius()),
            Self::Us => format!("{:.1} °F", temperature.fahrenheit()),
        }
    }

    pub(crate) fn volume(self, volume: Volume) -> String {
        let (number, unit) = self.counted(volume);
        format!("{number:.1} {unit}")
    }

    /// Litres or gallons, as a number, and what it counts.
    pub(crate) fn counted(self, volume: Volume) -> (f64, &'static str) {
        match self {
            Self::Metric => (volume.litres(), "L"),
            Self::Us => (volume.gallons(), "gal"),
        }
    }

    /// A volume that is large, or not known to a tenth.
    pub(crate) fn whole_volume(self, volume: Volume) -> String {
        let (number, unit) = self.counted(volume);
        format!("{number:.0} {unit}")
    }

    /// A trickle, which people in the one place reckon by the minute and in the other by the day.
    pub(crate) fn trickle(self, flow: Flow) -> String {
        match self {
            Self::Metric => format!("{:.3} L/min", flow.l_per_min()),
            Self::Us => format!("{:.1} gal/d", flow.gal_per_day()),
        }
    }

    /// Whole litres or gallons a day, as a number …
    pub(super) fn daily(self, flow: Flow) -> f64 {
        match self {
            Self::Metric => flow.l_per_day(),
            Self::Us => flow.gal_per_day(),
        }
    }

    /// … and what it counts.
    pub(super) fn daily_unit(self) -> &'static str {
        match self {
            Self::Metric => "L",
            Self::Us => "gal",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 psi = 6.894757 kPa, 1 US gal = 3.785412 L, °F = 1.8 °C + 32 (NIST SP 811, appendix B).
    #[test]
    fn the_same_figures_in_the_units_of_either_place() {
        let pressure = Pressure::from_bar(2.757_903);
        let small = Pressure::from_bar(0.1);
        let flow = Flow::from_l_per_min(0.02);
        for (display, expected) in [
            (
                Display::Metric,
                [
                    "2.8 bar",
                    "0.1 bar",
                    "2.0 °C",
                    "7.6 L",
                    "8 L",
                    "0.020 L/min",
                    "29 L",
                ],
            ),
            (
                Display::Us,
                [
                    "40 psi",
                    "1.5 psi",
                    "35.6 °F",
                    "2.0 gal",
                    "2 gal",
                    "7.6 gal/d",
                    "8 gal",
                ],
            ),
        ] {
            let found = [
                display.pressure(pressure),
                display.pressure(small),
                display.temperature(Temperature::from_celsius(2.0)),
                display.volume(Volume::from_litres(7.570_824)),
                display.whole_volume(Volume::from_litres(7.570_824)),
                display.trickle(flow),
                format!("{:.0} {}", display.daily(flow), display.daily_unit()),
            ];
            assert_eq!(found, expected);
        }
    }
}
