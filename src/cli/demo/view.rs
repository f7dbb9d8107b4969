//! The demo's live view: what the broker holds, heard as any other client would.

use std::{
    collections::BTreeMap,
    io::{self, Write as _},
    time::Duration,
};

use serde_json::Value;

use crate::{
    config::Settings,
    edge::mqtt::{self, FromBroker, Inbox, MqttError, Session, SessionOptions},
};

/// A line of figures this often.
const EVERY: Duration = Duration::from_secs(2);
/// Lines of figures between two headings.
const HEADING_EVERY: usize = 20;

/// A client of the demo's broker.
pub(super) struct View {
    session: Session,
    inbox: Inbox,
    base: String,
    documents: BTreeMap<String, Value>,
    lines: usize,
}

impl View {
    /// Hears the first unit's topics; must be called inside a tokio runtime.
    pub fn open(settings: &Settings) -> Result<Self, MqttError> {
        let unit = settings.units.first().map_or("", |unit| unit.id.as_str());
        let base = format!("{}/{unit}/", settings.publish.prefix);
        let mut options = SessionOptions::new(
            settings.broker.clone(),
            "permeated-demo-view".to_owned(),
            "demo/view".to_owned(),
        );
        options.subscribe = ["now", "membrane", "totals", "stage/+", "event"]
            .map(|topic| format!("{base}{topic}"))
            .to_vec();
        let (session, inbox) = mqtt::open(options)?;
        Ok(Self {
            session,
            inbox,
            base,
            documents: BTreeMap::new(),
            lines: 0,
        })
    }

    /// Prints what comes until `stop` resolves.
    pub async fn show(mut self, stop: impl Future<Output = ()>) {
        tokio::pin!(stop);
        let mut every = tokio::time::interval(EVERY);
        loop {
            tokio::select! {
                () = &mut stop => break,
                item = self.inbox.receive() => self.take(item),
                _ = every.tick() => self.figures(),
            }
        }
        self.session.close(Duration::from_millis(500)).await;
    }

    fn take(&mut self, item: FromBroker) {
        let FromBroker::Message(message) = item else {
            return;
        };
        let Ok(document) = serde_json::from_slice::<Value>(&message.payload) else {
            return;
        };
        let Some(topic) = message.topic.strip_prefix(&self.base) else {
            return;
        };
        if topic == "event" {
            let text = document
                .get("text")
                .and_then(Value::as_str)
                .unwrap_or_default();
            print(&format!("{}  >> {text}", clock_of(&document)));
        } else {
            self.documents.insert(topic.to_owned(), document);
        }
    }

    fn figures(&mut self) {
        let Some(now) = self.documents.get("now") else {
            return;
        };
        if self.lines.is_multiple_of(HEADING_EVERY) {
            print(
                "time (UTC)  state       feed   permeate  pressure  temp   TDS mg/L              rejection  normalised  made",
            );
            print(
                "                        L/min  L/min     bar       degC   feed/permeate/product  %          % rated     L",
            );
        }
        self.lines += 1;
        let membrane = self.documents.get("membrane").unwrap_or(&Value::Null);
        let totals = self.documents.get("totals").unwrap_or(&Value::Null);
        print(&format!(
            "{}    {:<10} {:>6} {:>9} {:>9} {:>6}   {:>4}/{:>4}/{:>4}        {:>6}     {:>6} {:>9}",
            clock_of(now),
            now.get("state").and_then(Value::as_str).unwrap_or("-"),
            figure(now, "feed_flow_l_min"),
            figure(now, "permeate_flow_l_min"),
            figure(now, "feed_pressure_bar"),
            figure(now, "feed_temperature_c"),
            figure(now, "feed_tds_mg_l"),
            figure(now, "permeate_tds_mg_l"),
            figure(now, "product_tds_mg_l"),
            figure(membrane, "rejection_pct"),
            figure(membrane, "normalized_flow_of_rating_pct"),
            figure(totals, "permeate_l"),
        ));
    }
}

fn figure(document: &Value, key: &str) -> String {
    document
        .get(key)
        .filter(|value| !value.is_null())
        .map_or_else(|| "-".to_owned(), Value::to_string)
}

/// Hours, minutes and seconds of a document's time.
fn clock_of(document: &Value) -> &str {
    document
        .get("time")
        .and_then(Value::as_str)
        .and_then(|time| time.get(11..19))
        .unwrap_or("--:--:--")
}

fn print(line: &str) {
    // A reader that went away is no reason to stop the service that is shown.
    let _ = writeln!(io::stdout(), "{line}");
}
