//! The report of a period: what was kept of a unit → one HTML page, and tables for spreadsheets. Pure:
//! it is given what was kept and what time it is.

mod alerts;
mod facts;
pub mod growth;
mod lacking;
mod method;
mod money;
mod opening;
mod parts;
pub mod period;
mod pictures;
mod quality;
pub mod recorded;
mod shortfall;
mod spending;
mod stages;
mod style;
pub mod tables;
mod timeline;
mod units;
mod upkeep;
mod water;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::{core::Unit, past::Past, time::Now};
use facts::Facts;
use period::Period;

/// What a report is made of.
pub struct Material<'a> {
    /// The unit as it was last kept: its settings, its stages and its sums.
    pub unit: &'a Unit,
    /// All that was kept of it: what came before the period gives the sums at its beginning.
    pub past: &'a Past,
    /// The days to report on.
    pub period: &'a Period,
    /// When the report is written.
    pub now: Now,
}

impl Material<'_> {
    /// Whether nothing at all was recorded in the period.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        Facts::of(self).is_empty()
    }

    /// The page: it needs nothing but itself.
    #[must_use]
    pub fn page(&self) -> Markup {
        let facts = Facts::of(self);
        html! {
            (DOCTYPE)
            html lang="en-GB" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    // Nothing is fetched and nothing runs, whatever a name or note holds.
                    meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                    title { (opening::title(&facts)) }
                    style { (PreEscaped(style::sheet())) }
                }
                body {
                    main {
                        (opening::opening(&facts))
                        (water::water(&facts))
                        (quality::quality(&facts))
                        (shortfall::shortfall(&facts))
                        (stages::stages(&facts))
                        (upkeep::upkeep(&facts))
                        (spending::spending(&facts))
                        (alerts::alerts(&facts))
                        (lacking::lacking(&facts))
                        (opening::measured(&facts))
                        (method::method(&facts))
                    }
                }
            }
        }
    }
}
