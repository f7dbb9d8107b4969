//! Resolved settings of the ways out besides MQTT.

use std::{net::SocketAddr, path::PathBuf, time::Duration};

use super::template::Template;
use crate::core::alert::Severity;

/// Where something is read by HTTP.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebServer {
    /// Address and port.
    pub listen: SocketAddr,
    /// Names by which it may be asked for, in lower case, besides `localhost` and bare addresses.
    pub hosts: Vec<String>,
}

/// Where people read the status page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PageServer {
    /// Where it is served.
    pub server: WebServer,
    /// Where it is reached from the house, with `http://` or `https://`, without a slash at its end.
    pub url: Option<String>,
}

/// Where notices are sent by HTTP.
#[derive(Clone, Debug, PartialEq)]
pub struct NotifyTarget {
    /// Its id, unique among the targets.
    pub name: String,
    /// Where to, without what the path and the query hold.
    pub server: Server,
    /// Path and query; never empty.
    pub path: Template,
    /// `POST` or `PUT`.
    pub method: &'static str,
    /// File whose first line is sent as `Authorization: Bearer …`.
    pub token_file: Option<PathBuf>,
    /// File whose first line stands for `{secret}`.
    pub secret_file: Option<PathBuf>,
    /// Names and values of further headers.
    pub headers: Vec<(String, Template)>,
    /// The body; the usual JSON document when absent.
    pub body: Option<Template>,
    /// Whether the body is JSON, so that what is filled in is escaped.
    pub json: bool,
    /// The severities that are sent.
    pub severities: Vec<Severity>,
    /// Whether the end of an alert is sent, too.
    pub cleared: bool,
    /// A whole exchange may take this long.
    pub timeout: Duration,
    /// PEM file with the certificate authority; the system's own are used when absent.
    pub ca_file: Option<PathBuf>,
}

/// The server of a url.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Server {
    /// Whether the exchange is encrypted.
    pub tls: bool,
    /// Name or address, without brackets.
    pub host: String,
    /// TCP port.
    pub port: u16,
}

impl std::fmt::Display for Server {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let scheme = if self.tls { "https" } else { "http" };
        write!(f, "{scheme}://{}", self.authority())
    }
}

impl Server {
    /// Host and port as in a url or `Host` header: the usual port is left out.
    #[must_use]
    pub fn authority(&self) -> String {
        let host = if self.host.contains(':') {
            format!("[{}]", self.host)
        } else {
            self.host.clone()
        };
        if self.port == if self.tls { 443 } else { 80 } {
            host
        } else {
            format!("{host}:{}", self.port)
        }
    }
}
