//! Times as bars over the period, one row for each name: alerts while they were active, gaps.

use maud::{Markup, html};

use super::facts::Facts;
use crate::{past::PastAlert, time::Wall};

/// Times of one kind.
pub struct Row {
    /// What people call it.
    pub name: String,
    /// The class that gives it its colour.
    pub class: &'static str,
    /// From when to when.
    pub times: Vec<(Wall, Wall)>,
}

/// Height of a row in pixels: its name, and its bars beneath.
const ROW: u32 = 34;
/// So many lines for days, months or years at most; with more there are none.
const MOST_LINES: usize = 40;
/// So much of the width that a short time can still be seen, per cent.
const NARROWEST: f64 = 0.4;

/// The picture; nothing without rows.
#[must_use]
pub fn draw(facts: &Facts, id: &str, title: &str, rows: &[Row]) -> Markup {
    if rows.is_empty() {
        return html! {};
    }
    let period = facts.period();
    let (begin, end) = (period.begin(), period.end());
    let share = |at: Wall| {
        #[allow(clippy::cast_precision_loss)] // Milliseconds of centuries fit.
        let share = (at.max(begin).min(end).0 - begin.0) as f64 / (end.0 - begin.0).max(1) as f64;
        (share * 1e4).round() / 100.0
    };
    let slots = period.slots();
    let lines = if slots.len() > MOST_LINES {
        &[]
    } else {
        slots.get(1..).unwrap_or_default()
    };
    let height = ROW * u32::try_from(rows.len()).unwrap_or(u32::MAX / ROW);
    let (name, words) = (format!("{id}-title"), format!("{id}-words"));
    html! {
        figure.timeline {
            figcaption { (title) }
            svg role="img" aria-labelledby={ (name) " " (words) } width="100%" height=(height + 20) {
                title id=(name) { (title) }
                desc id=(words) { (describe(facts, rows)) }
                @for slot in lines {
                    @let x = format!("{}%", share(slot.from));
                    line.grid x1=(x) x2=(x) y1="0" y2=(height) {}
                }
                @for (index, row) in (0_u32..).zip(rows) {
                    text x="0" y=(index * ROW + 14) { (row.name) }
                    @for (from, to) in &row.times {
                        @let left = share(*from);
                        @let width = (share(*to) - left).max(NARROWEST);
                        rect class=(row.class) x={ (left.min(100.0 - NARROWEST)) "%" } y=(index * ROW + 19) width={ (width) "%" } height="9" rx="2" {}
                    }
                }
                line.base x1="0" x2="100%" y1=(height) y2=(height) {}
                text.small x="0" y=(height + 15) { (period.from) }
                text.small x="100%" y=(height + 15) text-anchor="end" { (period.last_day()) }
            }
        }
    }
}

fn describe(facts: &Facts, rows: &[Row]) -> String {
    let one = |row: &Row| {
        let time = |(from, to): &(Wall, Wall)| {
            format!(
                "{} to {}",
                facts.owner.moment(*from),
                facts.owner.moment(*to)
            )
        };
        let times: Vec<String> = row.times.iter().map(time).collect();
        format!("{}: {}.", row.name, times.join("; "))
    };
    rows.iter().map(one).collect::<Vec<_>>().join(" ")
}

/// The alerts that have a place in time, those of one name in one row.
#[must_use]
pub fn rows_of(facts: &Facts, alerts: &[&PastAlert]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for alert in alerts {
        let until = match alert.end {
            None => Some(facts.until),
            Some(end) => end.at,
        };
        let (Some(from), Some(to)) = (alert.raised, until) else {
            continue;
        };
        let name = super::alerts::name(alert);
        match rows.iter_mut().find(|row| row.name == name) {
            Some(row) => row.times.push((from, to)),
            None => rows.push(Row {
                name,
                class: alert.severity.key(),
                times: vec![(from, to)],
            }),
        }
    }
    rows
}
