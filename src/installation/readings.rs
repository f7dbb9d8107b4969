//! From a payload to what a sensor observes.

use std::time::Duration;

use crate::{
    config::{Measure, SensorSettings},
    core::{Arrival, Observation},
    time::{Mono, Now, Wall},
    wire::payload::{NoReading, Payload},
};

/// A time in a payload further ahead of our clock than this is wrong.
const FUTURE: Duration = Duration::from_secs(300);

/// A sensor's word on whether it is up; another word says nothing.
pub(super) fn availability(settings: &SensorSettings, payload: &Payload) -> Option<bool> {
    let availability = settings.availability.as_ref()?;
    let (up, down) = ([availability.up.clone()], [availability.down.clone()]);
    payload
        .contact(availability.pointer.as_deref(), &up, &down)
        .ok()
}

/// What a payload says to a sensor, and whether its own time makes it late.
pub(super) fn observation(
    settings: &SensorSettings,
    payload: &Payload,
    arrival: Arrival,
    now: Now,
) -> (Observation, Arrival) {
    let read = read(settings, settings.pointer.as_deref(), payload);
    let (observation, is_reading) = match read {
        Ok(observation) => (observation, true),
        Err(why) => (Observation::Nothing(why.to_string()), false),
    };
    let Some(pointer) = settings.time_pointer.as_deref().filter(|_| is_reading) else {
        return (observation, arrival);
    };
    let (Some(date), Some(taken)) = (now.date(), payload.time(pointer)) else {
        return (observation, arrival);
    };
    if taken.since(date).is_some_and(|ahead| ahead > FUTURE) {
        let why = format!("its time {} lies ahead of our clock", taken.to_rfc3339());
        return (Observation::Nothing(why), arrival);
    }
    let old = date.since(taken).is_some_and(|age| age > settings.max_age);
    (
        observation,
        if old && arrival == Arrival::Live {
            Arrival::Late
        } else {
            arrival
        },
    )
}

/// What a plain value says to a sensor.
pub(super) fn plain_observation(settings: &SensorSettings, text: &str) -> Observation {
    read(settings, None, &Payload::new(text.as_bytes()))
        .unwrap_or_else(|why| Observation::Nothing(why.to_string()))
}

fn read(
    settings: &SensorSettings,
    pointer: Option<&str>,
    payload: &Payload,
) -> Result<Observation, NoReading> {
    match &settings.measure {
        Measure::Contact { on, off } => payload.contact(pointer, on, off).map(Observation::Contact),
        measure => payload
            .number(pointer, measure.unit())
            .map(Observation::Number),
    }
}

/// That earlier moment by both clocks.
pub(super) fn moment(now: Now, at: Mono) -> Now {
    let ago = i64::try_from(now.mono.0 - at.0).unwrap_or(0);
    Now {
        mono: at,
        wall: Wall(now.wall.0 - ago),
    }
}
