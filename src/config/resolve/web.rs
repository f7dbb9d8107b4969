//! `[metrics]` and `[page]`: what is served by HTTP. Each table's presence switches it on.

use std::net::SocketAddr;

use super::super::{
    defaults,
    field::Field,
    outlets::{PageServer, WebServer},
    reader::Reader,
};

pub(super) const METRICS_KEYS: &[&str] = &["listen", "hosts"];
pub(super) const PAGE_KEYS: &[&str] = &["listen", "hosts", "url"];

/// Where scrapers read metrics.
pub(super) fn metrics(reader: &Reader<'_>) -> WebServer {
    server(reader, defaults::METRICS_LISTEN)
}

/// Where people read the status page. The name it is reached by is one of its hosts.
pub(super) fn page(reader: &Reader<'_>) -> PageServer {
    let url = reader.field("url").and_then(|field| url(&field));
    let (url, host) = url.unzip();
    let mut server = server(reader, defaults::PAGE_LISTEN);
    server.hosts.extend(host);
    PageServer { server, url }
}

/// The server, with the default for what could not be read.
fn server(reader: &Reader<'_>, usual: SocketAddr) -> WebServer {
    let listen = reader
        .field("listen")
        .and_then(|field| listen(&field, usual));
    let hosts = reader.field("hosts").and_then(|field| {
        let names = field.list("a list of names such as [\"rodi.lan\"]")?;
        Some(names.iter().filter_map(host).collect())
    });
    WebServer {
        listen: listen.unwrap_or(usual),
        hosts: hosts.unwrap_or_default(),
    }
}

fn listen(field: &Field<'_>, usual: SocketAddr) -> Option<SocketAddr> {
    let text = field.text()?;
    let address: Option<SocketAddr> = text.parse().ok();
    let address = address.filter(|address| address.port() > 0);
    if address.is_none() {
        let port = usual.port();
        field.wrong(format!(
            "{text:?} is no address with a port; write \"{usual}\" for this machine alone, \
             \"0.0.0.0:{port}\" for everybody who reaches it, or \"[::1]:{port}\""
        ));
    }
    address
}

fn host(field: &Field<'_>) -> Option<String> {
    let text = field.text()?;
    let allowed = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
    if !text.chars().all(allowed) {
        field.wrong(format!(
            "{text:?} is no host name; write it without scheme, port and path, as in \"rodi.lan\""
        ));
        return None;
    }
    Some(text.to_ascii_lowercase())
}

/// The url without a slash at its end, and its host.
fn url(field: &Field<'_>) -> Option<(String, String)> {
    let text = field.text()?;
    let found = web_url(text);
    if found.is_none() {
        field.wrong(format!(
            "{text:?} is no url of a page; write where people reach it, as in \"http://rodi.lan:8600\", with \
             http or https, without a login, a question mark and a #"
        ));
    }
    found
}

fn web_url(text: &str) -> Option<(String, String)> {
    let (scheme, rest) = text.split_once("://")?;
    let cut = rest.find('/').unwrap_or(rest.len());
    let (host, _) = super::broker::host_and_port(&rest[..cut]).ok()?;
    let printable = |c: char| c.is_ascii_graphic() && !"?#@\"<>\\^`{|}".contains(c);
    let is_url = ["http", "https"].contains(&scheme) && text.chars().all(printable);
    is_url.then(|| {
        let url = text.trim_end_matches('/').to_owned();
        (url, host.to_ascii_lowercase())
    })
}
