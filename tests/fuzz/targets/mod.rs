//! What must hold of any bytes that reach `permeated`: one function for each way in, the same for
//! libFuzzer (`tests/fuzz/run`) and for the tests of `tests/bytes.rs`. Each takes the bytes as they
//! are and panics where a law is broken.

pub mod command;
pub mod configuration;
pub mod log;
pub mod payload;
pub mod proposal;
pub mod replay;
pub mod state;
mod world;

/// A way in: its name, which is that of its seeds' folder, and what takes the bytes.
pub type Target = (&'static str, fn(&[u8]));

/// All of them.
pub const ALL: [Target; 7] = [
    ("command", command::take),
    ("configuration", configuration::take),
    ("log", log::take),
    ("payload", payload::take),
    ("proposal", proposal::take),
    ("replay", replay::take),
    ("state", state::take),
];
