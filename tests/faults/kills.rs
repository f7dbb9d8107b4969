//! Killed (SIGKILL) at random moments with everything going on at once: counts, increments, rates, commands,
//! a leak, notices. At the end what the file holds is compared with what was sent.

use std::{
    collections::BTreeMap,
    sync::atomic::{AtomicBool, AtomicU32, Ordering},
    thread,
    time::{Duration, Instant},
};

use rusqlite::Connection;
use serde_json::{Value, json};

use crate::{
    chance::Chance,
    receiver::Receiver,
    rig::{self, Over, UNITS, litres, never_fell, same},
    site::{Site, until},
};

const KILLS: usize = 24;
/// L/min that the third unit's meter tells all the time.
const RATE: f64 = 3.0;
/// One life in this many is long enough for its rates to be looked at.
const LONG: usize = 6;

/// What was sent.
#[derive(Default)]
struct Sent {
    pulses: AtomicU32,
    increments: AtomicU32,
    /// Whether the floor is wet.
    leak: AtomicBool,
    over: AtomicBool,
}

impl Sent {
    fn every(&self, milliseconds: u64, mut send: impl FnMut()) {
        while !self.over.load(Ordering::SeqCst) {
            send();
            thread::sleep(Duration::from_millis(milliseconds));
        }
    }

    fn pulses(&self, site: &Site) {
        let mut feed = site.feed("rig/pulses");
        self.every(7, || {
            feed.send(self.pulses.fetch_add(3, Ordering::SeqCst) + 3);
        });
        feed.finish();
    }

    /// 1, 2, … 50 pulses, over and over.
    fn increments(&self, site: &Site) {
        let mut feed = site.feed("rig/increments");
        let mut next = 0;
        self.every(11, || {
            next = next % 50 + 1;
            feed.send(next);
            self.increments.fetch_add(next, Ordering::SeqCst);
        });
        feed.finish();
    }

    fn readings(&self, site: &Site) {
        let mut feeds = ["rig/rate", "rig/feed", "rig/leak"].map(|topic| site.feed(topic));
        self.every(20, || {
            let leak = self.leak.load(Ordering::SeqCst);
            feeds[0].send(RATE);
            feeds[1].send(400);
            feeds[2].send(if leak { "ON" } else { "OFF" });
        });
        feeds.into_iter().for_each(crate::site::Feed::finish);
    }
}

/// What the keeper told: by now each is in the log once.
#[derive(Default)]
struct Told {
    notes: Vec<String>,
    lots: Vec<String>,
    tests: Vec<u32>,
}

impl Told {
    /// Something at each kill.
    fn tell(&mut self, site: &Site, number: usize) {
        let tell = |command: &str, payload: &str| {
            site.broker
                .publish(&format!("permeated/u/do/{command}"), payload, &[]);
        };
        match number % 3 {
            0 => {
                let note = format!("the {number}th word");
                tell("note", &note);
                self.notes.push(note);
            }
            1 => {
                let lot = format!("L{number}");
                let payload = format!("{{\"lot\": \"{lot}\"}}");
                tell("stage/mixed-bed/replaced", &payload);
                self.lots.push(lot);
            }
            _ => {
                let alkalinity = 50 + u32::try_from(number).unwrap();
                tell("test/alkalinity", &alkalinity.to_string());
                self.tests.push(alkalinity);
            }
        }
    }

    /// Every entry of the log, and no other.
    fn compare(&self, site: &Site) {
        let database = Connection::open(site.database()).unwrap();
        let texts = |sql: &str| -> Vec<Value> {
            let mut rows = database.prepare(sql).unwrap();
            let rows = rows.query_map([], |row| row.get::<_, String>(0)).unwrap();
            let texts = rows.map(|text| serde_json::from_str(&text.unwrap()).unwrap());
            texts.collect()
        };
        let entries = texts("SELECT document FROM log_entry ORDER BY number");
        let told = self.notes.len() + self.lots.len() + self.tests.len();
        assert_eq!(entries.len(), told, "{entries:#?}");
        let all: Vec<String> = entries.iter().map(Value::to_string).collect();
        let once = |what: String| {
            let found = all.iter().filter(|entry| entry.contains(&what)).count();
            assert_eq!(found, 1, "{what} in {all:#?}");
        };
        self.notes
            .iter()
            .for_each(|note| once(format!("\"{note}\"")));
        self.lots.iter().for_each(|lot| once(format!("\"{lot}\"")));
        // Each filling that ended, with what it treated, once; the last one is still there.
        let ended = texts("SELECT document FROM stage_replaced ORDER BY number");
        assert_eq!(ended.len(), self.lots.len(), "{ended:#?}");
        let treated = |one: &Value| one["treated"].as_f64().unwrap();
        let kept = site.kept("u");
        let present = &kept["stages"]["mixed-bed"];
        assert_eq!(present["lot"], *self.lots.last().unwrap());
        let sum: f64 = ended.iter().map(treated).sum::<f64>() + treated(present);
        let made = litres(site, "u");
        assert!(same(sum, made), "{sum} L treated of {made}: {ended:#?}");
    }
}

#[test]
fn two_dozen_kills_with_everything_at_once() {
    let mut chance = Chance::seeded("kills");
    let receiver = Receiver::start(&[]);
    let site = Site::new("max_queued_messages 0\n", "");
    let target = format!(
        "[[notify]]\nname = \"phone\"\nurl = \"http://127.0.0.1:{}/\"\n{UNITS}",
        receiver.port
    );
    let ports = rig::configure(&site, site.broker.port(), &target);
    let watch = site.broker.watch("permeated/#");
    let mut service = Some(site.start());
    site.broker.publish("rig/pulses", "0", &[]);
    until("the first count is kept", || {
        site.kept_count("u") == json!(0.0)
    });
    let (sent, mut told) = (Sent::default(), Told::default());
    // Of the rates' litres at least those of the long lives, each less a checkpoint, are in the file.
    let mut surely = 0.0;
    let began = Instant::now();
    thread::scope(|scope| {
        let ends = Over(&sent.over);
        scope.spawn(|| sent.pulses(&site));
        scope.spawn(|| sent.increments(&site));
        scope.spawn(|| sent.readings(&site));
        for number in 0..KILLS {
            let is_long = number % LONG == LONG - 1;
            let from = site.broker.log().len();
            if service.is_none() {
                service = Some(site.launch());
            }
            if is_long {
                site.hears(from);
                let life = Instant::now();
                thread::sleep(Duration::from_millis(3500));
                // The checkpoint of a second, and what a write and a slow machine take.
                surely += (life.elapsed().as_secs_f64() - 2.0) * RATE / 60.0;
            } else {
                let pause = 10 + chance.below(1300);
                thread::sleep(Duration::from_millis(pause as u64));
            }
            told.tell(&site, number);
            thread::sleep(Duration::from_millis(chance.below(400) as u64));
            sent.leak.store((number / 8) % 2 == 0, Ordering::SeqCst);
            if let Some(service) = service.take() {
                service.kill();
            }
        }
        service = Some(site.launch());
        drop(ends);
    });
    let most = began.elapsed().as_secs_f64() * RATE / 60.0;
    // The last words, behind all that the broker had queued.
    let pulses = sent.pulses.load(Ordering::SeqCst) + 3;
    site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
    site.broker.publish("rig/increments", "5000", &[]);
    let added = sent.increments.load(Ordering::SeqCst) + 5000;
    let truth = BTreeMap::from([
        ("u", f64::from(pulses) / 1000.0),
        ("i", f64::from(added) / 10_000.0),
    ]);
    assert!(
        pulses > 3000 && added > 20_000,
        "no load: {pulses}, {added}"
    );
    until("all that counts is kept", || {
        let there = |(unit, litres): (&&str, &f64)| rig::litres(&site, unit) >= litres - 1e-6;
        truth.iter().all(there)
    });
    // That they were told, too.
    until("all that counts is told", || {
        site.value("permeated/u/value/permeate_l")
            .is_some_and(|told| told >= truth["u"] - 0.001)
    });
    let panics = service.as_ref().unwrap().log().matches("panicked").count();
    assert_eq!(panics, 0);
    assert_eq!(
        rig::metric(ports.metrics, "permeated_store_failures_total"),
        Some(0.0)
    );
    service.unwrap().terminate();
    for (unit, truth) in &truth {
        let found = litres(&site, unit);
        assert!(same(found, *truth), "{unit}: {found} L, truly {truth}");
    }
    let rates = litres(&site, "r");
    println!("rates: {rates} L of surely {surely}, at most {most}");
    assert!(
        (surely..=most).contains(&rates),
        "{rates}: {surely} to {most}"
    );
    told.compare(&site);
    for (unit, litres) in [("u", truth["u"]), ("i", truth["i"]), ("r", rates)] {
        let last = never_fell(&watch, &format!("permeated/{unit}/value/permeate_l"));
        assert!(
            (last - litres).abs() < 0.01,
            "{unit}: told {last} of {litres}"
        );
    }
    never_fell(&watch, "permeated/u/value/stage/sediment/treated_l");
    notices_are_whole(&receiver);
    let sound: String = Connection::open(site.database())
        .unwrap()
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
}

/// None is missing, and one that came again, as it may after a kill, is the same word for word.
fn notices_are_whole(receiver: &Receiver) {
    let mut of_key: BTreeMap<String, String> = BTreeMap::new();
    for request in receiver.received() {
        let key = request.header("idempotency-key").unwrap().to_owned();
        let first = of_key.entry(key).or_insert_with(|| request.body.clone());
        assert_eq!(*first, request.body);
    }
    let mut numbers: Vec<usize> = (of_key.keys())
        .map(|key| key.strip_prefix("u-").unwrap().parse().unwrap())
        .collect();
    numbers.sort_unstable();
    let all: Vec<usize> = (1..=numbers.len()).collect();
    assert_eq!(numbers, all);
    let leak: Value = serde_json::from_str(&of_key["u-1"]).unwrap();
    assert_eq!(
        (&leak["code"], &leak["kind"]),
        (&json!("leak"), &json!("raised"))
    );
}
