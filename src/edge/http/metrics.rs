//! `GET /metrics`: what the application says at that moment, in the form the scraper reads.

use hyper::{
    StatusCode,
    header::{self, HeaderValue},
};

use super::{
    Asker, HttpError, Questions, Room,
    gate::{Answer, Head, plain, stopping, text},
    serve,
};
use crate::{
    config::WebServer,
    wire::openmetrics::{self, Family, Format},
};

struct Metrics(Asker<Vec<Family>>);

/// Opens the port for scrapers; must be called inside a tokio runtime.
///
/// # Errors
/// When the port cannot be had.
pub fn serve_metrics(server: &WebServer) -> Result<Questions<Vec<Family>>, HttpError> {
    serve(server, Metrics)
}

impl Room for Metrics {
    const WHAT: &'static str = "metrics";
    const TABLE: &'static str = "metrics";
    const ENTRY: &'static str = "/metrics";
    const MAY_LOAD: &'static str = "";

    async fn answer(&self, head: &Head) -> Answer {
        if head.uri.path() != Self::ENTRY {
            return plain(StatusCode::NOT_FOUND, "There is only /metrics.\n");
        }
        let Some(families) = self.0.ask().await else {
            return stopping();
        };
        let accept = head.headers.get_all(header::ACCEPT).iter();
        let accept: Vec<&str> = accept.filter_map(|value| value.to_str().ok()).collect();
        let format = Format::accepted(&accept.join(","));
        let body = openmetrics::text(&families, format);
        let mut answer = text(StatusCode::OK, format.media_type(), body);
        let vary = HeaderValue::from_static("Accept");
        answer.headers_mut().insert(header::VARY, vary);
        answer
    }
}
