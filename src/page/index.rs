//! The list of the units, where there are several.

use maud::{Markup, html};

use super::{
    Snapshot, View, alerts,
    frame::{self, Masthead},
    unit::{Look, headline},
    words,
};

pub(super) fn page(snapshot: &Snapshot, view: &View) -> Markup {
    let zone = snapshot
        .units
        .first()
        .map_or(jiff::tz::TimeZone::UTC, |unit| {
            unit.settings().time_zone.clone()
        });
    let looks: Vec<Look<'_>> = (snapshot.units.iter())
        .map(|unit| Look::at(unit, snapshot.now))
        .collect();
    let wanting = looks
        .iter()
        .filter(|look| !alerts::open(look.unit).is_empty() || !look.unit.is_heard(look.now.mono))
        .count();
    let title = match wanting {
        0 => format!("All {} units are well", looks.len()),
        1 => "One unit wants a look".to_owned(),
        wanting => format!("{wanting} units want a look"),
    };
    let top = Masthead {
        moment: snapshot
            .now
            .date()
            .and_then(|now| words::long_moment(now, &zone)),
        list: None,
        name: "permeated",
    };
    let troubles = frame::troubles(snapshot, &zone);
    let body = html! {
        div .lead {
            h1 .headline { (title) }
            @for trouble in &troubles { p .trouble { (trouble) } }
        }
        @for look in &looks {
            section .unit aria-labelledby={ "unit-" (look.settings.id) } {
                h2 id={ "unit-" (look.settings.id) } {
                    a href=(view.unit(&look.settings.id)) { bdi { (look.settings.name) } }
                }
                div .body { p .summary { bdi { (headline(look)) } "." } }
            }
        }
    };
    frame::document(view, &title, &top, &body)
}
