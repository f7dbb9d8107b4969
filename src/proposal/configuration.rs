//! The starting configuration: what is sure stands, what is doubtful stands commented out with what to
//! decide, and what only the keeper knows as places to fill in.

use std::fmt::Write as _;

use super::{
    Proposal,
    announced::Presence,
    finding::{Finding, Kind, Lacking},
    series::shown,
};
use crate::config::{Broker, Point, Tls, Topic};

/// How the broker is entered, for the configuration.
#[derive(Clone, Copy, Debug)]
pub struct Entry<'a> {
    /// The broker, its files by absolute paths.
    pub broker: &'a Broker,
    /// Under which we publish.
    pub prefix: &'a str,
    /// When it was listened and for how long, for people.
    pub heard: &'a str,
}

const UNIT: &str = "unit.rodi";

impl Proposal {
    /// A configuration that passes the check as it is, if there is a sensor at all.
    #[must_use]
    pub fn configuration(&self, entry: &Entry<'_>) -> String {
        let mut text = format!(
            "# A configuration to start from, proposed by `permeated listen` from what was heard of the broker\n\
             # ({}).\n\
             #\n\
             # What was sure or likely stands; look where it says \"check\". What begins with #? must be decided\n\
             # first: put it right and take \"#?\" away, or delete it. `permeated check` tells what is wrong and\n\
             # what will be computed; README and the example configuration tell of every key.\n\n",
            shown(entry.heard, 200)
        );
        broker(entry.broker, &mut text);
        if entry.prefix != "permeated" {
            let _ = writeln!(text, "[publish]\nprefix = {}\n", quoted(entry.prefix));
        }
        text.push_str(FRAME);
        let (mut point, mut doubtful) = (String::new(), String::new());
        let mut findings: Vec<&Finding> = self
            .findings
            .iter()
            .filter(|finding| finding.mirror_of.is_none())
            .collect();
        findings.sort_by_key(|finding| finding.point());
        for finding in findings {
            if finding.is_active() {
                point.push_str(&sensor(finding));
            } else {
                for line in sensor(finding).lines() {
                    let _ = match line {
                        "" => writeln!(doubtful),
                        line if line.starts_with('#') => writeln!(doubtful, "{line}"),
                        line => writeln!(doubtful, "#? {line}"),
                    };
                }
            }
        }
        text.push_str("# --- Sensors ---------------------------------------------------------------------------------------\n\n");
        text.push_str(&point);
        if !doubtful.is_empty() {
            text.push_str("# --- To be decided ---------------------------------------------------------------------------------\n\n");
            text.push_str(&doubtful);
        }
        text
    }
}

/// What no topic tells.
const FRAME: &str = r#"#[store]
#directory = "/var/lib/permeated"   # where the state is kept; this is the default

# The id "rodi" is part of every topic we publish and of the stored past: choose it now. Several units have
# a table each.
[unit.rodi]
name = "RO/DI"

# Fill in what you know. It is used only where no sensor tells, and marks what follows from it as assumed.
#? [unit.rodi.supply]
#? waste_ratio = "4:1"              # waste to product; gives the flows that no sensor measures
#? pressure = "60 psi"
#? tds = "250 mg/L"

# From the element's data sheet, with its test conditions: without it nothing is normalised.
#? [unit.rodi.membrane]
#? rated_flow = "75 gal/d"
#? rated_pressure = "50 psi"
#? rated_tds = "250 mg/L"
#? rated_recovery = "15 %"

#? [unit.rodi.storage]
#? kind = "open"                    # no back-pressure; or "pressurised"

# The train from supply to storage, one table for each stage: without it nothing is said of what is left.
# kind: sediment, carbon, catalytic_carbon, booster_pump, membrane, cation, anion, mixed_bed.
#? [[unit.rodi.stage]]
#? id = "sediment"
#? kind = "sediment"
#? life_time = "180 d"
#?
#? [[unit.rodi.stage]]
#? id = "carbon"
#? kind = "carbon"
#? life = "10000 L"                 # of the water it sees: the whole feed
#? life_time = "180 d"
#?
#? [[unit.rodi.stage]]
#? id = "membrane"
#? kind = "membrane"
#?
#? [[unit.rodi.stage]]
#? id = "di"
#? kind = "mixed_bed"
#? life = "400 L"

"#;

fn broker(broker: &Broker, text: &mut String) {
    let scheme = if broker.tls.is_some() {
        "mqtts"
    } else {
        "mqtt"
    };
    let host = if broker.host.contains(':') {
        format!("[{}]", broker.host)
    } else {
        broker.host.clone()
    };
    let _ = writeln!(
        text,
        "[broker]\nurl = {}",
        quoted(&format!("{scheme}://{host}:{}", broker.port))
    );
    let mut key = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            let _ = writeln!(text, "{name} = {}", quoted(&value));
        }
    };
    let path = |path: &std::path::PathBuf| path.display().to_string();
    key("user", broker.user.clone());
    key("password_file", broker.password_file.as_ref().map(path));
    if let Some(Tls {
        ca_file,
        client_certificate,
        client_key,
    }) = &broker.tls
    {
        key("ca_file", ca_file.as_ref().map(path));
        key("client_certificate", client_certificate.as_ref().map(path));
        key("client_key", client_key.as_ref().map(path));
    }
    text.push('\n');
}

/// An entry with its comments, a blank line behind.
fn sensor(finding: &Finding) -> String {
    let mut text = String::new();
    comment(
        &mut text,
        &format!(
            "{}: {} (last {}, {})",
            finding.sureness.text(),
            finding.reasons.join("; "),
            finding.last,
            finding.often
        ),
    );
    for decide in &finding.decide {
        comment(&mut text, &format!("{}: {decide}", finding.wish()));
    }
    let _ = writeln!(text, "[[{UNIT}.sensor]]");
    let mut key = |name: &str, value: &str, why: &str| {
        let line = format!("{name} = {value}");
        let _ = if why.is_empty() {
            writeln!(text, "{line}")
        } else {
            writeln!(text, "{line:<34} # {}", shown(why, 160))
        };
    };
    let point = finding.point().map_or("", Point::key);
    let others: Vec<&str> = finding
        .points
        .iter()
        .skip(1)
        .map(|point| point.key())
        .collect();
    let or = if others.is_empty() {
        String::new()
    } else {
        format!("or {}", others.join(" or "))
    };
    key("at", &quoted(point), &or);
    key("topic", &quoted(&finding.topic), "");
    if let Some(pointer) = &finding.pointer {
        key(
            "pointer",
            &quoted(pointer),
            "the value's place in the JSON (RFC 6901)",
        );
    }
    kind(finding, &mut key);
    if let Some(time) = &finding.time {
        text.push_str(&format!(
            "#time_pointer = {} # when the value was taken, if the board's clock can be trusted\n",
            quoted(time)
        ));
    }
    if let Some(presence) = &finding.presence {
        availability(presence, &mut text);
    }
    text.push('\n');
    text
}

fn kind(finding: &Finding, key: &mut impl FnMut(&str, &str, &str)) {
    match finding.kind {
        // What the point means by itself.
        Kind::Gauge | Kind::Contact => {}
        Kind::Rate | Kind::Pulses | Kind::Increments => {
            key("kind", &quoted(finding.kind.key()), "")
        }
    }
    if let Some(unit) = finding.unit {
        key("unit", &quoted(unit), "");
    }
    if let Some((on, off)) = &finding.words {
        key("on", &format!("[{}]", quoted(on)), "");
        key("off", &format!("[{}]", quoted(off)), "");
    }
    for lacking in &finding.lacking {
        match lacking {
            Lacking::Unit => key("unit", "\"\"", "fill in"),
            Lacking::PulsesPerLitre => key("pulses_per_litre", "", "fill in: by the bucket"),
            Lacking::Stage => key("stage", "\"\"", "fill in: the stage's id"),
            Lacking::Calibration => {
                key("unit", "\"\"", "fill in");
                key(
                    "calibration",
                    "[[0.5, 0.0], [4.5, 150.0]]",
                    "an example: [raw, true], both rising",
                );
            }
            Lacking::LitresPerCent => {
                key("unit", "\"L\"", "");
                key("scale", "", "fill in: litres to one per cent");
            }
            Lacking::Words => {
                key("on", "[\"\"]", "fill in");
                key("off", "[\"\"]", "fill in");
            }
        }
    }
}

fn availability(presence: &Presence, text: &mut String) {
    let _ = writeln!(
        text,
        "[{UNIT}.sensor.availability]       # where its board says that it is there"
    );
    let _ = writeln!(text, "topic = {}", quoted(&presence.topic));
    if let Some(pointer) = &presence.pointer {
        let _ = writeln!(text, "pointer = {}", quoted(pointer));
    }
    let _ = writeln!(
        text,
        "up = {}\ndown = {}",
        quoted(&presence.up),
        quoted(&presence.down)
    );
}

/// A comment in lines that fit a page; nothing in it can end it.
fn comment(text: &mut String, what: &str) {
    const WIDTH: usize = 98;
    let mut line = "#".to_owned();
    for word in shown(what, 2000).split(' ') {
        if line.chars().count() + word.chars().count() >= WIDTH && line.len() > 1 {
            let _ = writeln!(text, "{line}");
            line = "#  ".to_owned();
        }
        line.push(' ');
        line.push_str(word);
    }
    let _ = writeln!(text, "{line}");
}

/// Whether a configuration may hold a topic, a pointer or a word: what stands for a unit's id stands for nothing else.
pub(super) fn can_be_written(text: &str) -> bool {
    !text.contains(char::is_control) && !text.contains(Topic::UNIT)
}

/// A basic string of TOML 1.0: its escapes are those of JSON, and DEL besides.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text)
        .to_string()
        .replace('\u{7f}', "\\u007f")
}
