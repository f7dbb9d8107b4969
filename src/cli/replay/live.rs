//! A log played to a broker, at its own pace or faster, so that a running service, a hub and whoever else
//! listens can be watched reacting. Only sensors' messages are played unless commands are asked for.

use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
    io::{self, BufRead},
    process::ExitCode,
    time::Duration,
};

use clap::Args;
use indicatif::ProgressBar;
use tokio::time::{Instant, sleep, sleep_until};

use super::{ReplayError, course::Pace, is_wanted, show, source::Source};
use crate::{
    cli::{FAILED, complain, run::stop_signal},
    config::{self, Broker, SensorSettings, Settings},
    core::Arrival,
    edge::mqtt::{self, MqttError, Session, SessionOptions},
    wire::{
        Outgoing,
        log::{Entry, Message, Reading, What, pointed},
    },
};

/// How a log is played to a broker.
#[derive(Debug, Args)]
pub(super) struct LiveArguments {
    /// Play the log to a broker, this many times as fast as it was (0.1 to 10000)
    #[arg(long, value_name = "N", value_parser = speed)]
    speed: Option<f64>,
    /// The broker to play to, such as mqtt://localhost; the configured one unless given
    #[arg(long, value_name = "URL", requires = "speed")]
    broker: Option<String>,
    /// Put this before every topic, such as replay/
    #[arg(long, value_name = "PREFIX", requires = "speed")]
    prefix: Option<String>,
    /// Play to the configured broker on the topics of the sensors themselves
    #[arg(long, requires = "speed")]
    yes: bool,
    /// Play commands, too
    #[arg(long, requires = "speed")]
    commands: bool,
}

/// Why it was not played to its end.
#[derive(Debug, thiserror::Error)]
pub(super) enum LiveError {
    #[error(transparent)]
    Log(#[from] ReplayError),
    #[error(transparent)]
    Mqtt(#[from] MqttError),
    #[error("could not start: {0}")]
    Runtime(#[source] io::Error),
    #[error("nothing was played: {0}")]
    NeverConnected(String),
}

/// The broker has this long to let us in.
const PATIENCE: Duration = Duration::from_secs(10);
/// So long, at the end, to take what waits.
const FAREWELL: Duration = Duration::from_secs(5);
/// So many messages may wait for the broker: then the log waits for it, too.
const MOST_WAITING: usize = 200;
const LATE: Duration = Duration::from_secs(1);
const LOOK: Duration = Duration::from_millis(5);

fn speed(text: &str) -> Result<f64, String> {
    let speed = text
        .parse()
        .ok()
        .filter(|speed| (0.1..=10_000.0).contains(speed));
    speed
        .ok_or_else(|| "allowed is 0.1 to 10000: 1 is as it was, 60 an hour in a minute".to_owned())
}

/// What is to be played where.
pub(super) struct Play {
    speed: f64,
    broker: Broker,
    prefix: String,
    commands: bool,
}

impl LiveArguments {
    /// What is to be played where, if anything is; or why it is not.
    pub(super) fn asked(&self, settings: &Settings) -> Result<Option<Play>, String> {
        let Some(speed) = self.speed else {
            return Ok(None);
        };
        let configured = &settings.broker;
        let broker = match &self.broker {
            Some(url) => config::broker_at(url).map_err(|wrong| format!("--broker: {wrong}"))?,
            None => configured.clone(),
        };
        let is_configured = broker.port == configured.port
            && (broker.host.eq_ignore_ascii_case(&configured.host)
                || is_loopback(&broker.host) && is_loopback(&configured.host));
        let prefix = self
            .prefix
            .as_deref()
            .unwrap_or_default()
            .trim_end_matches('/');
        if is_configured && prefix.is_empty() && !self.yes {
            return Err(format!(
                "{}:{} is the configured broker: a running service, hubs and all who listen there would take \
                 the past for the present. Write --prefix replay/ to play on topics of its own, --broker \
                 mqtt://… for another broker, or --yes if that is what you want",
                broker.host, broker.port
            ));
        }
        if !prefix.is_empty() && !mqtt::is_topic(prefix) {
            return Err(format!(
                "--prefix: {prefix:?} begins no topic: `+` and `#` cannot be in one"
            ));
        }
        Ok(Some(Play {
            speed,
            // It has the login.
            broker: if is_configured {
                configured.clone()
            } else {
                broker
            },
            prefix: if prefix.is_empty() {
                String::new()
            } else {
                format!("{prefix}/")
            },
            commands: self.commands,
        }))
    }
}

fn is_loopback(host: &str) -> bool {
    host.eq_ignore_ascii_case("localhost")
        || host
            .parse::<std::net::IpAddr>()
            .is_ok_and(|address| address.is_loopback())
}

/// What was played and what was not.
#[derive(Debug, Default)]
pub(super) struct Tally {
    played: u64,
    not_played: BTreeMap<&'static str, u64>,
}

/// Says what was played.
pub(super) fn exit(played: Result<Tally, LiveError>) -> ExitCode {
    match played {
        Ok(tally) => {
            complain(&tally.sentence());
            ExitCode::SUCCESS
        }
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

impl Tally {
    /// Without what the broker did not take in the end.
    fn without(mut self, undelivered: usize) -> Self {
        if undelivered > 0 {
            let undelivered = u64::try_from(undelivered).unwrap_or(u64::MAX);
            self.played = self.played.saturating_sub(undelivered);
            self.not_played
                .insert("that the broker did not take", undelivered);
        }
        self
    }

    fn sentence(&self) -> String {
        let not = self
            .not_played
            .iter()
            .map(|(why, count)| format!("{count} {why}"));
        let not: Vec<String> = not.collect();
        let not = if not.is_empty() {
            String::new()
        } else {
            format!("; left out: {}", not.join(", "))
        };
        format!("Played {} messages{not}.", self.played)
    }
}

impl Play {
    /// Plays the log until its end, or until it is told to stop.
    pub(super) fn run<R: BufRead>(
        self,
        settings: &Settings,
        only: &[String],
        source: Source<R>,
        bar: &ProgressBar,
    ) -> Result<Tally, LiveError> {
        let topics = if self.prefix.is_empty() {
            "on their own topics".to_owned()
        } else {
            format!("under {}", self.prefix)
        };
        complain(&format!(
            "Playing to {}:{} at {} times the pace, {topics}. Whoever listens there takes it for the present. \
             Ctrl-C ends it.",
            self.broker.host, self.broker.port, self.speed
        ));
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(LiveError::Runtime)?;
        let played = runtime.block_on(async {
            let stop = stop_signal().map_err(LiveError::Runtime)?;
            let (session, _inbox) = mqtt::open(SessionOptions::silent(self.broker.clone()))?;
            let mut player = Player {
                choice: Choice::new(settings, only, self.commands),
                settings,
                prefix: &self.prefix,
                speed: self.speed,
                session,
                tally: Tally::default(),
                bar,
            };
            let played = tokio::select! {
                played = player.play(source) => played,
                () = stop => Ok(()),
            };
            bar.finish_and_clear();
            let Player { session, tally, .. } = player;
            let farewell = session.close(FAREWELL).await;
            played.map(|()| tally.without(farewell.undelivered.len()))
        });
        runtime.shutdown_background();
        played
    }
}

/// Which messages are played.
struct Choice<'a> {
    sensors: BTreeSet<Cow<'a, str>>,
    commands: Vec<String>,
    with_commands: bool,
    only: &'a [String],
}

impl<'a> Choice<'a> {
    fn new(settings: &'a Settings, only: &'a [String], with_commands: bool) -> Self {
        let prefix = &settings.publish.prefix;
        let topics = settings.units.iter().flat_map(|unit| {
            let topics = unit.sensors.iter().flat_map(SensorSettings::topics);
            topics.map(|topic| topic.of(&unit.id))
        });
        let commands = settings
            .units
            .iter()
            .map(|unit| format!("{prefix}/{}/do/", unit.id));
        Self {
            sensors: topics.collect(),
            commands: commands.collect(),
            with_commands,
            only,
        }
    }

    /// Why a message is not played.
    fn refusal(&self, message: &Message) -> Option<&'static str> {
        let topic: &str = &message.topic;
        let is_command = self.commands.iter().any(|start| topic.starts_with(start));
        if !is_wanted(self.only, topic) {
            Some("on topics not asked for")
        } else if is_command && !self.with_commands {
            Some("commands (--commands plays them)")
        } else if !is_command && !self.sensors.contains(topic) {
            Some("of no sensor")
        } else {
            match message.arrival {
                Arrival::Live => None,
                // Played now they would be heard as new.
                Arrival::Late => Some("that came late"),
                Arrival::Retained => Some("that were retained"),
            }
        }
    }
}

struct Player<'a> {
    choice: Choice<'a>,
    settings: &'a Settings,
    prefix: &'a str,
    speed: f64,
    session: Session,
    tally: Tally,
    bar: &'a ProgressBar,
}

impl Player<'_> {
    async fn play<R: BufRead>(&mut self, mut source: Source<R>) -> Result<(), LiveError> {
        let session = &self.session;
        let connected = waiting(|| session.health().connected);
        if tokio::time::timeout(PATIENCE, connected).await.is_err() {
            let problem = self.session.health().problem;
            let why = problem.unwrap_or_else(|| "there was no connection to the broker".to_owned());
            return Err(LiveError::NeverConnected(why));
        }
        let mut pace = Pace::default();
        let mut due = Instant::now();
        let mut entries = 0_u64;
        while let Some(entry) = source.next()? {
            let step = Duration::from_millis(pace.step(&entry));
            due += step.div_f64(self.speed);
            sleep_until(due).await;
            // What a broker that was away held up is not made up for in a burst.
            if due.elapsed() > LATE {
                due = Instant::now();
            }
            for message in self.messages(&entry) {
                let session = &self.session;
                waiting(|| session.health().events_waiting < MOST_WAITING).await;
                self.session.publish(message);
                self.tally.played += 1;
            }
            entries += 1;
            show(self.bar, &source, entries);
        }
        Ok(())
    }

    /// What is played of an entry.
    fn messages(&mut self, entry: &Entry) -> Vec<Outgoing> {
        let found = match &entry.what {
            What::Message(message) => {
                match (
                    self.choice.refusal(message),
                    std::str::from_utf8(&message.payload),
                ) {
                    (None, Ok(text)) => vec![(message.topic.to_string(), text.to_owned())],
                    (Some(why), _) => return self.left_out(why),
                    (None, Err(_)) => return self.left_out("that are no text"),
                }
            }
            What::Readings(readings) => documents(self.settings, readings),
            What::Mark(_) => Vec::new(),
        };
        let prefix = self.prefix;
        let found = found.into_iter().map(|(topic, payload)| Outgoing {
            topic: format!("{prefix}{topic}"),
            payload,
            retain: false,
        });
        found.collect()
    }

    fn left_out(&mut self, why: &'static str) -> Vec<Outgoing> {
        *self.tally.not_played.entry(why).or_default() += 1;
        Vec::new()
    }
}

/// What the sensors of one row would have sent: one document for each topic.
fn documents(settings: &Settings, readings: &[Reading]) -> Vec<(String, String)> {
    let mut topics: BTreeMap<Cow<'_, str>, Vec<(Option<&str>, &str)>> = BTreeMap::new();
    for reading in readings {
        let unit = settings.units.get(reading.unit);
        if let Some((unit, sensor)) =
            unit.and_then(|unit| Some((unit, unit.sensors.get(reading.sensor)?)))
        {
            let own = topics.entry(sensor.topic.of(&unit.id)).or_default();
            own.push((sensor.pointer.as_deref(), &reading.text));
        }
    }
    let mut documents = Vec::new();
    for (topic, values) in topics {
        let topic = topic.into_owned();
        let plain = values
            .iter()
            .filter(|(pointer, _)| pointer.is_none_or(str::is_empty));
        documents.extend(plain.map(|(_, text)| (topic.clone(), (*text).to_owned())));
        let placed = values
            .iter()
            .filter_map(|(pointer, text)| Some(((*pointer)?, *text)));
        let placed: Vec<_> = placed.filter(|(pointer, _)| !pointer.is_empty()).collect();
        if !placed.is_empty() {
            documents.extend(pointed(placed).map(|text| (topic.clone(), text)));
        }
    }
    documents
}

/// Waits until it is so.
async fn waiting(is_so: impl Fn() -> bool) {
    while !is_so() {
        sleep(LOOK).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNIT: &str = "[broker]\nurl = \"mqtt://localhost:1884\"\nuser = \"me\"\n\
        [[unit.u.sensor]]\nat = \"feed_tds\"\ntopic = \"a\"\npointer = \"/q/in\"\nunit = \"ppm\"\n\
        [[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"a\"\npointer = \"/q/out\"\nunit = \"ppm\"\n\
        [[unit.u.sensor]]\nat = \"pump\"\ntopic = \"b\"\n";

    fn settings() -> Settings {
        config::from_text("t", UNIT, &BTreeMap::new(), None).unwrap()
    }

    #[test]
    fn the_configured_broker_is_played_to_only_where_that_was_meant() {
        let settings = settings();
        let asked = |broker: Option<&str>, prefix: Option<&str>, yes| {
            let arguments = LiveArguments {
                speed: Some(2.0),
                broker: broker.map(str::to_owned),
                prefix: prefix.map(str::to_owned),
                yes,
                commands: false,
            };
            arguments.asked(&settings).map(Option::unwrap)
        };
        for own in [
            None,
            Some("mqtt://127.0.0.1:1884"),
            Some("mqtt://localhost:1884"),
            Some("mqtt://LocalHost:1884"),
            Some("mqtt://[::1]:1884"),
        ] {
            let told = asked(own, None, false).err().unwrap();
            assert!(
                told.contains("--prefix") && told.contains("--yes"),
                "{told}"
            );
            assert!(asked(own, Some("/"), false).is_err());
            let play = asked(own, Some("replay/"), false).unwrap();
            assert_eq!(
                (play.prefix.as_str(), play.broker.user.as_deref()),
                ("replay/", Some("me"))
            );
            assert_eq!(asked(own, None, true).unwrap().prefix, "");
        }
        let other = asked(Some("mqtt://127.0.0.1:1885"), None, false).unwrap();
        assert_eq!(other.broker.user, None, "no login leaves for elsewhere");
        assert!(asked(Some("localhost"), None, true).is_err());
        assert!(
            asked(None, Some("a/#"), false)
                .err()
                .unwrap()
                .contains("--prefix")
        );
    }

    #[test]
    fn only_what_sensors_said_just_then_is_played() {
        let settings = settings();
        let only = ["a".to_owned(), "permeated/#".to_owned()];
        let message = |topic: &'static str, arrival| Message {
            topic: topic.into(),
            payload: b"1".as_slice().into(),
            arrival,
            packet: None,
        };
        for (only, commands, topic, arrival, expected) in [
            (&[][..], false, "a", Arrival::Live, None),
            (&[], false, "a", Arrival::Late, Some("that came late")),
            (
                &[],
                false,
                "a",
                Arrival::Retained,
                Some("that were retained"),
            ),
            (&[], false, "c", Arrival::Live, Some("of no sensor")),
            (
                &[],
                false,
                "permeated/u/do/note",
                Arrival::Live,
                Some("commands (--commands plays them)"),
            ),
            (&[], true, "permeated/u/do/note", Arrival::Live, None),
            (&only, true, "permeated/u/do/note", Arrival::Live, None),
            (
                &only,
                true,
                "b",
                Arrival::Live,
                Some("on topics not asked for"),
            ),
        ] {
            let choice = Choice::new(&settings, only, commands);
            assert_eq!(
                choice.refusal(&message(topic, arrival)),
                expected,
                "{topic}"
            );
        }
    }

    #[test]
    fn a_row_of_a_table_becomes_what_the_boards_would_have_sent() {
        let reading = |sensor, text: &str| Reading {
            unit: 0,
            sensor,
            text: text.to_owned(),
        };
        let found = documents(
            &settings(),
            &[reading(0, "250"), reading(2, "on"), reading(1, "1")],
        );
        let expected = [("a", r#"{"q":{"in":250,"out":1}}"#), ("b", "on")];
        assert_eq!(
            found,
            expected.map(|(topic, text)| (topic.to_owned(), text.to_owned()))
        );
    }
}
