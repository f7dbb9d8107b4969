//! Who is answered, and how.

use std::{net::IpAddr, time::Instant};

use http_body_util::Full;
use hyper::{
    Method, Request, Response, StatusCode,
    body::{Bytes, Incoming},
    header::{self, HeaderValue},
};
use tokio::sync::{mpsc, oneshot};

use super::Question;
use crate::{
    config::MetricsServer,
    wire::openmetrics::{Format, text},
};

/// What goes with every answer: nothing is loaded, kept or guessed from it.
const CAREFUL: &[(&str, &str)] = &[
    ("cache-control", "no-store"),
    (
        "content-security-policy",
        "default-src 'none'; frame-ancestors 'none'",
    ),
    ("cross-origin-resource-policy", "same-origin"),
    ("referrer-policy", "no-referrer"),
    ("x-content-type-options", "nosniff"),
];

/// The rules for requests, and where the application is asked.
#[derive(Debug)]
pub(super) struct Gate {
    /// Names by which we may be asked for.
    hosts: Vec<String>,
    /// Whether another name is refused.
    strict: bool,
    ask: mpsc::Sender<Question>,
}

impl Gate {
    pub(super) fn new(settings: &MetricsServer, ask: mpsc::Sender<Question>) -> Self {
        Self {
            hosts: settings.hosts.clone(),
            strict: settings.listen.ip().is_loopback() || !settings.hosts.is_empty(),
            ask,
        }
    }

    pub(super) async fn answer(&self, request: &Request<Incoming>) -> Response<Full<Bytes>> {
        let mut answer = match self.refusal(request) {
            Some((status, why)) => plain(status, why),
            None => self.metrics(request).await,
        };
        let headers = answer.headers_mut();
        for (name, value) in CAREFUL {
            headers.insert(*name, HeaderValue::from_static(value));
        }
        if answer.status() == StatusCode::METHOD_NOT_ALLOWED {
            let allowed = HeaderValue::from_static("GET, HEAD");
            answer.headers_mut().insert(header::ALLOW, allowed);
        }
        answer
    }

    fn refusal(&self, request: &Request<Incoming>) -> Option<(StatusCode, &'static str)> {
        let mut hosts = request.headers().get_all(header::HOST).iter();
        let host = hosts.next().and_then(|host| host.to_str().ok());
        let known = host.is_some_and(|host| self.knows(host));
        if host.is_none() || hosts.next().is_some() {
            Some((StatusCode::BAD_REQUEST, "One Host header is needed.\n"))
        } else if self.strict && !known {
            // A page that has its own name resolved to this machine must not read from it.
            Some((
                StatusCode::MISDIRECTED_REQUEST,
                "This machine is not known by that name; add it to `hosts` in [metrics].\n",
            ))
        } else if request.uri().path() != "/metrics" {
            Some((StatusCode::NOT_FOUND, "There is only /metrics.\n"))
        } else if ![Method::GET, Method::HEAD].contains(request.method()) {
            Some((
                StatusCode::METHOD_NOT_ALLOWED,
                "Metrics can only be read.\n",
            ))
        } else {
            None
        }
    }

    fn knows(&self, host: &str) -> bool {
        let name = host_name(host);
        let is_address = name.parse::<IpAddr>().is_ok();
        is_address || name == "localhost" || self.hosts.contains(&name)
    }

    async fn metrics(&self, request: &Request<Incoming>) -> Response<Full<Bytes>> {
        let (answer, answered) = oneshot::channel();
        let question = Question {
            asked: Instant::now(),
            answer,
        };
        let stopping = "The service is stopping.\n";
        if self.ask.send(question).await.is_err() {
            return plain(StatusCode::SERVICE_UNAVAILABLE, stopping);
        }
        let Ok(families) = answered.await else {
            return plain(StatusCode::SERVICE_UNAVAILABLE, stopping);
        };
        let accept = request.headers().get_all(header::ACCEPT).iter();
        let accept: Vec<&str> = accept.filter_map(|value| value.to_str().ok()).collect();
        let format = Format::accepted(&accept.join(","));
        let mut response = Response::new(Full::from(text(&families, format)));
        let media_type = HeaderValue::from_static(format.media_type());
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, media_type);
        headers.insert(header::VARY, HeaderValue::from_static("Accept"));
        response
    }
}

/// A `Host` header without port and brackets, in lower case.
fn host_name(host: &str) -> String {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or(rest),
        None => host.split(':').next().unwrap_or(host),
    };
    name.trim_end_matches('.').to_ascii_lowercase()
}

fn plain(status: StatusCode, why: &'static str) -> Response<Full<Bytes>> {
    let mut response = Response::new(Full::from(why));
    *response.status_mut() = status;
    let text = HeaderValue::from_static("text/plain; charset=utf-8");
    response.headers_mut().insert(header::CONTENT_TYPE, text);
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bare_addresses_localhost_and_configured_names_are_known() {
        let settings = MetricsServer {
            listen: "127.0.0.1:9464".parse().unwrap(),
            hosts: vec!["rodi.lan".to_owned()],
        };
        let gate = Gate::new(&settings, mpsc::channel(1).0);
        for known in [
            "localhost",
            "LocalHost:9464",
            "127.0.0.1:9464",
            "[::1]:9464",
            "[::1]",
            "rodi.lan",
            "rodi.lan.:80",
        ] {
            assert!(gate.knows(known), "{known}");
        }
        for unknown in [
            "",
            "evil.example",
            "localhost.evil.example:9464",
            "127.0.0.1.evil.example",
        ] {
            assert!(!gate.knows(unknown), "{unknown}");
        }
    }
}
