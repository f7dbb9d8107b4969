//! `[broker]`: the address, the login and the keys of the MQTT session.

use super::{
    super::{
        defaults,
        field::Field,
        reader::Reader,
        settings::{Broker, Tls},
    },
    Context, file,
};

pub(super) const KEYS: &[&str] = &[
    "url",
    "user",
    "password_file",
    "client_id",
    "keep_alive",
    "ca_file",
    "client_certificate",
    "client_key",
];

/// The session, or `None` when its address could not be read.
pub(super) fn broker(reader: Option<Reader<'_>>, context: &Context<'_>) -> Option<Broker> {
    let reader = reader.as_ref();
    let field = |key: &str| reader.and_then(|reader| reader.field(key));
    let path = |key| field(key).and_then(|field| file(&field, context));
    let text = |key: &str| field(key).and_then(|field| field.text().map(str::to_owned));

    let address = match field("url") {
        Some(field) => address(&field),
        None => parse(defaults::BROKER_URL).ok(),
    };
    let tls = Tls {
        ca_file: path("ca_file"),
        client_certificate: path("client_certificate"),
        client_key: path("client_key"),
    };
    if let Some(reader) = reader {
        together(reader, "client_certificate", "client_key");
        together(reader, "client_key", "client_certificate");
        if reader.has("password_file") && !reader.has("user") {
            reader.misplaced(
                "password_file",
                "MQTT takes a password only with a user name; add user = \"…\"",
            );
        }
        if address.as_ref().is_some_and(|address| !address.tls) {
            for key in ["ca_file", "client_certificate", "client_key"] {
                reader.misplaced(
                    key,
                    "only an encrypted session uses it: url = \"mqtts://…\"",
                );
            }
        }
    }
    let user = text("user");
    let client_id = text("client_id");
    let password_file = path("password_file");
    let keep_alive = field("keep_alive")
        .and_then(|field| field.duration_in(defaults::KEEP_ALIVE_RANGE))
        .unwrap_or(defaults::KEEP_ALIVE);
    let address = address?;
    Some(Broker {
        host: address.host,
        port: address.port,
        tls: address.tls.then_some(tls),
        user,
        password_file,
        client_id,
        keep_alive,
    })
}

fn together(reader: &Reader<'_>, one: &str, other: &str) {
    if reader.has(one) && !reader.has(other) {
        reader.misplaced(one, format!("it needs {other:?} as well"));
    }
}

struct Address {
    host: String,
    port: u16,
    tls: bool,
}

fn address(field: &Field<'_>) -> Option<Address> {
    match parse(field.text()?) {
        Ok(address) => Some(address),
        Err(Refusal::Password) => {
            field.wrong_hidden(
                "a password in the url would be read by everyone who reads this file; put it \
                 alone in a file and write user = \"…\" and password_file = \"…\"",
            );
            None
        }
        Err(Refusal::Other(sentence)) => {
            field.wrong(sentence);
            None
        }
    }
}

#[derive(Debug)]
enum Refusal {
    Password,
    Other(String),
}

fn parse(url: &str) -> Result<Address, Refusal> {
    let other = |sentence: String| Err(Refusal::Other(sentence));
    let Some((scheme, rest)) = url.split_once("://") else {
        return other(format!(
            "{url:?} is no url; write \"mqtt://host:1883\" or \"mqtts://host\""
        ));
    };
    let rest = match rest.rsplit_once('@') {
        Some((login, _)) if login.contains(':') => return Err(Refusal::Password),
        Some((user, host)) => {
            return other(format!(
                "the user does not belong in the url; write user = {user:?} and \
                 url = \"{scheme}://{host}\""
            ));
        }
        None => rest,
    };
    let tls = match scheme {
        "mqtt" => false,
        "mqtts" => true,
        _ => {
            return other(format!(
                "{scheme:?} is not spoken here; allowed are mqtt:// and mqtts:// (encrypted)"
            ));
        }
    };
    let rest = rest.strip_suffix('/').unwrap_or(rest);
    if let Some(at) = rest.find(['/', '?', '#']) {
        return other(format!(
            "a host and a port are all the url may hold; {:?} is too much",
            &rest[at..]
        ));
    }
    let (host, port) = host_and_port(rest).map_err(Refusal::Other)?;
    Ok(Address {
        host,
        port: port.unwrap_or(if tls {
            defaults::TLS_PORT
        } else {
            defaults::PORT
        }),
        tls,
    })
}

pub(super) fn host_and_port(text: &str) -> Result<(String, Option<u16>), String> {
    let (host, port) = if let Some(bracketed) = text.strip_prefix('[') {
        let Some((host, rest)) = bracketed.split_once(']') else {
            return Err(format!("{text:?} lacks the closing ] of an IPv6 address"));
        };
        if host.parse::<std::net::Ipv6Addr>().is_err() {
            return Err(format!("{host:?} is no IPv6 address"));
        }
        match rest.strip_prefix(':') {
            Some(port) => (host, Some(port)),
            None if rest.is_empty() => (host, None),
            None => return Err(format!("{rest:?} after the address is no port")),
        }
    } else {
        match text.split_once(':') {
            Some((_, port)) if port.contains(':') => {
                return Err(format!(
                    "an IPv6 address stands in brackets: \"mqtt://[{text}]\""
                ));
            }
            Some((host, port)) => (host, Some(port)),
            None => (text, None),
        }
    };
    let allowed = |c: char| c.is_alphanumeric() || "-._:%".contains(c);
    if host.is_empty() || !host.chars().all(allowed) {
        return Err(format!("{host:?} is no host name or address"));
    }
    let port = match port {
        None => None,
        Some(port) => match port.parse::<u16>() {
            Ok(number) if number > 0 => Some(number),
            _ => return Err(format!("{port:?} is no port; allowed is 1 to 65535")),
        },
    };
    Ok((host.to_owned(), port))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn urls_give_host_port_and_encryption() {
        for (url, host, port, tls) in [
            ("mqtt://localhost", "localhost", 1883, false),
            ("mqtts://broker.lan/", "broker.lan", 8883, true),
            ("mqtt://10.0.0.2:11883", "10.0.0.2", 11_883, false),
            ("mqtts://[fd00::1]:8884", "fd00::1", 8884, true),
        ] {
            let address = parse(url).unwrap();
            assert_eq!(
                (address.host.as_str(), address.port, address.tls),
                (host, port, tls)
            );
        }
    }

    #[test]
    fn other_urls_are_refused_with_the_remedy() {
        for (url, wanted) in [
            ("localhost:1883", "mqtt://host"),
            ("ws://host", "mqtts://"),
            ("mqtt://me@host", "user = \"me\""),
            ("mqtt://host/path", "/path"),
            ("mqtt://host:0", "1 to 65535"),
            ("mqtt://host:99999", "1 to 65535"),
            ("mqtt://", "no host"),
            ("mqtt://fd00::1", "brackets"),
            ("mqtt://[fd00::1", "closing ]"),
        ] {
            match parse(url) {
                Err(Refusal::Other(sentence)) => assert!(sentence.contains(wanted), "{sentence}"),
                _ => panic!("{url} was accepted"),
            }
        }
        assert!(matches!(
            parse("mqtt://me:a@b@host"),
            Err(Refusal::Password)
        ));
    }
}
