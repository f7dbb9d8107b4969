//! Who can do what to the service, and what it lets out: the built program against the real Mosquitto, with
//! certificates of an authority of the test's own, access rules, hostile messages, and secrets that must be
//! seen nowhere.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod access;
#[path = "../support/authority.rs"]
mod authority;
mod limits;
#[path = "../support/receiver.rs"]
mod receiver;
mod secrets;
#[path = "../service/site.rs"]
#[allow(dead_code)]
mod site;
#[path = "../support/mod.rs"]
mod support;
mod switched_off;
mod tls;

use std::process::Output;

use site::{Site, program};

/// A unit of one probe and one stage.
const UNIT: &str = r#"
[unit.u]
[[unit.u.stage]]
id = "di"
kind = "mixed_bed"
life = "400 L"
[[unit.u.sensor]]
at = "product_tds"
topic = "rig/product"
unit = "ppm"
"#;
const VALUE: &str = "permeated/u/value/product_tds_mg_l";

/// What `check` says of the site's configuration, on both outputs.
fn checked(site: &Site, strict: bool) -> (Option<i32>, String) {
    let mut command = program();
    command
        .arg("check")
        .args(strict.then_some("--strict"))
        .arg(site.file());
    let output = command.output().unwrap();
    (output.status.code(), said(&output))
}

/// Both outputs.
fn said(output: &Output) -> String {
    [&output.stdout, &output.stderr]
        .map(|bytes| String::from_utf8_lossy(bytes).into_owned())
        .concat()
}

/// On one line each, however a terminal's width broke it.
fn unfolded(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
