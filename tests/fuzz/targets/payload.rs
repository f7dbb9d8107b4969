//! A sensor's payload. The first line is a JSON pointer, the rest the payload.

use permeated::{
    core::{Arrival, UnitState},
    quantity::{Conductivity, Flow, Pressure, Quantity as _, Temperature, Volume},
    wire::payload::Payload,
};

use super::world::World;

/// A number that is read is finite, in whatever unit, and the same however it is asked for. A word is
/// yes or no, and the other where the words change places. A time is one of the calendar. A unit that
/// hears the payload says nothing unsound.
pub fn take(bytes: &[u8]) {
    let end = bytes.iter().position(|byte| *byte == b'\n');
    let (pointer, bytes) = bytes.split_at(end.map_or(0, |end| end + 1));
    let Ok(pointer) = std::str::from_utf8(pointer.trim_ascii_end()) else {
        return;
    };
    let payload = Payload::new(bytes);
    for pointer in [None, Some(pointer)] {
        read(&payload, pointer);
    }
    if let Some(time) = payload.time(pointer) {
        assert!(time.0.abs() < 1_000_000_000_000_000, "{time:?}");
    }
    heard(bytes);
}

fn read(payload: &Payload, pointer: Option<&str>) {
    let plain = payload.number(pointer, None);
    let units = [
        Pressure::unit("bar"),
        Flow::unit("L/min"),
        Temperature::unit("degC"),
        Conductivity::unit("uS/cm"),
        Volume::unit("gal"),
    ];
    for unit in units {
        assert!(unit.is_some());
        let read = payload.number(pointer, unit);
        assert!(read.as_ref().is_ok_and(|number| number.is_finite()) || read.is_err());
        if plain.is_ok() {
            assert_eq!(read, plain, "a bare number is in the configured unit");
        }
    }
    let words = |words: [&str; 2]| words.map(str::to_owned);
    let (on, off) = (words(["on", "1"]), words(["off", "0"]));
    let straight = payload.contact(pointer, &on, &off);
    let crossed = payload.contact(pointer, &off, &on);
    assert_eq!(straight.map(|state| !state), crossed);
}

fn heard(bytes: &[u8]) {
    let mut world = World::of(&UnitState::default());
    for topic in ["p", "j", "r", "up"] {
        for arrival in [
            Arrival::Retained,
            Arrival::Late,
            Arrival::Live,
            Arrival::Live,
        ] {
            world.hear(topic, bytes, arrival);
            world.pass(5);
        }
    }
    world.pass(60);
    world.check_state();
}
