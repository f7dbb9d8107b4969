//! Who is answered, and what goes with it: through a plain socket.

use std::{
    io::{Read as _, Write as _},
    net::{TcpListener, TcpStream},
};

use super::{ONE, Served, Site, free_port, site::LIMIT};

fn exchange(port: u16, request: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(LIMIT)).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

fn get(port: u16, path: &str) -> (String, String) {
    let request = format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    let answer = exchange(port, &request);
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head.to_ascii_lowercase(), body.to_owned())
}

#[test]
fn what_goes_with_a_page_forbids_all_that_it_does_not_need() {
    let served = Served::start("", ONE);
    let (head, body) = get(served.port, "/");
    assert!(head.starts_with("http/1.1 200 ok"), "{head}");
    for wanted in [
        "content-type: text/html; charset=utf-8",
        "content-security-policy: default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'",
        "x-content-type-options: nosniff",
        "referrer-policy: no-referrer",
        "cross-origin-resource-policy: same-origin",
        "cache-control: no-store",
        "refresh: 60",
    ] {
        assert!(head.contains(&format!("\r\n{wanted}")), "{wanted}: {head}");
    }
    for nothing in ["<script", "style=", "http://", "https://", "<form"] {
        let first = body.replace("http://www.w3.org/2000/svg", "");
        assert!(!first.contains(nothing), "{nothing}");
    }
    let (head, _) = get(served.port, "/?refresh=off");
    assert!(
        head.starts_with("http/1.1 200") && !head.contains("refresh:"),
        "{head}"
    );
    // What never changes under its name may be kept.
    let style = body
        .split("href=\"")
        .find(|part| part.starts_with("./style-"))
        .unwrap();
    let style = style[1..].split('"').next().unwrap();
    let (head, sheet) = get(served.port, style);
    assert!(
        head.contains("text/css") && head.contains("immutable"),
        "{head}"
    );
    assert!(sheet.contains("prefers-color-scheme"), "{sheet}");
    served.service.terminate();
}

#[test]
fn nobody_else_is_answered() {
    let served = Served::start("", ONE);
    let port = served.port;
    let local = format!("Host: localhost:{port}\r\n");
    for (request, status) in [
        (
            "GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n".to_owned(),
            "421",
        ),
        ("GET / HTTP/1.1\r\n\r\n".to_owned(), "400"),
        (
            format!("POST / HTTP/1.1\r\n{local}Content-Length: 1\r\n\r\nx"),
            "405",
        ),
        (format!("DELETE /unit/u HTTP/1.1\r\n{local}\r\n"), "405"),
        (format!("GET /metrics HTTP/1.1\r\n{local}\r\n"), "404"),
        (format!("GET /unit/other HTTP/1.1\r\n{local}\r\n"), "404"),
        (
            format!("GET /unit/../etc/passwd HTTP/1.1\r\n{local}\r\n"),
            "404",
        ),
        (
            format!("GET /unit/%3Cscript%3Ealert(1)%3C/script%3E HTTP/1.1\r\n{local}\r\n"),
            "404",
        ),
    ] {
        let answer = exchange(port, &request);
        assert!(
            answer.starts_with(&format!("HTTP/1.1 {status} ")),
            "{request}: {answer}"
        );
        assert!(
            !answer.contains("rig/product") && !answer.contains("%3C"),
            "{request}: {answer}"
        );
    }
    let head = exchange(port, &format!("HEAD / HTTP/1.1\r\n{local}\r\n"));
    assert!(
        head.starts_with("HTTP/1.1 200 ") && head.ends_with("\r\n\r\n"),
        "{head}"
    );
    served.service.terminate();
}

#[test]
fn a_port_in_use_is_told_at_once() {
    let site = Site::new("", "");
    let port = free_port();
    site.configure(&format!("[page]\nlisten = \"127.0.0.1:{port}\"\n{ONE}"));
    let taken = TcpListener::bind(("127.0.0.1", port)).unwrap();
    let mut service = site.launch();
    assert_eq!(service.ended(LIMIT).code(), Some(1));
    let log = service.log();
    let wanted = format!("the page cannot be served at 127.0.0.1:{port}");
    assert!(log.contains(&wanted) && log.contains("[page]"), "{log}");
    drop(taken);
}
