//! What the demo says before it goes live: what it is, what lies behind it, where to look.

use std::{
    io::{self, Write as _},
    net::SocketAddr,
};

use jiff::tz::TimeZone;

use super::{folder::Begun, past::Played};
use crate::{core::EventKind, core::alert, simulation::Outlets};

pub(super) struct Introduction<'a> {
    pub broker: SocketAddr,
    pub outlets: Outlets,
    pub speed: u16,
    pub file: &'a str,
    pub begun: &'a Begun,
    /// What was played in; none when the folder was kept.
    pub played: Option<&'a Played>,
}

impl Introduction<'_> {
    pub(super) fn print(&self) {
        // Without a reader there is nobody to introduce anything to.
        let _ = writeln!(io::stdout(), "{}", self.text());
    }

    fn text(&self) -> String {
        let port = self.broker.port();
        format!(
            "A simulated RO/DI unit, watched by the real service. Everything you see is invented.

{past}
{page}  broker           {broker} (MQTT 3.1.1 and 5, this machine only)
{outlets}  simulated time   {speed} times as fast as real time, so its clock runs ahead of yours
  configuration    {file}

Watch it from another terminal with any MQTT client:

  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'permeated/#'            what is computed
  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'demo/#'                 what the sensors send
  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'permeated/basement/value/#'
  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'homeassistant/#'        what hubs are told of it

A hub on this machine whose MQTT connection is set to 127.0.0.1, port {port}, shows the unit by itself.
What was done to it in the past, and what it would give in other conditions:

  permeated log show --config {file}
  permeated expect --config {file} --pressure \"80 psi\"

Tell it something, and see the answer on permeated/basement/event; what you replace is new indeed:

  mosquitto_pub -h 127.0.0.1 -p {port} -t permeated/basement/do/stage/sediment/replaced -n
  permeated log test total_chlorine 0 --config {file}

{caution}
Ctrl-C ends it.
",
            past = self.past(),
            page = self.page(),
            broker = self.broker,
            outlets = self.outlets(),
            speed = self.speed,
            file = self.file,
            caution = alert::CAUTION,
        )
    }

    fn outlets(&self) -> String {
        self.outlets.metrics.map_or_else(String::new, |address| {
            format!("  metrics          http://{address}/metrics\n")
        })
    }

    /// The first thing to look at.
    fn page(&self) -> String {
        self.outlets.page.map_or_else(String::new, |address| {
            format!("Open http://{address}/ in a browser.\n\n")
        })
    }

    fn past(&self) -> String {
        let day = |wall: crate::time::Wall| {
            wall.day_in(&TimeZone::UTC)
                .map_or_else(String::new, |day| day.to_string())
        };
        let began = day(self.begun.began());
        let Some(played) = self.played else {
            return format!(
                "It goes on from what the folder keeps: it began on {began}, and it is {} there.\n",
                day(self.begun.now())
            );
        };
        if self.begun.days() == 0 {
            return "It is new: the first runs teach what it can do.\n".to_owned();
        }
        let count = |kind: EventKind| {
            let events = played.events.iter();
            events.filter(|event| event.event == kind).count()
        };
        let mut text = format!(
            "Behind it lie {} days, from {began}: {} runs, {} stages replaced, {} alerts. Active now:\n\n",
            self.begun.days(),
            played.runs,
            count(EventKind::StageReplaced),
            count(EventKind::AlertRaised),
        );
        for sentence in &played.active {
            text += &format!("  - {sentence}\n");
        }
        if played.active.is_empty() {
            text += "  nothing\n";
        }
        text
    }
}
