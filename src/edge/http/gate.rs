//! Who is answered, and what goes with every answer.

use std::net::IpAddr;

use http_body_util::Full;
use hyper::{
    Method, Response, StatusCode,
    body::Bytes,
    header::{self, HeaderValue},
};

use super::Room;
use crate::{config::WebServer, edge::machine};

pub(super) type Head = hyper::http::request::Parts;
pub(super) type Answer = Response<Full<Bytes>>;

/// What goes with every answer unless it says otherwise: nothing is kept, framed or guessed from it.
const CAREFUL: &[(&str, &str)] = &[
    ("cache-control", "no-store"),
    ("cross-origin-resource-policy", "same-origin"),
    ("referrer-policy", "no-referrer"),
    ("x-content-type-options", "nosniff"),
];

/// The rules for requests, before the room that answers them.
#[derive(Debug)]
pub(super) struct Gate<R> {
    /// Names by which we may be asked for, besides `localhost` and bare addresses.
    hosts: Vec<String>,
    room: R,
}

impl<R: Room> Gate<R> {
    pub(super) fn new(server: &WebServer, room: R) -> Self {
        Self::of_machine(machine::host_name(), server, room)
    }

    fn of_machine(name: Option<String>, server: &WebServer, room: R) -> Self {
        let own = name.into_iter().flat_map(own_names);
        Self {
            hosts: server.hosts.iter().cloned().chain(own).collect(),
            room,
        }
    }

    pub(super) async fn answer(&self, head: &Head) -> Answer {
        let mut answer = match self.refusal(head) {
            Some((status, why)) => plain(status, why),
            None => self.room.answer(head).await,
        };
        let is_refused = answer.status() == StatusCode::METHOD_NOT_ALLOWED;
        let headers = answer.headers_mut();
        for (name, value) in CAREFUL {
            let value = HeaderValue::from_static(value);
            headers.entry(*name).or_insert(value);
        }
        let policy = format!(
            "default-src 'none'; {}base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
            R::MAY_LOAD
        );
        if let Ok(policy) = HeaderValue::from_str(&policy) {
            headers.insert(header::CONTENT_SECURITY_POLICY, policy);
        }
        if is_refused {
            let allowed = HeaderValue::from_static("GET, HEAD");
            headers.insert(header::ALLOW, allowed);
        }
        answer
    }

    fn refusal(&self, head: &Head) -> Option<(StatusCode, String)> {
        let mut hosts = head.headers.get_all(header::HOST).iter();
        let host = hosts.next().and_then(|host| host.to_str().ok());
        let is_known = host.is_some_and(|host| self.knows(host));
        if host.is_none() || hosts.next().is_some() {
            let why = "One Host header is needed.\n".to_owned();
            Some((StatusCode::BAD_REQUEST, why))
        } else if !is_known {
            // A page that has its own name resolved to this machine must not read from it.
            let why = format!(
                "This machine is not known by that name: ask for it by its address, or add the name to `hosts` in \
                 [{}] of its configuration.\n",
                R::TABLE
            );
            Some((StatusCode::MISDIRECTED_REQUEST, why))
        } else if ![Method::GET, Method::HEAD].contains(&head.method) {
            let why = "This can only be read.\n".to_owned();
            Some((StatusCode::METHOD_NOT_ALLOWED, why))
        } else {
            None
        }
    }

    fn knows(&self, host: &str) -> bool {
        let name = host_name(host);
        let is_address = name.parse::<IpAddr>().is_ok();
        is_address || name == "localhost" || self.hosts.contains(&name)
    }
}

/// What a machine of that name is called in its house: the name itself, and by multicast DNS (RFC 6762).
fn own_names(name: String) -> [String; 2] {
    let first = name.split('.').next().unwrap_or(&name);
    [format!("{first}.local"), name.clone()]
}

/// A `Host` header without port and brackets, in lower case.
fn host_name(host: &str) -> String {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or(rest),
        None => host.split(':').next().unwrap_or(host),
    };
    name.trim_end_matches('.').to_ascii_lowercase()
}

/// A text of that media type.
pub(super) fn text(status: StatusCode, media_type: &'static str, text: impl Into<Bytes>) -> Answer {
    let mut response = Response::new(Full::from(text.into()));
    *response.status_mut() = status;
    let media_type = HeaderValue::from_static(media_type);
    response
        .headers_mut()
        .insert(header::CONTENT_TYPE, media_type);
    response
}

pub(super) fn plain(status: StatusCode, why: impl Into<Bytes>) -> Answer {
    text(status, "text/plain; charset=utf-8", why)
}

/// The answer while the application ends.
pub(super) fn stopping() -> Answer {
    plain(
        StatusCode::SERVICE_UNAVAILABLE,
        "The service is stopping.\n",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Empty;

    impl Room for Empty {
        const WHAT: &'static str = "nothing";
        const TABLE: &'static str = "none";
        const ENTRY: &'static str = "/";
        const MAY_LOAD: &'static str = "";

        async fn answer(&self, _: &Head) -> Answer {
            stopping()
        }
    }

    fn gate(listen: &str, hosts: &[&str], machine: &str) -> Gate<Empty> {
        let settings = WebServer {
            listen: listen.parse().unwrap(),
            hosts: hosts.iter().map(ToString::to_string).collect(),
        };
        Gate::of_machine(Some(machine.to_owned()), &settings, Empty)
    }

    #[test]
    fn bare_addresses_localhost_and_the_names_of_this_machine_are_known() {
        let gate = gate("127.0.0.1:9464", &["rodi.lan"], "cellar");
        for known in [
            "localhost",
            "LocalHost:9464",
            "127.0.0.1:9464",
            "192.168.1.5:9464",
            "[::1]:9464",
            "[::1]",
            "rodi.lan",
            "rodi.lan.:80",
            "cellar:9464",
            "Cellar.local",
        ] {
            assert!(gate.knows(known), "{known}");
        }
        for unknown in [
            "",
            "evil.example",
            "localhost.evil.example:9464",
            "127.0.0.1.evil.example",
            "cellar.evil.example",
            "cellar.local.evil.example",
        ] {
            assert!(!gate.knows(unknown), "{unknown}");
        }
    }

    /// Otherwise any page of the web, whose name its owner may have resolved to this address, reads from it.
    #[test]
    fn who_listens_to_the_house_is_no_less_strict() {
        let gate = gate("0.0.0.0:8600", &[], "cellar.lan");
        for known in ["10.0.0.7:8600", "cellar.lan", "cellar.local"] {
            assert!(gate.knows(known), "{known}");
        }
        assert!(!gate.knows("evil.example:8600"));
    }
}
