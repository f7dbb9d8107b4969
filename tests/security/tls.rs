//! TLS of the MQTT session: who is trusted, and what a keeper is told where nobody is.

use std::{fs, path::Path, sync::OnceLock};

use permeated::{
    config::{Broker, Tls},
    edge::mqtt::{FromBroker, SessionOptions, open},
};

use tempfile::TempDir;

use crate::{
    UNIT, VALUE,
    authority::{authority, certificate},
    checked,
    site::{LIMIT, Site, until},
    support::{self, Mosquitto, free_port},
    unfolded,
};

/// Everything that is used here, made once: two authorities and what they signed.
fn certificates(folder: &Path) {
    static MADE: OnceLock<TempDir> = OnceLock::new();
    let made = MADE.get_or_init(|| {
        let made = tempfile::tempdir().unwrap();
        make_certificates(made.path());
        made
    });
    for entry in fs::read_dir(made.path()).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.join(path.file_name().unwrap())).unwrap();
    }
}

fn make_certificates(folder: &Path) {
    authority(folder, "house");
    authority(folder, "other");
    for (by, name, host, days) in [
        ("house", "server", "localhost", 2),
        ("house", "expired", "localhost", -1),
        ("house", "elsewhere", "broker.example", 2),
        ("house", "client", "permeated", 2),
        ("house", "old-client", "permeated", -1),
        ("other", "stranger", "permeated", 2),
    ] {
        certificate(folder, by, name, host, days);
    }
    fs::write(folder.join("garbage.pem"), "no certificate\n").unwrap();
    let torn = fs::read_to_string(folder.join("house.pem")).unwrap();
    fs::write(folder.join("torn.pem"), &torn[..torn.len() / 2]).unwrap();
}

/// A broker with a plain listener for the client programs and an encrypted one, and its port.
fn broker(certificate: &str, wants_client: bool) -> (Mosquitto, u16) {
    let folder = tempfile::tempdir().unwrap();
    certificates(folder.path());
    let port = free_port();
    let settings = format!(
        "listener {{port}} 127.0.0.1\nlistener {port} 127.0.0.1\ncertfile {{folder}}/{certificate}.pem\n\
         keyfile {{folder}}/{certificate}.key\ncafile {{folder}}/house.pem\n\
         require_certificate {wants_client}\nallow_anonymous true\n"
    );
    (Mosquitto::start_with(folder, &settings), port)
}

/// A service whose broker is at that url, with these further lines; `name.pem` lies in the broker's folder.
fn site(broker: Mosquitto, url: &str, more: &str) -> Site {
    let site = Site::at(broker, UNIT);
    let folder = site.broker.folder().display().to_string();
    let more = more.replace("@", &folder);
    let text = format!(
        "[broker]\nurl = \"{url}\"\nclient_id = \"under-test\"\n{more}\n[publish]\ninterval = \"0 s\"\n\
         [store]\ndirectory = \"state\"\n{UNIT}"
    );
    fs::write(site.file(), text).unwrap();
    site
}

const CA: &str = "ca_file = \"@/house.pem\"\n";

fn client(name: &str) -> String {
    format!("{CA}client_certificate = \"@/{name}.pem\"\nclient_key = \"@/{name}.key\"\n")
}

#[test]
fn an_authority_of_ones_own_and_a_client_certificate_let_us_in() {
    for wants_client in [false, true] {
        let (broker, port) = broker("server", wants_client);
        let more = if wants_client {
            client("client")
        } else {
            CA.to_owned()
        };
        let site = site(broker, &format!("mqtts://localhost:{port}"), &more);
        assert_eq!(checked(&site, true).0, Some(0));
        let service = site.start();
        site.broker.publish("rig/product", "3", &[]);
        until("the value is there", || site.value(VALUE) == Some(3.0));
        service.terminate();
    }
}

/// What was seen, what to check, and no connection.
#[test]
fn who_cannot_be_trusted_is_refused_in_words() {
    for (what, certificate, wants_client, host, more, wanted) in [
        (
            "another authority",
            "server",
            false,
            "localhost",
            "ca_file = \"@/other.pem\"",
            ["not signed by the CA file", "other.pem"],
        ),
        (
            "the system's authorities",
            "server",
            false,
            "localhost",
            "",
            [
                "not signed by the system's certificate authorities",
                "`broker.ca_file`",
            ],
        ),
        (
            "an expired certificate",
            "expired",
            false,
            "localhost",
            CA,
            ["check the dates of the broker's certificate", "clock"],
        ),
        (
            "another host's certificate",
            "elsewhere",
            false,
            "localhost",
            CA,
            ["for another name than `localhost`", "broker.example"],
        ),
        (
            "an address for a name",
            "server",
            false,
            "127.0.0.1",
            CA,
            ["for another name than `127.0.0.1`", "localhost"],
        ),
        (
            "no client certificate",
            "server",
            true,
            "localhost",
            CA,
            ["wants a client certificate", "client_key"],
        ),
        (
            "a stranger's client certificate",
            "server",
            true,
            "localhost",
            &client("stranger"),
            ["does not accept our client certificate", "stranger.pem"],
        ),
        (
            "an expired client certificate",
            "server",
            true,
            "localhost",
            &client("old-client"),
            ["does not accept our client certificate", "check its dates"],
        ),
    ] {
        let (broker, port) = broker(certificate, wants_client);
        let site = site(broker, &format!("mqtts://{host}:{port}"), more);
        refused(&site, what, wanted);
    }
}

#[test]
fn a_port_that_speaks_otherwise_is_told() {
    let (broker, port) = broker("server", false);
    let plain = broker.port();
    let site = site(broker, &format!("mqtt://localhost:{port}"), "");
    refused(
        &site,
        "plain to TLS",
        ["does it speak plain MQTT", "mqtts://"],
    );
    let text = fs::read_to_string(site.file()).unwrap();
    let url = format!("mqtts://localhost:{plain}");
    let text = text.replace(&format!("mqtt://localhost:{port}"), &url);
    fs::write(site.file(), text).unwrap();
    refused(&site, "TLS to plain", ["does it speak TLS", "mqtt://"]);
}

fn refused(site: &Site, what: &str, wanted: [&str; 2]) {
    let service = site.launch();
    until(what, || {
        let log = service.log();
        (log.lines()).any(|line| {
            line.contains("no connection to the broker")
                && wanted.iter().all(|words| line.contains(words))
        })
    });
    assert!(!service.log().contains("connected to the broker"), "{what}");
    assert_eq!(site.broker.connections_of("under-test"), 0, "{what}");
}

/// Told by `check`, and ends `run` at once.
#[test]
fn a_file_that_is_of_no_use_is_named() {
    let (broker, port) = broker("server", true);
    let url = format!("mqtts://localhost:{port}");
    let site = site(broker, &url, "");
    let good = fs::read_to_string(site.file()).unwrap();
    for (more, wanted) in [
        (
            "ca_file = \"@/garbage.pem\"",
            ["garbage.pem", "holds no certificate"],
        ),
        ("ca_file = \"@/torn.pem\"", ["torn.pem", "certificate"]),
        (
            "ca_file = \"@/nowhere.pem\"",
            ["nowhere.pem", "cannot read the CA file"],
        ),
        ("ca_file = \"@\"", ["CA file", "cannot read"]),
        (
            "ca_file = \"@/house.key\"",
            ["house.key", "holds no certificate"],
        ),
        (
            "client_certificate = \"@/client.pem\"\nclient_key = \"@/stranger.key\"",
            ["client.pem", "does not go with the key"],
        ),
        (
            "client_certificate = \"@/client.pem\"\nclient_key = \"@/garbage.pem\"",
            ["garbage.pem", "holds no private key"],
        ),
        (
            "client_certificate = \"@/garbage.pem\"\nclient_key = \"@/client.key\"",
            ["garbage.pem", "holds no certificate"],
        ),
    ] {
        let folder = site.broker.folder().display().to_string();
        let more = more.replace('@', &folder);
        let ca = if more.contains("ca_file") { "" } else { CA };
        let line = format!("url = \"{url}\"\n{}{more}", ca.replace('@', &folder));
        fs::write(
            site.file(),
            good.replace(&format!("url = \"{url}\""), &line),
        )
        .unwrap();
        let (status, text) = checked(&site, true);
        assert_eq!(status, Some(1), "{more}: {text}");
        // Paths are as wide as the terminal would be.
        let text = unfolded(&text);
        assert!(text.contains("Look again"), "{text}");
        let mut service = site.launch();
        assert_eq!(service.ended(LIMIT).code(), Some(1), "{more}");
        for words in wanted {
            assert!(text.contains(words), "{words}: {text}");
            assert!(service.log().contains(words), "{words}: {}", service.log());
        }
        fs::remove_file(site.folder().join("log")).unwrap();
    }
}

/// A renewed certificate counts with the next attempt, and a standing connection goes on; a reload makes it
/// at once.
#[tokio::test]
async fn a_renewed_certificate_is_taken_up_without_a_restart() {
    let (broker, port) = broker("server", true);
    let folder = broker.folder().to_owned();
    let path = |name: &str| Some(folder.join(name));
    for kind in ["pem", "key"] {
        let (old, own) = (format!("old-client.{kind}"), format!("own.{kind}"));
        fs::copy(folder.join(old), folder.join(own)).unwrap();
    }
    let tls = Tls {
        ca_file: path("house.pem"),
        client_certificate: path("own.pem"),
        client_key: path("own.key"),
    };
    let address = Broker {
        host: "localhost".to_owned(),
        port,
        tls: Some(tls),
        user: None,
        password_file: None,
        client_id: None,
        keep_alive: std::time::Duration::from_secs(5),
    };
    let mut options = SessionOptions::new(address, "renewed".to_owned(), "x/status".to_owned());
    options.timings.longest_pause = std::time::Duration::from_millis(500);
    let (session, mut inbox) = open(options).unwrap();
    support::until(LIMIT, "the old one is refused", || {
        let problem = session.health().problem.unwrap_or_default();
        problem.contains("does not accept our client certificate")
    })
    .await;
    for kind in ["pem", "key"] {
        let (new, own) = (format!("client.{kind}"), format!("own.{kind}"));
        fs::copy(folder.join(new), folder.join(own)).unwrap();
    }
    let connected = tokio::time::timeout(LIMIT, inbox.receive()).await.unwrap();
    assert!(
        matches!(connected, FromBroker::Connected { .. }),
        "{connected:?}"
    );
}

#[test]
fn a_reload_takes_a_renewed_certificate_up_at_once() {
    let (broker, port) = broker("server", true);
    let more = client("own");
    let folder = broker.folder().to_owned();
    for kind in ["pem", "key"] {
        let (old, own) = (format!("old-client.{kind}"), format!("own.{kind}"));
        fs::copy(folder.join(old), folder.join(own)).unwrap();
    }
    let site = site(broker, &format!("mqtts://localhost:{port}"), &more);
    let service = site.launch();
    until("the old one is refused", || {
        service
            .log()
            .contains("does not accept our client certificate")
    });
    for kind in ["pem", "key"] {
        let (new, own) = (format!("client.{kind}"), format!("own.{kind}"));
        fs::copy(folder.join(new), folder.join(own)).unwrap();
    }
    service.signal("-HUP");
    // Without it the next attempt came only after three quarters of a minute.
    until("it is let in", || {
        service.log().contains("connected to the broker")
    });
    service.terminate();
}
