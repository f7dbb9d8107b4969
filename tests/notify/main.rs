//! Notices by HTTP against a real server of the test that takes them, fails, stalls, sends elsewhere
//! or dies. What is right is HTTP's own rule (RFC 9110), named beside the check.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/authority.rs"]
mod authority;
mod certificates;
mod queue;
#[path = "../support/receiver.rs"]
mod receiver;

use std::{collections::BTreeMap, fs, net::TcpListener, time::Duration};

use permeated::{
    config::{self, NotifyTarget},
    core::alert::Severity,
    edge::{
        notify::{Courier, Notifier, Outcome, Pauses},
        store::NoticeKey,
    },
    wire::notice::Notice,
};
use receiver::{Receiver, Reply};

const UNIT: &str =
    "[unit.u]\n[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";
const LIMIT: Duration = Duration::from_secs(15);
const QUICK: Pauses = Pauses {
    first: Duration::from_millis(50),
    longest: Duration::from_millis(200),
    asked: Duration::from_secs(5),
};

fn target(url: &str, more: &str) -> NotifyTarget {
    let text = format!("[[notify]]\nname = \"phone\"\nurl = \"{url}\"\n{more}\n{UNIT}");
    let mut settings = config::from_text("x.toml", &text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"));
    settings.notify.remove(0)
}

fn at(receiver: &Receiver, more: &str) -> NotifyTarget {
    target(&format!("http://127.0.0.1:{}/in", receiver.port), more)
}

fn notice(number: u64) -> Notice {
    Notice {
        number,
        unit: "kitchen".to_owned(),
        severity: Severity::Critical,
        title: "Küche: \"Leak\"\r\nX-Evil: 1".to_owned(),
        ..Notice::test()
    }
}

fn open(target: &NotifyTarget, pauses: Pauses) -> Notifier {
    Notifier::open(
        std::slice::from_ref(target),
        Vec::new(),
        BTreeMap::new(),
        pauses,
    )
    .unwrap()
}

/// Queues and sends at once, as if the store had answered.
fn send(notifier: &mut Notifier, notice: &Notice) {
    for row in notifier.queue(notice) {
        notifier.send(row);
    }
}

async fn settled(notifier: &mut Notifier) -> NoticeKey {
    tokio::time::timeout(LIMIT, notifier.settled())
        .await
        .unwrap()
}

async fn outcome(target: &NotifyTarget) -> Outcome {
    Courier::new(target).unwrap().deliver(&notice(7)).await
}

#[tokio::test]
async fn the_usual_body_is_json_with_everything() {
    let receiver = Receiver::start(&[]);
    assert_eq!(
        outcome(&at(&receiver, "")).await,
        Outcome::Taken { status: 200 }
    );
    let received = &receiver.received()[0];
    assert_eq!(received.head[0], "POST /in HTTP/1.1");
    assert_eq!(received.header("idempotency-key"), Some("kitchen-7"));
    assert_eq!(received.header("content-type"), Some("application/json"));
    let host = format!("127.0.0.1:{}", receiver.port);
    assert_eq!(received.header("host"), Some(host.as_str()));
    let body: serde_json::Value = serde_json::from_str(&received.body).unwrap();
    assert_eq!(body["title"], notice(7).title);
    assert_eq!(body["severity"], "critical");
    assert_eq!(body["about"], serde_json::Value::Null);
}

/// A title that holds quotes and a line end stays a string of JSON, and one header.
#[tokio::test]
async fn templates_are_filled_in_and_escaped() {
    let folder = tempfile::tempdir().unwrap();
    let (token, secret) = (folder.path().join("token"), folder.path().join("secret"));
    fs::write(&token, "t0ken\nsecond line\n").unwrap();
    fs::write(&secret, "s3cret/x\n").unwrap();
    let receiver = Receiver::start(&[]);
    let more = format!(
        "method = \"PUT\"\ntoken_file = {token:?}\nsecret_file = {secret:?}\n\
         headers = {{ Title = \"{{title}}\", X-Key = \"k {{secret}}\" }}\n\
         body = '{{\"message\": \"{{title}}\", \"n\": {{number}}}}'"
    );
    let url = format!(
        "http://127.0.0.1:{}/in/{{secret}}?u={{unit}}",
        receiver.port
    );
    assert_eq!(
        outcome(&target(&url, &more)).await,
        Outcome::Taken { status: 200 }
    );
    let received = &receiver.received()[0];
    assert_eq!(received.head[0], "PUT /in/s3cret%2Fx?u=kitchen HTTP/1.1");
    assert_eq!(received.header("authorization"), Some("Bearer t0ken"));
    assert_eq!(received.header("x-key"), Some("k s3cret/x"));
    let title = received.header("title").unwrap();
    assert!(
        title.starts_with("=?UTF-8?Q?K=C3=BCche") && title.is_ascii(),
        "{title}"
    );
    assert_eq!(received.header("x-evil"), None);
    let body: serde_json::Value = serde_json::from_str(&received.body).unwrap();
    assert_eq!(body["message"], notice(7).title);
    assert_eq!(body["n"], 7);
}

#[tokio::test]
async fn what_may_pass_is_tried_again_until_it_is_taken_once() {
    let receiver = Receiver::start(&[
        Reply::Status(500, ""),
        Reply::Status(503, ""),
        Reply::Die,
        Reply::Stall,
        Reply::Status(429, ""),
        // The owner puts the token right meanwhile.
        Reply::Status(401, ""),
    ]);
    let mut notifier = open(&at(&receiver, "timeout = \"1 s\""), QUICK);
    send(&mut notifier, &notice(1));
    send(&mut notifier, &notice(2));
    assert_eq!(settled(&mut notifier).await.number, 1);
    assert_eq!(settled(&mut notifier).await.number, 2);
    // In their order, each taken once; the attempts of one share its key.
    let keys = receiver.keys();
    assert_eq!(keys.len(), 8, "{keys:?}");
    assert!(keys[..7].iter().all(|key| key == "kitchen-1") && keys[7] == "kitchen-2");
    // The pauses grow: the first is 50 ms, the second 100 ms.
    let received = receiver.received();
    assert!(received[2].at - received[1].at >= Duration::from_millis(100));
}

/// RFC 9110, 10.2.3: how long to wait before the next request.
#[tokio::test]
async fn retry_after_is_honoured() {
    let receiver = Receiver::start(&[Reply::Status(429, "Retry-After: 2\r\n")]);
    let mut notifier = open(&at(&receiver, ""), QUICK);
    send(&mut notifier, &notice(1));
    settled(&mut notifier).await;
    let received = receiver.received();
    assert!(received[1].at - received[0].at >= Duration::from_secs(2));
}

#[tokio::test]
async fn what_will_never_be_taken_is_given_up() {
    for status in [400, 404, 410, 413] {
        let receiver = Receiver::start(&[Reply::Status(status, "")]);
        let mut notifier = open(&at(&receiver, ""), QUICK);
        send(&mut notifier, &notice(1));
        send(&mut notifier, &notice(2));
        settled(&mut notifier).await;
        settled(&mut notifier).await;
        assert_eq!(receiver.keys(), ["kitchen-1", "kitchen-2"], "{status}");
    }
}

/// A secret must not travel on to where a redirect points.
#[tokio::test]
async fn redirects_are_not_followed() {
    let elsewhere = Receiver::start(&[]);
    let location: &'static str =
        Box::leak(format!("Location: http://127.0.0.1:{}/\r\n", elsewhere.port).into_boxed_str());
    for status in [301, 302, 303, 307, 308] {
        let receiver = Receiver::start(&[Reply::Status(status, location)]);
        let Outcome::Refused { why } = outcome(&at(&receiver, "")).await else {
            panic!("{status} is not refused");
        };
        assert!(why.contains("not followed"), "{why}");
    }
    assert!(elsewhere.received().is_empty());
}

/// The status says that it was taken; what follows does not matter.
#[tokio::test]
async fn an_answer_that_breaks_off_counts_by_its_status() {
    let receiver = Receiver::start(&[Reply::DieMidAnswer]);
    assert_eq!(
        outcome(&at(&receiver, "")).await,
        Outcome::Taken { status: 200 }
    );
}

/// Neither errors nor `Debug` nor what a server repeats show a secret.
#[tokio::test]
async fn secrets_are_never_shown() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("secret");
    fs::write(&file, "the").unwrap();
    let receiver = Receiver::start(&[Reply::Status(400, "")]);
    let more = format!("secret_file = {file:?}\nheaders = {{ A = \"{{secret}}\" }}");
    // It says "the cause".
    let Outcome::Refused { why } = outcome(&at(&receiver, &more)).await else {
        panic!()
    };
    assert!(why.contains("400: … cause"), "{why}");
    fs::write(&file, "hunter2").unwrap();
    let closed = format!("http://127.0.0.1:{}/hunter2/{{secret}}", free_port());
    let broken = target(&closed, &format!("secret_file = {file:?}"));
    let why = format!("{:?}", outcome(&broken).await);
    assert!(
        why.contains("no connection to http://127.0.0.1:") && !why.contains("hunter2"),
        "{why}"
    );
    fs::write(&file, "hunter2\u{7}\n").unwrap();
    let why = Courier::new(&broken).err().unwrap().to_string();
    assert!(why.contains("secret") && !why.contains("hunter2"), "{why}");
}

fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}
