//! What is exposed: the catalogue for every unit and stage, alerts, sensors, and how the service
//! itself stands.

use super::{Exposed, Family, Kind, exposed, exposed_stage};
use crate::{
    core::{RunState, StageFindings, Unit, Values, alert::Phase},
    metrics::{Group, Metric, StageMetric},
    time::{Mono, Now, Wall},
};

/// How the service stands; counts are since its start.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Service {
    /// A connection to the broker stands.
    pub connected: bool,
    /// Connections made, the first included.
    pub connections: u64,
    /// Messages heard from the broker.
    pub messages: u64,
    /// Messages that gave way to newer ones because their topic sends too often.
    pub too_often: u64,
    /// Messages that were larger than is read.
    pub too_large: u64,
    /// Messages that could not be kept: too many that may not give way.
    pub too_many: u64,
    /// Messages that gave way to newer ones of their topic.
    pub overwritten: u64,
    /// Own messages that were refused as impossible.
    pub refused: u64,
    /// Own events dropped because too many waited for the broker.
    pub events_dropped: u64,
    /// Messages waiting to be heard.
    pub inbox: usize,
    /// States waiting for the broker.
    pub states_waiting: usize,
    /// Events waiting for the broker.
    pub events_waiting: usize,
    /// Messages on their way to the broker.
    pub in_flight: usize,
    /// Checkpoints written to the store.
    pub store_writes: u64,
    /// Checkpoints that could not be written.
    pub store_failures: u64,
    /// How long the request for these figures waited for the loop, in seconds.
    pub loop_lag: f64,
    /// When the service started, if the clock was set.
    pub started: Option<Wall>,
}

/// Everything there is to scrape now. Sums of units are taken from `kept`, as [`sums`] gave them when they
/// were last safe.
#[must_use]
pub fn families<'a>(
    units: impl Iterator<Item = &'a Unit>,
    now: Now,
    service: &Service,
    kept: &[Family],
) -> Vec<Family> {
    let looks: Vec<Look<'_>> = units.map(|unit| Look::at(unit, now)).collect();
    let mut families = own(service);
    families.extend(states(&looks));
    families.extend(catalogue(&looks).into_iter().map(|family| {
        let kept = kept.iter().find(|kept| kept.name == family.name);
        kept.cloned().unwrap_or(family)
    }));
    families.push(alerts(&looks));
    families.extend(sensors(&looks, now));
    families
}

/// The sums of units and stages now: what only grows.
#[must_use]
pub fn sums<'a>(units: impl Iterator<Item = &'a Unit>, now: Now) -> Vec<Family> {
    let looks: Vec<Look<'_>> = units.map(|unit| Look::at(unit, now)).collect();
    let mut families = catalogue(&looks);
    families.retain(|family| family.kind == Kind::Counter);
    families
}

fn catalogue(looks: &[Look<'_>]) -> Vec<Family> {
    let metrics = Metric::ALL.iter().filter_map(|metric| {
        let description = metric.description();
        let exposed = exposed(*metric)?;
        let mut family = family(&exposed, description.meaning);
        for look in looks {
            if let Ok(known) = look.values.of(*metric) {
                let value = known.value * exposed.factor;
                let costs = look.unit.settings().costs.as_ref();
                match costs.filter(|_| metric.group() == Group::Costs) {
                    Some(costs) => {
                        let labels = [("unit", look.id()), ("currency", &*costs.currency)];
                        family.add(&labels, value);
                    }
                    None => family.add(&[("unit", look.id())], value),
                }
            }
        }
        Some(family)
    });
    let of_stages = StageMetric::ALL.iter().filter_map(|metric| {
        let description = metric.description();
        let exposed = exposed_stage(*metric)?;
        let mut family = family(&exposed, description.meaning);
        for look in looks {
            for (stage, found) in look.unit.settings().stages.iter().zip(&look.stages) {
                if let Ok(known) = found.of(*metric) {
                    let value = known.value * exposed.factor;
                    family.add(&[("unit", look.id()), ("stage", &stage.id)], value);
                }
            }
        }
        Some(family)
    });
    metrics.chain(of_stages).collect()
}

/// A unit at one moment.
struct Look<'a> {
    unit: &'a Unit,
    now: Now,
    values: Values,
    stages: Vec<StageFindings>,
}

impl<'a> Look<'a> {
    fn at(unit: &'a Unit, now: Now) -> Self {
        Self {
            unit,
            now,
            values: unit.values(now),
            stages: unit.stage_findings(now),
        }
    }

    fn id(&self) -> &str {
        &self.unit.settings().id
    }
}

fn family(exposed: &Exposed, meaning: &str) -> Family {
    Family::new(&exposed.name, exposed.unit, exposed.kind, meaning)
}

fn states(looks: &[Look<'_>]) -> [Family; 3] {
    let mut state = Family::new("state", "", Kind::Gauge, "1 for what the unit does.");
    let mut contact = Family::new("contact", "", Kind::Gauge, "1 while the contact is on.");
    let mut as_of = Family::new(
        "membrane_as_of_timestamp_seconds",
        "seconds",
        Kind::Gauge,
        "End of the run that the membrane's figures are of, while none is made.",
    );
    let every = [
        RunState::Standby,
        RunState::Settling,
        RunState::Producing,
        RunState::Flushing,
    ];
    for look in looks {
        let present = look.unit.run_state();
        for each in every {
            if present != RunState::Unknown {
                let value = if each == present { 1.0 } else { 0.0 };
                state.add(&[("unit", look.id()), ("state", each.key())], value);
            }
        }
        for (point, found) in look.unit.contacts(look.now.mono) {
            if let Ok(known) = found {
                let value = f64::from(u8::from(known.value));
                contact.add(&[("unit", look.id()), ("point", point.key())], value);
            }
        }
        let held = look.unit.membrane().held_at;
        if let Some(held) = held.filter(|_| present != RunState::Producing) {
            as_of.add(&[("unit", look.id())], seconds(held));
        }
    }
    [state, contact, as_of]
}

/// An alert that was never judged has no sample.
fn alerts(looks: &[Look<'_>]) -> Family {
    let mut family = Family::new(
        "alert_active",
        "",
        Kind::Gauge,
        "1 while the alert is active.",
    );
    for look in looks {
        for alert in look.unit.alerts() {
            let value = match alert.life.phase() {
                Phase::Active => 1.0,
                Phase::Clear => 0.0,
                Phase::Unknown => continue,
            };
            let labels = [
                ("unit", look.id()),
                ("code", alert.code.key()),
                ("about", &alert.subject_id),
                ("severity", alert.code.severity().key()),
            ];
            family.add(&labels, value);
        }
    }
    family
}

fn sensors(looks: &[Look<'_>], now: Now) -> [Family; 3] {
    let mut last = Family::new(
        "sensor_last_reading_timestamp_seconds",
        "seconds",
        Kind::Gauge,
        "When the sensor last sent a reading.",
    );
    let mut readings = Family::new(
        "sensor_readings",
        "",
        Kind::Counter,
        "Readings of the sensor that were used.",
    );
    let mut rejected = Family::new(
        "sensor_rejected",
        "",
        Kind::Counter,
        "Messages of the sensor that were not used, by reason.",
    );
    for look in looks {
        for sensor in look.unit.train().sensors() {
            let labels = [("unit", look.id()), ("sensor", &sensor.settings().id)];
            let [unit, id] = labels;
            let tally = sensor.tally();
            readings.add(&labels, count(tally.readings));
            let reasons = [
                ("no_reading", tally.nothing),
                ("implausible", tally.implausible),
            ];
            for (reason, number) in reasons {
                rejected.add(&[unit, id, ("reason", reason)], count(number));
            }
            if let (Some(date), Some(heard)) = (now.date(), sensor.heard_at()) {
                last.add(&labels, seconds(date) - ago(now.mono, heard));
            }
        }
    }
    [last, readings, rejected]
}

fn own(service: &Service) -> Vec<Family> {
    let mut families = Vec::new();
    let mut put =
        |name: &str, unit, kind, help: &str, samples: &[(&[(&'static str, &str)], f64)]| {
            let mut family = Family::new(name, unit, kind, help);
            for (labels, value) in samples {
                family.add(labels, *value);
            }
            families.push(family);
        };
    let version: &[_] = &[("version", env!("CARGO_PKG_VERSION"))];
    put("build", "", Kind::Info, "The program.", &[(version, 1.0)]);
    if let Some(started) = service.started {
        let help = "When the service started.";
        let samples: &[_] = &[(&[] as &[_], seconds(started))];
        put(
            "start_timestamp_seconds",
            "seconds",
            Kind::Gauge,
            help,
            samples,
        );
    }
    let connected = f64::from(u8::from(service.connected));
    let help = "1 while a connection to the broker stands.";
    put("mqtt_connected", "", Kind::Gauge, help, &[(&[], connected)]);
    let again = count(service.connections.saturating_sub(1));
    let help = "Connections to the broker after the first.";
    put("mqtt_reconnects", "", Kind::Counter, help, &[(&[], again)]);
    let help = "Messages heard from the broker.";
    put(
        "mqtt_messages",
        "",
        Kind::Counter,
        help,
        &[(&[], count(service.messages))],
    );
    let help = "Messages from the broker that were not heard, by reason.";
    let rejected: &[(&[_], _)] = &[
        (&[("reason", "too_often")], count(service.too_often)),
        (&[("reason", "too_large")], count(service.too_large)),
        (&[("reason", "too_many")], count(service.too_many)),
        (&[("reason", "overtaken")], count(service.overwritten)),
    ];
    put("mqtt_messages_rejected", "", Kind::Counter, help, rejected);
    let help = "Messages to the broker that were given up, by reason.";
    let unsent: &[(&[_], _)] = &[
        (&[("reason", "impossible")], count(service.refused)),
        (&[("reason", "too_many")], count(service.events_dropped)),
    ];
    put("mqtt_messages_unsent", "", Kind::Counter, help, unsent);
    let help = "Messages that wait, by queue.";
    let queues: &[(&[_], _)] = &[
        (&[("queue", "inbox")], length(service.inbox)),
        (&[("queue", "states")], length(service.states_waiting)),
        (&[("queue", "events")], length(service.events_waiting)),
        (&[("queue", "in_flight")], length(service.in_flight)),
    ];
    put("mqtt_queue_length", "", Kind::Gauge, help, queues);
    let help = "Checkpoints written to the store.";
    put(
        "store_writes",
        "",
        Kind::Counter,
        help,
        &[(&[], count(service.store_writes))],
    );
    let help = "Checkpoints that could not be written; they are tried again.";
    put(
        "store_failures",
        "",
        Kind::Counter,
        help,
        &[(&[], count(service.store_failures))],
    );
    let help = "How long this request waited for the service's loop.";
    put(
        "loop_lag_seconds",
        "seconds",
        Kind::Gauge,
        help,
        &[(&[], service.loop_lag)],
    );
    families
}

#[allow(clippy::cast_precision_loss, reason = "counts far below 2^53")]
fn count(number: u64) -> f64 {
    number as f64
}

#[allow(clippy::cast_precision_loss, reason = "lengths of queues")]
fn length(number: usize) -> f64 {
    number as f64
}

#[allow(clippy::cast_precision_loss, reason = "milliseconds of this age")]
fn seconds(wall: Wall) -> f64 {
    wall.0 as f64 / 1000.0
}

fn ago(now: Mono, then: Mono) -> f64 {
    now.since(then).as_secs_f64()
}
