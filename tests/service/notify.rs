//! `[[notify]]`: the built program tells a server of an alert, through failures, kills and restarts.

use std::{fs, process::Output, time::Duration};

use crate::{
    receiver::{Receiver, Reply},
    site::{Site, program, until},
};

/// An alert that is raised by one message: a leak contact.
const LEAK: &str = r#"
[unit.u]
name = "Kitchen"
[[unit.u.sensor]]
at = "leak"
topic = "rig/leak"
"#;

fn site(receiver: &Receiver) -> Site {
    let site = Site::new("", LEAK);
    configure(&site, receiver.port);
    site
}

fn configure(site: &Site, port: u16) {
    let target = format!("[[notify]]\nname = \"phone\"\nurl = \"http://127.0.0.1:{port}/in\"\n");
    site.configure(&format!("{target}{LEAK}"));
}

#[test]
fn an_alert_is_told_once() {
    let receiver = Receiver::start(&[]);
    let site = site(&receiver);
    let service = site.start();
    site.broker.publish("rig/leak", "ON", &[]);
    until("the notice is there", || !receiver.received().is_empty());
    let body: serde_json::Value = serde_json::from_str(&receiver.received()[0].body).unwrap();
    assert_eq!(body["code"], "leak");
    assert_eq!(body["severity"], "critical");
    assert_eq!(body["kind"], "raised");
    assert_eq!(body["unit"], "u");
    assert!(
        body["title"].as_str().unwrap().starts_with("Kitchen: "),
        "{body}"
    );
    service.terminate();
    let service = site.start();
    // Time to send what would be left over.
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(receiver.keys(), ["u-1"]);
    service.terminate();
}

/// Killed while the server is away, the next start tells it.
#[test]
fn what_waits_survives_a_kill() {
    let closed = crate::support::free_port();
    let site = Site::new("", LEAK);
    configure(&site, closed);
    let service = site.start();
    site.broker.publish("rig/leak", "ON", &[]);
    until("it was tried", || {
        service.log().contains("is not delivered yet")
    });
    service.kill();
    let receiver = Receiver::start(&[Reply::Status(503, "")]);
    configure(&site, receiver.port);
    let service = site.start();
    until("the notice is taken", || receiver.received().len() == 2);
    assert_eq!(receiver.keys(), ["u-1", "u-1"]);
    service.terminate();
}

/// A server that never answers does not hold up the end; the notice comes again with its key.
#[test]
fn a_stalled_server_does_not_hold_it() {
    let receiver = Receiver::start(&[Reply::Stall]);
    let site = site(&receiver);
    let service = site.start();
    site.broker.publish("rig/leak", "ON", &[]);
    until("the request is there", || receiver.received().len() == 1);
    service.terminate();
    let service = site.start();
    until("it comes again", || receiver.received().len() == 2);
    assert_eq!(receiver.keys(), ["u-1", "u-1"]);
    service.terminate();
}

fn test_notice(site: &Site, more: &[&str]) -> Output {
    let file = site.file().display().to_string();
    let mut arguments = vec!["notify", "--test", "--config", &file];
    arguments.extend(more);
    program().args(arguments).output().unwrap()
}

#[test]
fn the_test_command_says_what_came_back() {
    let receiver = Receiver::start(&[Reply::Status(200, ""), Reply::Status(403, "")]);
    let site = site(&receiver);
    let taken = test_notice(&site, &[]);
    assert_eq!(taken.status.code(), Some(0), "{taken:?}");
    let said = String::from_utf8(taken.stdout).unwrap();
    let wanted = format!("phone (http://127.0.0.1:{}): taken (200)\n", receiver.port);
    assert_eq!(said, wanted);
    let refused = test_notice(&site, &["--to", "phone"]);
    assert_eq!(refused.status.code(), Some(1), "{refused:?}");
    assert!(
        String::from_utf8(refused.stdout)
            .unwrap()
            .contains("answered 403: the cause")
    );
    let nobody = test_notice(&site, &["--to", "fax"]);
    assert_eq!(nobody.status.code(), Some(2));
    assert!(
        String::from_utf8(nobody.stderr)
            .unwrap()
            .contains("configured are phone")
    );
}

/// A file with a secret that cannot be used stops the start, and is told without the secret.
#[test]
fn an_unusable_secret_is_told_at_start() {
    let site = Site::new("", LEAK);
    let token = site.folder().join("token");
    fs::write(&token, " hunter2").unwrap();
    let target =
        "[[notify]]\nname = \"phone\"\nurl = \"http://127.0.0.1:9/\"\ntoken_file = \"token\"\n";
    site.configure(&format!("{target}{LEAK}"));
    let mut service = site.launch();
    let status = service.ended(crate::site::LIMIT);
    assert_eq!(status.code(), Some(1));
    let log = service.log();
    assert!(
        log.contains("phone") && log.contains("token") && !log.contains("hunter2"),
        "{log}"
    );
}
