//! Figures as the owner reads them: in metric or US units, with how each was got, or why it is not there.

use maud::{Markup, html};

use crate::{
    config::Display,
    core::{Basis, Finding, Lack},
    metrics::Description,
    quantity::{Flow, Pressure, Temperature, Volume},
};

/// A kind of number as the page shows it: how a value in the published unit becomes one in the owner's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shown {
    pub unit: &'static str,
    pub decimals: usize,
    factor: f64,
    offset: f64,
}

impl Shown {
    /// How a metric is shown.
    pub fn of(display: Display, description: &Description) -> Self {
        let as_it_is = Self {
            unit: description.unit,
            decimals: usize::from(description.decimals),
            factor: 1.0,
            offset: 0.0,
        };
        let to = |unit, decimals, factor| Self {
            unit,
            decimals,
            factor,
            offset: 0.0,
        };
        match (display, description.unit) {
            (Display::Us, "bar") => to("psi", 1, Pressure::from_bar(1.0).psi()),
            (Display::Us, "L/min") => to("gal/d", 1, Flow::from_l_per_min(1.0).gal_per_day()),
            (Display::Us, "L/d") => to("gal/d", 1, Volume::from_litres(1.0).gallons()),
            (Display::Us, "L") => to("gal", 1, Volume::from_litres(1.0).gallons()),
            (Display::Us, "°C") => Self {
                unit: "°F",
                decimals: 1,
                factor: 1.8,
                offset: Temperature::from_celsius(0.0).fahrenheit(),
            },
            (Display::Us, "L/h/bar") => {
                let flow = Flow::from_l_per_h(1.0).gal_per_day();
                to("gal/d/psi", 2, flow / Pressure::from_bar(1.0).psi())
            }
            (Display::Metric | Display::Us, _) => as_it_is,
        }
    }

    /// The value in the owner's unit.
    pub fn value(&self, published: f64) -> f64 {
        published * self.factor + self.offset
    }

    /// The number without its unit: never more digits than mean something.
    pub fn number(&self, published: f64) -> String {
        number(self.value(published), self.decimals)
    }
}

/// A number with at most so many decimals, fewer where it is large; with narrow spaces, at which no line
/// breaks, between thousands and a true minus.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let decimals = match value.abs() {
        size if size >= 100.0 => 0,
        size if size >= 10.0 => decimals.min(1),
        size if size >= 1.0 => decimals.min(2),
        _ => decimals.min(3),
    };
    let text = format!("{:.decimals$}", value.abs());
    if text.chars().all(|c| c == '0' || c == '.') {
        return "0".to_owned();
    }
    let (whole, rest) = text.split_at(text.find('.').unwrap_or(text.len()));
    let mut grouped = String::new();
    for (place, digit) in whole.chars().enumerate() {
        if whole.len() > 4 && place > 0 && (whole.len() - place) % 3 == 0 {
            grouped.push('\u{202f}');
        }
        grouped.push(digit);
    }
    let sign = if value < 0.0 { "−" } else { "" };
    format!("{sign}{grouped}{rest}")
}

/// Number and unit, which stay on one line.
pub(super) fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() {
        number.to_owned()
    } else {
        format!("{number}\u{a0}{unit}")
    }
}

/// The word for how a value was got, drawn as a dot: full, half, hollow.
pub(super) fn basis(basis: Basis) -> Markup {
    html! {
        span class={ "basis " (basis.key()) } title=(basis.key()) {
            span .unseen { "(" (basis.key()) ")" }
        }
    }
}

/// A value with its unit and basis, or a dash with the reason.
pub(super) fn figure(display: Display, description: &Description, found: Finding<f64>) -> Markup {
    let shown = Shown::of(display, description);
    match found {
        Ok(known) => html! {
            span .figure {
                (shown.number(known.value))
                @if !shown.unit.is_empty() { "\u{a0}" span .unit { (shown.unit) } }
                (basis(known.basis))
            }
        },
        Err(lack) => missing(lack),
    }
}

/// A dash, and why there is nothing.
pub(super) fn missing(lack: Lack) -> Markup {
    html! { span .missing { "– " span .why { (lack) } } }
}

/// A dash; why there is nothing is shown only where a sensor is at fault.
pub(super) fn missing_in_place(lack: Lack) -> Markup {
    let at_fault = match lack {
        Lack::Doubted(_)
        | Lack::BalanceOpen
        | Lack::BelowRange(_)
        | Lack::Implausible(_)
        | Lack::Unconfirmed(_)
        | Lack::NotHeard(_)
        | Lack::Offline(_)
        | Lack::Silent(_) => true,
        Lack::Boosted
        | Lack::NoSensor(_)
        | Lack::NoRunSign
        | Lack::NoReference
        | Lack::NotProducing
        | Lack::NotPhysical
        | Lack::NotInSight
        | Lack::TooEarly
        | Lack::Untested
        | Lack::NoAnalysis
        | Lack::NoCarbon
        | Lack::NoLife
        | Lack::NoPrice
        | Lack::NoDate => false,
    };
    let class = if at_fault { "why fault" } else { "unseen" };
    // Where it is away is plain from its place.
    let lack = lack.to_string();
    let reason = lack.split(':').next().unwrap_or_default();
    html! { span .missing { "– " span class=(class) { (reason) } } }
}

/// What the dots mean.
pub(super) fn legend() -> Markup {
    html! {
        p .legend {
            @for (each, words) in [
                (Basis::Measured, "measured"),
                (Basis::Inferred, "inferred from others"),
                (Basis::Assumed, "assumed: a configured figure has part in it"),
            ] {
                span { (basis(each)) (words) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::Metric;

    #[test]
    fn numbers_have_the_digits_that_mean_something() {
        for (value, decimals, text) in [
            (0.1234, 3, "0.123"),
            (12.345, 3, "12.3"),
            (123.45, 3, "123"),
            (-0.04, 1, "0"),
            (0.000_04, 4, "0"),
            (1.2345, 4, "1.23"),
            (-3.0, 1, "−3.0"),
            (12_345.6, 0, "12\u{202f}346"),
            (1234.5, 0, "1234"),
        ] {
            assert_eq!(number(value, decimals), text);
        }
    }

    /// 1 bar = 14.503 77 psi, 1 US gal = 3.785 412 L, °F = 1.8 °C + 32 (NIST SP 811, appendix B).
    #[test]
    fn the_owner_s_units() {
        let text = |display: Display, metric: Metric, value: f64| {
            let shown = Shown::of(display, metric.description());
            with_unit(&shown.number(value), shown.unit)
        };
        let us = |metric: Metric, value: f64| text(Display::Us, metric, value);
        assert_eq!(us(Metric::FeedPressure, 4.0), "58.0\u{a0}psi");
        assert_eq!(us(Metric::FeedTemperature, 15.0), "59.0\u{a0}°F");
        assert_eq!(us(Metric::PermeateVolume, 3.785_412), "1.0\u{a0}gal");
        // 0.1 L/min are 144 L or 38.04 gal a day.
        assert_eq!(us(Metric::PermeateFlow, 0.1), "38.0\u{a0}gal/d");
        assert_eq!(us(Metric::Shortfall, 37.854_12), "10.0\u{a0}gal/d");
        let metric = text(Display::Metric, Metric::FeedPressure, 4.0);
        assert_eq!(metric, "4.00\u{a0}bar");
    }
}
