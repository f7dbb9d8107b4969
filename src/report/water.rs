//! Water made and wasted, by the day, month or year.

use maud::{Markup, html};

use super::{
    facts::{Facts, began},
    parts::{head, nothing, section, table, text},
    period::{Slot, Step},
    recorded::hours_of,
    units::{figure, hours, number},
};
use crate::{metrics::Metric, physics::balance, time::Wall};

/// Litres of a time; what nothing tells is not there.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Litres {
    /// Made.
    pub permeate: Option<f64>,
    /// To the drain.
    pub concentrate: Option<f64>,
    /// Into the unit.
    pub feed: Option<f64>,
}

impl Litres {
    /// Of the whole period.
    #[must_use]
    pub fn of_all(facts: &Facts) -> Self {
        Self {
            permeate: facts.grew_in_all(Metric::PermeateVolume),
            concentrate: facts.grew_in_all(Metric::ConcentrateVolume),
            feed: facts.grew_in_all(Metric::FeedVolume),
        }
    }

    /// Of a day, month or year.
    #[must_use]
    pub fn of_slot(facts: &Facts, slot: &Slot) -> Self {
        let grew = |sum| facts.grew(sum, slot.from, slot.to);
        Self {
            permeate: grew(Metric::PermeateVolume),
            concentrate: grew(Metric::ConcentrateVolume),
            feed: grew(Metric::FeedVolume),
        }
    }

    /// Parts of concentrate to one of permeate, where both flowed.
    #[must_use]
    pub fn waste_ratio(&self) -> Option<f64> {
        let (permeate, concentrate) = (self.permeate?, self.concentrate?);
        (permeate > 0.0).then(|| concentrate / permeate)
    }

    /// What the parts are more than the feed, where it is more than rounding.
    #[must_use]
    pub fn more_than_feed(&self) -> Option<f64> {
        let feed = self.feed?;
        let more = self.permeate? + self.concentrate? - feed;
        (more > 0.1 && more > 0.002 * feed).then_some(more)
    }

    /// Permeate as a share of both, per cent.
    #[must_use]
    pub fn recovery_pct(&self) -> Option<f64> {
        let ratio = self.waste_ratio()?;
        balance::recovery_from_waste_ratio(ratio).map(|share| share * 100.0)
    }
}

/// The section.
#[must_use]
pub fn water(facts: &Facts) -> Markup {
    let all = Litres::of_all(facts);
    if all == Litres::default() {
        let nothing = html! { p { "No meter told of any water in this period." } };
        return section("water", TITLE, &nothing);
    }
    let slots = facts.slots();
    let by = match facts.period().step() {
        Step::Day => "day",
        Step::Month => "month",
        Step::Year => "year",
    };
    let rows: Vec<Vec<Markup>> = slots.iter().map(|slot| row(facts, slot)).collect();
    let titles = head([
        by,
        "Made",
        "To the drain",
        "Into the unit",
        "Waste ratio",
        "Recovery",
        "Runs",
        "Measured",
    ]);
    let content = html! {
        (super::pictures::water(facts, &slots))
        (table(&format!("Water by {by}"), 1..8, &titles, rows, Some(total(facts, &all))))
        @if let Some(unmatched) = unmatched(facts, &all) { p { (unmatched) } }
        @if let Some(unmeasured) = unmeasured(facts) { p { (unmeasured) } }
    };
    section("water", TITLE, &content)
}

const TITLE: &str = "Water made and wasted";

fn row(facts: &Facts, slot: &Slot) -> Vec<Markup> {
    let litres = Litres::of_slot(facts, slot);
    let is_in = |at: Wall| (slot.from..slot.to).contains(&at);
    let runs = facts
        .runs
        .iter()
        .filter(|run| began(run).is_some_and(is_in))
        .count();
    let all = hours_of(slot, facts.until);
    let measured =
        super::recorded::measured_hours(&facts.extents, slot.from, slot.to.min(facts.until));
    let mut cells = vec![text(&slot.label)];
    cells.extend(amounts(facts, &litres));
    cells.push(text(runs.to_string()));
    cells.push(text(share(measured, all)));
    cells
}

fn total(facts: &Facts, all: &Litres) -> Vec<Markup> {
    let (hours, measured) = facts.hours();
    let mut cells = vec![text("All")];
    cells.extend(amounts(facts, all));
    cells.push(text(facts.runs.len().to_string()));
    cells.push(text(share(measured, hours)));
    cells
}

fn amounts(facts: &Facts, litres: &Litres) -> Vec<Markup> {
    let volume = |litres: Option<f64>| {
        litres.map_or_else(nothing, |litres| {
            figure(litres, &facts.owner.volume(litres).to_string())
        })
    };
    let ratio = litres
        .waste_ratio()
        .map(|ratio| format!("{} : 1", number(ratio, 2)));
    let recovery = (litres.recovery_pct()).map(|percent| format!("{}\u{a0}%", number(percent, 1)));
    let words = |words: Option<String>| words.map_or_else(nothing, text);
    vec![
        volume(litres.permeate),
        volume(litres.concentrate),
        volume(litres.feed),
        words(ratio),
        words(recovery),
    ]
}

/// A share in per cent, never rounded up to all or down to nothing.
#[must_use]
pub fn share(part: f64, all: f64) -> String {
    if all <= 0.0 {
        return "–".to_owned();
    }
    let percent = 100.0 * part / all;
    let shown = match percent {
        percent if percent > 0.0 && percent < 0.1 => "< 0.1".to_owned(),
        percent if percent < 100.0 && percent > 99.9 => "> 99.9".to_owned(),
        percent => number(percent.min(100.0), 1),
    };
    format!("{shown}\u{a0}%")
}

/// Why the parts are more than the whole, where they are.
fn unmatched(facts: &Facts, all: &Litres) -> Option<String> {
    let more = all.more_than_feed()?;
    Some(format!(
        "Made and to the drain are together {} more than what went into the unit: of so much water nothing told \
         the feed.",
        facts.owner.volume(more)
    ))
}

fn unmeasured(facts: &Facts) -> Option<String> {
    let lacking = facts.grew_in_all(Metric::UnmeasuredTime)?;
    let running = facts.grew_in_all(Metric::ProducingTime);
    let made = running.map(|running| format!("The unit made water for {}. ", hours(running)));
    Some(format!(
        "{}Time of which no meter told the flow: {}.",
        made.unwrap_or_default(),
        hours(lacking)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_never_rounded_to_all_or_nothing() {
        assert_eq!(share(0.0, 5.0), "0.0\u{a0}%");
        assert_eq!(share(0.001, 5.0), "< 0.1\u{a0}%");
        assert_eq!(share(4.9999, 5.0), "> 99.9\u{a0}%");
        assert_eq!(share(5.0, 5.0), "100.0\u{a0}%");
        assert_eq!(share(1.0, 0.0), "–");
    }

    /// 4 to 1 is a recovery of 1/5.
    #[test]
    fn ratio_and_recovery_say_the_same() {
        let litres = Litres {
            permeate: Some(20.0),
            concentrate: Some(80.0),
            feed: Some(100.0),
        };
        assert_eq!(
            (litres.waste_ratio(), litres.recovery_pct()),
            (Some(4.0), Some(20.0))
        );
        assert_eq!(Litres::default().waste_ratio(), None);
        assert_eq!(litres.more_than_feed(), None);
        let feed = Some(97.0);
        assert_eq!(Litres { feed, ..litres }.more_than_feed(), Some(3.0));
    }
}
