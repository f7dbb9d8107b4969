//! The status page of the built program: through a plain socket, who is answered and how; in a real
//! Chromium, what it says in each situation, that hostile names are only text, that it fits a phone, needs no
//! script, loads nothing from elsewhere and satisfies an independent accessibility checker (axe-core);
//! and, set in the test itself on a clock of its own, what no running service can be brought to.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "page/browser.rs"]
mod browser;
#[path = "page/gate.rs"]
mod gate;
#[path = "page/set.rs"]
mod set;
#[path = "service/site.rs"]
#[allow(dead_code)]
mod site;
#[path = "page/situations.rs"]
mod situations;
#[path = "support/mod.rs"]
mod support;

use site::{Service, Site, until};
use support::{BOARD, MAKING, RESTING, free_port};

/// One sensor: the least there can be.
const ONE: &str =
    "[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"rig/product\"\nunit = \"ppm\"\n";

/// What the unit of the board has besides.
const MORE: &str = r#"
[unit.u]
name = "Cellar"
[unit.u.storage]
kind = "open"
[unit.u.costs]
currency = "EUR"
water = "4 /m3"
[[unit.u.stage]]
id = "resin"
kind = "mixed_bed"
life = "100 L"
[[unit.u.sensor]]
at = "leak"
topic = "rig/leak"
"#;

fn cellar() -> String {
    format!("{BOARD}{MORE}")
}

/// A service with its page at a free port.
struct Served {
    site: Site,
    service: Service,
    port: u16,
}

impl Served {
    fn start(before: &str, units: &str) -> Self {
        let port = free_port();
        let site = Site::new("", "");
        let page = format!("[page]\nlisten = \"127.0.0.1:{port}\"\n");
        let general =
            "[publish]\ninterval = \"0 s\"\n[store]\ndirectory = \"state\"\ncheckpoint = \"1 s\"\n";
        // What stands at the top of the file stands before every table.
        let broker = site.broker.port();
        let text = format!(
            "{before}\n[broker]\nurl = \"mqtt://127.0.0.1:{broker}\"\nclient_id = \"{}\"\n{general}{page}{units}",
            site::CLIENT
        );
        std::fs::write(site.file(), text).unwrap();
        let service = site.start();
        until("the page is served", || {
            service.log().contains("the page at")
        });
        Self {
            site,
            service,
            port,
        }
    }

    fn url(&self, path: &str) -> String {
        format!("http://127.0.0.1:{}{path}", self.port)
    }
}
