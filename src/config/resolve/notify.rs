//! `[[notify]]`: where notices are sent by HTTP.

use std::collections::BTreeSet;

use super::{
    super::{
        defaults,
        field::Field,
        nearest::hint,
        outlets::{NotifyTarget, Server},
        reader::Reader,
        template::{Placeholder, Template},
    },
    Context, file,
};
use crate::core::alert::Severity;

pub(super) const KEYS: &[&str] = &[
    "name",
    "url",
    "method",
    "token_file",
    "secret_file",
    "headers",
    "body",
    "severities",
    "cleared",
    "timeout",
    "ca_file",
];

const METHODS: &[(&str, &str)] = &[("POST", "POST"), ("PUT", "PUT")];
const SEVERITIES: &[(&str, Severity)] = &[
    ("notice", Severity::Notice),
    ("warning", Severity::Warning),
    ("critical", Severity::Critical),
];
/// Headers that the exchange itself needs.
const OURS: &[&str] = &[
    "connection",
    "content-length",
    "host",
    "idempotency-key",
    "transfer-encoding",
];

/// The targets, in the order written.
pub(super) fn targets(document: &Reader<'_>, context: &Context<'_>) -> Vec<NotifyTarget> {
    let mut names = BTreeSet::new();
    let tables = document.tables("notify", KEYS);
    let mut targets = Vec::new();
    for reader in &tables {
        let target = target(reader, context);
        let name = reader.field("name").and_then(|field| field.id());
        if name.is_some_and(|name| !names.insert(name.to_owned())) {
            reader.misplaced("name", "another [[notify]] has this name already");
        }
        targets.extend(target);
    }
    targets
}

fn target(reader: &Reader<'_>, context: &Context<'_>) -> Option<NotifyTarget> {
    reader.require("name", "name = \"phone\"");
    reader.require("url", "url = \"https://notices.example/rodi\"");
    let path = |key| reader.field(key).and_then(|field| file(&field, context));
    let address = reader.field("url").and_then(|field| address(&field));
    let headers = headers(reader);
    let body = reader.field("body").and_then(|field| template(&field));
    let json = is_json(reader, &headers);
    if let (Some(field), Some(body), true) = (reader.field("body"), &body, json) {
        check_json(&field, body);
    }
    if reader.has("token_file") && headers.iter().any(|(name, _)| name == "authorization") {
        reader.misplaced(
            "token_file",
            "it is sent as the header Authorization, which is written in \"headers\", too; keep one of them",
        );
    }
    let path_template = address.as_ref().map(|(_, path)| path);
    let mut templates = headers
        .iter()
        .map(|(_, value)| value)
        .chain(&body)
        .chain(path_template);
    let wants_secret = templates.any(|template| template.has(Placeholder::Secret));
    if wants_secret && !reader.has("secret_file") {
        reader.missing("\"secret_file\" is missing: its first line is what {secret} stands for");
    } else if !wants_secret {
        reader.misplaced(
            "secret_file",
            "nothing uses it: write {secret} where it belongs",
        );
    }
    if address.as_ref().is_some_and(|(server, _)| !server.tls) {
        reader.misplaced(
            "ca_file",
            "only an encrypted exchange needs it: url = \"https://…\"",
        );
    }
    let severities = reader.field("severities").and_then(|field| {
        let list = field.list("a list such as [\"warning\", \"critical\"]")?;
        Some(
            list.iter()
                .filter_map(|field| field.one_of("severity", SEVERITIES))
                .collect(),
        )
    });
    let method = reader
        .field("method")
        .and_then(|field| field.one_of("method", METHODS));
    let timeout = reader.field("timeout");
    let timeout = timeout.and_then(|field| field.duration_in(defaults::NOTIFY_TIMEOUT_RANGE));
    let cleared = reader.field("cleared").and_then(|field| field.flag());
    let (token_file, secret_file, ca_file) =
        (path("token_file"), path("secret_file"), path("ca_file"));
    let (server, path) = address?;
    Some(NotifyTarget {
        name: reader.field("name")?.id()?.to_owned(),
        server,
        path,
        method: method.unwrap_or("POST"),
        token_file,
        secret_file,
        headers,
        body,
        json,
        severities: severities
            .unwrap_or_else(|| SEVERITIES.iter().map(|(_, each)| *each).collect()),
        cleared: cleared.unwrap_or(true),
        timeout: timeout.unwrap_or(defaults::NOTIFY_TIMEOUT),
        ca_file,
    })
}

fn template(field: &Field<'_>) -> Option<Template> {
    match Template::parse(field.text()?) {
        Ok(template) => Some(template),
        Err(unknown) => {
            let known = Placeholder::ALL.map(Placeholder::key);
            field.wrong_hidden(format!(
                "{{{unknown}}} is no placeholder{}; known are {}",
                hint(&unknown, &known),
                known.map(|key| format!("{{{key}}}")).join(", ")
            ));
            None
        }
    }
}

/// Header names in lower case and their values.
fn headers(reader: &Reader<'_>) -> Vec<(String, Template)> {
    let Some(table) = reader
        .field("headers")
        .and_then(|field| Reader::open_any(&field))
    else {
        return Vec::new();
    };
    let mut headers = Vec::new();
    for (name, field) in table.fields() {
        let lower = name.to_ascii_lowercase();
        let token = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-.^_`|~".contains(c);
        if name.is_empty() || !name.chars().all(token) {
            table.misplaced(
                name,
                format!("{name:?} is no name of a header (RFC 9110, 5.1)"),
            );
        } else if OURS.contains(&lower.as_str()) {
            table.misplaced(
                name,
                format!("the header {name} is written by permeated itself"),
            );
        } else if let Some(value) = template(&field) {
            headers.push((lower, value));
        }
    }
    headers
}

fn is_json(reader: &Reader<'_>, headers: &[(String, Template)]) -> bool {
    let declared = headers.iter().find(|(name, _)| name == "content-type");
    match declared {
        Some((_, value)) => value.fill(|_| String::new()).contains("json"),
        None => match reader.field("body").and_then(|field| field.text()) {
            Some(body) => body.trim_start().starts_with(['{', '[']) && !starts_with_name(body),
            None => true,
        },
    }
}

/// `{title} …` is a text, `{"title": …` is JSON.
fn starts_with_name(body: &str) -> bool {
    let behind = body.trim_start().strip_prefix('{').unwrap_or_default();
    behind.starts_with(|c: char| c.is_ascii_lowercase())
}

fn check_json(field: &Field<'_>, body: &Template) {
    // A number stands well within and without quotes.
    let sample = body.fill(|_| "1".to_owned());
    if let Err(error) = serde_json::from_str::<serde_json::Value>(&sample) {
        field.wrong_hidden(format!(
            "the body is no JSON once it is filled in ({error}); write placeholders within quotes, as in \
             {{\"text\": \"{{text}}\"}}, or another Content-Type in \"headers\""
        ));
    }
}

fn address(field: &Field<'_>) -> Option<(Server, Template)> {
    let url = field.text()?;
    let refuse = |sentence: &str| {
        // Paths and queries of such urls are often secrets themselves.
        field.wrong_hidden(sentence);
        None
    };
    let (tls, rest) = match url.split_once("://") {
        Some(("https", rest)) => (true, rest),
        Some(("http", rest)) => (false, rest),
        Some(_) | None => {
            return refuse("this is no url; write \"https://host/path\" or \"http://host/path\"");
        }
    };
    let cut = rest.find(['/', '?', '#']).unwrap_or(rest.len());
    let (authority, path) = rest.split_at(cut);
    if authority.contains('@') {
        return refuse(
            "a login in the url would be read by everyone who reads this file; put a token alone in a file and \
             write token_file = \"…\", or a header with {secret} and secret_file = \"…\"",
        );
    }
    if path.contains('#') || path.contains(|c: char| c.is_whitespace() || !c.is_ascii()) {
        return refuse(
            "the path may hold no # and no blank, and what is not ASCII is written as %XX",
        );
    }
    let usual = if tls { 443 } else { 80 };
    let (host, port) = match super::broker::host_and_port(authority) {
        Ok((host, port)) => (host, port.unwrap_or(usual)),
        Err(sentence) => return refuse(&sentence),
    };
    template(field)?;
    let path = if path.starts_with('/') {
        path.to_owned()
    } else {
        format!("/{path}")
    };
    Some((Server { tls, host, port }, Template::parse(&path).ok()?))
}
