//! `[metrics]`: where scrapers read metrics. The table's presence switches it on.

use super::super::{defaults, field::Field, outlets::MetricsServer, reader::Reader};

pub(super) const KEYS: &[&str] = &["listen", "hosts"];

/// The server, with the default for what could not be read.
pub(super) fn server(reader: &Reader<'_>) -> MetricsServer {
    let listen = reader.field("listen").and_then(|field| listen(&field));
    let hosts = reader.field("hosts").and_then(|field| {
        let names = field.list("a list of names such as [\"rodi.lan\"]")?;
        Some(names.iter().filter_map(host).collect())
    });
    MetricsServer {
        listen: listen.unwrap_or(defaults::METRICS_LISTEN),
        hosts: hosts.unwrap_or_default(),
    }
}

fn listen(field: &Field<'_>) -> Option<std::net::SocketAddr> {
    let text = field.text()?;
    let address: Option<std::net::SocketAddr> = text.parse().ok();
    let address = address.filter(|address| address.port() > 0);
    if address.is_none() {
        field.wrong(format!(
            "{text:?} is no address with a port; write \"127.0.0.1:9464\" for this machine alone, \
             \"0.0.0.0:9464\" for everybody who reaches it, or \"[::1]:9464\""
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
