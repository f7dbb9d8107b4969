//! What is told to people leaves though the disk takes nothing, or hangs: once each, also when it is well again.

use std::time::Duration;

use serde_json::Value;

use crate::{
    disks::{RETRIED, acknowledged, goes_on, is_told_by_the_broker, site_with},
    preload::{ENOSPC, Orders},
    receiver::{Received, Receiver},
    rig::{litres, same},
    site::{Service, Site, until, until_within},
};

/// Such a site that sends notices by HTTP, too, with a second unit that has only a leak contact.
fn site(receiver: &Receiver) -> (Site, Orders, Service) {
    let (site, orders, _, service) = site_with(&format!(
        "[[notify]]\nname = \"phone\"\nurl = \"http://127.0.0.1:{}/\"\n\
         [[unit.v.sensor]]\nat = \"leak\"\ntopic = \"rig/other_leak\"\n",
        receiver.port
    ));
    is_told_by_the_broker(&site, true);
    (site, orders, service)
}

/// The keys of the notices of units.
fn of_units(receiver: &Receiver) -> Vec<String> {
    let mut keys = receiver.keys();
    keys.retain(|key| !key.starts_with("status"));
    keys
}

/// A leak is told by both ways, once each, while the disk takes nothing and after it does again; by HTTP that
/// the disk does not, too.
#[test]
fn a_notice_leaves_though_the_disk_refuses_it() {
    let receiver = Receiver::start(&[]);
    let (site, orders, service) = site(&receiver);
    let told = site.broker.watch("permeated/+/notice");
    orders.fail(ENOSPC, 1000);
    goes_on(&site, 430, true);
    until_within(RETRIED, "the leak is told", || {
        told.seen().len() == 1 && receiver.received().len() == 1
    });
    is_told_by_the_broker(&site, false);
    until_within(Duration::from_secs(100), "the disk is told of", || {
        receiver.received().len() == 2
    });
    let failed = orders.failed();
    until_within(RETRIED, "it fails once more", || orders.failed() > failed);
    orders.heal();
    is_told_by_the_broker(&site, true);
    until("it says so", || {
        service.log().contains("state is written again")
    });
    until("that it is over is told", || receiver.received().len() == 3);
    service.terminate();
    let received = receiver.received();
    let by_http: Vec<_> = received.iter().map(summary).collect();
    let of_disk = |kind| ["status", kind, "state_not_kept"].map(str::to_owned);
    let leak = ["u", "raised", "leak"].map(str::to_owned);
    assert_eq!(by_http, [leak, of_disk("raised"), of_disk("cleared")]);
    assert!(received[1].body.contains("no room on the disk"));
    let told = told.seen();
    assert!(
        told.len() == 1 && told[0].payload.contains("\"raised\""),
        "{told:?}"
    );
}

/// Unit, kind and code of a notice as it came.
fn summary(received: &Received) -> [String; 3] {
    let notice: Value = serde_json::from_str(&received.body).unwrap();
    ["unit", "kind", "code"].map(|name| notice[name].as_str().unwrap().to_owned())
}

/// A write that comes to no end holds no notice back, whether it came before or after, nor a reload's refusal.
#[test]
fn a_notice_leaves_though_the_disk_hangs() {
    let receiver = Receiver::start(&[]);
    let (site, orders, mut service) = site(&receiver);
    let told = site.broker.watch("permeated/+/notice");
    orders.delay(3_600_000);
    let both_told = |number: usize| {
        until_within(RETRIED, "the notice is told", || {
            told.seen().len() == number && of_units(&receiver).len() == number
        });
    };
    goes_on(&site, 440, true);
    both_told(1);
    is_told_by_the_broker(&site, false);
    service.signal("-HUP");
    until("the reload is refused", || {
        service.log().contains("the new configuration is not taken")
    });
    site.broker.publish("rig/increments", "10000", &[]);
    // Another alert, raised while the write still hangs.
    site.broker.publish("rig/other_leak", "ON", &[]);
    both_told(2);
    assert!(!acknowledged(&site, "'rig/increments'"));
    orders.heal();
    is_told_by_the_broker(&site, true);
    until("the increment is acknowledged", || {
        acknowledged(&site, "'rig/increments'")
    });
    assert!(service.is_running());
    service.terminate();
    assert!(same(litres(&site, "i"), 1.0));
    assert_eq!(of_units(&receiver), ["u-1", "v-1"]);
    assert_eq!(told.seen().len(), 2);
}
