//! The state in words, the most important first, in the owner's units.

use anstyle::{AnsiColor, Style};
use serde_json::Value;

use super::{Gathered, Seen, Service, Source, rank};
use crate::{
    cli::paper::printable,
    config::{Display, Settings},
    core::moment,
    quantity::{Flow, Pressure, Temperature, Volume},
    time::Wall,
};

/// Everything; lines are as long as they are.
pub(super) fn text(settings: &Settings, gathered: &Gathered<'_>, now: Wall) -> String {
    let mut lines = vec![service(settings, gathered, now)];
    if gathered.is_unkept() {
        lines.push(format!(
            "{WARNING}Disk{WARNING:#}  the state cannot be written, and it goes on trying: look at its log and at \
             the disk"
        ));
    }
    for unit in &gathered.units {
        lines.push(String::new());
        lines.extend(of_unit(unit, matches!(gathered.source, Source::Store(_))));
    }
    lines.push(String::new());
    lines.join("\n")
}

/// Whether the service runs, when it was last heard, and what to do if it does not.
fn service(settings: &Settings, gathered: &Gathered<'_>, now: Wall) -> String {
    let prefix = &settings.publish.prefix;
    let zone = settings.units.first().map(|unit| &unit.time_zone);
    let heard = gathered.last_heard.zip(zone).map(|(at, zone)| {
        let ago = now.since(at).unwrap_or_default();
        format!("{} ({})", moment(at, zone), ago_text(ago.as_secs()))
    });
    let heard = heard.unwrap_or_else(|| "at an unknown time".to_owned());
    let start = "start it with `permeated run` or the service manager";
    let broker = format!("{}:{}", settings.broker.host, settings.broker.port);
    let is_bad = gathered.service != Service::Online;
    let words = match (&gathered.source, gathered.service) {
        (Source::Store(why), Service::Online) => format!(
            "online, but {} What follows is made of the state of {heard} in the store: without live readings",
            ended(why)
        ),
        (Source::Store(why), Service::Offline | Service::Stuck | Service::Unknown) => format!(
            "not known: {} What follows is made of the state of {heard} in the store: without live readings. \
             If the service runs, look at the broker; if not, {start}",
            ended(why)
        ),
        (Source::Nowhere, Service::Online) => format!(
            "online at {broker}, but nothing of these units is there: does it run with this configuration?"
        ),
        (Source::Nowhere, Service::Offline | Service::Stuck | Service::Unknown) => format!(
            "away, and has left nothing at {broker} under {prefix}/ nor in {}: {start}",
            settings.store.directory.display()
        ),
        (Source::Broker, Service::Online) => format!("online at {broker}, last heard {heard}"),
        (Source::Broker, Service::Offline) => format!(
            "AWAY since about {heard}: {prefix}/status at {broker} says offline. What follows is its last word; \
             {start}"
        ),
        (Source::Broker, Service::Stuck) => format!(
            "connected to {broker}, but last heard {heard}: restart it, and look at its log and at both \
             machines' clocks"
        ),
        (Source::Broker, Service::Unknown) => format!(
            "not known: {prefix}/status at {broker} says nothing. What follows was last told {heard}; {start}"
        ),
    };
    let style = if is_bad { WARNING } else { Style::new() };
    format!("{style}Service{style:#}  {words}")
}

const STRONG: Style = Style::new().bold();
const WARNING: Style = Style::new()
    .bold()
    .fg_color(Some(anstyle::Color::Ansi(AnsiColor::Yellow)));
const CRITICAL: Style = Style::new()
    .bold()
    .fg_color(Some(anstyle::Color::Ansi(AnsiColor::Red)));

fn ago_text(seconds: u64) -> String {
    match seconds {
        0..=119 => format!("{seconds} s ago"),
        120..=7199 => format!("{} min ago", seconds / 60),
        7200..=172_799 => format!("{} h ago", seconds / 3600),
        172_800.. => format!("{} days ago", seconds / 86_400),
    }
}

fn row(label: &str, words: &str) -> String {
    format!("  {:<13} {words}", printable(label))
}

fn of_unit(seen: &Seen<'_>, is_of_store: bool) -> Vec<String> {
    let unit = seen.settings;
    let name = printable(&unit.name);
    let title = if unit.name == unit.id {
        name
    } else {
        format!("{name} ({})", unit.id)
    };
    let mut lines = vec![format!(
        "{STRONG}{title}{STRONG:#}: {}",
        doing(seen, is_of_store)
    )];
    let alerts = seen.alerts();
    lines.extend(alerts.iter().flat_map(|alert| alert_lines(alert, seen)));
    if alerts.is_empty() {
        lines.push(row("alerts", "none"));
    }
    let silent = seen.silent();
    if !silent.is_empty() {
        lines.push(row("silent", &silent.join(", ")));
    }
    let parts = [
        ("water", flows(seen)),
        ("feed", feed(seen)),
        ("quality", quality(seen)),
        ("membrane", membrane(seen)),
        ("last run", last_run(seen)),
    ];
    let said = parts.into_iter().filter(|(_, words)| !words.is_empty());
    lines.extend(said.map(|(label, words)| row(label, &words)));
    if !is_of_store {
        lines.extend(lacks(seen));
    }
    lines.extend(stages(seen));
    lines
}

/// What the unit does, and since when.
fn doing(seen: &Seen<'_>, is_of_store: bool) -> String {
    let now = seen.document("now");
    let zone = &seen.settings.time_zone;
    let since = time(&now["run_started"]).map(|at| format!(" since {}", moment(at, zone)));
    let since = since.unwrap_or_default();
    if is_of_store {
        return "what it does now is not known".to_owned();
    }
    match now["state"].as_str() {
        Some("standby") => "stands by".to_owned(),
        Some("settling") => format!("makes water{since}; its quality has not settled yet"),
        Some("producing") => format!("makes water{since}"),
        Some("flushing") => "flushes".to_owned(),
        Some(_) | None => {
            "what it does is not known: no sensor that would tell is heard".to_owned()
        }
    }
}

/// An alert: what it is, its sentence, and what to do.
fn alert_lines(alert: &Value, seen: &Seen<'_>) -> Vec<String> {
    let word = |key: &str| printable(alert[key].as_str().unwrap_or_default());
    let zone = &seen.settings.time_zone;
    let (style, label) = match rank(alert) {
        2.. => (CRITICAL, "CRITICAL"),
        1 => (WARNING, "warning"),
        0 => (STRONG, "notice"),
    };
    let about = alert["about"]
        .as_str()
        .map(|about| format!(" ({})", printable(about)));
    let since = time(&alert["since"]).map(|at| format!(", since {}", moment(at, zone)));
    let said = match (alert["snoozed"] == true, alert["acknowledged"] == true) {
        (true, _) => ", snoozed",
        (false, true) => ", acknowledged",
        (false, false) => "",
    };
    // The sentence is of its raising; everything below is of now.
    let of_then = if word("text").contains(|c: char| c.is_ascii_digit()) {
        ", figures of then"
    } else {
        ""
    };
    let since = since.map(|since| since + of_then);
    let title = format!(
        "{}{}{}{said}",
        word("title"),
        about.unwrap_or_default(),
        since.unwrap_or_default()
    );
    let mut lines = vec![format!(
        "  {style}{label}{style:#}{:>1$} {title}",
        "",
        13 - label.len()
    )];
    for (key, before) in [
        ("text", ""),
        ("check_first", "Check: "),
        ("caution", "Caution: "),
    ] {
        let words = word(key);
        if !words.is_empty() {
            lines.push(row("", &format!("{before}{words}")));
        }
    }
    lines
}

fn time(value: &Value) -> Option<Wall> {
    Wall::from_rfc3339(value.as_str()?)
}

/// A value of a document in words, and whether it was not measured.
fn figure(document: &Value, key: &str, words: impl Fn(f64) -> String) -> Option<String> {
    let value = document.get(key)?.as_f64()?;
    let basis = document["basis"][key].as_str();
    let basis = basis.filter(|basis| *basis != "measured");
    let basis = basis.map(|basis| format!(" ({})", printable(basis)));
    Some(words(value) + &basis.unwrap_or_default())
}

fn joined(parts: impl IntoIterator<Item = Option<String>>) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(", ")
}

fn flows(seen: &Seen<'_>) -> String {
    let (now, display) = (seen.document("now"), seen.settings.display);
    if now["state"] == "standby" && now["concentrate_flow_l_min"].as_f64().unwrap_or(0.0) == 0.0 {
        return String::new();
    }
    let flow = |key: &str, what: &str| {
        figure(now, key, |value| {
            format!("{} {what}", display.trickle(Flow::from_l_per_min(value)))
        })
    };
    joined([
        flow("permeate_flow_l_min", "permeate"),
        flow("concentrate_flow_l_min", "to the drain"),
        flow("feed_flow_l_min", "feed"),
    ])
}

fn feed(seen: &Seen<'_>) -> String {
    let (now, display) = (seen.document("now"), seen.settings.display);
    joined([
        figure(now, "feed_pressure_bar", |bar| {
            format!(
                "{} at the membrane",
                display.pressure(Pressure::from_bar(bar))
            )
        }),
        figure(now, "supply_pressure_bar", |bar| {
            format!("{} in the line", display.pressure(Pressure::from_bar(bar)))
        }),
        figure(now, "feed_temperature_c", |celsius| {
            display.temperature(Temperature::from_celsius(celsius))
        }),
        figure(now, "feed_tds_mg_l", |tds| format!("{tds:.0} mg/L")),
    ])
}

/// While none is made, the probes stand in water that tells nothing of the next: then the last run counts.
fn quality(seen: &Seen<'_>) -> String {
    let (now, run) = (seen.document("now"), seen.document("run"));
    let membrane = seen.document("membrane");
    let zone = &seen.settings.time_zone;
    let makes_water = now["state"] == "producing" || now["state"] == "settling";
    let water = if makes_water || run["samples"].as_u64().unwrap_or(0) == 0 {
        now
    } else {
        run
    };
    let as_of = time(&membrane["as_of"]).map(|at| format!(" (run of {})", moment(at, zone)));
    let as_of = as_of.unwrap_or_default();
    joined([
        figure(water, "product_tds_mg_l", |tds| {
            format!("product {tds:.1} mg/L")
        }),
        figure(water, "permeate_tds_mg_l", |tds| {
            format!("{tds:.1} mg/L after the membrane")
        }),
        figure(membrane, "rejection_pct", |share| {
            format!("rejection {share:.1} %{as_of}")
        }),
    ])
}

fn membrane(seen: &Seen<'_>) -> String {
    let document = seen.document("membrane");
    let of =
        |key: &str, what: &str| figure(document, key, |share| format!("{share:.0} % of {what}"));
    let flow = of("normalized_flow_of_baseline_pct", "its baseline flow")
        .or_else(|| of("normalized_flow_of_rating_pct", "its rated flow"));
    let salt = figure(document, "salt_passage_of_baseline_pct", |share| {
        format!("salt passage {share:.0} % of its baseline")
    });
    let recovery = figure(document, "recovery_pct", |share| {
        format!("recovery {share:.0} %")
    });
    joined([flow, salt, recovery])
}

fn last_run(seen: &Seen<'_>) -> String {
    let run = seen.document("run");
    let (display, zone) = (seen.settings.display, &seen.settings.time_zone);
    let ended = time(&run["ended"]).map(|at| format!("ended {}", moment(at, zone)));
    let lasted = figure(run, "seconds", |seconds| match seconds {
        ..120.0 => format!("{seconds:.0} s"),
        _ => format!("{:.0} min", seconds / 60.0),
    });
    let made = figure(run, "permeate_l", |litres| volume(display, litres));
    joined([ended, lasted, made])
}

/// A sentence, with its point if it has no other end.
fn ended(why: &str) -> String {
    let why = printable(why);
    let point = if why.ends_with(['.', '?', '!']) {
        ""
    } else {
        "."
    };
    format!("{why}{point}")
}

/// Tenths are of no use in hundreds of litres.
fn volume(display: Display, litres: f64) -> String {
    let (shown, unit) = display.counted(Volume::from_litres(litres));
    let decimals = usize::from(shown < 99.95);
    format!("{shown:.decimals$} {unit}")
}

/// Why values are not there, each reason once: those that a sensor is behind.
fn lacks(seen: &Seen<'_>) -> Option<String> {
    let missing = seen.document("now")["missing"].as_object()?;
    let mut reasons: Vec<(String, Vec<String>)> = Vec::new();
    for reason in missing.values().filter_map(Value::as_str) {
        let reason = printable(reason);
        let Some((why, point)) = reason.split_once(": ") else {
            continue;
        };
        let point = point.to_owned();
        match reasons.iter_mut().find(|(known, _)| known == why) {
            Some((_, points)) if points.contains(&point) => {}
            Some((_, points)) => points.push(point),
            None => reasons.push((why.to_owned(), vec![point])),
        }
    }
    let reasons = reasons.iter();
    let told: Vec<String> = reasons
        .map(|(why, points)| format!("{why}: {}", points.join(", ")))
        .collect();
    (!told.is_empty()).then(|| row("missing", &told.join("; ")))
}

fn stages(seen: &Seen<'_>) -> Vec<String> {
    let stages = seen.settings.stages.iter();
    let mut lines: Vec<String> = stages
        .filter_map(|stage| {
            let document = seen.document(&format!("stage/{}", stage.id));
            let words = left(document, seen.settings.display);
            (!words.is_empty()).then(|| row(&stage.id, &words))
        })
        .collect();
    let orders = seen.document("due")["order_now"].as_array();
    let orders: Vec<String> = (orders.into_iter().flatten())
        .filter_map(|id| id.as_str().map(printable))
        .collect();
    if !orders.is_empty() {
        lines.push(row("order now", &orders.join(", ")));
    }
    lines
}

/// What is left of a stage, and until when.
fn left(document: &Value, display: Display) -> String {
    let share = figure(document, "left_pct", |share| format!("{share:.0} % left"));
    // Litres beside a share that another limit binds would contradict it.
    let is_by_water = matches!(document["binds"].as_str(), Some("volume" | "load"));
    let litres = figure(document, "left_l", |litres| volume(display, litres));
    let litres = litres.filter(|_| share.is_none() || is_by_water);
    // The share has told already how it was got.
    let litres = litres.map(|litres| match litres.split_once(" (") {
        Some((litres, _)) if share.is_some() => litres.to_owned(),
        Some(_) | None => litres,
    });
    let day = |key: &str| document[key].as_str().map(printable);
    let due = day("due").map(|due| match (day("due_earliest"), day("due_latest")) {
        (Some(from), Some(to)) if from != to => format!("due {due} ({from} to {to})"),
        (_, _) => format!("due {due}"),
    });
    joined([share, litres, due])
}
