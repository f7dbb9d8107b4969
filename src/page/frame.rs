//! What surrounds every page: head, the line at the top, the cautions at its foot. Owns the style sheet
//! and the icon.

use maud::{DOCTYPE, Markup, html};

use super::{Service, Snapshot, View, words};
use crate::{core::alert, time::Wall};

/// The style sheet of every page.
pub const STYLE: &str = concat!(
    include_str!("../picture/style.css"),
    include_str!("style.css")
);
/// The icon in the browser's tab.
pub const ICON: &str = include_str!("icon.svg");

/// The name under which the style sheet is served: another one when it changes, so that it can be kept.
#[must_use]
pub fn style_name() -> String {
    format!("style-{:016x}.css", crate::digest::digest(STYLE.as_bytes()))
}

/// The name under which the icon is served.
#[must_use]
pub fn icon_name() -> String {
    format!("icon-{:016x}.svg", crate::digest::digest(ICON.as_bytes()))
}

/// What stands at the top of a page.
pub(super) struct Masthead<'a> {
    /// The moment the page tells of, by the owner's clock.
    pub moment: Option<String>,
    /// The way to the list of units, where there are several.
    pub list: Option<String>,
    /// The page's own subject.
    pub name: &'a str,
}

/// A whole document.
pub(super) fn document(view: &View, title: &str, top: &Masthead<'_>, body: &Markup) -> Markup {
    let (moment, list) = (top.moment.as_deref(), top.list.as_deref());
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="robots" content="noindex";
                title { (title) }
                link rel="stylesheet" href={ (view.top()) (style_name()) };
                link rel="icon" type="image/svg+xml" href={ (view.top()) (icon_name()) };
            }
            body {
                a .skip href="#told" { "Skip to what is told" }
                header .masthead {
                    p {
                        @if let Some(list) = list { a href=(list) { "All units" } " · " }
                        bdi { (top.name) }
                    }
                    p { (moment.unwrap_or("The clock is not set")) }
                }
                main #told { (body) }
                (foot(view))
            }
        }
    }
}

fn foot(view: &View) -> Markup {
    html! {
        footer {
            section .cautions aria-labelledby="cautions" {
                h2 #cautions { "Cautions" }
                div {
                    p { (alert::CAUTION) }
                    p {
                        "TDS and conductivity say nothing of germs, lead, nitrate or chloramine; 0 means less than \
                         about 1 mg/L, not pure. Housings and tubing can burst above their rating: relieve the \
                         pressure before you open anything. Keep mains voltage away from water."
                    }
                }
            }
            p .colophon {
                "permeated " (env!("CARGO_PKG_VERSION")) " · "
                @if view.refreshes {
                    "This page loads itself anew every " (super::REFRESH) " s. "
                    a href=(view.with_refresh(false)) { "Hold it still" }
                } @else {
                    "This page is held still. "
                    a href=(view.with_refresh(true)) { "Let it load itself anew" }
                }
            }
        }
    }
}

/// A page that only says something.
pub(super) fn message(view: &View, title: &str, words: &str) -> Markup {
    let top = Masthead {
        moment: Some(String::new()),
        list: None,
        name: "permeated",
    };
    let body = html! {
        h1 .headline { (title) }
        p { (words) }
        p { a href=(view.top()) { "To the first page" } }
    };
    document(view, title, &top, &body)
}

/// A section with its head in the margin.
pub(super) fn section(id: &str, title: &str, body: &Markup) -> Markup {
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (title) }
            div .body { (body) }
        }
    }
}

/// A section that takes the whole width.
pub(super) fn wide(id: &str, title: &str, body: &Markup) -> Markup {
    html! {
        section .wide aria-labelledby=(id) {
            h2 id=(id) { (title) }
            div .body { (body) }
        }
    }
}

/// A table that scrolls by itself where it is wider than the page.
pub(super) fn table(label: &str, rows: &Markup) -> Markup {
    html! {
        div .scroll role="region" aria-label={ (label) " (table)" } tabindex="0" { table { (rows) } }
    }
}

/// What keeps the service from its work, if anything does.
pub(super) fn troubles(snapshot: &Snapshot, zone: &jiff::tz::TimeZone) -> Vec<String> {
    let Service {
        connected,
        since,
        problem,
        unwritten,
        started,
    } = &snapshot.service;
    let date = snapshot.now.date();
    let moment = |at: Wall| words::moment(at, date, zone);
    let mut troubles = Vec::new();
    if !connected {
        let when = match (since, started) {
            (Some(since), _) => format!("is away since {}", moment(*since)),
            (None, Some(started)) => format!(
                "was not reached since the service started ({})",
                moment(*started)
            ),
            (None, None) => "was not reached since the service started".to_owned(),
        };
        let why = problem.as_deref().unwrap_or("The service goes on trying.");
        troubles.push(format!(
            "The broker {when}: what you see is from before. {}",
            words::capital(why)
        ));
    }
    if *unwritten {
        troubles.push(
            "The state cannot be written to disk; the service goes on trying. Look at its log and at the disk."
                .to_owned(),
        );
    }
    if date.is_none() {
        troubles.push(
            "The clock of this machine is not set: dates, ages and what falls due wait for it."
                .to_owned(),
        );
    }
    troubles
}
