//! Amounts in the configured currency.

use super::{facts::Facts, units::number};
use crate::{config::Display, quantity::Volume};

impl Facts<'_> {
    /// The currency; empty where no prices are configured.
    #[must_use]
    pub fn currency(&self) -> &str {
        let costs = self.settings().costs.as_ref();
        costs.map_or("", |costs| costs.currency.as_str())
    }

    /// An amount.
    #[must_use]
    pub fn money(&self, amount: f64) -> String {
        let text = format!("{}\u{a0}{}", number(amount, 2), self.currency());
        text.trim_end_matches('\u{a0}').to_owned()
    }

    /// An amount for each litre, as the owner reckons.
    #[must_use]
    pub fn money_per_volume(&self, per_litre: f64) -> String {
        let (amount, unit) = match self.settings().display {
            Display::Metric => (per_litre, "L"),
            Display::Us => (per_litre / Volume::from_litres(1.0).gallons(), "gal"),
        };
        format!("{}\u{a0}{}/{unit}", number(amount, 4), self.currency())
    }

    /// What a column of such amounts is called.
    #[must_use]
    pub fn per_volume_title(&self) -> String {
        match self.settings().display {
            Display::Metric => "For each litre",
            Display::Us => "For each gallon",
        }
        .to_owned()
    }
}
