//! `permeated` watches a home reverse-osmosis / deionisation unit through MQTT sensors.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod config;
pub mod physics;
pub mod quantity;
pub mod time;
pub mod wire;
