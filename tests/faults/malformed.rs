//! Ten thousand payloads that no sensor should send and commands that nobody should give, made from good ones:
//! nothing stops, nothing counts that should not, each is counted, and a good sensor is heard as if nothing
//! were.

use std::{collections::BTreeMap, thread, time::Duration};

use crate::{
    chance::Chance,
    publisher::Publisher,
    rig::{self, litres, metric, same, sum},
    site::{Site, until, until_within},
};

const READINGS: usize = 8000;
const COMMANDS: usize = 2000;

/// A good unit that counts, and one with a sensor of every kind: whatever it is told, the other does not care.
const UNITS: &str = r#"
[unit.good.supply]
waste_ratio = 4.0
[[unit.good.sensor]]
at = "permeate_flow"
topic = "rig/good"
kind = "pulses"
pulses_per_litre = 1000
maximum = "200 L/min"
[unit.bad.membrane]
rated_flow = "75 gal/d"
rated_pressure = "60 psi"
rated_tds = "250 mg/L"
rated_recovery = "15 %"
[unit.bad.supply]
waste_ratio = 4.0
[[unit.bad.stage]]
id = "membrane"
kind = "membrane"
[[unit.bad.stage]]
id = "mixed-bed"
kind = "mixed_bed"
life = "400 L"
[[unit.bad.sensor]]
at = "feed_pressure"
topic = "bad/pressure"
unit = "psi"
[[unit.bad.sensor]]
at = "feed_temperature"
topic = "bad/board"
pointer = "/DS18B20/Temperature"
time_pointer = "/Time"
unit = "degC"
[[unit.bad.sensor]]
at = "feed_flow"
topic = "bad/rate"
kind = "rate"
unit = "L/min"
[[unit.bad.sensor]]
at = "permeate_flow"
topic = "bad/pulses"
kind = "pulses"
pulses_per_litre = 1000
[[unit.bad.sensor]]
at = "concentrate_flow"
topic = "bad/increments"
kind = "increments"
pulses_per_litre = 1000
[[unit.bad.sensor]]
at = "leak"
topic = "bad/leak"
[[unit.bad.sensor]]
at = "pump"
topic = "bad/pump"
pointer = "/state"
[[unit.bad.sensor]]
at = "feed_tds"
topic = "bad/tds"
unit = "ppm"
availability = { topic = "bad/there" }
"#;

/// Good payloads by their topics.
const SENSORS: &[(&str, &str)] = &[
    ("bad/pressure", "58.5"),
    ("bad/pressure", "58.5 psi"),
    (
        "bad/board",
        r#"{"Time":"2026-11-25T09:00:00Z","DS18B20":{"Id":"01","Temperature":17.5},"TempUnit":"C"}"#,
    ),
    (
        "bad/board",
        r#"{"Time":1790000000,"DS18B20":{"Temperature":"17,5"}}"#,
    ),
    ("bad/rate", "0.6"),
    ("bad/pulses", "123456"),
    ("bad/increments", "17"),
    ("bad/leak", "OFF"),
    ("bad/pump", r#"{"state":true,"power":[1.5,230]}"#),
    ("bad/tds", "\"240 ppm\""),
    ("bad/there", "online"),
];

/// Good commands.
const TOLD: &[(&str, &str)] = &[
    (
        "stage/mixed-bed/replaced",
        r#"{"date": "2026-05-01", "lot": "A17", "price": 24.9, "note": "new"}"#,
    ),
    ("test/alkalinity", "80 mg/L CaCO3"),
    (
        "test/ph",
        r#"{"value": "7.4", "date": "2026-05-01T10:00:00Z", "note": "strip"}"#,
    ),
    ("sanitised", r#"{"note": "peroxide"}"#),
    ("note", r#"{"text": "new tubing", "date": "2026-05-01"}"#),
    ("log/1/correct", r#"{"price": 22.5, "lot": null}"#),
    ("log/2/withdraw", r#"{"note": "twice"}"#),
    (
        "hold_test/start",
        r#"{"minutes": 30, "note": "new fittings"}"#,
    ),
    ("membrane/rebaseline", ""),
    ("alert/leak/acknowledge", r#"{"note": "ordered"}"#),
    ("alert/leak/snooze", "PT24H"),
    ("alert/all/snooze", r#"{"for": "P1D"}"#),
];

/// What is put where a value was.
const STRANGE: &[&str] = &[
    "null",
    "true",
    "[]",
    "{}",
    "[[[]]]",
    "\"\"",
    "\"\\u0000\"",
    "1e308",
    "-1e308",
    "1e400",
    "-0.0",
    "4.9e-324",
    "9007199254740993",
    "99999999999999999999999999999999999999",
    "-1",
    "NaN",
    "Infinity",
    "0x1F",
    "1_000",
    "١٢٣",
    "𝟙𝟚",
    "½",
    "١٫٥",
    "1,5,7",
    "+-3",
    ".",
    "e",
    "−5",
    "\u{202e}5",
    "\u{feff}5",
    "unavailable",
    "ON ",
    "\"ON\"",
    "1.7976931348623157e308",
];

/// Another shape of a good payload.
fn spoilt(chance: &mut Chance, good: &str) -> Vec<u8> {
    let mut bytes = good.as_bytes().to_vec();
    match chance.below(10) {
        0 => bytes.truncate(chance.below(bytes.len().max(1))),
        1 => {
            for _ in 0..=chance.below(4) {
                if !bytes.is_empty() {
                    let at = chance.below(bytes.len());
                    bytes[at] ^= 1 << chance.below(8);
                }
            }
        }
        2 => bytes = (*chance.of(STRANGE)).as_bytes().to_vec(),
        3 => bytes = with_other_value(chance, good).into_bytes(),
        4 => {
            let at = chance.below(bytes.len() + 1);
            bytes.insert(
                at,
                *chance.of(&[0, 0xff, 0xc3, 0x80, b'"', b'\\', b'}', b'\n']),
            );
        }
        5 => {
            let depth = 1 + chance.below(20_000);
            let (open, close) = *chance.of(&[("[", "]"), ("{\"a\":", "}"), ("[", "")]);
            bytes = format!("{}{good}{}", open.repeat(depth), close.repeat(depth)).into_bytes();
        }
        6 => bytes = bytes.repeat(1 + chance.below(200)),
        7 => {
            bytes = (0..chance.below(300))
                .map(|_| chance.next().to_be_bytes()[0])
                .collect()
        }
        8 => {
            let digits = 1 + chance.below(400);
            let digit = char::from(b'0' + u8::try_from(chance.below(10)).unwrap());
            bytes = format!(
                "{}{}",
                chance.of(&["", "-", "0.", "1e"]),
                digit.to_string().repeat(digits)
            )
            .into_bytes();
        }
        _ => bytes.extend(vec![*chance.of(b" x0\0"); 1 + chance.below(70_000)]),
    }
    bytes
}

/// A number, word or text in it gives way to something strange.
fn with_other_value(chance: &mut Chance, good: &str) -> String {
    let starts: Vec<usize> = (good.char_indices())
        .filter(|(_, letter)| *letter == ':' || *letter == '[')
        .map(|(at, _)| at + 1)
        .collect();
    let strange = *chance.of(STRANGE);
    if starts.is_empty() {
        return format!("{strange}{good}");
    }
    let from = *chance.of(&starts);
    let to = good[from..]
        .find([',', '}', ']'])
        .map_or(good.len(), |end| from + end);
    format!("{}{strange}{}", &good[..from], &good[to..])
}

#[test]
fn ten_thousand_malformed_payloads() {
    let mut chance = Chance::seeded("malformed");
    let settings = "max_queued_messages 0\nlog_type error\nlog_type subscribe\n";
    let site = Site::new(settings, "");
    let ports = rig::configure(&site, site.broker.port(), UNITS);
    let service = site.launch();
    until("it hears", || {
        site.broker.publish("rig/good", "0", &[]);
        site.kept_count("good") == 0.0
    });
    let mut sender = Publisher::connect(site.broker.port(), "malformed");
    let mut sent: BTreeMap<&str, usize> = BTreeMap::new();
    let mut good = 0;
    for number in 0..READINGS {
        let (topic, payload) = *chance.of(SENSORS);
        // A quarter keeps its shape, so that what is spoilt follows what is not.
        let payload = match chance.below(4) {
            0 => payload.as_bytes().to_vec(),
            _ => spoilt(&mut chance, payload),
        };
        sender.publish(topic, &payload);
        // No topic faster than it is heard: what is passed over unread would be no trial.
        thread::sleep(Duration::from_millis(2));
        *sent.entry(topic).or_default() += 1;
        if number % 20 == 0 {
            good += 5;
            sender.publish("rig/good", good.to_string().as_bytes());
        }
    }
    let truth = f64::from(good) / 1000.0;
    until_within(Duration::from_secs(60), "the good sensor is heard", || {
        same(litres(&site, "good"), truth)
    });
    let lines_of_readings = service.log().lines().count();
    // Each message was taken for a reading or counted as none. Of a topic whose newest overtook an older one
    // while the service was busy, that is counted, too.
    let name = |topic: &str| sum(ports.metrics, topic, &["unit=\"bad\""]).unwrap_or_default();
    let rejected = name("permeated_sensor_rejected_total");
    let used = name("permeated_sensor_readings_total");
    let overtaken = sum(ports.metrics, "permeated_mqtt_messages_rejected_total", &[]).unwrap();
    let all = (READINGS - sent["bad/there"]) as f64;
    println!(
        "{used} used, {rejected} rejected, {overtaken} overtaken, {lines_of_readings} lines: {sent:?}"
    );
    assert!(rejected > all / 3.0, "{rejected} of {all}");
    assert!(used + rejected <= all, "{used} + {rejected}, sent {all}");
    assert!(
        used + rejected + overtaken >= all,
        "{used} + {rejected} + {overtaken}, sent {all}"
    );
    assert!(lines_of_readings < 300, "{}", service.log());

    for number in 0..COMMANDS {
        let (command, payload) = *chance.of(TOLD);
        let payload = spoilt(&mut chance, payload);
        let command = match chance.below(8) {
            0 => format!(
                "{command}/{}",
                chance.of(&["x", "", "\u{1F4A7}", "..", "stage"])
            ),
            1 => command[..chance.below(command.len())].to_owned(),
            _ => command.to_owned(),
        };
        sender.publish(&format!("permeated/bad/do/{command}"), &payload);
        if number % 20 == 0 {
            good += 5;
            sender.publish("rig/good", good.to_string().as_bytes());
        }
    }
    sender.finish();
    let truth = f64::from(good) / 1000.0;
    until_within(Duration::from_secs(60), "the good sensor is heard", || {
        same(litres(&site, "good"), truth)
    });
    site.broker
        .publish("permeated/bad/do/note", "the last word", &[]);
    until_within(
        Duration::from_secs(60),
        "a good command is carried out",
        || {
            site.kept("bad")["journal"]
                .to_string()
                .contains("the last word")
        },
    );
    let log = service.log();
    println!("{} lines, {} bytes", log.lines().count(), log.len());
    assert!(!log.contains("panicked"), "{log}");
    // A command is answered, and told in the log, each in a line.
    assert!(log.lines().count() < lines_of_readings + COMMANDS + 100);
    assert!(log.lines().all(|line| line.len() < 2000), "a line too long");
    assert_eq!(
        metric(ports.metrics, "permeated_store_failures_total"),
        Some(0.0)
    );
    let kept = site.kept("bad").to_string();
    assert!(kept.len() < 200_000, "{} bytes of state", kept.len());
    assert!(service.peak_kib() < 96 * 1024, "{} KiB", service.peak_kib());
    service.terminate();
    // What it keeps it can read again.
    site.start().terminate();
    assert!(same(litres(&site, "good"), truth));
}
