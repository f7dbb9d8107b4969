//! Who we are: client id, password, certificates.

use std::{fs, path::Path, process::Command};

use permeated::{
    config::Tls,
    edge::mqtt::{SessionOptions, open},
};
use tempfile::TempDir;

use super::{LIMIT, Station, hearing, milliseconds, options};
use crate::support::{Log, Mosquitto, until};

#[tokio::test]
async fn two_clients_of_one_id_are_told_and_do_not_fight_in_a_storm() {
    let log = Log::catch();
    let broker = Mosquitto::start("");
    let first = Station::connect(options(broker.port(), "twin")).await;
    let second = Station::connect(options(broker.port(), "twin")).await;
    until(LIMIT, "it is told", || {
        log.lines_with(&["WARN", "another client probably uses the client id `twin`"]) > 0
    })
    .await;
    tokio::time::sleep(milliseconds(1000)).await;
    let connections = broker.connections_of("twin");
    assert!(connections <= 16, "{connections}");
    drop(second);
    until(LIMIT, "the one left stays", || {
        first.session.health().connected
    })
    .await;
    first.delivered().await;
}

fn with_password(folder: &Path, options: SessionOptions) -> SessionOptions {
    let mut options = options;
    options.broker.user = Some("unit".to_owned());
    options.broker.password_file = Some(folder.join("password"));
    options
}

#[tokio::test]
async fn a_wrong_password_is_told_slowly_retried_and_read_again() {
    let log = Log::catch();
    let folder = tempfile::tempdir().unwrap();
    let users = folder.path().join("users");
    made(
        Command::new("mosquitto_passwd")
            .args(["-b", "-c"])
            .arg(users)
            .args(["unit", "right"]),
    );
    fs::write(folder.path().join("password"), "wrong-secret\n").unwrap();
    let broker = Mosquitto::start_with(
        folder,
        "listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {folder}/users\n",
    );
    let options = with_password(broker.folder(), hearing(broker.port(), "secret", &[]));
    let mut station = Station::open(options);
    until(LIMIT, "a refusal", || {
        station.session.health().problem.is_some()
    })
    .await;
    let problem = station.session.health().problem.unwrap();
    let file = broker.folder().join("password").display().to_string();
    assert!(
        problem.contains("`unit`") && problem.contains(&file),
        "{problem}"
    );
    tokio::time::sleep(milliseconds(1500)).await;
    let attempts = broker.log().matches("New connection from").count() - 1;
    assert!(
        (2..=3).contains(&attempts),
        "{attempts} in 1.5 s with pauses of 1 s"
    );
    assert_eq!(log.lines_with(&["WARN", "refuses us"]), 1, "{}", log.text());

    fs::write(broker.folder().join("password"), "right\n").unwrap();
    station.connected().await;
    let told = log.text();
    assert!(
        !told.contains("wrong-secret") && !told.contains("right"),
        "{told}"
    );
}

/// Runs a program that prepares something.
fn made(command: &mut Command) {
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{command:?}: {error}"));
    assert!(output.status.success(), "{command:?}: {output:?}");
}

/// Runs `openssl` in a folder.
fn openssl(folder: &Path, arguments: &str) {
    made(
        Command::new("openssl")
            .current_dir(folder)
            .args(arguments.split_whitespace()),
    );
}

/// A certificate authority of that name.
fn authority(folder: &Path, name: &str) {
    openssl(
        folder,
        &format!(
            "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 \
             -subj /CN={name} -keyout {name}.key -out {name}.pem"
        ),
    );
}

/// A certificate for `name`, signed by `authority`.
fn certificate(folder: &Path, authority: &str, name: &str, alternative: &str) {
    fs::write(
        folder.join("extensions"),
        format!("subjectAltName={alternative}\n"),
    )
    .unwrap();
    openssl(
        folder,
        &format!(
            "req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj /CN={name} \
             -keyout {name}.key -out {name}.csr"
        ),
    );
    openssl(
        folder,
        &format!(
            "x509 -req -in {name}.csr -CA {authority}.pem -CAkey {authority}.key -CAcreateserial \
             -days 2 -extfile extensions -out {name}.pem"
        ),
    );
}

fn certificates() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    authority(folder.path(), "home");
    authority(folder.path(), "stranger");
    certificate(folder.path(), "home", "server", "IP:127.0.0.1");
    certificate(folder.path(), "home", "elsewhere", "DNS:elsewhere.lan");
    certificate(folder.path(), "home", "unit", "DNS:unit.lan");
    folder
}

const TLS: &str = "listener {port} 127.0.0.1\nallow_anonymous true\ncafile {folder}/home.pem\n";

fn encrypted(broker: &Mosquitto, ca: &str) -> SessionOptions {
    let mut options = options(broker.port(), "tls");
    options.broker.tls = Some(Tls {
        ca_file: Some(broker.folder().join(ca)),
        ..Tls::default()
    });
    options
}

async fn refusal(options: SessionOptions) -> String {
    let station = Station::open(options);
    until(LIMIT, "a refusal", || {
        station.session.health().problem.is_some()
    })
    .await;
    station.session.health().problem.unwrap()
}

#[tokio::test]
async fn a_private_authority_is_trusted_and_a_wrong_one_told() {
    let keys = "certfile {folder}/server.pem\nkeyfile {folder}/server.key\n";
    let broker = Mosquitto::start_with(certificates(), &format!("{TLS}{keys}"));
    let station = Station::connect(encrypted(&broker, "home.pem")).await;
    station.delivered().await;
    drop(station);

    let problem = refusal(encrypted(&broker, "stranger.pem")).await;
    assert!(problem.contains("not signed by the CA file"), "{problem}");
    assert!(problem.contains("stranger.pem"), "{problem}");

    let mut plain = options(broker.port(), "plain");
    plain.broker.tls = None;
    let problem = refusal(plain).await;
    assert!(problem.contains("or TLS (\"mqtts://"), "{problem}");

    let mut missing = encrypted(&broker, "nowhere.pem");
    let error = open(missing.clone()).err().unwrap().to_string();
    assert!(
        error.contains("CA file") && error.contains("nowhere.pem"),
        "{error}"
    );
    missing.broker.tls = Some(Tls {
        client_certificate: Some(broker.folder().join("unit.pem")),
        ..Tls::default()
    });
    let error = open(missing).err().unwrap().to_string();
    assert!(error.contains("both"), "{error}");
}

#[tokio::test]
async fn a_certificate_for_another_name_is_refused() {
    let keys = "certfile {folder}/elsewhere.pem\nkeyfile {folder}/elsewhere.key\n";
    let broker = Mosquitto::start_with(certificates(), &format!("{TLS}{keys}"));
    let problem = refusal(encrypted(&broker, "home.pem")).await;
    assert!(
        problem.contains("another name than `127.0.0.1`"),
        "{problem}"
    );
}

#[tokio::test]
async fn a_broker_that_wants_our_certificate_gets_it() {
    let keys =
        "certfile {folder}/server.pem\nkeyfile {folder}/server.key\nrequire_certificate true\n";
    let broker = Mosquitto::start_with(certificates(), &format!("{TLS}{keys}"));
    let problem = refusal(encrypted(&broker, "home.pem")).await;
    assert!(problem.contains("wants a client certificate"), "{problem}");

    let mut options = encrypted(&broker, "home.pem");
    if let Some(tls) = &mut options.broker.tls {
        tls.client_certificate = Some(broker.folder().join("unit.pem"));
        tls.client_key = Some(broker.folder().join("unit.key"));
    }
    Station::connect(options).await.delivered().await;
}

#[tokio::test]
async fn tls_towards_a_port_without_it_is_told() {
    let broker = Mosquitto::start("");
    let folder = certificates();
    let mut options = encrypted(&broker, "home.pem");
    if let Some(tls) = &mut options.broker.tls {
        tls.ca_file = Some(folder.path().join("home.pem"));
    }
    let problem = refusal(options).await;
    println!("{problem}");
    assert!(
        problem.contains("does it speak TLS") || problem.contains("speaks TLS"),
        "{problem}"
    );
}
