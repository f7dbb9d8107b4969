//! What a keeper tells a unit. The first line is what stands behind `do/`, or a node and a property by
//! Homie; the rest is the payload.

use permeated::{
    core::{Arrival, UnitState},
    wire::{command, homie::commands::asked},
};

use super::world::{World, settings};

/// What is refused changes nothing but that it was told; so does what is retained. What Homie can set is
/// a command there is. Whatever was done is kept and reads again.
pub fn take(bytes: &[u8]) {
    let end = bytes.iter().position(|byte| *byte == b'\n');
    let (path, payload) = bytes.split_at(end.map_or(bytes.len(), |end| end + 1));
    let Ok(path) = std::str::from_utf8(path.trim_ascii_end()) else {
        return;
    };
    let unit = &settings().units[0];
    let mut world = begun();
    let before = world.state();
    let topic = format!("permeated/u/do/{path}");
    world.hear(&topic, payload, Arrival::Retained);
    assert_eq!(world.state(), before, "a retained command does nothing");
    let read = command::read(unit, world.now(), path, payload);
    world.hear(&topic, payload, Arrival::Live);
    match read {
        Ok(_) => world.check_state(),
        Err(why) => {
            assert!(!why.is_empty());
            assert_eq!(world.state(), before, "refused as {why}");
        }
    }
    if let Some((node, property)) = path.split_once('/')
        && let Some(Ok(asked)) = asked(unit, node, property, payload)
    {
        let read = command::read(unit, world.now(), &asked.path, &asked.payload);
        let is_known = read.is_ok_and(|_| true)
            || !command::read(unit, world.now(), &asked.path, b"")
                .is_err_and(|why| why.starts_with("there is no command"));
        assert!(is_known, "{asked:?}");
    }
    world.hear(
        &format!("homie/5/permeated-u/{path}/set"),
        payload,
        Arrival::Live,
    );
    world.pass(120);
    world.check_state();
}

/// A unit with something in its log, of which there is a run.
fn begun() -> World {
    let mut world = World::of(&UnitState::default());
    for count in 0..6 {
        world.hear(
            "p",
            (1000 + 10 * count).to_string().as_bytes(),
            Arrival::Live,
        );
        world.pass(10);
    }
    for (path, payload) in [
        ("stage/bed/replaced", "{\"lot\": \"A\", \"price\": 30}"),
        ("test/total_chlorine", "0.5"),
        ("note", "\"n\""),
    ] {
        let topic = format!("permeated/u/do/{path}");
        world.hear(&topic, payload.as_bytes(), Arrival::Live);
        world.pass(10);
    }
    world
}
