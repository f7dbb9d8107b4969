//! What a reader sees, in a real browser: one for all situations, for it takes seconds to start.

use std::fs;

use serde_json::json;

use super::{MAKING, ONE, RESTING, Served, browser::Browser, cellar, until};

const PHONE: i64 = 360;

#[test]
fn every_situation_in_a_browser() {
    let mut browser = Browser::start();
    nothing_heard(&mut browser);
    at_work(&mut browser);
    hostile_names(&mut browser);
}

fn nothing_heard(browser: &mut Browser) {
    let served = Served::start("", ONE);
    let url = served.url("/");
    let found = browser.visit(&url, json!({"axe": true}));
    found.is_sound(&url);
    found.is_accessible();
    found.says(&[
        "Nothing is heard of this unit",
        "No sensor was heard since the service started",
        "not heard yet",
        "closes no valve",
    ]);
    // Where nothing is, the page says so.
    let nowhere = browser.visit(&served.url("/unit/other"), json!({}));
    nowhere.says(&["There is no such page"]);
    // One sensor that speaks.
    served.site.broker.publish("rig/product", "0", &[]);
    until("the reading is shown", || {
        let found = browser.visit(&url, json!({}));
        found.is_sound(&url);
        found.text().contains("The only sensor speaks.")
    });
    served.service.terminate();
}

fn at_work(browser: &mut Browser) {
    let served = Served::start("display = \"us\"\ntime_zone = \"UTC\"\n", &cellar());
    let broker = &served.site.broker;
    broker.publish("rig/leak", "off", &[]);
    // A run of eleven seconds has more than its three samples, ten seconds apart.
    let url = served.url("/");
    until("water is made", || {
        broker.publish("rig/board", MAKING, &[]);
        let told = served.site.document("permeated/u/membrane");
        told["rejection_pct"].is_number()
    });
    let found = browser.visit(&url, json!({"axe": true, "keys": true}));
    found.is_sound(&url);
    found.is_accessible();
    // 400 µS/cm before and 16 behind the membrane: 96 % held back. 50 psi as sent, 15 °C are 59 °F,
    // 0.15 L/min are 57.1 gal a day (NIST SP 811), 16 µS/cm 8 mg/L on the usual scale.
    found.says(&[
        "It makes water",
        "96.0 %",
        "50.0 psi",
        "59.0 °F",
        "57.1 gal/d",
        "8.0 mg/L",
        "sediment",
        "Order now",
    ]);
    assert!(found.title().contains("Cellar"), "{}", found.title());
    let reached = found.strings("focused");
    assert!(reached[0].contains("Skip to what is told"), "{reached:?}");
    assert!(
        reached.iter().any(|each| each.contains("a year")),
        "{reached:?}"
    );
    assert!(
        reached.iter().any(|each| each.contains("Hold it still")),
        "{reached:?}"
    );

    // The same in the dark, on a phone, and without scripts.
    let bright = found.strings("outline").join("\n");
    let dark = browser.visit(&url, json!({"dark": true, "axe": true}));
    dark.is_sound(&url);
    dark.is_accessible();
    let phone = browser.visit(&url, json!({"width": PHONE, "axe": true}));
    phone.is_sound(&url);
    phone.is_accessible();
    let still = browser.visit(&url, json!({"script": false}));
    still.is_sound(&url);
    assert_eq!(still.strings("outline").join("\n"), bright);

    // A run that ended, graphs of every span.
    until("the run has ended", || {
        broker.publish("rig/board", RESTING, &[]);
        served.site.document("permeated/u/run")["ended"].is_string()
    });
    for span in ["day", "week", "month", "year", "all"] {
        let url = served.url(&format!("/unit/u?span={span}&refresh=off"));
        let found = browser.visit(&url, json!({}));
        found.is_sound(&url);
        found.says(&["It stands by.", "Over time", "held still"]);
    }

    // What is critical comes first, with its caution.
    broker.publish("rig/leak", "on", &[]);
    until("the leak is told", || {
        let found = browser.visit(&url, json!({"axe": true}));
        found.is_sound(&url);
        found.is_accessible();
        found.strings("outline")[0].contains("Act now: leak")
            && found.text().contains("Keep away from wet plugs")
    });

    // Kept figures that cannot be read, a broker that is away: the page still answers.
    fs::rename(served.site.database(), served.site.folder().join("aside")).unwrap();
    fs::write(served.site.database(), "no database at all").unwrap();
    let url = served.url("/?span=week&refresh=off&again=1");
    until("the damage is told", || {
        let found = browser.visit(&url, json!({}));
        found.is_sound(&url);
        found.text().contains("cannot be read")
    });
    let mut served = served;
    served.site.broker.kill();
    until("the broker's absence is told", || {
        let found = browser.visit(&url, json!({}));
        found.is_sound(&url);
        found.text().contains("The broker is away since")
    });
    drop(served.service);
}

/// Names are the owner's: whatever is in them is text.
fn hostile_names(browser: &mut Browser) {
    let long = "Ü".repeat(300);
    let names = [
        "<script>document.title='taken'</script>",
        "\\\"><img src=x onerror=alert(1)>",
        "' onload='alert(1)",
        "&lt;b&gt; {{ 7 * 7 }} 💧",
        "\u{202e}ffo reverse\u{202c} עברית",
        &long,
    ];
    let mut units = String::new();
    for (place, name) in names.iter().enumerate() {
        units += &format!(
            "[unit.u{place}]\nname = \"{name}\"\n[[unit.u{place}.stage]]\nid = \"s\"\nkind = \"sediment\"\n\
             name = \"{name}\"\nlife_time = \"10 d\"\ninstalled = 2020-01-01\n[[unit.u{place}.sensor]]\n\
             at = \"product_tds\"\ntopic = \"rig/{place}\"\nunit = \"ppm\"\n"
        );
    }
    let served = Served::start("", &units);
    for (place, name) in names.iter().enumerate() {
        let url = served.url(&format!("/unit/u{place}"));
        for width in [1200, PHONE] {
            let found = browser.visit(&url, json!({"width": width, "axe": width == PHONE}));
            found.is_sound(&url);
            assert!(found.title() != "taken");
            let wanted: Vec<&str> = name.split(['\u{202e}', '\u{202c}', '\\']).collect();
            for part in wanted {
                let part = part.split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(found.text().contains(&part), "{part}: {}", found.text());
            }
            if width == PHONE {
                found.is_accessible();
            }
        }
    }
    let url = served.url("/");
    let found = browser.visit(&url, json!({"width": PHONE, "axe": true}));
    found.is_sound(&url);
    found.is_accessible();
    found.says(&["6 units want a look", names[0]]);
    served.service.terminate();
}
