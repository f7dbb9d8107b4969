//! The status page: what people look at. A snapshot of the units and the figures over time go in, HTML
//! comes out; nothing here does I/O, reads a clock or can change anything.
//!
//! One page for each unit, a bulletin of one column of side-heads: the sentence that says how it is comes
//! first, then what is to be done, then the figures. No script, nothing loaded but our own style sheet
//! and icon; light and dark follow the reader's system.

mod alerts;
mod costs;
mod due;
mod figures;
mod frame;
mod graphs;
mod index;
mod log;
mod membrane;
mod runs;
mod sensors;
mod train;
mod unit;
mod view;
mod words;

pub use frame::{ICON, STYLE, icon_name, style_name};
pub use view::{Place, Span, View};

use maud::Markup;

use crate::{
    core::Unit,
    past::Past,
    time::{Now, Wall},
};

/// The page loads itself anew after so many seconds.
pub const REFRESH: u32 = 60;

/// Everything a page is made of but the past: a copy, so that it can be set while the service goes on.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// When it was taken.
    pub now: Now,
    /// The units, in the order of their ids.
    pub units: Vec<Unit>,
    /// How the service stands.
    pub service: Service,
}

/// How the service stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Service {
    /// When it started, if the clock was set.
    pub started: Option<Wall>,
    /// A connection to the broker stands.
    pub connected: bool,
    /// When it last came or went; `None` before the first, or while the clock is not set.
    pub since: Option<Wall>,
    /// What keeps it from being made, in a sentence.
    pub problem: Option<String>,
    /// The state could not be written lately.
    pub unwritten: bool,
}

/// A page that was asked for.
#[derive(Debug)]
pub struct Page {
    /// Whether there is such a page; if not, it says so.
    pub found: bool,
    /// The whole document.
    pub html: String,
}

/// The unit whose past a page shows; `None` for one that shows none.
#[must_use]
pub fn shown<'a>(snapshot: &'a Snapshot, view: &View) -> Option<&'a Unit> {
    match (&view.place, snapshot.units.as_slice()) {
        (Place::Unit(id), units) => units.iter().find(|unit| unit.settings().id == *id),
        (Place::Top, [only]) => Some(only),
        (Place::Top | Place::Nowhere(_), _) => None,
    }
}

/// Sets the page. `past` is that of the unit it shows over the view's span, or why it cannot be read;
/// `None` where there is none: the clock was not set, or no unit is shown.
#[must_use]
pub fn page(snapshot: &Snapshot, view: &View, past: Option<Result<&Past, &str>>) -> Page {
    let set = |found: bool, html: Markup| Page {
        found,
        html: html.into_string(),
    };
    match (shown(snapshot, view), &view.place) {
        (Some(unit), _) => set(true, unit::page(snapshot, unit, view, past)),
        (None, Place::Top) => set(true, index::page(snapshot, view)),
        (None, Place::Unit(_) | Place::Nowhere(_)) => set(false, missing(view)),
    }
}

/// The page for an address where nothing is.
fn missing(view: &View) -> Markup {
    frame::message(
        view,
        "There is no such page",
        "The unit may have left the configuration, or the address has a slip in it.",
    )
}
