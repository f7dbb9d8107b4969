//! `permeated` watches a home reverse-osmosis / deionisation unit through MQTT sensors.
//!
//! The way of the data:
//!
//! ```text
//! MQTT message → payload → reading → conditioned signal → run state → performance → stages → alerts → publish, store
//! ```
//!
//! - [`config`] reads the file; [`quantity`] gives pressures, flows and the like their types.
//! - [`physics`] holds the equations of the trade, [`metrics`] the catalogue of what is published.
//! - [`core`] is one unit as a state machine: it does no I/O, reads no clock and may not import
//!   from [`edge`], [`app`] or [`cli`].
//! - [`wire`] turns bytes into readings and outputs into messages, without sockets.
//! - [`installation`] joins all units of a configuration on a clock that is given, with
//!   [`publisher`], [`announcer`] and [`sampler`]; the service, the replay of a log and the tests drive
//!   it alike.
//! - [`past`] is what was kept of a unit over a span of time, [`picture`] draws figures,
//!   [`page`] sets the status page from both.
//! - [`edge`] holds the contacts with the world, [`app`] the service's loop, [`keeper`] what is
//!   written to disk when, [`cli`] the commands.
//! - [`proposal`] makes a starting configuration from what a broker carries.
//! - [`simulation`] is a unit with physics of its own, for the demo and the tests.
//!
//! DEVELOPERS.md tells where to change what, and why it is so.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod announcer;
pub mod app;
pub mod cli;
pub mod config;
pub mod core;
mod digest;
pub mod edge;
pub mod installation;
pub mod keeper;
pub mod metrics;
pub mod page;
pub mod past;
pub mod physics;
pub mod picture;
pub mod proposal;
pub mod publisher;
pub mod quantity;
pub mod report;
pub mod sampler;
pub mod simulation;
pub mod time;
pub mod wire;
