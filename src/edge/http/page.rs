//! The status page: the application is asked how things stand, then the page is set apart from its loop.

use std::{path::Path, sync::Arc};

use hyper::{
    StatusCode,
    header::{self, HeaderValue},
};

use super::{
    Asker, HttpError, Questions, Room,
    gate::{Answer, Head, plain, stopping, text},
    serve,
    shelf::Shelf,
};
use crate::{
    config::WebServer,
    page::{self, Page, Snapshot, View},
};

const HTML: &str = "text/html; charset=utf-8";
/// What never changes under its name may be kept: its name changes with it.
const KEPT: &str = "public, max-age=31536000, immutable";

struct PageRoom {
    asker: Asker<Snapshot>,
    shelf: Arc<Shelf>,
}

/// Opens the port for readers; must be called inside a tokio runtime. Figures over time are read from
/// the store in `directory`.
///
/// # Errors
/// When the port cannot be had.
pub fn serve_page(server: &WebServer, directory: &Path) -> Result<Questions<Snapshot>, HttpError> {
    let shelf = Arc::new(Shelf::new(directory));
    serve(server, |asker| PageRoom { asker, shelf })
}

impl Room for PageRoom {
    const WHAT: &'static str = "the page";
    const TABLE: &'static str = "page";
    const ENTRY: &'static str = "/";
    const MAY_LOAD: &'static str = "style-src 'self'; img-src 'self'; ";

    async fn answer(&self, head: &Head) -> Answer {
        let path = head.uri.path();
        if let Some(part) = part(path) {
            return part;
        }
        let view = View::of(path, head.uri.query());
        let Some(snapshot) = self.asker.ask().await else {
            return stopping();
        };
        let refreshes = view.refreshes;
        let shelf = Arc::clone(&self.shelf);
        let set = move || set(&snapshot, &view, &shelf);
        let Ok(Page { found, html }) = tokio::task::spawn_blocking(set).await else {
            return plain(
                StatusCode::INTERNAL_SERVER_ERROR,
                "The page could not be set; the service's log says why.\n",
            );
        };
        let status = if found {
            StatusCode::OK
        } else {
            StatusCode::NOT_FOUND
        };
        let mut answer = text(status, HTML, html);
        if refreshes && found {
            let refresh = HeaderValue::from(page::REFRESH);
            answer.headers_mut().insert(header::REFRESH, refresh);
        }
        answer
    }
}

/// Reads what the page shows of the past, and sets it.
fn set(snapshot: &Snapshot, view: &View, shelf: &Shelf) -> Page {
    let shown = page::shown(snapshot, view).zip(snapshot.now.date());
    let past = shown.map(|(unit, now)| shelf.past(&unit.settings().id, view.span, now));
    let past = past.as_ref().and_then(|found| match found {
        Ok(past) => past.as_deref().map(Ok),
        Err(why) => Some(Err(why.as_str())),
    });
    page::page(snapshot, view, past)
}

/// The style sheet or the icon.
fn part(path: &str) -> Option<Answer> {
    let name = path.strip_prefix('/')?;
    let (media_type, body) = if name == page::style_name() {
        ("text/css; charset=utf-8", page::STYLE)
    } else if name == page::icon_name() {
        ("image/svg+xml", page::ICON)
    } else {
        return None;
    };
    let mut answer = text(StatusCode::OK, media_type, body);
    let kept = HeaderValue::from_static(KEPT);
    answer.headers_mut().insert(header::CACHE_CONTROL, kept);
    Some(answer)
}
